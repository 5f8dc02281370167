"""The step of a rack's lattice, found whatever way it lies, and not found where there is none."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from lessonkit.model import Point
from lessonkit.seeing.spacing import spacing

LEAST_MM, MOST_MM = 0.92 * 57.15, 1.44 * 57.15


def lattice(step_mm: float, turn_deg: float, rng: np.random.Generator, off_mm: float) -> list[Point]:
    """Fifteen balls in five rows, `off_mm` the standard deviation of each coordinate."""
    at = np.array([(row * np.sqrt(0.75), i - row / 2) for row in range(5) for i in range(row + 1)], float)
    a = np.radians(turn_deg)
    at = at @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) * step_mm + (1700.0, 600.0)
    return [(float(x), float(y)) for x, y in at + rng.normal(0, off_mm, at.shape)]


@given(
    step_mm=st.floats(53.5, 80.0), turn_deg=st.floats(-180, 180), seed=st.integers(0, 2**32 - 1),
    taken=st.sets(st.integers(0, 14), max_size=5),
)  # fmt: skip
def test_a_rack_tells_its_step(step_mm: float, turn_deg: float, seed: int, taken: set[int]) -> None:
    """Within five of the standard errors that it states, at any turn, with a third of the balls gone and others about.

    What is left must hang together: a ball with fewer than two neighbours says nothing of a lattice.
    """
    rng = np.random.default_rng(seed)
    rack = [p for k, p in enumerate(lattice(step_mm, turn_deg, rng, 0.4)) if k not in taken]
    others = [(300.0, 300.0), (700.0, 900.0), (300.0 + 3 * step_mm, 300.0)]
    found = spacing(rack + others, LEAST_MM, MOST_MM)
    if found is None:
        # distances by another library's tree: too few touching pairs for a lattice is the only excuse
        touching = len(cKDTree(rack).query_pairs(1.12 * step_mm))
        assert touching < min(2 * len(rack) - 3, 1.4 * len(rack))
        return
    assert abs(found.step_mm / step_mm - 1) < 5 * found.doubt
    assert found.balls <= len(rack)


def test_a_whole_rack_is_told_to_half_a_percent() -> None:
    """With centres good to 0.4 mm; neighbouring table sizes differ by 2.2 percent."""
    found = spacing(lattice(57.15, 10.0, np.random.default_rng(1), 0.4), LEAST_MM, MOST_MM)
    assert found is not None and found.balls == 15
    assert abs(found.step_mm / 57.15 - 1) < 0.005 and found.doubt < 0.005


@pytest.mark.parametrize(
    "places",
    [
        [],
        [(0.0, 0.0), (57.15, 0.0)],
        [(0.0, 0.0), (57.15, 0.0), (2 * 57.15, 0.0), (3 * 57.15, 0.0), (4 * 57.15, 0.0)],
        [(0.0, 0.0), (57.15, 0.0), (57.15, 57.15), (0.0, 57.15)],
    ],
    ids=["nothing", "two", "a row", "a square"],
)
def test_what_is_no_lattice_tells_nothing(places: list[Point]) -> None:
    """Two balls may touch or lie side by side by chance, and so may a row."""
    assert spacing(places, LEAST_MM, MOST_MM) is None


@given(seed=st.integers(0, 2**32 - 1))
def test_scattered_balls_are_no_rack(seed: int) -> None:
    """Balls that lie at least a width and a half apart."""
    rng = np.random.default_rng(seed)
    places: list[Point] = []
    while len(places) < 12:
        p = (float(rng.uniform(0, 2540)), float(rng.uniform(0, 1270)))
        if all(np.hypot(p[0] - q[0], p[1] - q[1]) > 1.65 * 57.15 for q in places):
            places.append(p)
    assert spacing(places, LEAST_MM, MOST_MM) is None
