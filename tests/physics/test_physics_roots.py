"""Contact times against numpy's polynomial roots (a general reference library)."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.physics.kernels.roots import first_fall, quadratic_roots

number = st.floats(-50, 50, allow_nan=False).map(lambda x: round(x, 3))


def expected(c: list[float], t_max: float) -> float | None:
    roots = np.roots(np.trim_zeros(np.array(c), "f")) if any(c[:-1]) else np.array([])
    real = sorted(r.real for r in roots if abs(r.imag) < 1e-9 and 1e-9 < r.real < t_max)
    slope = np.polyder(np.poly1d(c))
    falls = [r for r in real if slope(r) < 0]
    return falls[0] if falls else None


@settings(deadline=None)
@given(number, number, number, number, st.floats(0.5, 50), st.floats(0.1, 5))
def test_first_fall_is_numpys_first_falling_root(
    a: float, b: float, c: float, d: float, e: float, t_max: float
) -> None:
    coefficients = [a, b, c, d, e]
    want, found = expected(coefficients, t_max), first_fall(*coefficients, float(t_max))
    got = None if found == inf else found
    value = np.poly1d(coefficients)
    if got is not None:
        assert abs(value(got)) < 1e-6 * (1 + np.abs(coefficients).sum() * max(1, t_max) ** 4)
        assert 0 <= got <= t_max
    if want is not None and got is not None:
        assert got <= want + 1e-4
    if want is not None and got is None:
        # only a grazing root (a near double one) may be missed
        assert min(value(np.linspace(0, t_max, 20001))) > -1e-6


def test_first_fall_of_known_factors() -> None:
    # (t - 1)(t - 2)(t - 3)(t - 4) is positive at 0 and falls at 1, then at 3
    assert first_fall(1.0, -10.0, 35.0, -50.0, 24.0, 10.0) == pytest.approx(1.0, abs=1e-12)
    assert first_fall(1.0, -10.0, 35.0, -50.0, 24.0, 0.5) == inf


@settings(deadline=None)
@given(number, number, number)
def test_quadratic_roots_satisfy_it(a: float, b: float, c: float) -> None:
    roots = quadratic_roots(float(a), float(b), float(c))
    assert list(roots) == sorted(roots)
    for t in (r for r in roots if r != inf):
        assert abs(a * t * t + b * t + c) <= 1e-8 * (abs(a * t * t) + abs(b * t) + abs(c) + 1)
