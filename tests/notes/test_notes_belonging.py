"""Which note belongs to which shot, and which of them is the plan."""

from __future__ import annotations

import numpy as np

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
