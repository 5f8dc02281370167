"""Rolling deceleration read from tracks that the laws made, with noise."""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.model import SeenShot, Table
from lessonkit.physics.impacts import strike
from lessonkit.physics.laws import DEFAULT, Laws
from lessonkit.physics.simulate import simulate
from lessonkit.physics.table_speed import fit_laws

TABLE = Table("9ft", 2540.0, 1270.0)


def seen(aim: float, speed: float, mu_roll: float, seed: int) -> SeenShot:
    run = simulate(
        {0: (400.0, 400.0)},
        strike(400, 400, aim, speed, 0.2, 0, TABLE.radius_mm),
        TABLE,
        Laws(mu_roll=mu_roll),
    )
    t = np.arange(0.0, run.end_s + 0.8, 1 / 30)
    xy = np.array([run.place(0, float(min(s, run.end_s))) for s in t])
    xy += np.random.default_rng(seed).normal(0, 1.5, xy.shape)
    return SeenShot(
        1, 0.0, run.end_s, {0: (400.0, 400.0)}, run.rest, (), np.column_stack([t, xy]), {}, (), (), None
    )


@pytest.mark.parametrize("mu_roll", [0.007, 0.01, 0.013])
def test_a_fast_or_slow_cloth_is_noticed(mu_roll: float) -> None:
    shots = [seen(10.0 + 5 * k, 0.55, mu_roll, k) for k in range(4)]
    assert fit_laws(shots).mu_roll == pytest.approx(mu_roll, rel=0.06)


def test_too_few_rolls_leave_the_laws_alone() -> None:
    assert fit_laws([seen(10.0, 0.5, 0.013, 1)]) == DEFAULT
