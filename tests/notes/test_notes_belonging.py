"""Which note belongs to which shot, and which of them is the plan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.model import Intent, Note, SeenShot, Table
from lessonkit.notes.belonging import assign, left_over, primary, strays
from lessonkit.notes.sentences import understand

TABLE = Table("9ft", 2540.0, 1270.0)


def shot(number: int, strike_s: float, rest_s: float) -> SeenShot:
    return SeenShot(number, strike_s, rest_s, {}, {}, (), np.zeros((0, 3)), {}, (), (), None)


def note(t_s: float, text: str, end_s: float | None = None) -> Note:
    return Note(t_s, text, 1, understand(text, TABLE), end_s)


SHOTS = [shot(1, 10.0, 14.0), shot(2, 20.0, 25.0), shot(3, 31.0, 35.0)]


def test_a_note_belongs_to_the_shot_it_precedes_or_overlaps() -> None:
    """Before the strike, at it, while the balls roll, and right after the rest."""
    for t, owner in (
        (0.0, 0),
        (9.9, 0),
        (10.0, 0),
        (13.0, 0),
        (14.0, 0),
        (14.1, 1),
        (24.0, 1),
        (26.0, 2),
        (35.0, 2),
    ):
        groups = assign([note(t, "The nine in the foot-left.")], SHOTS)
        assert [bool(g) for g in groups] == [i == owner for i in range(3)], t


def test_notes_after_the_last_shot_belong_to_none() -> None:
    """They are told, so that the caller can warn."""
    late = note(40.0, "The nine.")
    assert left_over([note(1.0, "Ten."), late], SHOTS) == (late,)
    assert not any(assign([late], SHOTS))
    assert left_over([late], []) == (late,)
    assert left_over([Note(None, "x", 1, Intent())], SHOTS)


def test_cues_of_one_shot_are_understood_as_one() -> None:
    """A sentence that runs over cues, the last of which overlaps the stroke; a cue over two shots goes where it is longer."""
    talk = [
        note(5.0, "I play the nine in the", 7.0), note(7.0, "foot-left corner with", 9.5), note(9.5, "a soft draw.", 10.5),
        note(13.5, "And now the ten, side right,", 19.0), note(19.0, "stop shot.", 20.4),
    ]  # fmt: skip
    one, two, three = assign(talk, SHOTS)
    assert len(one) == 1
    assert one[0].text.startswith("I play the nine in the foot-left corner with a soft draw.")
    assert (one[0].intent.ball, one[0].intent.pocket, one[0].intent.stroke) == (9, "foot-left", "draw")
    assert three == ()
    assert two[0].intent.stroke == "stop"


def test_a_plan_and_its_fallback_part() -> None:
    """Both parts in one note, or the fallback as a note of its own."""
    both = note(5.0, "The nine in the foot-left with draw. If that fails, the six in the side-right, soft.")
    (first, *_) = assign([both], SHOTS)
    plan, fallback, rest = primary(first)
    assert plan is not None
    assert fallback is not None
    assert (plan.intent.ball, plan.intent.plan_b, fallback.intent.ball, fallback.intent.plan_b) == (
        9,
        False,
        6,
        True,
    )
    assert fallback.intent.pocket == "side-right"
    assert rest == ()
    apart = (
        note(5.0, "Nice lighting tonight."),
        note(6.0, "Nine, foot-left."),
        note(7.0, "Plan B: six, side-right."),
    )
    plan, fallback, rest = primary(apart)
    assert (plan, fallback, rest) == (apart[1], apart[2], (apart[0],))


def test_a_lone_plan_b_is_the_plan() -> None:
    """The player fell back on it."""
    lone = note(5.0, "Plan B: six, side-right.")
    assert primary((lone,)) == (lone, None, ())
    assert primary(()) == (None, None, ())


def test_a_note_for_a_ball_that_is_not_there_gives_way() -> None:
    """A shot that was not seen leaves its note to the next one, whose own note comes later; alone it stays, and is told of."""
    stray, own = note(4.0, "Nine in the head-left."), note(6.0, "Six in the side-right with stop.")
    layout = {0: (600.0, 600.0), 6: (1900.0, 400.0)}
    assert primary((stray, own), layout)[0] == own
    assert primary((stray, own), layout)[2] == (stray,)
    assert primary((stray, own))[0] == stray
    assert primary((stray,), layout)[0] == stray
    assert strays((stray, own, note(7.0, "Nice lighting tonight.")), layout) == (stray,)


LATER = [*SHOTS, shot(4, 80.0, 84.0)]


def test_notes_of_shots_that_were_not_seen_do_not_gather_on_the_next() -> None:
    """Notes of this page stand a second or two before their shots: those half a minute off are of others, and are told."""
    own = [note(8.5, "One, foot-left."), note(19.0, "Two, foot-left."), note(29.0, "Three, foot-left.")]
    strange = [
        note(45.0, "Four, side-left."),
        note(58.0, "Five, side-right."),
        note(60.0, "He takes his time."),
    ]
    last = note(78.0, "Six, head-left.")
    groups = assign([*own, *strange, last], LATER)
    assert [g[0].intent.ball for g in groups[:3]] == [1, 2, 3]
    assert groups[3] == (strange[2], last)
    assert left_over([*own, *strange, last], LATER) == tuple(strange[:2])


def test_without_other_shots_to_go_by_the_nearest_note_tells_what_is_far() -> None:
    """Two notes for one shot, 35 seconds and one before it."""
    far, near = note(45.0, "Four, side-left."), note(79.0, "Six, head-left.")
    assert left_over([far, near], [LATER[3]]) == (far,)


@pytest.mark.parametrize("text", ["Six, head-left.", "Plan B: four, side-left.", "Nice lighting tonight."])
def test_what_may_be_said_long_before_a_shot_stays_with_it(text: str) -> None:
    """The same ball again, a fallback, and a remark."""
    far, near = note(45.0, text), note(79.0, "Six, head-left.")
    assert left_over([far, near], [LATER[3]]) == ()


def test_a_change_of_mind_stays_with_its_shot() -> None:
    """Another ball named a few seconds before."""
    both = [note(74.0, "Four, side-left."), note(79.0, "No: six, head-left.")]
    assert left_over(both, LATER) == ()


def test_a_ball_that_went_between_two_seen_shots_tells_of_one_that_was_not_seen() -> None:
    """It lay there after the last shot and is gone before this one, for which another note stands."""
    there = {0: (600.0, 600.0), 4: (900.0, 300.0), 6: (1900.0, 400.0)}
    without = {n: p for n, p in there.items() if n != 4}
    shots = [replace(LATER[2], layout_after=there), replace(LATER[3], layout_before=without)]
    gone, own = note(76.0, "Four, side-left."), note(79.0, "Six, head-left.")
    assert left_over([gone, own], shots) == (gone,)
    assert left_over([gone], shots) == ()
    kept = [shots[0], replace(shots[1], layout_before=there)]
    assert left_over([gone, own], kept) == ()


@settings(deadline=None)
@given(st.lists(st.floats(-4.0, 4.0), min_size=4, max_size=4))
def test_one_note_for_each_shot_is_never_left_out(offsets: list[float]) -> None:
    """Made before or during its shot, as it may be: each belongs to its own."""
    balls = {4: (300.0, 300.0), 5: (600.0, 300.0), 6: (900.0, 300.0), 7: (1200.0, 300.0)}
    shots = [replace(s, layout_before=balls, layout_after=balls) for s in LATER]
    notes = [
        Note(max(0.0, s.strike_s + o), "", 1, Intent(ball=b, pocket="foot-left"))
        for s, o, b in zip(shots, offsets, balls, strict=True)
    ]
    assert assign(notes, shots) == [(n,) for n in notes] and left_over(notes, shots) == ()


def test_a_page_of_notes_made_after_their_shots_loses_only_the_last() -> None:
    """One second after each rest: none gives way to another."""
    notes = [
        note(s.rest_s + 1.0, f"The {b}, foot-left.")
        for s, b in zip(LATER, ("four", "five", "six", "nine"), strict=True)
    ]
    assert left_over(notes, LATER) == (notes[-1],)


def test_a_note_made_right_after_its_shot_goes_there_if_the_next_has_its_own() -> None:
    """A second after the third shot's rest, forty before the fourth, which has a note of its own."""
    balls = {4: (300.0, 300.0), 6: (900.0, 300.0)}
    shots = [replace(s, layout_before=balls) for s in LATER]
    own = [note(9.0, "Four, foot-left."), note(19.0, "Four, foot-right.")]
    after, last = note(36.0, "Four, side-left."), note(79.0, "Six, head-left.")
    assert assign([*own, after, last], shots)[2:] == [(after,), (last,)]
    assert assign([*own, note(29.0, "Six, side-left."), after, last], shots)[3] == (last,)
