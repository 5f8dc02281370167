"""How a stroke spreads: the same plan played many times by somebody whose strokes stray a little."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from math import atan2, degrees, sqrt

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import CUE_BALL, Execution, Layout, Pocket, Spread, Strike, Table
from lessonkit.physics.laws import Laws
from lessonkit.physics.many import Many, simulate_many

USUAL = Execution()
"""A steady club player's errors (docs/strokes.md, "Execution"): ours, no source."""
PLAYED = 300
"""Strokes that a spread is read from: a chance is then known to 0.03, a half axis to some 5 %."""
LEAST_LANDINGS = 20
"""With fewer potted strokes the landings of all strokes make the ellipse."""
WITHIN = 2 / 3
"""Share of the landings that the ellipse holds."""


@dataclass(frozen=True)
class Chances:
    """What a stroke brings if it strays."""

    pot: float
    scratch: float
    spread: Spread | None
    """None: the cue ball hardly ever stays on the table."""


@lru_cache(maxsize=8)
def _draws(n: int) -> NDArray[np.float64]:
    """n draws of four independent standard normal numbers, always the same ones, each with its mirror image."""
    half = np.random.default_rng(14).standard_normal(((n + 1) // 2, 4))
    return np.concatenate([half, -half])[:n]


def strayed(strikes: Iterable[Strike], execution: Execution, n: int) -> NDArray[np.float64]:
    """Each stroke n times with its errors, shape (strokes * n, 4): aim_deg, speed_mps, tip_up, tip_left."""
    meant = np.array([(s.aim_deg, s.speed_mps, s.tip_up, s.tip_left) for s in strikes]).reshape(-1, 1, 4)
    width = np.empty_like(meant)
    width[..., 0], width[..., 1] = execution.aim_deg, execution.speed_share * meant[..., 1]
    width[..., 2:] = execution.tip
    played = meant + width * _draws(n)
    played[..., 1] = np.maximum(played[..., 1], 0.05)
    return np.asarray(played.reshape(-1, 4))


def chances(
    layout: Layout,
    strike: Strike,
    ball: int,
    pocket: Pocket,
    table: Table,
    laws: Laws,
    execution: Execution = USUAL,
    n: int = PLAYED,
) -> Chances:
    """Play a stroke n times with its errors on the whole layout."""
    many = simulate_many(layout, strayed([strike], execution, n), table, laws)
    potted = many.dropped(ball, pocket)
    rests, stays = landings(many)
    kept = stays & potted
    if np.count_nonzero(kept) < LEAST_LANDINGS:
        kept = stays
    ellipse = ellipse_of(rests[kept]) if np.count_nonzero(kept) >= LEAST_LANDINGS else None
    return Chances(float(np.mean(potted)), float(np.mean(~stays)), ellipse)


def landings(many: Many) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Where the cue ball comes to rest, shape (N, 2), and whether it stays on the table, shape (N,)."""
    column = many.column(CUE_BALL)
    return many.rest[:, column], np.asarray(many.pocket[:, column] < 0)


def ellipse_of(places: NDArray[np.float64]) -> Spread:
    """The ellipse of places, shape (N, 2), with the shape of their covariance, that holds two thirds of them."""
    centre = places.mean(axis=0)
    values, axes = np.linalg.eigh(np.cov((places - centre).T) + 1e-6 * np.eye(2))
    off = (places - centre) @ axes
    reach = float(np.quantile(np.sqrt(np.sum(off**2 / values, axis=1)), WITHIN))
    turn = degrees(atan2(axes[1, 1], axes[0, 1])) % 180.0
    return Spread(
        (float(centre[0]), float(centre[1])), reach * sqrt(values[1]), reach * sqrt(values[0]), turn
    )
