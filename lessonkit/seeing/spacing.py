"""How far apart the balls of a rack lie: one diameter, whatever blur and shadow do to their outlines.

Touching balls lie on a triangular lattice whose step is a ball's diameter, and light shifts the centres of all of them
alike; so the step tells a ball's width much closer than outlines do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Point

Complexes = NDArray[np.complex128]

NEAR = 0.12
"""How far, as a share, from one expected width apart two balls may lie to be taken for neighbours on a lattice."""
TURNED_DEG = 13.0
"""How far a neighbour may lie off the lattice's directions."""
OFF = 0.1
"""How far, as a share of the step, a ball may lie off its place on the lattice."""
LEAST_BALLS = 4
LOOSE = 0.003
"""Balls of a rack lie a little apart: standard deviation, as a share, of what that adds to the step (common practice,
no source)."""
CHANCE = 0.3
"""A few balls may lie in a lattice's shape by chance, not touching: the same, times the number of balls squared."""
_SIXTH = np.exp(1j * np.pi / 3)


@dataclass(frozen=True)
class Spacing:
    """The step of the lattice on which balls lie."""

    step_mm: float
    doubt: float
    """Its standard deviation, as a share."""
    balls: int


def spacing(places: Sequence[Point], least_mm: float, most_mm: float) -> Spacing | None:
    """The step, between two limits, of the lattice on which most balls touch among `places` (millimetres).

    None: there is no lattice of at least four balls. The limits must lie less than the square root of three apart, for
    every second ball of a rack lies on a lattice too.
    """
    at = np.asarray([complex(x, y) for x, y in places], np.complex128)
    best: Spacing | None = None
    for expected_mm in np.geomspace(
        least_mm, most_mm, 1 + int(np.ceil(np.log(most_mm / least_mm) / (NEAR / 2)))
    ):
        for group in _groups(at, float(expected_mm)):
            found = _lattice(at[group], float(expected_mm))
            if found is not None and (
                best is None or (found.balls, -found.doubt) > (best.balls, -best.doubt)
            ):
                best = found
    return best


def _groups(at: Complexes, expected_mm: float) -> list[list[int]]:
    """Balls that hang together by distances of about one width."""
    from scipy.sparse.csgraph import connected_components

    near = np.abs(np.abs(at[:, None] - at[None]) / expected_mm - 1) < NEAR
    count, label = connected_components(near, directed=False)
    groups = [np.flatnonzero(label == k).tolist() for k in range(count)]
    return [g for g in groups if len(g) >= LEAST_BALLS]


def _lattice(at: Complexes, expected_mm: float) -> Spacing | None:
    apart = at[None] - at[:, None]
    near = np.abs(np.abs(apart) / expected_mm - 1) < NEAR
    # all six directions of a lattice are one, to the sixth power
    sixth = (apart[near] / np.abs(apart[near])) ** 6
    turn = np.exp(1j * np.angle(sixth.mean()) / 6)
    steps = apart / (turn * expected_mm)
    sixths = np.angle(steps) / (np.pi / 3)
    fits = near & (np.abs(sixths - np.round(sixths)) < TURNED_DEG / 60)
    on = _numbered(fits, np.round(sixths).astype(int))
    used = np.array(sorted(on), int)
    if len(used) < LEAST_BALLS:
        return None
    spot = np.array([on[i] for i in used])
    for _ in range(3):
        origin, step = _fit(spot, at[used])
        off = np.abs(at[used] - origin - step * spot)
        kept = off < OFF * expected_mm
        if kept.all():
            break
        used, spot = used[kept], spot[kept]
        if len(used) < LEAST_BALLS:
            return None
    # one row fits many things; a lattice has two directions
    if fits[np.ix_(used, used)].sum() / 2 < min(2 * len(used) - 3, 1.4 * len(used)):
        return None
    freedom = 2 * len(used) - 4
    scatter_mm = float(np.sqrt((off**2).sum() / freedom))
    lever = float(np.sqrt((np.abs(spot - spot.mean()) ** 2).sum()))
    step_mm = float(abs(step))
    loose = np.hypot(LOOSE, CHANCE / len(used) ** 2)
    return Spacing(step_mm, float(np.hypot(loose, max(scatter_mm, 0.3) / (lever * step_mm))), len(used))


def _numbered(fits: NDArray[np.bool_], sixths: NDArray[np.int64]) -> dict[int, complex]:
    """Where on a lattice of step 1 each ball lies, from the one with most neighbours on."""
    first = int(fits.sum(1).argmax())
    on: dict[int, complex] = {first: 0j}
    queue = [first]
    while queue:
        i = queue.pop(0)
        for j in map(int, np.flatnonzero(fits[i])):
            if j not in on:
                on[j] = on[i] + _SIXTH ** int(sixths[i, j])
                queue.append(j)
    return on


def _fit(spot: Complexes, at: Complexes) -> tuple[complex, complex]:
    """Origin and step (with its direction) of the lattice, by least squares."""
    middle, centre = spot.mean(), at.mean()
    s = spot - middle
    step = complex((np.conj(s) * (at - centre)).sum() / (np.abs(s) ** 2).sum())
    return complex(centre - step * middle), step
