"""The cushion's law against the same law written out with vectors: forces, arms and cross products, many small steps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.physics.impacts import cushion
from lessonkit.physics.laws import DEFAULT
from lessonkit.physics.motion import Ball, energy
from tests.physics.small_steps import cushion as vector_cushion

R, SINE = 28.575, 0.27


def by_vectors(v: tuple[float, float], w: tuple[float, float, float]) -> tuple[np.ndarray, np.ndarray]:
    """The law with vectors, written apart (small_steps.py), in 16000 steps; cushion along x at +y."""
    law = np.array(
        [
            DEFAULT.mu_slide, 0, 0, 0, 0, 0, 0, DEFAULT.e_cushion, DEFAULT.e_cushion_fall_spm, DEFAULT.mu_cushion,
            R, SINE, 16000.0,
        ]
    )  # fmt: skip
    at, spin = np.array(v), np.array(w)
    vector_cushion(at, spin, np.array([0.0, 1.0]), law)
    return at, spin


@pytest.mark.parametrize(
    ("v", "w"),
    [
        ((0.0, 1000.0), (-1000 / R, 0.0, 0.0)),  # rolling, square
        ((0.0, 1000.0), (1200 / R, 0.0, 0.0)),  # with backspin
        ((900.0, 700.0), (-700 / R, 900 / R, 0.0)),  # rolling at an angle
        ((-900.0, 700.0), (-700 / R, -900 / R, 35.0)),  # with side
        ((600.0, 1500.0), (0.0, 0.0, -60.0)),  # sliding with much side
        ((400.0, 500.0), (30.0, -40.0, 20.0)),  # any spin
        ((500.0, 4000.0), (-4000 / R, 500 / R, 40.0)),  # hard, where restitution falls
        ((750.0, 730.0), (-20.0, 15.0, 29.5)),  # hardly slipping at the nose: sticks
    ],
)
def test_the_law_with_vectors_gives_the_same(v: tuple[float, float], w: tuple[float, float, float]) -> None:
    want_v, want_w = by_vectors(v, w)
    ball = Ball(0.0, 0.0, *v, *w)
    cushion(ball, 0.0, 1.0, SINE, DEFAULT, R)
    size = float(np.hypot(*v))
    assert (ball.vx, ball.vy) == pytest.approx(want_v, abs=3e-4 * size)
    assert (ball.wx, ball.wy, ball.wz) == pytest.approx(want_w, abs=2e-3 * size / R)


@pytest.mark.parametrize(("nx", "ny"), [(1.0, 0.0), (-1.0, 0.0), (0.0, -1.0), (0.6, 0.8)])
def test_a_turned_cushion_turns_the_result(nx: float, ny: float) -> None:
    tx, ty = ny, -nx
    flat = Ball(0.0, 0.0, 500.0, 900.0, -20.0, 30.0, 15.0)
    turned = Ball(
        0.0, 0.0, 500 * tx + 900 * nx, 500 * ty + 900 * ny, -20 * tx + 30 * nx, -20 * ty + 30 * ny, 15.0
    )
    cushion(flat, 0.0, 1.0, SINE, DEFAULT, R)
    cushion(turned, nx, ny, SINE, DEFAULT, R)
    assert turned.vx * tx + turned.vy * ty == pytest.approx(flat.vx)
    assert turned.vx * nx + turned.vy * ny == pytest.approx(flat.vy)
    assert turned.wx * nx + turned.wy * ny == pytest.approx(flat.wy)
    assert turned.wz == pytest.approx(flat.wz)


def test_a_hard_ball_is_given_back_less_within_the_published_range() -> None:
    # source: one restitution holds up to 2.5 m/s of normal speed (Mathavan 2010, abstract); pool rails 0.6 to 0.9
    # (Alciatore, from memory), and typical speed of a powerful break 11.2 to 13.4 m/s (billiards.colostate.edu)
    ratios = []
    for speed in (500.0, 2000.0, 4000.0, 8000.0, 11000.0):
        ball = Ball(0.0, 0.0, 0.0, speed)
        cushion(ball, 0.0, 1.0, SINE, DEFAULT, R)
        ratios.append(-ball.vy / speed)
    assert ratios[0] == pytest.approx(ratios[1], rel=1e-3)
    assert ratios[1] > ratios[2] > ratios[3] > ratios[4] >= 0.5
    assert ratios[2] >= 0.6


@given(
    st.floats(-3000, 3000), st.floats(20, 6000), st.floats(-150, 150), st.floats(-150, 150), st.floats(-150, 150)
)  # fmt: skip
def test_a_cushion_gives_no_energy(vx: float, vy: float, wx: float, wy: float, wz: float) -> None:
    ball = Ball(0.0, 0.0, vx, vy, wx, wy, wz)
    before = energy(ball, R)
    cushion(ball, 0.0, 1.0, SINE, DEFAULT, R)
    assert energy(ball, R) <= before * (1 + 1e-12)
    assert ball.vy < 0.0
