"""Captions in the picture: there while they are due, where they belong, and never as empty boxes."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.lesson import glyphs
from lessonkit.lesson.burning import Burner
from lessonkit.lesson.captions import split_cues
from lessonkit.lesson.cutlist import Cue, Piece
from lessonkit.lesson.picture import Picture
from lessonkit.lesson.text import font_files, text_mask, top_px, use_fonts

SIZE, RATE = (640, 360), Fraction(30)
CUES = (Cue(1.0, 2.0, "Nine, foot-left"), Cue(2.0, 3.0, "draw"), Cue(5.0, 6.0, "and high", high=True))
SHIPPED = font_files(bold=False)


@pytest.fixture(autouse=True)
def _fonts() -> None:
    use_fonts()


def ground() -> Picture:
    """Plain cloth."""
    return Picture.from_bgr(np.full((SIZE[1], SIZE[0], 3), (70, 120, 20), np.uint8))


def changed(picture: Picture, base: Picture) -> np.ndarray:
    """Rows in which something was drawn."""
    return np.flatnonzero((picture.y != base.y).any(axis=1))


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(1, 90), min_size=1, max_size=8), st.integers(0, 150))
def test_each_frame_has_its_caption_and_none_is_lost(repeats: list[int], first: int) -> None:
    """However pictures are repeated, every lesson frame from `first` on carries what is due at its time."""
    base = ground()
    shown = list(Burner(CUES, SIZE, RATE).over(iter([(base.copy(), n) for n in repeats]), first))
    assert sum(n for _, n in shown) == sum(repeats)
    frame = first
    for picture, n in shown:
        due = {
            next((c.text for c in CUES if c.start_s * 30 <= k < c.end_s * 30), None)
            for k in range(frame, frame + n)
        }
        assert len(due) == 1
        rows = changed(picture, base)
        text = due.pop()
        assert bool(len(rows)) == (text is not None)
        if text == "and high":
            assert rows.max() < 0.3 * SIZE[1]
        elif text is not None:
            assert 0.8 * SIZE[1] < rows.min() and rows.max() < 0.97 * SIZE[1]
        frame += n


def test_what_a_piece_shows_is_told_from_its_own_start() -> None:
    """So that it is the same wherever in the lesson the piece stands."""
    burner = Burner(CUES, SIZE, RATE)
    assert burner.words(Piece("plan", 0.5, 2.0)) == [
        (15, 45, "Nine, foot-left", False),
        (45, 75, "draw", False),
    ]
    assert burner.words(Piece("play", 3.0, 1.0)) == []


@settings(max_examples=30, deadline=None)
@given(st.text(alphabet="abcXW -é漢ضע🎱", max_size=160))
@pytest.mark.parametrize("size", [(640, 360), (360, 640), (400, 400)])
def test_any_caption_fits_the_picture(size: tuple[int, int], text: str) -> None:
    """Nothing touches the left and right edge, in any shape."""
    base = Picture.from_bgr(np.full((size[1], size[0], 3), (70, 120, 20), np.uint8))
    for cue in split_cues(text)[:2]:
        ((picture, _),) = Burner([Cue(0.0, 1.0, cue)], size, RATE).over(iter([(base, 1)]), 0)
        columns = np.flatnonzero((picture.y != base.y).any(axis=0))
        assert len(columns) == 0 or (columns.min() > 0 and columns.max() < size[0] - 1)


def test_shipped_fonts_have_what_they_have() -> None:
    """Latin, Greek, Cyrillic, Arabic, Hebrew are there; billiard balls are not (checked with fontTools' table of
    DejaVu Sans 2.37)."""
    for sign in ("a", "π", "ж", "ض", "ע", "½", "é", "e\u0301"):
        assert glyphs.has(SHIPPED[0], sign), sign
    for sign in ("🎱", "漢", "\U0010fffd"):
        assert not glyphs.has(SHIPPED[0], sign), sign


def test_no_box_is_drawn_for_a_sign_that_no_font_has(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is left out, and named to the person."""
    monkeypatch.setattr(glyphs, "system_font", lambda sign: None)
    use_fonts()
    assert np.array_equal(text_mask("Nine\U0010fffd", 30), text_mask("Nine", 30))
    assert glyphs.missing(["Nine 🎱🎱 and 漢", "🎱"], SHIPPED) == ("🎱", "漢")
    said = glyphs.caution(["Nine 🎱"], SHIPPED)
    assert said is not None and "U+1F3B1" in said and "[fonts]" in said
    assert glyphs.caution(["Nine, ½ π עיב"], SHIPPED) is None


def test_leftward_text_is_told_by_its_first_strong_sign() -> None:
    """UAX #9, P2 and P3."""
    assert glyphs.reads_leftwards("(14) שלום four")
    assert not glyphs.reads_leftwards("(14) four שלום")
    assert not glyphs.reads_leftwards("14.1 …")


def test_letters_stand_on_one_line() -> None:
    """A line of small letters begins lower than one with capitals."""
    assert top_px("nose", 40) > top_px("Nine", 40)
