"""The cushion's law against the same law written out with vectors: forces, arms and cross products, many small steps."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from numpy.typing import NDArray

from lessonkit.physics.impacts import cushion
from lessonkit.physics.laws import DEFAULT
from lessonkit.physics.motion import Ball

R, SINE = 28.575, 0.27
Z = np.array([0.0, 0.0, 1.0])


def direction(v: NDArray[np.float64]) -> NDArray[np.float64]:
    size = float(np.linalg.norm(v))
    return v / size if size > 1.0 else v


def by_vectors(
    v: NDArray[np.float64], w: NDArray[np.float64], steps: int = 4000
) -> tuple[np.ndarray, np.ndarray]:
    """Mathavan, Jackson & Parkin 2010: unit mass, cushion along x at +y, held down by the cloth.

    The nose pushes along -(cos y + sin z) and rubs against its slip in its tangent plane; the cloth bears what is pushed down
    and rubs against the slip at the bottom; I = 2/5 R2; ends when the nose has given back e2 of the work it took.
    """
    cosine = sqrt(1 - SINE * SINE)
    normal = np.array([0.0, -cosine, -SINE])
    nose, bottom = -R * normal, -R * Z
    dp = v[1] / cosine / steps
    took = gave = 0.0
    for _ in range(20 * steps):
        slip = v + np.cross(w, nose)
        slip = slip - (slip @ normal) * normal
        rub = -DEFAULT.mu_cushion * direction(slip)
        push = normal + rub
        bears = max(0.0, -push[2])
        below = v + np.cross(w, bottom)
        below[2] = 0.0
        drag = -DEFAULT.mu_slide * bears * direction(below)
        before = v[1]
        dv = (push + drag) * dp
        dv[2] = 0.0  # the cloth holds it
        v = v + dv
        w = w + 2.5 / R**2 * (np.cross(nose, push) + np.cross(bottom, drag)) * dp
        work = cosine * 0.5 * (before + v[1]) * dp
        if work > 0:
            took += work
        else:
            gave -= work
            if gave >= DEFAULT.e_cushion**2 * took:
                return v, w
    raise AssertionError("the ball did not leave the cushion")


@pytest.mark.parametrize(
    ("v", "w"),
    [
        ((0.0, 1000.0), (-1000 / R, 0.0, 0.0)),  # rolling, square
        ((0.0, 1000.0), (1200 / R, 0.0, 0.0)),  # with backspin
        ((900.0, 700.0), (-700 / R, 900 / R, 0.0)),  # rolling at an angle
        ((-900.0, 700.0), (-700 / R, -900 / R, 35.0)),  # with side
        ((600.0, 1500.0), (0.0, 0.0, -60.0)),  # sliding with much side
        ((400.0, 500.0), (30.0, -40.0, 20.0)),  # any spin
    ],
)
def test_the_law_with_vectors_gives_the_same(v: tuple[float, float], w: tuple[float, float, float]) -> None:
    want_v, want_w = by_vectors(np.array([*v, 0.0]), np.array(w))
    ball = Ball(0.0, 0.0, *v, *w)
    cushion(ball, 0.0, 1.0, SINE, DEFAULT, R)
    size = float(np.hypot(*v))
    assert (ball.vx, ball.vy) == pytest.approx(want_v[:2], abs=0.012 * size)
    assert (ball.wx, ball.wy, ball.wz) == pytest.approx(want_w, abs=0.02 * size / R)


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
