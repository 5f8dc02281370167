"""Distances of paths against shared/physics.toml, curves (Eiter & Mannila 1994; computed)."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import directed_hausdorff

from lessonkit.comparing.paths import frechet, length_mm, mean_distance_mm, resample

FACTS = tomllib.loads((Path(__file__).parents[2] / "shared" / "physics.toml").read_text(encoding="utf-8"))[
    "curves"
]
points = st.lists(st.tuples(st.floats(0, 2500), st.floats(0, 1200)), min_size=1, max_size=12)


@pytest.mark.parametrize("case", FACTS["cases"], ids=lambda c: c["name"])
def test_discrete_frechet(case: dict[str, Any]) -> None:
    assert frechet(case["p"], case["q"]) == pytest.approx(case["discrete_frechet"], rel=1e-8)


@settings(deadline=None)
@given(points, points)
def test_frechet_against_scipys_hausdorff_and_itself(p: list, q: list) -> None:  # type: ignore[type-arg]
    # reference library: scipy.spatial.distance.directed_hausdorff; Hausdorff never exceeds Fréchet
    assert frechet(p, p) == 0.0
    assert frechet(p, q) == pytest.approx(frechet(q, p))
    assert frechet(p, q) >= max(directed_hausdorff(p, q)[0], directed_hausdorff(q, p)[0]) - 1e-9


def test_resampling_goes_at_an_even_pace() -> None:
    got = resample([(0, 0), (100, 0), (100, 300)], 5)
    assert got.tolist() == [[0, 0], [100, 0], [100, 100], [100, 200], [100, 300]]
    assert length_mm(got) == 400
    with pytest.raises(ValueError, match="without points"):
        resample([], 5)


@settings(deadline=None)
@given(points, st.floats(-300, 300), st.floats(-300, 300))
def test_a_shifted_path_is_off_by_the_shift(p: list, dx: float, dy: float) -> None:  # type: ignore[type-arg]
    moved = [(x + dx, y + dy) for x, y in p]
    assert mean_distance_mm(p, moved) == pytest.approx((dx * dx + dy * dy) ** 0.5, abs=1e-6)
