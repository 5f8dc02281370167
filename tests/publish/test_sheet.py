"""The sheet for students: one page, however many shots, with whatever words."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from lessonkit.publish import sheet
from tests.lesson import made
from tests.publish.browser import chromium, open_page

LONG = "Nine <b>&</b> in the corner עיב 🎱 " + "and a good deal more than anybody needs to say " * 4
A4_CONTENT_PX = round((297 - 22) / 25.4 * 96)
"""Height of A4 within margins of 11 mm, CSS pixels (ISO 216: 210 x 297 mm; CSS: 96 to the inch)."""
LETTER_CONTENT_PX = round(11 * 96 - 22 / 25.4 * 96)
WIDTH_PX = round(188 / 25.4 * 96)


@pytest.mark.parametrize("shots", [1, 2, 4, 5, 6, 7, 9, 12, 30])
def test_it_is_one_page(tmp_path: Path, shots: int) -> None:
    """The content is no higher than A4 and Letter have room for, and no wider."""
    (tmp_path / "s.html").write_text(sheet.sheet_html(made.rack([LONG] * shots)), encoding="utf-8")
    with open_page(WIDTH_PX, 900) as page:
        page.goto((tmp_path / "s.html").as_uri())
        size = page.evaluate(
            "() => [document.body.getBoundingClientRect().height, document.documentElement.scrollWidth]"
        )
    assert size[0] <= min(A4_CONTENT_PX, LETTER_CONTENT_PX)
    assert size[1] <= WIDTH_PX


def test_every_shot_is_there_and_words_are_escaped() -> None:
    """Nine drawings, the others as lines."""
    page = sheet.sheet_html(made.rack([LONG] * 12))
    assert page.count("<svg") == 9
    assert page.count("<li>") == 3
    assert "<b>&" not in page


def test_chromium_prints_one_page(tmp_path: Path) -> None:
    """The PDF says that it has one page (ISO 32000, page tree: /Count)."""
    chromium()
    assert sheet.write(made.rack([LONG] * 6), tmp_path) is None
    pdf = (tmp_path / "sheet.pdf").read_bytes()
    assert pdf.startswith(b"%PDF-")
    assert b"/Count 1" in pdf
    assert b"/Count 2" not in pdf


def test_without_a_browser_it_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The HTML is there, an earlier PDF is not left to mislead."""
    monkeypatch.setattr(shutil, "which", lambda name: None)
    (tmp_path / "sheet.pdf").write_bytes(b"old")
    said = sheet.write(made.rack(["Nine."]), tmp_path)
    assert said is not None and "no Chromium" in said
    assert (tmp_path / "sheet.html").exists() and not (tmp_path / "sheet.pdf").exists()
