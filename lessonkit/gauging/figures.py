"""A table's own figures: what all stretches and rebounds of a clip say together, or the usual values where they say little."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from lessonkit.gauging.rebounds import fit_cushion, rebounds
from lessonkit.gauging.stretches import Fitted, fit, stretches
from lessonkit.model import Figure, SeenShot, Table, TableFigures
from lessonkit.physics.laws import DEFAULT, GRAVITY_MMPS2, Laws

Floats = NDArray[np.float64]
RANGES: dict[str, tuple[float, float]] = {
    "mu_slide": (0.15, 0.4),
    "mu_roll": (0.005, 0.015),
    "e_cushion": (0.9, 0.98),
    "mu_cushion": (0.08, 0.2),
}
"""Published ranges (docs/physics.md, "Constants"); of the cushion's friction one value is published, its range is ours."""
SLIDE_ERROR = 0.08
"""Of the usual sliding friction; its range is lopsided, typical tables lie near its lower end."""
LEAST_TELLING = {"mu_slide": 3, "mu_roll": 3, "e_cushion": 4, "mu_cushion": 4}
"""From so many stretches or rebounds on a figure counts as measured."""
TELLING = 0.75
"""And only if its error is below this share of what was uncertain beforehand."""
FLOORS = {"mu_slide": 0.03, "mu_roll": 0.01, "e_cushion": 0.01, "mu_cushion": 0.08}
"""Least error as a share of the value: cloth and cushions are not the same all over. Our choice."""
ROUNDS = 3
MOST_STRETCHES = 90
HUBER = 2.0


def measure_table(shots: Iterable[SeenShot], table: Table, laws: Laws = DEFAULT) -> TableFigures:
    """The figures of the table that the shots were played on.

    laws: the usual values and where the fit starts. Sliding and rolling friction come from all stretches between
    contacts at once, the cushion's restitution and friction from all rebounds between two fitted stretches. Each figure
    is drawn towards the usual value as far as the footage leaves it uncertain; where it leaves it altogether so, the usual
    value comes back with `measured` False. Never raises for odd tracks: what cannot be fitted is left out.
    """
    found = sorted(stretches(shots), key=lambda s: -len(s.times_s))[:MOST_STRETCHES]
    usual = np.array([laws.mu_slide, laws.mu_roll])
    errors = np.array([_prior("mu_slide"), _prior("mu_roll")])
    fits: list[Fitted] = []
    cloth, cloth_errors, told = usual, errors, np.zeros(2, int)
    for _ in range(ROUNDS):
        trial = replace(laws, mu_slide=float(cloth[0]), mu_roll=float(cloth[1]))
        fits = [f for s in found if (f := fit(s, trial)) is not None]
        if not fits:
            break
        cloth, cloth_errors, told = _joint(fits, cloth, usual, errors)
    slide = _figure("mu_slide", cloth[0], cloth_errors[0], int(told[0]), laws)
    roll = _figure("mu_roll", cloth[1], cloth_errors[1], int(told[1]), laws)
    settled = replace(laws, mu_slide=slide.value, mu_roll=roll.value)
    cushion_usual = np.array([laws.e_cushion, laws.mu_cushion])
    cushion_errors = np.array([_prior("e_cushion"), _prior("mu_cushion")])
    seen = list(rebounds(fits, table, settled))
    values, value_errors, n = fit_cushion(seen, table, settled, cushion_usual, cushion_errors)
    return TableFigures(
        rolling=roll,
        sliding=slide,
        rebound=_figure("e_cushion", values[0], value_errors[0], n, laws),
        cushion_grip=_figure("mu_cushion", values[1], value_errors[1], n, laws),
    )


def laws_of(figures: TableFigures | None, laws: Laws = DEFAULT) -> Laws:
    """The laws with a table's own figures in them; those that were not measured stay as they are."""
    if figures is None:
        return laws
    named = {
        "mu_roll": figures.rolling,
        "mu_slide": figures.sliding,
        "e_cushion": figures.rebound,
        "mu_cushion": figures.cushion_grip,
    }
    return replace(laws, **{name: f.value for name, f in named.items() if f.measured})


def roll_time_s(figures: TableFigures, table: Table) -> float:
    """How long a ball rolls that just dies at the far cushion, from the head cushion, s: sqrt(2 d / mu g).

    A figure that anybody can check with a watch: the slower the ball comes to rest, the faster the cloth.
    """
    way = table.length_mm - table.ball_diameter_mm
    return sqrt(2.0 * way / (figures.rolling.value * GRAVITY_MMPS2))


def _prior(name: str) -> float:
    low, high = RANGES[name]
    return SLIDE_ERROR if name == "mu_slide" else 0.5 * (high - low)


def _joint(
    fits: list[Fitted], at: Floats, usual: Floats, errors: Floats
) -> tuple[Floats, Floats, NDArray[np.int_]]:
    """One Gauss-Newton step of (mu_slide, mu_roll) over all stretches, their errors, and how many told of each.

    A stretch that asks for something quite different from the rest (a contact not seen, a drifting track) weighs less,
    and the errors are widened by the scatter between stretches.
    """
    x = at.copy()
    information = np.diag(1.0 / errors**2)
    pull = (usual - at) / errors**2
    told = np.zeros(2, int)
    scatter: list[list[float]] = [[], []]
    center = _median(fits, at)
    for f in fits:
        weight = 1.0
        for k in (0, 1):
            own = f.weight[k, k]
            if own * errors[k] ** 2 < 1.0:
                continue
            off = (f.pull[k] / own - (center[k] - at[k])) * sqrt(own)
            scatter[k].append(float(off * off))
            told[k] += 1
            weight = min(weight, HUBER / max(HUBER, abs(off)))
        pull = pull + weight * f.pull
        information = information + weight * f.weight
    x = np.clip(at + np.linalg.solve(information, pull), (0.05, 0.002), (0.6, 0.04))
    covariance = np.linalg.inv(information)
    widen = np.array([sqrt(max(1.0, float(np.mean(np.minimum(s, 25.0))))) if s else 1.0 for s in scatter])
    return x, np.minimum(np.sqrt(np.diag(covariance)) * widen, errors), told


def _median(fits: list[Fitted], at: Floats) -> Floats:
    """The weighted median over stretches of what each asks for."""
    got = at.copy()
    for k in (0, 1):
        pairs = sorted((f.pull[k] / f.weight[k, k], f.weight[k, k]) for f in fits if f.weight[k, k] > 1e-6)
        if pairs:
            values, weights = np.array(pairs).T
            weights = np.minimum(weights, 10.0 * float(np.median(weights)))
            share = np.cumsum(weights) - 0.5 * weights
            got[k] = at[k] + float(np.interp(0.5 * np.sum(weights), share, values))
    return got


def _figure(name: str, value: float, error: float, told: int, laws: Laws) -> Figure:
    """A measured figure, or the usual one where too little told of it."""
    prior = _prior(name)
    if told < LEAST_TELLING[name] or error > TELLING * prior:
        return Figure(float(getattr(laws, name)), prior, told, False)
    return Figure(float(value), float(max(error, FLOORS[name] * value)), told, True)
