"""The words for balls, pockets and shots."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lessonkit.lesson.phrases import (
    ball_name,
    chapter_title,
    counted,
    fullness_words,
    headline,
    listed,
    outcome,
    plan_sentences,
    pocket_name,
)
from lessonkit.model import Event, Plan, Pocketed, Shot
from tests.lesson.made import note, seen, shot


def test_names_are_plain_words() -> None:
    """Balls by word, pockets as players say them."""
    assert [ball_name(n) for n in (0, 1, 9, 15)] == ["the cue ball", "the one", "the nine", "the fifteen"]
    assert pocket_name("side-left") == "left side pocket"
    assert pocket_name("foot-left") == "foot-left corner"
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert [counted(n, "cushion") for n in (0, 1, 2, 12)] == ["no cushions", "one cushion", "two cushions", "12 cushions"]  # fmt: skip


def test_headline_and_title_name_the_call() -> None:
    """Ball, pocket and stroke of the settled plan."""
    s = shot(3, 5.0, 9.0, "Nine.")
    assert headline(s) == "Shot 3 · nine, foot-left corner · draw, firm, left side"
    assert chapter_title(s) == "Shot 3: nine, foot-left"
    assert plan_sentences(s) == "The nine, foot-left corner. Draw, firm, left side."


def test_the_note_stands_in_for_a_plan_that_could_not_be_made() -> None:
    """What was said is used though no way could be planned."""
    s = Shot(seen(2, 5.0, 9.0), note("Seven, side.", ball=7, pocket="side-left", side="none"))
    assert headline(s) == "Shot 2 · seven, left side pocket · no side"


def test_what_custom_fills_is_not_put_into_the_players_mouth() -> None:
    """A side that no word told is left out of headlines; one told by the layout's terms is named so."""
    silent = Shot(
        seen(2, 5.0, 9.0), note("Stop it.", ball=9, stroke="stop", side="none", by_custom=("side",))
    )
    assert headline(silent) == "Shot 2 · nine · stop"
    told = Shot(seen(2, 5.0, 9.0), note("Inside.", ball=9, stroke="stun", side_relative="inside"))
    assert headline(told) == "Shot 2 · nine · stun, inside side"


def test_without_a_call_the_outcome_names_the_shot() -> None:
    """What dropped, as what dropped; nothing invented where nothing dropped."""
    assert headline(shot(4, 5.0, 9.0)) == "Shot 4 · nine drops, foot-left corner"
    assert headline(shot(4, 5.0, 9.0, pocketed=())) == "Shot 4"
    empty = Plan(None, None, None, None, None, None, None, (), None)
    assert chapter_title(Shot(seen(5, 5.0, 9.0, pocketed=()), plan=empty)) == "Shot 5"


@pytest.mark.parametrize(
    ("fullness", "words"),
    [
        (1.0, "full"),
        (0.76, "three-quarter ball"),
        (0.5, "half ball"),
        (0.26, "quarter ball"),
        (0.05, "very thin"),
    ],
)
def test_fullness_is_said_in_quarters(fullness: float, words: str) -> None:
    """The nearest quarter, as players say it (common practice, no source)."""
    assert fullness_words(fullness) == words


def test_outcome_tells_what_the_balls_did() -> None:
    """One ball, several balls, none, the cue ball's own drop, and no contact at all."""
    one = seen(1, 5.0, 9.0)
    told = outcome(one)
    assert told is not None
    assert told.words == "The nine, hit half ball, drops in the foot-left corner."
    assert told.t_s == one.pocketed[0].t_s
    cue = Pocketed(0, "side-right", 7.0)
    assert _words(one, pocketed=(*one.pocketed, cue)).endswith("; so does the cue ball.")
    assert _words(one, pocketed=()) == "The nine, hit half ball, stays on the table."
    assert _words(one, pocketed=(), fullness=None) == "The nine stays on the table."
    assert _words(one, pocketed=(), events=()) == ""
    assert _words(one, pocketed=(cue,), events=()) == "The cue ball drops in the right side pocket."
    many = tuple(Pocketed(n, "foot-left", 6.0) for n in (3, 5))
    assert _words(one, pocketed=many) == "The three and five drop."
    rail = (Event(5.5, "cushion", (0,), "foot"),)
    assert _words(one, pocketed=(), events=rail) == ""


def _words(s: object, **changes: object) -> str:
    told = outcome(replace(s, **changes))  # type: ignore[type-var]
    return told.words if told else ""
