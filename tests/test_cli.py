"""The command line: what it offers, how it ends, and that it answers at once."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pytest

from lessonkit import cli, needs, stages
from tests.running import ROOT, SCRIPT, script


def test_version_is_the_installed_one() -> None:
    """--version prints the version that pip installed."""
    done = script("--version")
    assert (done.status, done.out.strip()) == (0, f"lessonkit {version('lessonkit')}")


def test_help_lists_every_command(command: Any) -> None:
    """--help names the three commands and ends with status 0."""
    done = command("--help")
    assert done.status == 0
    assert all(re.search(rf"^  {name} ", done.out, re.M) for name in ("analyse", "make", "notes"))


def test_help_imports_nothing_heavy() -> None:
    """--help waits for no library but click."""
    heavy = ["av", "cv2", "jinja2", "moviepy", "numba", "numpy", "pysrt", "rich", "scipy"]
    code = f"import sys; from lessonkit.cli import run; run(['make', '--help']); print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_readme_names_every_command_and_option() -> None:
    """The README shows every command and every option of the commands."""
    readme = (ROOT / "README.md").read_text()
    for name, cmd in cli.commands.commands.items():
        assert f"lessonkit {name} " in readme
        for param in cmd.params:
            for option in param.opts:
                assert not option.startswith("--") or option in readme, f"{name} {option}"


@pytest.mark.parametrize(
    "args",
    [
        ["analyse"],
        ["make", "clip.mp4", "--out", "x"],
        ["nonsense"],
        ["analyse", "clip.mp4", "--out", "x", "--head", "up"],
        ["analyse", "clip.mp4", "--out", "x", "--table", "5ft"],
        ["analyse", "clip.mp4", "--out", "x", "--table", "2540x12x3"],
        ["analyse", "clip.mp4", "--out", "x", "--corners", "1,2 3,4 5,6"],
        ["analyse", "clip.mp4", "--out", "x", "--corners", "1,2 3,4 5,6 7,nan"],
    ],
)
def test_wrong_command_line_ends_with_status_2(command: Any, args: list[str]) -> None:
    """A wrong command line says what is wrong with it and ends with status 2."""
    done = command(*args)
    assert done.status == 2
    assert "Error: " in done.err and not done.out


def _fails_with(error: BaseException) -> Any:
    def fail(*_: Any) -> None:
        raise error

    return fail


def test_a_missing_system_library_is_explained(command: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where OpenCV's system libraries are missing, one sentence says what to install."""
    error = ImportError("libGL.so.1: cannot open shared object file: No such file or directory")
    monkeypatch.setattr(stages, "analyse", _fails_with(error))
    done = command("analyse", "clip.mp4", "--out", "x")
    assert done.status == 1 and done.is_one_sentence()
    assert "libGL.so.1" in done.err and "apt-get install -y libgl1 libglib2.0-0" in done.err


def test_a_missing_package_is_named() -> None:
    """A Python package that is not there is named."""
    assert "package scipy is missing" in needs.explain(
        ModuleNotFoundError("No module", name="scipy.optimize")
    )


def test_the_unforeseen_is_one_line(command: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """An error nobody foresaw prints one line, and its traceback only when asked for."""
    monkeypatch.setattr(stages, "analyse", _fails_with(ZeroDivisionError("division\nby zero")))
    done = command("analyse", "clip.mp4", "--out", "x")
    assert done.status == 1 and done.is_one_sentence() and "division by zero" in done.err
    monkeypatch.setenv("LESSONKIT_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        cli.run(["analyse", "clip.mp4", "--out", "x"])


def test_a_closed_pipe_is_no_disaster(tmp_path: Path, sample_notes: Path) -> None:
    """`lessonkit notes ... | head -1` prints no traceback."""
    line = f"'{SCRIPT}' notes '{sample_notes}' | head -c 1"
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, check=False)
    assert "Traceback" not in done.stderr and "Exception" not in done.stderr


@pytest.mark.slow
def test_stopping_ends_with_130_and_one_line(tmp_path: Path, sample_footage: Path) -> None:
    """Ctrl-C ends the job with status 130, one line, and no half-made file under a final name."""
    out = tmp_path / "lesson"
    job = subprocess.Popen(
        [str(SCRIPT), "analyse", str(sample_footage), "--out", str(out)], stderr=subprocess.PIPE, text=True
    )
    deadline = time.monotonic() + 60
    while not (out / ".lessonkit.json").exists() and time.monotonic() < deadline:
        time.sleep(0.05)
    time.sleep(1.0)
    job.send_signal(signal.SIGINT)
    err = job.communicate(timeout=60)[1]
    assert job.returncode == 130
    assert "Traceback" not in err and err.count("lessonkit: stopped") == 1
    assert sorted(p.name for p in out.iterdir()) == [".lessonkit.json"]


def test_notes_prints_what_was_understood(command: Any, sample_notes: Path) -> None:
    """`notes --json` gives each note's time, text and plan with the documented fields."""
    done = command("notes", sample_notes, "--json")
    assert done.status == 0
    notes = json.loads(done.out)
    assert [n["t"] for n in notes] == [5, 17, 26, 36, 47, 56]
    fields = {"ball", "pocket", "stroke", "side", "speed", "rails", "landing", "cue_path", "source"}
    assert all(
        fields | {"next_ball", "break_ball", "plan_b", "bank", "rail_first"} <= n["plan"].keys()
        for n in notes
    )
    said = [(n["plan"]["ball"], n["plan"]["pocket"], n["plan"]["stroke"], n["plan"]["speed"]) for n in notes]
    assert said == [
        (1, "foot-right", "follow", "medium"),
        (14, "head-left", "stop", "firm"),
        (2, "head-right", "force follow", "hard"),
        (6, "foot-left", "draw", "firm"),
        (8, "side-right", "draw", "firm"),
        (7, "foot-left", "follow", "medium"),
    ]
    # a stop is played without side, said or not (common practice, no source)
    assert [n["plan"]["side"] for n in notes] == ["none", "none", "right", "none", "right", "left"]
    assert [n["plan"]["next_ball"] for n in notes] == [8, 2, 6, 8, 7, 2]
    assert [n["plan"]["plan_b"] for n in notes] == [False, False, False, True, False, False]


def test_notes_for_people_shows_every_note(command: Any, sample_notes: Path) -> None:
    """`notes` without --json shows all six notes on standard output."""
    done = command("notes", sample_notes)
    assert done.status == 0 and not done.err
    assert all(time in done.out for time in ("0:05", "0:17", "0:26", "0:36", "0:47", "0:56"))
