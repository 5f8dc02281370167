"""What the stroke differed in, and which difference is named: on plans whose stroke strayed in a known way."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.comparing import causes
from lessonkit.comparing.compare import compare
from lessonkit.comparing.difference_words import NOTHING_NEAR, words_of
from lessonkit.comparing.differences import fullness_of_aim, measured
from lessonkit.comparing.meant import meant
from lessonkit.comparing.stroke import estimate_stroke
from lessonkit.comparing.words import LONGEST, with_cause, without_cause
from lessonkit.model import Account, Comparison, Difference, Intent, Plan, Strike, StrokeEstimate
from lessonkit.physics.laws import DEFAULT
from tests.comparing.made import TABLE, filmed
from tests.comparing.strayed import WELL_KNOWN, Planned, planned

FACTS = tomllib.loads((Path(__file__).parents[2] / "shared" / "physics.toml").read_text(encoding="utf-8"))
D = TABLE.ball_diameter_mm


@pytest.mark.parametrize("case", FACTS["physics"]["natural_roll"]["fractions"])
def test_fullness_of_an_aim_is_the_hit_fraction(case: dict[str, Any]) -> None:
    # source: shared/physics.toml, physics.natural_roll.fractions: f = 1 - sin of the cut
    from math import asin, cos, degrees, radians, sin

    cut = radians(case["cut_deg"])
    ball, way = (1000.0, 400.0), 600.0
    # the ghost ball stands a diameter behind the ball on a line that is `cut` off the aim
    ghost = (ball[0] - D * cos(cut), ball[1] - D * sin(cut))
    start = (ghost[0] - way, ghost[1])
    assert fullness_of_aim(start, ball, 0.0, D) == pytest.approx(case["hit_fraction"], abs=1e-7)
    past = degrees(asin(D / way))
    assert fullness_of_aim(start, ball, -past, D) is None and fullness_of_aim(start, ball, 180.0, D) is None


def strayed(p: Planned, **off: float) -> Comparison:
    s = p.strike
    q = Strike(
        s.aim_deg + off.get("aim_deg", 0.0),
        s.speed_mps * off.get("speed", 1.0),
        s.tip_up + off.get("up", 0.0),
        s.tip_left + off.get("left", 0.0),
    )
    seen = filmed(p.layout, q, seed=5)
    estimate = estimate_stroke(seen, TABLE, DEFAULT, WELL_KNOWN)
    return compare(seen, TABLE, p.plan, p.intent, estimate, DEFAULT)


CASES: list[tuple[Account, dict[str, float]]] = [
    ("fullness", {"aim_deg": 0.4}),
    ("speed", {"speed": 0.8}),
    ("tip_up", {"up": -0.15}),
    ("tip_left", {"left": 0.25}),
]


@pytest.mark.parametrize(("account", "off"), CASES, ids=[c[0] for c in CASES])
def test_the_one_thing_that_strayed_is_named(account: Account, off: dict[str, float]) -> None:
    """Over ten plans: named in some, and hardly ever something else (a little less speed can look like less follow)."""
    named = [strayed(planned(seed), **off).cause for seed in range(10)]
    right = sum(n == account for n in named)
    wrong = sum(n is not None and n != account for n in named)
    assert right >= 2
    assert wrong <= 1


def test_what_went_as_planned_has_no_cause() -> None:
    for seed in range(6):
        p = planned(seed)
        c = strayed(p)
        assert c.cause is None
        assert not any(d.sure for d in c.differences)
        if c.verdict == "as planned":
            assert c.detail is not None and "accounts" not in c.detail


def test_the_sentence_and_the_table_say_the_same() -> None:
    p = planned(4)
    c = next(c for c in (strayed(planned(s), speed=0.8) for s in range(12)) if c.cause == "speed")
    best = next(d for d in c.differences if d.account == "speed")
    assert best.words is not None and best.words.endswith("slower")
    assert c.sentence is not None and "less speed" in c.sentence
    assert (" mostly from " if c.cause_sure else " probably from ") in c.sentence
    assert c.detail is not None and "(give or take " in c.detail
    assert c.detail is not None and best.words in c.detail
    assert best.landing is not None and best.explains is not None and best.explains > 0.5
    assert c.meant is not None and c.meant.speed_mps > (best.actual or 9.0)
    assert p.strike.tip_left == 0.0


def test_side_that_no_cushion_shows_is_not_claimed() -> None:
    for seed in range(12):
        p = planned(seed)
        if p.plan.rails:
            continue
        c = strayed(p, left=0.3)
        side = next(d for d in c.differences if d.account == "tip_left")
        assert side.actual is None and side.explains is None and not side.sure
        assert c.cause != "tip_left" and c.detail is not None and "does not tell the" in c.detail
        return
    pytest.fail("no plan without a cushion was made")


def test_of_the_strokes_that_do_it_the_nearest_is_held_against() -> None:
    """A planner's other choice, which would have done as well, is no difference."""
    p = planned(3)
    seen = filmed(p.layout, p.strike, seed=2)
    estimate = estimate_stroke(seen, TABLE)
    other = replace(p.strike, speed_mps=p.strike.speed_mps * 1.3, tip_up=p.strike.tip_up - 0.1)
    held = meant(seen, TABLE, replace(p.plan, strike=other), p.intent, estimate, p.plan.landing, DEFAULT)
    assert held is not None and held.done
    assert held.strike.speed_mps == pytest.approx(p.strike.speed_mps, rel=0.05)
    assert not any(m.sure for m in measured(seen, TABLE, p.plan, p.intent, estimate, held))


def test_a_plan_that_no_stroke_near_does_is_not_held_against() -> None:
    p = planned(3)
    seen = filmed(p.layout, p.strike, seed=2)
    away = replace(p.plan, pocket="head-left" if p.plan.pocket != "head-left" else "foot-left")
    c = compare(seen, TABLE, away, Intent(ball=1), estimate_stroke(seen, TABLE), DEFAULT)
    assert c.differences == () and c.meant is None and c.cause is None and c.detail == NOTHING_NEAR


def test_a_drawn_plan_gives_the_thickness_only() -> None:
    p = planned(3)
    seen = filmed(p.layout, p.strike, seed=2)
    start, ball = p.layout[0], p.layout[1]
    ghost = (ball[0] - 0.8 * D, ball[1] - 0.6 * D)
    drawn = Plan(1, p.plan.pocket, None, None, None, None, None, (start, ghost), "drawn", ghost=ghost)
    c = compare(seen, TABLE, drawn, Intent(ball=1), estimate_stroke(seen, TABLE), DEFAULT)
    assert [d.account for d in c.differences] == ["fullness"] and c.cause is None
    assert compare(seen, TABLE, drawn, Intent(ball=1)).differences[0].actual is None


@pytest.mark.parametrize(
    ("account", "planned_value", "actual", "stroke", "said"),
    [
        ("fullness", 0.5, 0.42, None, "0.08 of a ball thinner"),
        ("fullness", 0.5, 0.63, None, "0.13 of a ball thicker"),
        ("speed", 2.0, 1.76, None, "12 % slower"),
        ("tip_up", -0.3, -0.1, "draw", "the tip 6 mm higher (less draw)"),
        ("tip_up", 0.3, 0.4, "follow", "the tip 3 mm higher (more follow)"),
        ("tip_up", 0.3, 0.1, None, "the tip 6 mm lower (less follow)"),
        ("tip_up", -0.2, -0.4, "stop", "the tip 6 mm lower (more draw)"),
        ("tip_left", 0.0, 0.2, None, "6 mm of left that was not planned"),
        ("tip_left", -0.2, -0.4, None, "6 mm more right"),
        ("tip_left", -0.4, -0.2, None, "6 mm less right"),
        ("tip_left", 0.3, -0.2, None, "right instead of left"),
        ("tip_left", 0.3, 0.01, None, "no left to speak of"),
    ],
)  # fmt: skip
def test_differences_in_words(
    account: Account, planned_value: float, actual: float, stroke: Any, said: str
) -> None:
    assert words_of(account, planned_value, actual, stroke) == said


def _told(explains: float, least: float, error: float = 0.02) -> Difference:
    return Difference("fullness", 0.5, 0.4, error, True, "0.10 of a ball thinner", None, explains, least)


def _other(explains: float) -> Difference:
    return Difference("speed", 2.0, 2.1, 0.1, False, None, None, explains, explains)


@pytest.mark.parametrize(
    ("best", "other", "said"),
    [
        (_told(0.9, 0.7), 0.1, ("fullness", True)),
        (_told(0.55, 0.52), 0.1, ("fullness", False)),  # at the limit of what is named at all
        (_told(0.9, 0.3), 0.1, ("fullness", False)),  # hangs on its error
        (_told(0.9, 0.7), 0.7, ("fullness", False)),  # another does nearly as much
        (_told(0.9, 0.7, error=0.045), 0.1, ("fullness", False)),  # hardly more than two errors
        (_told(0.45, 0.4), 0.1, (None, False)),
    ],
)  # fmt: skip
def test_a_close_thing_is_only_probably_the_cause(
    best: Difference, other: float, said: tuple[str | None, bool]
) -> None:
    """Between no cause and a firm one lies a cause that is told with its doubt."""
    assert causes._cause((best, _other(other))) == said


@pytest.mark.parametrize("firm", [True, False])
def test_a_sentence_can_go_without_its_cause(firm: bool) -> None:
    """Where there is little room the whole cause goes, not half of its words."""
    plain = "The one dropped, but the cue ball stopped 49 cm wide of its planned place."
    said = with_cause(plain, "12 % less speed", firm)
    assert said != plain and without_cause(said) == plain == without_cause(plain)


@given(st.text(max_size=160), st.text(max_size=80))
def test_a_sentence_never_grows_too_long(sentence: str, cause: str) -> None:
    said = with_cause(sentence, cause)
    assert said == sentence or len(said) <= LONGEST


maybe = st.none() | st.floats(-2, 4)


@settings(deadline=None, max_examples=25)
@given(maybe, maybe, maybe, st.none() | st.floats(0, 360), st.booleans())
def test_any_estimate_can_be_compared(
    speed: float | None, up: float | None, left: float | None, aim: float | None, empty: bool
) -> None:
    p = planned(1)
    seen = filmed(p.layout, p.strike)
    if empty:
        seen = replace(seen, cue_path=seen.cue_path[:0], events=(), layout_after={})
    e = StrokeEstimate(speed, up, left, aim, *(None if v is None else 0.05 for v in (speed, up, left, aim)))
    c = compare(seen, TABLE, p.plan, p.intent, e, DEFAULT)
    assert all(d.explains is None or d.explains <= 1.0 for d in c.differences)
