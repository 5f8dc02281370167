"""Captions: the limits hold whatever a note says, and cuts fall where a reader pauses."""

from __future__ import annotations

import tomllib
import unicodedata
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.lesson import captions
from lessonkit.lesson.captions import (
    clusters,
    cue_frames,
    measure,
    place_within,
    plain,
    reading_s,
    said,
    split_cues,
)
from tests.running import ROOT

SOURCES: dict[str, Any] = tomllib.loads((ROOT / "shared" / "captions.toml").read_text(encoding="utf-8"))
PROSE = st.text(alphabet="abcdefghi ,.;é🎱漢יعx\n", max_size=400)
ANY_TEXT = st.one_of(st.text(max_size=300), PROSE)


def test_limits_are_the_published_ones() -> None:
    """Lines, characters, speed and times are no looser than the guides' (shared/captions.toml)."""
    guide, bbc = SOURCES["netflix"], SOURCES["bbc"]
    assert guide["max_line_chars"] == captions.MAX_LINE_CHARS
    assert captions.MAX_LINES == guide["max_lines"] == bbc["max_lines_landscape"]
    assert guide["adult_cps_older_template"] == captions.MAX_CPS
    assert captions.AIM_CPS < captions.MAX_CPS
    assert guide["min_duration_s"] <= captions.MIN_CUE_S < guide["min_duration_s"] + 0.001
    assert guide["max_duration_s"] == captions.MAX_CUE_S
    assert bbc["gap_min_s"] == captions.MIN_GAP_S
    assert bbc["target_minimum_seconds_per_word"] == captions.AIM_S_PER_WORD


@settings(max_examples=300, deadline=None)
@given(ANY_TEXT)
def test_every_cue_is_within_the_limits_and_no_word_is_lost(text: str) -> None:
    """Two lines of 42 characters at most, readable in 7 s at 17 characters a second, all words kept in order."""
    cues = split_cues(text)
    for cue in cues:
        lines = cue.split("\n")
        assert len(lines) <= 2
        assert all(0 < len(line) <= 42 and line == line.strip() for line in lines)
        assert 0.8333 <= reading_s(cue) <= 7.0
        assert len(cue) / reading_s(cue) <= 17.0
    assert "".join("".join(cues).split()) == "".join(plain(text).split())


@settings(max_examples=200, deadline=None)
@given(st.lists(st.sampled_from(SOURCES["grapheme_clusters"]["whole"]), min_size=1, max_size=120))
def test_what_a_reader_sees_as_one_character_is_never_torn(signs: list[str]) -> None:
    """Each line of a text of whole grapheme clusters (UAX #29) is again made of whole ones."""
    for cue in split_cues("".join(signs)):
        for line in cue.split("\n"):
            rest = line
            while rest:
                first = max((s for s in set(signs) if rest.startswith(s)), key=len, default="")
                assert first, f"torn before {rest!r}"
                rest = rest[len(first) :]


@pytest.mark.parametrize("sign", SOURCES["grapheme_clusters"]["whole"])
def test_published_clusters_are_one(sign: str) -> None:
    """The samples of UAX #29 are one cluster, and with a letter behind two."""
    assert clusters(sign) == [sign]
    assert clusters(sign + "a") == [sign, "a"]


def test_two_flags_are_two() -> None:
    """Regional indicators pair up from the left (UAX #29, GB12 and GB13)."""
    assert clusters("🇫🇷🇩🇪") == ["🇫🇷", "🇩🇪"]


def test_cuts_fall_at_sentences_and_phrases() -> None:
    """A sentence that fits stays whole; a longer one is cut before a phrase, not after an article."""
    cues = split_cues(
        "The nine goes in the foot-left corner. Draw it back off the foot rail with left side, "
        "so that the cue ball comes to the middle of the table for the four in the side."
    )
    assert cues[0].replace("\n", " ") == "The nine goes in the foot-left corner."
    for cue in cues:
        for line in cue.split("\n"):
            assert line.split()[-1].lower() not in ("the", "a", "of", "to")


@pytest.mark.parametrize("text", [
    "One rail, and I want the cue ball in the middle third on the right, looking at the eight.",
    "The white comes off the foot cushion once and should settle around the foot spot, ready for the eight.",
    "A soft draw brings it off the side rail and back through the gap between the four and the six to the head spot.",
])  # fmt: skip
def test_no_scrap_of_a_sentence_stands_alone(text: str) -> None:
    """Two or three words torn off the end of a sentence are no caption: each holds 25 characters or more."""
    assert all(measure(cue) >= 25 for cue in split_cues(text)), split_cues(text)


def test_a_long_word_is_cut_at_its_own_joints_first() -> None:
    """An address is cut after slashes and hyphens; a plain long word in about equal parts."""
    address = "https://example.org/a/rather/long/way/to-a-page/that-never-ends/and/more"
    lines = [line for cue in split_cues(address) for line in cue.split("\n")]
    assert all(line[-1] in "/-." for line in lines[:-1])
    halves = [line for cue in split_cues("x" * 60) for line in cue.split("\n")]
    assert sorted(map(len, halves)) == [30, 30]


def test_wide_characters_count_twice() -> None:
    """A line of Han holds 21, and does not begin with a closing mark."""
    lines = [
        x for cue in split_cues("白球を九番の左に置いて手前のレールで止める。" * 3) for x in cue.split("\n")
    ]
    assert all(measure(x) <= 42 and len(x) <= 21 for x in lines)
    assert all(unicodedata.category(x[0]) not in ("Po", "Pe") for x in lines)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("0:05 One in the foot-right corner. Stop it.", "One in the foot-right corner. Stop it."),
        ("[1:02:03.5] - Nine ball.", "Nine ball."),
        ("Rests around the foot spot (to 1852, 498), after one rail.", "Rests around the foot spot, after one rail."),
        ("Off the rail (1852 mm, 498 mm).", "Off the rail."),
        ("Two tips (or so) of left.", "Two tips (or so) of left."),
        ("3 ball in the side.\n\tSoft.", "3 ball in the side. Soft."),
        ("9-ball in the corner", "9-ball in the corner"),
        ("12:30", "12:30"),
    ],
)  # fmt: skip
def test_a_note_is_said_without_time_stamp_and_figures(text: str, words: str) -> None:
    """Only what a viewer has no use for is taken off, and a note of nothing else stays."""
    assert said(text) == words


@given(st.lists(st.text(min_size=1, max_size=60), max_size=6), st.sampled_from([24, 25, 30, 50, 60]))
@settings(deadline=None)
def test_cues_of_a_still_fill_it(texts: list[str], fps: int) -> None:
    """Each is shown as long as it needs and no longer than 7 s; together at least as long as asked."""
    cues = tuple(c for t in texts for c in split_cues(t))
    rate = Fraction(fps)
    frames = cue_frames(cues, rate, 3.0)
    assert len(frames) == len(cues)
    for cue, n in zip(cues, frames, strict=True):
        assert reading_s(cue) - 1e-5 <= n / fps <= 7.0
    assert not cues or sum(frames) >= 3 * fps


@given(st.integers(0, 900), st.integers(1, 900), st.sampled_from([24, 25, 30, 60]), st.integers(1, 84))
def test_a_cue_on_moving_pictures_keeps_its_distance(wanted: int, length: int, fps: int, chars: int) -> None:
    """It starts 1 s or more into the piece, ends with it or 1 s before, within its limits, or is not there."""
    text = split_cues("x" * chars)[0]
    place = place_within(text, wanted, length, Fraction(fps))
    if place is None:
        assert length / fps < 1.0 + max(2.0, reading_s(text)) + 2 / fps
        return
    start, frames = place
    assert start >= fps
    assert start + frames == length or length - start - frames >= fps
    assert reading_s(text) - 1e-5 <= frames / fps <= 7.0


def test_nothing_visible_gives_no_cue() -> None:
    """White space, controls and marks without a letter are not shown as empty captions."""
    assert split_cues(" \n\t\u200b\ufeff\x00\u2028") == ()
