"""What the cue ball ran into against the plan is told, and is not put down to the stroke."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from lessonkit.analysis_file import from_json, to_json
from lessonkit.comparing.compare import compare
from lessonkit.comparing.meetings import Meeting, rolled_to
from lessonkit.comparing.stroke import estimate_stroke
from lessonkit.model import Event, Intent, Landing, Plan, Pocketed, SeenShot, Shot, Strike
from lessonkit.physics.laws import DEFAULT
from tests.comparing.made import QUIET, TABLE, filmed, played
from tests.comparing.strayed import WELL_KNOWN, Planned, planned
from tests.lesson.made import analysis

START, GHOST, END = (600.0, 500.0), (900.0, 500.0), (1500.0, 500.0)
DRAWN = Plan(9, "foot-right", None, None, None, None, None, (START, GHOST, END), "drawn", ghost=GHOST)


def a_shot(events: tuple[Event, ...], end: tuple[float, float], **fields: Any) -> SeenShot:
    """The white goes straight on past the nine and comes to rest at `end`."""
    t = np.linspace(1.4, 3.0, 60)
    to = np.array(fields.pop("turn", END))
    way = np.array(GHOST) + np.linspace(0.0, 1.0, 60)[:, None] * (to - np.array(GHOST))
    track = np.vstack([[1.0, *START], np.column_stack([t, way]), [4.0, *end]])
    base: dict[str, Any] = {
        "number": 1, "strike_s": 1.0, "rest_s": 4.0, "doubtful": (), "fullness": 0.8, "cue_path": track,
        "layout_before": {0: START, 9: (950.0, 480.0), 4: (1560.0, 520.0)}, "layout_after": {0: end},
        "paths": {9: np.array([[1.4, 950.0, 480.0], [2.0, 2520.0, 20.0]])},
        "events": (Event(1.4, "ball", (0, 9)), *events), "pocketed": (Pocketed(9, "foot-right", 2.0),),
    }  # fmt: skip
    return SeenShot(**{**base, **fields})


@pytest.mark.parametrize(
    ("event", "ran_into"),
    [
        (Event(3.0, "ball", (0, 6)), "the six"),
        (Event(3.0, "cushion", (0,), "left"), "the left cushion"),
    ],
)
def test_what_turned_the_cue_ball_off_its_drawn_way_is_named(event: Event, ran_into: str) -> None:
    """A ball beside no drawn way and a cushion at which it does not turn stand in the sentence, the detail and the analysis."""
    c = compare(a_shot((event,), (1100.0, 700.0)), TABLE, DRAWN, Intent(ball=9))
    assert c.sentence is not None and c.sentence.startswith(
        f"The nine dropped, but the cue ball ran into {ran_into} and stopped"
    )
    assert c.detail is not None and f"ran into {ran_into} 2.0 seconds after the strike" in c.detail
    assert c.unplanned == event


def test_a_ball_that_lies_on_the_drawn_way_was_planned() -> None:
    """The way runs up to the four: meeting it is no news."""
    c = compare(a_shot((Event(3.0, "ball", (0, 4)),), (1100.0, 700.0)), TABLE, DRAWN, Intent(ball=9))
    assert c.unplanned is None and c.sentence is not None and "ran into" not in c.sentence


def test_a_ball_that_never_stirred_was_not_run_into() -> None:
    """What is run into moves: a contact with a ball that lies where it lay is not told."""
    event = Event(3.0, "ball", (0, 6))
    seen = a_shot((event,), (1100.0, 700.0))
    lay = (1590.0, 560.0)
    for after, told in (((1591.0, 560.0), False), ((1600.0, 570.0), True)):
        here = replace(
            seen, layout_before={**seen.layout_before, 6: lay}, layout_after={**seen.layout_after, 6: after}
        )
        way = replace(DRAWN, cue_path=(START, GHOST, (1300.0, 500.0)))
        assert (compare(here, TABLE, way, Intent(ball=9)).unplanned is not None) == told


def test_jaws_are_named_as_such() -> None:
    """In a pocket's mouth there is no cushion."""
    seen = a_shot((Event(3.0, "cushion", (0,), "right"),), (1400.0, 300.0), turn=(1220.0, 40.0))
    c = compare(seen, TABLE, DRAWN, Intent(ball=9))
    assert c.sentence is not None and "ran into the jaws of the right side pocket and" in c.sentence


def test_a_touch_that_changes_nothing_is_left_out() -> None:
    """Where the cue ball stops where it would have rolled to (v² / 2 µ g) anyway, the contact explains nothing."""
    mu_g = DEFAULT.mu_roll * 9810.0
    t = np.linspace(0.0, 2.0, 121)
    speed = 400.0
    x = 900.0 + speed * t - 0.5 * mu_g * t**2
    track = np.column_stack([1.4 + t, x, np.full_like(x, 500.0)])
    last = (float(x[-1]), 500.0)
    end = (900.0 + speed**2 / (2 * mu_g), 500.0)
    track = np.vstack([[1.0, *START], track, [6.0, *end]])
    touch = Event(3.4, "ball", (0, 6))
    seen = a_shot((touch,), end, cue_path=track)
    free = rolled_to(seen, TABLE, Meeting(touch, last), DEFAULT)
    assert free == pytest.approx(end, abs=8.0)
    far = replace(DRAWN, cue_path=(START, GHOST, (end[0] - 400.0, 500.0)))
    c = compare(seen, TABLE, far, Intent(ball=9))
    assert (
        c.unplanned is None
        and c.sentence == "The nine dropped, but the cue ball stopped 40 cm past its planned place."
    )
    stopped = replace(seen, layout_after={0: (last[0], 560.0)})
    assert compare(stopped, TABLE, far, Intent(ball=9)).unplanned == touch


def test_what_is_met_before_a_missed_ball_bears_on_the_miss_and_later_meetings_do_not() -> None:
    """'The cue ball met the six before the nine' only where it did."""
    path = np.array([[1.4, 950.0, 480.0], [2.0, 2400.0, 60.0], [2.5, 2300.0, 300.0]])
    miss: dict[str, Any] = {
        "pocketed": (),
        "paths": {9: path},
        "layout_after": {0: (1100.0, 700.0), 9: (2300.0, 300.0)},
    }
    before = a_shot((), (1100.0, 700.0), **miss)
    before = replace(before, events=(Event(1.2, "ball", (0, 6)), *before.events))
    c = compare(before, TABLE, DRAWN, Intent(ball=9))
    assert c.verdict == "missed" and c.sentence is not None
    assert c.sentence.startswith(
        "The cue ball met the six before the nine, which missed the middle of the foot-right"
    )
    after = a_shot((Event(3.0, "ball", (0, 6)),), (1100.0, 700.0), **miss)
    c = compare(after, TABLE, DRAWN, Intent(ball=9))
    assert c.sentence is not None and c.sentence.startswith("The nine missed the middle")
    assert c.unplanned is not None and c.detail is not None and "ran into the six" in c.detail


def test_a_scratch_off_a_ball_says_so() -> None:
    drops = (Pocketed(9, "foot-right", 2.0), Pocketed(0, "side-right", 4.0))
    seen = a_shot((Event(3.0, "ball", (0, 6)),), END, pocketed=drops, layout_after={})
    c = compare(seen, TABLE, DRAWN, Intent(ball=9))
    assert c.sentence is not None and c.sentence.startswith(
        "The nine dropped, but the cue ball ran into the six and dropped too in the right side pocket"
    )


def test_balls_of_a_rack_are_planned_until_the_cue_ball_comes_back() -> None:
    """A break shot sends the cue ball into the rack; a ball of it met after a cushion is another matter."""
    rack = {4: (1560.0, 520.0), 5: (1560.0, 580.0), 6: (1612.0, 550.0)}
    layout = {0: START, 9: (950.0, 480.0), **rack}
    into, back = Event(2.5, "ball", (0, 5)), Event(3.0, "ball", (0, 6))
    away = replace(DRAWN, cue_path=(START, GHOST, (1200.0, 900.0)))
    intent = Intent(ball=9, break_ball=9)
    seen = a_shot((into, back), (1100.0, 700.0), layout_before=layout)
    assert compare(seen, TABLE, away, intent).unplanned is None
    seen = a_shot((into, Event(2.7, "cushion", (0,), "foot"), back), (1100.0, 700.0), layout_before=layout)
    planned_foot = replace(away, cue_path=(START, GHOST, (2511.0, 1000.0), (1200.0, 900.0)))
    assert compare(seen, TABLE, planned_foot, intent).unplanned == back


def _faster(p: Planned, share: float, seed: int) -> SeenShot:
    return filmed(p.layout, replace(p.strike, speed_mps=share * p.strike.speed_mps), noise=QUIET, seed=seed)


def _with_stray_ball(p: Planned, share: float) -> Planned | None:
    """The same plan with a ball put where only the stroke played runs; None: it has no such place."""
    run = played(p.layout, replace(p.strike, speed_mps=share * p.strike.speed_mps))
    way = run.path(0, 1 / 120)[:, 1:]
    meant = np.array(p.plan.cue_path)
    for k in range(len(way) - 25, 20, -5):
        spot = way[k]
        clear = np.min(np.hypot(*(meant - spot).T)) > 90 and all(
            np.hypot(*(spot - np.array(q))) > 120 for q in p.layout.values()
        )
        if clear and np.hypot(*(way[-1] - spot)) > 200:
            return Planned({**p.layout, 7: (float(spot[0]), float(spot[1]))}, p.strike, p.plan, p.intent)
    return None


def test_no_stroke_is_named_as_the_cause_of_where_a_collision_left_the_cue_ball() -> None:
    """The same strays name the speed without the stray ball, and the ball with it."""
    named = collided = 0
    for seed in range(1, 14):
        p = planned(seed)
        for share in (0.82, 1.2):
            seen = _faster(p, share, seed)
            alone = compare(seen, TABLE, p.plan, p.intent, estimate_stroke(seen, TABLE, figures=WELL_KNOWN))
            if alone.cause != "speed":
                continue
            named += 1
            other = _with_stray_ball(p, share)
            if other is None:
                continue
            seen = _faster(other, share, seed)
            if not any(7 in e.balls and 0 in e.balls for e in seen.events):
                continue
            c = compare(seen, TABLE, p.plan, p.intent, estimate_stroke(seen, TABLE, figures=WELL_KNOWN))
            if c.verdict in ("as planned", "missed") or c.unplanned is None or 7 not in c.unplanned.balls:
                continue
            collided += 1
            assert c.cause is None and c.sentence is not None and "ran into the seven" in c.sentence
    assert named >= 3 and collided >= 2


def test_a_cushion_that_the_stroke_led_to_keeps_its_cause() -> None:
    """Too hard a stroke runs on into a cushion: both stand in the sentence, for the one comes from the other."""
    layout = {0: (700.0, 635.0), 1: (1270.0, 70.0)}
    for speed in np.linspace(0.7, 1.6, 10):
        for aim in np.linspace(-44.5, -41.0, 15):
            s = Strike(float(aim), float(speed), 0.3, 0.0)
            run = played(layout, s)
            if run.dropped.get(1) != "side-right" or 0 not in run.rest:
                continue
            cushions = [h for h in run.hits if h.kind == "cushion" and 0 in h.balls]
            more = played(layout, replace(s, speed_mps=1.25 * s.speed_mps))
            later = [h for h in more.hits if h.kind == "cushion" and 0 in h.balls]
            if len(later) != len(cushions) + 1 or later[-1].jaw or more.dropped.get(1) != "side-right":
                continue
            way = tuple((float(x), float(y)) for _, x, y in run.path(0))
            plan = Plan(1, "side-right", None, "none", None, None, run.rest[0], way, "predicted", strike=s)
            intent = Intent(
                ball=1, pocket="side-right", side="none", landing=Landing(run.rest[0], "there", True)
            )
            seen = filmed(layout, replace(s, speed_mps=1.25 * s.speed_mps), noise=QUIET)
            c = compare(seen, TABLE, plan, intent, estimate_stroke(seen, TABLE, figures=WELL_KNOWN))
            if c.cause == "speed" and c.unplanned is not None:
                assert c.unplanned.cushion == later[-1].cushion and c.sentence is not None
                assert f"ran into the {later[-1].cushion} cushion and stopped" in c.sentence
                return
    pytest.fail("no such stroke was found")


def test_a_height_is_not_told_where_ball_and_cushion_are_met_together() -> None:
    """The ball frozen near the cushion: what the cue ball did by itself after the ball was not seen."""
    layout = {0: (2000.0, 400.0), 1: (2505.0, 470.0)}
    seen = filmed(layout, Strike(3.0, 2.6, 0.1, 0.0), noise=QUIET)
    mine = [e for e in seen.events if 0 in e.balls][:2]
    assert [e.kind for e in mine] == ["ball", "cushion"] and mine[1].t_s - mine[0].t_s < 0.05
    told = estimate_stroke(seen, TABLE, figures=WELL_KNOWN)
    assert told.speed_mps is not None and told.tip_up is None and told.tip_up_error is None


def test_a_meeting_is_written_and_read_back() -> None:
    event = Event(3.0, "ball", (0, 6))
    seen = a_shot((event,), (1100.0, 700.0))
    shot = Shot(seen, plan=DRAWN, comparison=compare(seen, TABLE, DRAWN, Intent(ball=9)))
    back = from_json(to_json(replace(analysis(), shots=(shot,)))).shots[0].comparison
    assert back is not None and back.unplanned == event
