"""Layouts that a camera's errors make impossible are mended before they are played."""

from __future__ import annotations

from math import hypot

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.model import Table
from lessonkit.physics.apart import apart
from lessonkit.physics.cushions import cushions_of
from lessonkit.physics.impacts import strike
from lessonkit.physics.simulate import simulate

TABLE = Table("9ft", 2540.0, 1270.0)
D = TABLE.ball_diameter_mm


def test_places_that_can_be_stay() -> None:
    layout = {0: (600.0, 600.0), 5: (600.0 + D + 0.01, 600.0), 7: (20.0, 22.0)}  # 7 hangs in a pocket
    assert apart(layout, TABLE) == layout


def test_overlap_is_parted_and_the_cue_ball_keeps_its_place() -> None:
    got = apart({0: (600.0, 600.0), 5: (654.0, 600.0), 3: (10.0, 600.0)}, TABLE)
    assert got[0] == (600.0, 600.0)
    assert hypot(got[5][0] - 600, got[5][1] - 600) >= D
    assert got[3][0] >= cushions_of(TABLE).touch_mm - 1e-9


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_a_rack_seen_with_errors_can_be_broken(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows = [(1905 + r * D * 0.8660254, 635 + (j - r / 2) * D) for r in range(5) for j in range(r + 1)]
    noise = rng.normal(0, 1.5, (15, 2))
    layout = {n + 1: (x + noise[n, 0], y + noise[n, 1]) for n, (x, y) in enumerate(rows)} | {
        0: (600.0, 640.0)
    }
    run = simulate(layout, strike(600, 640, 0.0, 6.0, 0.0, 0.0, TABLE.radius_mm), TABLE)
    assert len(run.hits) > 10 and len(run.rest) + len(run.dropped) == 16
