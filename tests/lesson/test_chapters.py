"""Chapters: named by shots, ascending from 0:00, each long enough for a video platform where that is possible."""

from __future__ import annotations

import tomllib
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.lesson import chapters as under_test
from lessonkit.lesson.chapters import build_chapters, platform_caution
from lessonkit.lesson.cutlist import Piece
from lessonkit.lesson.cutting import build_cuts
from tests.lesson.made import analysis, rack, shot
from tests.running import ROOT

PLATFORM = tomllib.loads((ROOT / "shared" / "captions.toml").read_text(encoding="utf-8"))["chapters"][
    "platform"
]


def test_limits_are_the_platforms() -> None:
    """As shared/captions.toml has them."""
    assert PLATFORM["minimum_length_s"] == under_test.MIN_CHAPTER_S
    assert PLATFORM["minimum_count"] == under_test.MIN_CHAPTERS


@settings(max_examples=100, deadline=None)
@given(st.lists(st.floats(0.04, 40.0), min_size=1, max_size=12))
def test_chapters_are_consecutive_and_long_enough(lengths: list[float]) -> None:
    """From 0 to the end without gaps, each at least 10 s unless the whole is shorter, no more could be had."""
    pieces, at = [], 0.0
    for i, n in enumerate(lengths):
        pieces.append(Piece("play", at, n, i + 1))
        at += n
    found = build_chapters(pieces, [shot(i + 1, 1.0, 2.0) for i in range(len(lengths))])
    assert found[0].start_s == 0.0
    assert abs(found[-1].end_s - at) < 1e-6
    assert all(a.end_s == b.start_s for a, b in pairwise(found))
    if at >= 10:
        assert all(c.end_s - c.start_s >= 10 - 1e-5 for c in found)
        assert len(found) >= sum(n >= 10 for n in lengths)
    else:
        assert len(found) == 1


def test_each_shot_of_a_usual_lesson_has_its_chapter() -> None:
    """A shot with a plan, a play and a result lasts more than 10 s; the opening card joins the first."""
    text = "The nine goes in the foot-left corner. Draw it back with left side to the middle for the four."
    cuts = build_cuts(rack([text] * 6))
    titles = [c.title for c in cuts.chapters]
    assert titles == [f"Shot {n}: nine, foot-left" for n in range(1, 7)] + ["All shots in one table"]
    assert platform_caution(cuts.chapters) is None
    starts = [next(p.start_s for p in cuts.pieces if p.shot == n) for n in range(2, 7)]
    assert [c.start_s for c in cuts.chapters[1:6]] == starts


def test_short_shots_share_a_chapter() -> None:
    """Shots without notes take about 5 s each, so two or three share one, and its title names them."""
    cuts = build_cuts(rack([None] * 6))
    assert cuts.chapters[0].title.startswith("Shots 1–2: nine drops")
    assert all(c.end_s - c.start_s >= 10 - 1e-6 for c in cuts.chapters)


def test_a_lesson_too_short_for_chapters_says_so() -> None:
    """One honest chapter, and a sentence for the person."""
    cuts = build_cuts(analysis(shot(1, 2.0, 4.0), duration_s=5.0))
    assert [c.start_s for c in cuts.chapters] == [0.0]
    assert "too short" in str(platform_caution(cuts.chapters))


def test_no_pieces_no_chapters() -> None:
    """An empty list stays empty."""
    assert build_chapters([], []) == ()
