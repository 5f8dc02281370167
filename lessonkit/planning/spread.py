"""How a stroke spreads: the same plan played many times by somebody whose strokes stray a little."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import atan2, degrees, sqrt

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import STEADY, Execution, Layout, Pocket, Spread, Strike, Table
from lessonkit.physics.laws import Laws
from lessonkit.physics.many import Many, simulate_many

PLAYED = 300
"""Strokes that a spread is read from: a chance is then known to 0.03, a half axis to some 5 %."""
LEAST_LANDINGS = 20
"""With fewer potted strokes the landings of all strokes make the ellipse."""
E_CUSHION_OFF, MU_CUSHION_OFF = 0.02, 0.03
"""How far a cushion's restitution and friction may be from what the laws say, where a pot hangs on a rebound: half the
published half range of the first, and about a fifth of the second; ours."""
WITHIN = 2 / 3
"""Share of the landings that the ellipse holds."""


@dataclass(frozen=True)
class Chances:
    """What a stroke brings if it strays."""

    pot: float
    scratch: float
    spread: Spread | None
    """None: the cue ball hardly ever stays on the table."""


@dataclass(frozen=True, eq=False)
class Played:
    """S strokes played T times each on a layout of n balls."""

    numbers: tuple[int, ...]
    """Ball numbers in the order of the columns, the cue ball first."""
    pockets: tuple[Pocket, ...]
    rest: NDArray[np.float64]
    """(S, T, n, 2): mm; NaN: it dropped."""
    pocket: NDArray[np.int64]
    """(S, T, n): where it dropped, an index of `pockets`; -1: it did not."""

    @property
    def stays(self) -> NDArray[np.bool_]:
        """(S, T): whether the cue ball stays on the table."""
        return np.asarray(self.pocket[..., 0] < 0)

    def dropped(self, ball: int, pocket: Pocket) -> NDArray[np.bool_]:
        """(S, T): whether a ball went down a pocket."""
        return np.asarray(self.pocket[..., self.numbers.index(ball)] == self.pockets.index(pocket))


@lru_cache(maxsize=8)
def _draws(n: int) -> NDArray[np.float64]:
    """n draws of four independent standard normal numbers, always the same ones, each with its mirror image."""
    half = np.random.default_rng(14).standard_normal(((n + 1) // 2, 4))
    return np.concatenate([half, -half])[:n]


def strayed(
    strikes: Sequence[Strike], execution: Execution, draws: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Each stroke once with each draw, shape (strokes * draws, 4): aim_deg, speed_mps, tip_up, tip_left."""
    meant = np.array([(s.aim_deg, s.speed_mps, s.tip_up, s.tip_left) for s in strikes]).reshape(-1, 1, 4)
    width = np.empty_like(meant)
    width[..., 0], width[..., 1] = execution.aim_deg, execution.speed_share * meant[..., 1]
    width[..., 2:] = execution.tip
    played = meant + width * draws
    played[..., 1] = np.maximum(played[..., 1], 0.05)
    return np.asarray(played.reshape(-1, 4))


def play_strayed(
    layout: Layout,
    strikes: Sequence[Strike],
    table: Table,
    laws: Laws,
    execution: Execution,
    n: int,
    off_cushions: bool,
) -> Played:
    """Play each stroke n times on the whole layout with the player's errors.

    off_cushions: the pot hangs on a rebound, so a share of the strokes is played on cushions a little livelier or deader,
    and a little more or less gripping, than `laws` has them.
    """
    kinds = [laws]
    if off_cushions:
        e, mu = laws.e_cushion, laws.mu_cushion
        kinds += [replace(laws, e_cushion=v) for v in (e - E_CUSHION_OFF, min(e + E_CUSHION_OFF, 0.99))]
        kinds += [replace(laws, mu_cushion=max(v, 0.01)) for v in (mu - MU_CUSHION_OFF, mu + MU_CUSHION_OFF)]
    rests, pockets = [], []
    many: Many | None = None
    for law, draws in zip(kinds, np.array_split(_draws(n), len(kinds)), strict=True):
        many = simulate_many(layout, strayed(strikes, execution, draws), table, law)
        shape = (len(strikes), len(draws), len(many.balls))
        rests.append(many.rest.reshape(*shape, 2))
        pockets.append(many.pocket.reshape(shape))
    assert many is not None
    return Played(many.balls, many.pockets, np.concatenate(rests, axis=1), np.concatenate(pockets, axis=1))


def chances(
    layout: Layout,
    strike: Strike,
    ball: int,
    pocket: Pocket,
    table: Table,
    laws: Laws,
    execution: Execution = STEADY,
    off_cushions: bool = False,
    n: int = PLAYED,
) -> Chances:
    """Play a stroke n times with its errors on the whole layout; the rest as of `play_strayed`."""
    played = play_strayed(layout, [strike], table, laws, execution, n, off_cushions)
    potted, stays = played.dropped(ball, pocket)[0], played.stays[0]
    kept = stays & potted
    if np.count_nonzero(kept) < LEAST_LANDINGS:
        kept = stays
    rests = played.rest[0, kept, 0]
    ellipse = ellipse_of(rests) if len(rests) >= LEAST_LANDINGS else None
    return Chances(float(np.mean(potted)), float(np.mean(~stays)), ellipse)


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
