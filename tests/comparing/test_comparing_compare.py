"""Verdicts and sentences on shots of our own."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from lessonkit.comparing import words
from lessonkit.comparing.compare import compare
from lessonkit.model import Event, Intent, Landing, Plan, Pocketed, SeenShot, Table

TABLE = Table("9ft", 2540.0, 1270.0)
GHOST = (1949.0, 875.0)
END = (1700.0, 1000.0)
PLAN = Plan(
    9, "foot-left", "stun", None, None, None, None, ((1500.0, 500.0), GHOST, END), "predicted", ghost=GHOST
)


def shot(end: tuple[float, float] | None, made: bool = True, **fields: Any) -> SeenShot:
    points = [(1.0, 1500.0, 500.0), (1.4, *GHOST), (4.0, *(end or (1270.0, 0.0)))]
    pocketed = [Pocketed(9, "foot-left", 2.0)] if made else []
    if end is None:
        pocketed.append(Pocketed(0, "side-right", 4.0))
    base: dict[str, Any] = {
        "number": 1, "strike_s": 1.0, "rest_s": 4.0, "layout_before": {0: (1500.0, 500.0), 9: (2000.0, 900.0)},
        "layout_after": {0: end} if end else {}, "doubtful": (), "cue_path": np.array(points),
        "paths": {9: np.array([[1.4, 2000.0, 900.0], [2.0, 2520.0, 1250.0]])},
        "events": (Event(1.4, "ball", (0, 9)),), "pocketed": tuple(pocketed), "fullness": 0.8,
    }  # fmt: skip
    return SeenShot(**{**base, **fields})


def test_as_planned() -> None:
    c = compare(shot((1700.0, 1040.0)), TABLE, PLAN, Intent(ball=9))
    assert (c.called_made, c.verdict, c.landing_error_mm) == (True, "as planned", 40.0)
    assert c.sentence == "The nine dropped, and the cue ball stopped 40 mm from its planned place."
    assert c.path_distance_mm is not None and 0 < c.path_distance_mm < 40


@pytest.mark.parametrize(
    ("end", "verdict", "said"),
    [
        ((1860.0, 920.0), "short", "18 cm short of its planned place"),
        ((1520.0, 1090.0), "long", "20 cm past its planned place"),
        ((1610.0, 800.0), "wide", "22 cm wide of its planned place"),
    ],
)
def test_where_it_stopped_instead(end: tuple[float, float], verdict: str, said: str) -> None:
    c = compare(shot(end), TABLE, PLAN, Intent(ball=9))
    assert c.verdict == verdict
    assert c.sentence == f"The nine dropped, but the cue ball stopped {said}."


def test_a_place_in_figures_is_what_the_landing_is_held_to() -> None:
    intent = Intent(ball=9, landing=Landing((1700.0, 1300.0), "there", True))
    assert compare(shot(END), TABLE, PLAN, intent).landing_error_mm == 300.0
    wide = Intent(ball=9, landing=Landing((1700.0, 1000.0), "the middle", False, 300.0))
    assert compare(shot((1700.0, 1250.0)), TABLE, PLAN, wide).verdict == "as planned"


def test_outside_the_named_zone_is_not_as_planned() -> None:
    """The planned way may end at the zone's rim: then the zone's width from there reaches outside it."""
    zone = Intent(ball=9, landing=Landing((1700.0, 760.0), "the middle", False, 300.0))
    assert (
        compare(shot((1700.0, 1000.0)), TABLE, PLAN, zone).verdict == "as planned"
    )  # as the planned way ends
    assert compare(shot((1700.0, 1230.0)), TABLE, PLAN, zone).verdict != "as planned"
    assert (
        compare(shot((1700.0, 560.0)), TABLE, PLAN, zone).verdict == "as planned"
    )  # far from there, but in the zone


def test_scratch_has_no_landing_error() -> None:
    c = compare(shot(None), TABLE, PLAN, Intent(ball=9))
    assert (c.verdict, c.landing_error_mm) == ("scratch", None)
    assert (
        c.sentence
        == "The nine dropped, but so did the cue ball in the right side pocket, 3.0 seconds after the strike."
    )


def test_a_miss_is_told_with_its_distance() -> None:
    path = np.array([[1.4, 2000.0, 900.0], [2.0, 2400.0, 1240.0], [2.5, 2300.0, 1000.0]])
    after = {0: END, 9: (2300.0, 1000.0)}
    c = compare(shot(END, made=False, paths={9: path}, layout_after=after), TABLE, PLAN, Intent(ball=9))
    assert (c.called_made, c.verdict) == (False, "missed")
    assert c.sentence is not None and c.sentence.startswith(
        "The nine missed the middle of the foot-left corner by "
    )
    path = np.array([[1.4, 2000.0, 900.0], [2.0, 2495.0, 1225.0], [2.5, 2300.0, 1000.0]])
    c = compare(shot(END, made=False, paths={9: path}, layout_after=after), TABLE, PLAN, Intent(ball=9))
    assert c.sentence == "The nine rattled in the foot-left corner and came to rest 30 cm from it."
    c = compare(shot(END, made=False, paths={}), TABLE, PLAN, Intent(ball=9))
    assert c.sentence is not None and "without touching it" in c.sentence


def test_a_ball_in_another_pocket_is_not_made() -> None:
    seen = shot(END, made=False, pocketed=(Pocketed(9, "side-left", 2.5),))
    c = compare(seen, TABLE, PLAN, Intent(ball=9))
    assert c.called_made is False and c.sentence is not None
    assert "left side pocket instead of the foot-left corner" in c.sentence


def test_rails_count_after_the_first_ball_only() -> None:
    events = (
        Event(1.2, "cushion", (0,), "right"),
        Event(1.4, "ball", (0, 9)),
        Event(1.8, "cushion", (9,), "left"),
        Event(2.0, "cushion", (0,), "foot"),
        Event(2.5, "cushion", (0,), "left"),
    )
    assert compare(shot(END, events=events), TABLE, PLAN, Intent(ball=9)).rails_actual == 2
    assert compare(shot(END, events=events[:1]), TABLE, PLAN, Intent(ball=9)).rails_actual is None


def test_nothing_planned_nothing_measured() -> None:
    empty = Plan(None, None, None, None, None, None, None, (), None)
    c = compare(shot(END), TABLE, empty, Intent())
    assert (c.called_made, c.landing_error_mm, c.path_distance_mm, c.verdict, c.sentence) == (None,) * 5


@pytest.mark.parametrize(
    ("mm", "said"), [(0.4, "0 mm"), (42.2, "42 mm"), (99.6, "10 cm"), (180.0, "18 cm"), (1270.0, "1.3 m")]
)
def test_lengths_as_said(mm: float, said: str) -> None:
    assert words.length(mm) == said


def test_one_and_many() -> None:
    assert words.count(1, "rail") == "1 rail" and words.count(2, "rail") == "2 rails"


def test_a_ball_that_is_not_on_the_table_is_not_missed() -> None:
    """Plan and shot are not compared, and the sentence says why; a ball that dropped was there, whatever the layout says."""
    seen = shot(
        (1700.0, 1040.0), made=False, layout_before={0: (1500.0, 500.0), 4: (2000.0, 900.0)}, paths={}
    )
    c = compare(seen, TABLE, PLAN, Intent(ball=9))
    assert (c.verdict, c.called_made, c.landing_error_mm, c.cause) == ("not compared", None, None, None)
    assert (
        c.sentence == "The nine was not on the table before this shot, so it is not compared with its note."
    )
    unseen = shot((1700.0, 1040.0), layout_before={0: (1500.0, 500.0)})
    assert compare(unseen, TABLE, PLAN, Intent(ball=9)).called_made is True
