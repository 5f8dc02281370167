# Needs only python3 (3.11 to 3.13, with venv) and make. `make help` lists what there is.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
DEMO := demo-lesson

.DEFAULT_GOAL := help
.PHONY: help demo sheet test lint bench clean
# A recipe that fails leaves no half-made target behind, so the next `make` does it again.
.DELETE_ON_ERROR:

help:
	@echo "make demo   make a lesson of the sample footage, in $(DEMO)/"
	@echo "make sheet  a contact sheet of every kind of frame of that lesson, docs/contact-sheet.jpg"
	@echo "make test   run all checks: tests, lint, format, types"
	@echo "make bench  time the analysis and the rendering against decoding and encoding alone"
	@echo "make clean  remove $(VENV)/ and $(DEMO)/"

demo: $(VENV)/.installed
	$(BIN)/lessonkit make sample_media/club-night.mp4 --notes sample_media/notes.txt --out $(DEMO)

sheet: demo
	$(BIN)/python tools/contact_sheet.py sample_media/club-night.mp4 $(DEMO) docs/contact-sheet.jpg

test: lint
	$(BIN)/python -m pytest

lint: $(VENV)/.installed-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

bench: $(VENV)/.installed-dev
	$(BIN)/python benchmarks/bench_analyse.py
	$(BIN)/python benchmarks/bench_render.py
	$(BIN)/python benchmarks/bench_planning.py

clean:
	rm -rf $(VENV) $(DEMO)

$(VENV)/.made:
	@$(PYTHON) tools/check_python.py
	$(PYTHON) -m venv $(VENV)
	@touch $@

$(VENV)/.installed: $(VENV)/.made pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	@$(BIN)/python tools/check_opencv.py
	@touch $@

$(VENV)/.installed-dev: $(VENV)/.installed
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[dev]'
	@$(BIN)/python tools/check_opencv.py
	@touch $@
