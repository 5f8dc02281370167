"""First roots of low polynomials: the exact times at which moving balls touch things."""

from __future__ import annotations

from math import sqrt

from lessonkit.physics.kernels.compiling import compiled
from lessonkit.physics.kernels.state import INF


@compiled
def quadratic_roots(a: float, b: float, c: float) -> tuple[float, float]:
    """Real roots of a t2 + b t + c, ascending, infinite where there are fewer. Stable where b2 >> ac."""
    if a == 0.0:
        return (-c / b, INF) if b != 0.0 else (INF, INF)
    d = b * b - 4.0 * a * c
    if d < 0.0:
        return INF, INF
    q = -0.5 * (b + (sqrt(d) if b >= 0.0 else -sqrt(d)))
    if q == 0.0:
        return 0.0, INF
    r, s = q / a, c / q
    return (r, s) if r <= s else (s, r)


@compiled
def refine(c4: float, c3: float, c2: float, c1: float, c0: float, lo: float, hi: float) -> float:
    """The root in a bracket with one sign change, by Newton steps kept inside it."""
    rising = (((c4 * hi + c3) * hi + c2) * hi + c1) * hi + c0 > 0.0
    t = 0.5 * (lo + hi)
    for _ in range(80):
        f = (((c4 * t + c3) * t + c2) * t + c1) * t + c0
        if (f > 0.0) == rising:
            hi = t
        else:
            lo = t
        slope = ((4.0 * c4 * t + 3.0 * c3) * t + 2.0 * c2) * t + c1
        step = t - f / slope if slope != 0.0 else lo
        if not lo < step < hi:
            step = 0.5 * (lo + hi)
        if abs(step - t) <= 1e-13 + 1e-14 * abs(t):
            return step
        t = step
    return t


@compiled
def first_fall(c4: float, c3: float, c2: float, c1: float, c0: float, t_max: float) -> float:
    """The first t in [0, t_max] at which c4 t4 + ... + c0 passes from positive to not positive; infinite: none.

    Parts the interval at the roots of the second and first derivatives, between which the next lower derivative is
    monotonic, so that every bracket holds one root. A start at or below zero that still falls counts as t = 0.
    """
    if c0 <= 0.0 and (c1 < 0.0 or (c1 == 0.0 and c2 < 0.0)):
        return 0.0
    first, second = quadratic_roots(12.0 * c4, 6.0 * c3, 2.0 * c2)
    marks = (min(max(first, 0.0), t_max), min(max(second, 0.0), t_max), t_max)
    lo, d_lo = 0.0, c1
    turn, f_turn = 0.0, c0
    for k in range(4):
        if k < 3:
            hi = marks[k]
            d_hi = ((4.0 * c4 * hi + 3.0 * c3) * hi + 2.0 * c2) * hi + c1
            here = hi
            if (d_lo < 0.0) != (d_hi < 0.0):
                here = refine(0.0, 4.0 * c4, 3.0 * c3, 2.0 * c2, c1, lo, hi)
            lo, d_lo = hi, d_hi
        else:
            here = t_max
        f_here = (((c4 * here + c3) * here + c2) * here + c1) * here + c0
        if f_turn > 0.0 and f_here <= 0.0:
            return refine(c4, c3, c2, c1, c0, turn, here)
        turn, f_turn = here, f_here
    return INF
