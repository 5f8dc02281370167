"""Openings of the pockets, against worked examples (shared/physics.toml, geometry.margin) and a second way of reckoning."""

from __future__ import annotations

import tomllib
from math import erf
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.model import Execution, Layout, Table
from lessonkit.physics.cushions import cushions_of
from lessonkit.planning.choice import openness
from lessonkit.planning.geometry import ghost_ball
from lessonkit.tactics.openings import best_of, chance, openings, windows

FACTS = tomllib.loads((Path(__file__).parents[2] / "shared" / "physics.toml").read_text(encoding="utf-8"))
TABLE = Table("9ft", 2540.0, 1270.0)
D = TABLE.ball_diameter_mm


@pytest.mark.parametrize("case", FACTS["geometry"]["margin"]["cases"])
def test_the_window_of_a_straight_shot(case: dict[str, Any]) -> None:
    """The object ball's half window of the worked example, times D / L for a cue ball L before the ghost ball."""
    table = Table("9ft", 2540.0, 1270.0, corner_mouth_mm=case["opening_mm"])
    drop = next(d for d in cushions_of(table).drops if d.pocket == "foot-left")
    d, reach = case["object_distance_mm"], 400.0
    ball = np.array(drop.mouth) - d * np.array((drop.ox, drop.oy))
    cue = ball - (D + reach) * np.array((drop.ox, drop.oy))
    if cue.min() < 30.0:
        pytest.skip("the cue ball of this example would lie off the table")
    window = windows(np.array([[cue, ball]]), 1, drop, table)[0]
    assert window == pytest.approx(case["object_half_window_deg"] * D / reach, rel=1e-6)


places = st.tuples(st.floats(60, 2480), st.floats(60, 1210))


@settings(deadline=None, max_examples=60)
@given(st.lists(places, min_size=2, max_size=6, unique=True))
def test_two_ways_of_reckoning_agree(balls: list[tuple[float, float]]) -> None:
    """One layout at a time (planning) and many at once give the same windows where the ghost ball has room."""
    layout: Layout = dict(enumerate(balls))
    stacked = np.array([balls])
    for column in range(1, len(balls)):
        for drop in cushions_of(TABLE).drops:
            alone = openness(layout, TABLE, column, drop.pocket)
            at_once = windows(stacked, column, drop, TABLE)[0]
            ghost = ghost_ball(layout[column], drop.mouth, D)
            if at_once == 0.0 and not (30 < ghost[0] < 2510 and 30 < ghost[1] < 1240):
                continue
            assert at_once == pytest.approx(alone, abs=1e-9)


@given(st.floats(0.0, 3.0), st.floats(0.01, 1.0))
def test_the_chance_is_that_of_a_normal_error(window: float, sd: float) -> None:
    assert float(chance(window, Execution(aim_deg=sd))) == pytest.approx(erf(window / sd / 2**0.5), abs=2e-7)


def test_the_best_is_the_widest_and_balls_that_are_gone_count_for_nothing() -> None:
    layout: Layout = {0: (1200.0, 600.0), 3: (2400.0, 1150.0), 5: (600.0, 900.0), 7: (1270.0, 200.0)}
    stacked = np.array([list(layout.values()), list(layout.values())])
    stacked[1, 1] = np.nan
    best = best_of(stacked, TABLE, Execution())
    first = openings(layout, TABLE, Execution())[0]
    numbers = list(layout)
    assert numbers[best.ball[0]] == first.ball
    assert cushions_of(TABLE).drops[best.pocket[0]].pocket == first.pocket
    assert best.ball[1] != 1 and best.chance[1] <= best.chance[0]


def test_a_ball_in_either_way_shuts_the_pocket() -> None:
    layout: Layout = {0: (1500.0, 500.0), 9: (2000.0, 900.0)}
    assert any(o.ball == 9 and o.pocket == "foot-left" for o in openings(layout, TABLE, Execution()))
    for other in ((2250.0, 1065.0), (1750.0, 700.0)):
        shut = openings({**layout, 2: other}, TABLE, Execution())
        assert not any(o.ball == 9 and o.pocket == "foot-left" for o in shut)
