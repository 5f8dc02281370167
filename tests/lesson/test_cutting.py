"""The cut list: pieces without gaps in whole frames, footage within its bounds, words that can be read."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.lesson.cutlist import CutList, frames_for, frames_in, output_rate, seconds
from lessonkit.lesson.cutting import build_cuts
from lessonkit.model import Analysis, Footage
from tests.lesson.made import SENTENCE, analysis, note, rack, shot

TEXT = "0:04 The nine goes in the foot-left corner. Draw, firm, left side (to 1500, 720) for the four."
RATES = st.sampled_from([23.976, 24.0, 25.0, 29.97, 30.0, 42.3, 50.0, 59.94, 60.0, 120.0, 240.0])


@pytest.mark.parametrize(
    ("fps", "rate"),
    [(23.976, 24), (25, 25), (29.97, 30), (42.3, 50), (59.94, 60), (120, 60), (240, 60), (15, 24), (0, 30)],
)
def test_output_rate_is_the_usual_rate_nearest_to_the_footage(fps: float, rate: int) -> None:
    """By ratio; footage that does not tell gives 30."""
    assert output_rate(Footage("a.mp4", 1, 1, fps, 1, 1.0)) == rate


@given(st.integers(0, 10**6), st.sampled_from([24, 25, 30, 50, 60]))
def test_frames_and_seconds_agree(frames: int, fps: int) -> None:
    """A time made from frames gives the same frames back, both ways of rounding."""
    t = seconds(frames, Fraction(fps))
    assert frames_in(t, Fraction(fps)) == frames == frames_for(t, Fraction(fps))


def check(cuts: CutList, a: Analysis) -> None:
    """What holds for every cut list."""
    rate = output_rate(a.footage)
    assert cuts.pieces[0].start_s == 0.0
    for p in cuts.pieces:
        assert p.duration_s > 0
        for t in (p.start_s, p.duration_s):
            assert abs(t * rate - round(t * rate)) < 1e-6
    for p, q in pairwise(cuts.pieces):
        assert abs(p.end_s - q.start_s) < 1e-9
    for before, after in pairwise(cuts.cues):
        gap = after.start_s - before.end_s
        assert gap == pytest.approx(0, abs=1e-9) or gap >= 1.0 - 1e-6
    for c in cuts.cues:
        shown = c.end_s - c.start_s
        assert 0.8333 <= shown <= 7.0 + 1e-9
        assert len(c.text) / shown <= 17.0
        assert any(p.start_s - 1e-9 <= c.start_s and c.end_s <= p.end_s + 1e-9 for p in cuts.pieces)
        assert any(h.start_s - 1e-9 <= c.start_s and c.end_s <= h.end_s + 1e-9 for h in cuts.chapters)


def test_a_shot_is_plan_play_result_between_cards() -> None:
    """The plan still says the note, the result still the measured sentence."""
    a = rack([TEXT])
    cuts = build_cuts(a)
    check(cuts, a)
    assert [p.kind for p in cuts.pieces] == ["title", "plan", "play", "result", "table"]
    plan, play, result = cuts.pieces[1:4]
    words = " ".join(c.text.replace("\n", " ") for c in cuts.cues if plan.start_s <= c.start_s < plan.end_s)
    assert words == "The nine goes in the foot-left corner. Draw, firm, left side for the four."
    assert (play.source_start_s, play.source_end_s) == pytest.approx((4.3, 9.6), abs=0.034)
    told = [c.text.replace("\n", " ") for c in cuts.cues if c.start_s >= result.start_s]
    assert told == [SENTENCE]
    assert plan.duration_s >= 3
    assert result.duration_s >= 3


def test_a_shot_without_note_is_only_played() -> None:
    """No still without words to show; what happened is said during play."""
    a = rack([None])
    cuts = build_cuts(a)
    check(cuts, a)
    assert [p.kind for p in cuts.pieces] == ["title", "play", "table"]
    assert [c.text.replace("\n", " ") for c in cuts.cues] == [
        "The nine, hit half ball, drops in the foot-left corner."
    ]


def test_stills_take_the_moment_when_nobody_stands_in_front() -> None:
    """clear_before_s and clear_after_s where the footage has them, else strike and rest."""
    cuts = build_cuts(analysis(shot(1, 5.0, 9.0, TEXT, clear_before_s=3.2, clear_after_s=11.0)))
    assert [p.source_start_s for p in cuts.pieces if p.kind in ("plan", "result")] == [3.2, 11.0]
    cuts = build_cuts(analysis(shot(1, 5.0, 9.0, TEXT)))
    assert [p.source_start_s for p in cuts.pieces if p.kind in ("plan", "result")] == [5.0, 9.0]


def test_play_keeps_within_the_footage_and_off_the_neighbours() -> None:
    """Not before 0, not past the end, not into the next strike, not before the last rest."""
    a = analysis(shot(1, 0.3, 4.0), shot(2, 4.2, 7.9), duration_s=8.0)
    first, second = [p for p in build_cuts(a).pieces if p.kind == "play"]
    assert first.source_start_s == 0.0
    assert first.source_end_s is not None
    assert first.source_end_s <= 4.2
    assert second.source_start_s == 4.0
    assert second.source_end_s is not None
    assert second.source_end_s <= 8.0


def test_further_notes_go_where_they_look() -> None:
    """A plan B before the shot, a remark after it to the result."""
    s = shot(1, 5.0, 9.0, TEXT)
    more = (note("Plan B: the four, softly.", 9.5, plan_b=True), note("Too much left side there.", 9.5))
    cuts = build_cuts(analysis(replace(s, more_notes=more)))
    plan, result = (next(p for p in cuts.pieces if p.kind == k) for k in ("plan", "result"))
    on_plan = [c.text for c in cuts.cues if plan.start_s <= c.start_s < plan.end_s]
    on_result = [c.text for c in cuts.cues if result.start_s <= c.start_s < result.end_s]
    assert "Plan B: the four, softly." in on_plan
    assert on_result[-1] == "Too much left side there."


def test_no_shots_gives_a_title_card() -> None:
    """Footage without a shot still makes a lesson that ends."""
    cuts = build_cuts(analysis())
    assert [p.kind for p in cuts.pieces] == ["title"]
    assert cuts.cues == ()


@settings(max_examples=60, deadline=None)
@given(st.lists(st.one_of(st.none(), st.text(max_size=200)), max_size=5), RATES)
def test_whatever_the_notes_say_the_list_holds(texts: list[str | None], fps: float) -> None:
    """Any number of shots, any words, any rate."""
    a = rack(texts, fps)
    check(build_cuts(a), a)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 30), st.floats(0, 30)), max_size=4), st.floats(0.1, 30), RATES)
def test_odd_times_still_make_a_list(spans: list[tuple[float, float]], duration_s: float, fps: float) -> None:
    """Shots that touch, overlap, last no time or lie past the end of the footage."""
    shots = [shot(i + 1, min(s), max(s), TEXT) for i, s in enumerate(sorted(spans))]
    a = analysis(*shots, duration_s=duration_s, fps=fps)
    cuts = build_cuts(a)
    check(cuts, a)
    for p in cuts.pieces:
        if p.kind == "play":
            assert p.source_start_s is not None
            assert p.source_end_s is not None
            assert 0 <= p.source_start_s < p.source_end_s <= duration_s + 1e-6
