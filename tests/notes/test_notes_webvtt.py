"""WebVTT cues against the W3C's own test files, and against webvtt-py where it follows the standard.

The files in webvtt-cases/ are the W3C's web-platform-tests (see their README). They tell by themselves what a right
reader finds: cues that must be dropped hold the words "invalid", all others something else.
"""

from __future__ import annotations

from pathlib import Path

import pytest
import webvtt as library

from lessonkit.notes.webvtt import cues, is_webvtt, plain

CASES = sorted((Path(__file__).parent / "webvtt-cases").glob("*.vtt"))
COUNTS = {
    "arrows": 6, "header-garbage": 1, "header-space": 1, "header-tab": 1, "header-timings": 1, "ids": 5, "newlines": 4,
    "nulls": 7, "signature-bom": 0, "signature-timings": 0, "stylesheets": 2, "timings-60": 2, "timings-eof": 0,
    "timings-garbage": 0, "timings-negative": 4, "timings-omitted-hours": 3, "timings-too-long": 2,
    "timings-too-short": 2, "whitespace-chars": 3, "text": 5, "tags": 28, "entities": 25,
}  # fmt: skip
"""How many cues the files hold that are not marked invalid (counted in the files by hand)."""
LIBRARY_DIFFERS = {"nulls", "timings-garbage", "timings-too-short", "whitespace-chars"}
"""webvtt-py 0.5 takes cues there that the files mark invalid (its times are looser than the standard's)."""


def text_of(path: Path) -> str:
    return path.read_bytes().decode("utf-8")


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_no_invalid_cue_is_taken(path: Path) -> None:
    """What the W3C marks invalid is left out, and the count is right where the file states it."""
    found = cues(text_of(path))
    assert not [c for c in found if c.text.strip() == "invalid"]
    if path.stem in COUNTS:
        assert len(found) == COUNTS[path.stem]


@pytest.mark.parametrize("path", [p for p in CASES if p.stem not in LIBRARY_DIFFERS], ids=lambda p: p.stem)
def test_times_agree_with_the_library(path: Path) -> None:
    """Number and times of the cues are webvtt-py's."""
    ours = [(round(c.start_s, 3), round(c.end_s, 3)) for c in cues(text_of(path))]
    theirs = [(_seconds(c.start), _seconds(c.end)) for c in library.from_string(text_of(path))]
    assert ours == theirs


def _seconds(stamp: str) -> float:
    hours, minutes, seconds = stamp.split(":")
    return round(int(hours) * 3600 + int(minutes) * 60 + float(seconds), 3)


def test_times_of_the_standard() -> None:
    """60 hours are right, 60 minutes or seconds are not (timings-60)."""
    path = Path(__file__).parent / "webvtt-cases" / "timings-60.vtt"
    assert [(c.start_s, c.end_s, c.text) for c in cues(text_of(path))] == [
        (0.0, 216001.0, "text1"),
        (216000.0, 216001.0, "text2"),
    ]


def test_the_signature() -> None:
    """'WEBVTT' alone, or followed by a blank, a tab or a line end (W3C WebVTT, file structure)."""
    assert all(is_webvtt(t) for t in ("WEBVTT", "WEBVTT\n", "WEBVTT x", "WEBVTT\tx", "\ufeffWEBVTT\r\n"))
    assert not any(is_webvtt(t) for t in ("WEBVTTX", "webvtt", " WEBVTT", "", "WEBVT"))
    with pytest.raises(ValueError, match="signature"):
        cues("nothing")


def test_markup_is_taken_out() -> None:
    """Voices, classes and character references."""
    assert plain("<v Nora>The <c.red>nine</c> &amp; ten</v>") == "The nine & ten"
