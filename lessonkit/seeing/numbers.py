"""Which number each ball has: colours and white shares of all balls together, each number once.

What each number's paint looks like is known by `paints`; what a ball looked like, by `looks`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lessonkit.seeing.looks import Look
from lessonkit.seeing.paints import GAINS, PLAIN, TONES, Tone, paint_offs

Floats = NDArray[np.float64]

NUMBERS = tuple(range(16))
RIM_TELLS = 0.13
"""How much a squared deviation of a white ball's rim counts: its pieces are off together, by blur and by light from the cloth."""
RIM_FROM, RIM_ALONE = 0.85, 0.97
"""From so much white on the rim tells beside the colour, and from so much on it alone does."""
CUE_TELLS, MOST_OF_CUE = 0.5, 4.0
"""How much the same tells against the cue ball, and the most: cloth throws coloured light on a white ball's rim too."""
SHARED, MOST_OFF = 0.6, 3.0
"""Share of what a colour varies by that both balls of one paint have in common; and the most that a colour is taken to be
off, in units of that."""
MOST_SIGHTS = 24
"""So many looks at one ball tell as much as all."""
MOST_SWAPS = 40
TAKEN = 0.25
"""Share by which a ball is less sure whose likeliest number another ball has. Of ten made-up balls that were clearly such
seven had the right number, of all 2909 all but 18."""
DOUBT_BELOW = 0.8
"""A number held for less likely than this is doubtful."""


WHITE_OF_SOLID = 0.20
WHITE_OF_STRIPE = 0.31
"""Most white of a solid and least of a stripe: the share near the rim plus a third of the whole share. A number's disc is white
in the middle or at one side; a stripe shows white near the rim however it lies (with a band of half a radius to both
sides a ring at 0.8 radii is white on 37 to 100 % of its length, by the geometry of the sphere), and blur takes some of
it away. Of 322 solids in scenes of known truth none had more than 0.21, of 278 stripes two had less than 0.29."""
PAINT = np.array([0, 1, 2, 3, 4, 5, 6, 7, 0, 1, 2, 3, 4, 5, 6, 7])
"""Which of the paints that two balls share each number has; 0: none."""
PARTNER = np.array([0, 9, 10, 11, 12, 13, 14, 15, 8, 1, 2, 3, 4, 5, 6, 7])


@dataclass(frozen=True)
class Named:
    """A ball's number and how likely it is right."""

    number: int
    confidence: float


@dataclass(frozen=True, eq=False)
class Fits:
    """How badly one ball fits each number under each of several tones."""

    costs: Floats
    """Half squared deviations, shape (tones, 16), so that exp(-cost) behaves like a likelihood."""
    off: Floats
    """By how much its colour is off each of the paints 1 to 8, shape (tones, 8, 3), see `paint_offs`."""
    told: float
    """How much its colour tells, 0 to 1."""

    def of(self, tones: NDArray[np.int_]) -> Fits:
        """The same for some of the tones."""
        return Fits(self.costs[tones], self.off[tones], self.told)


def fits(look: Look, tones: Sequence[Tone]) -> Fits:
    """How badly one look at a ball fits each number under each tone."""
    out = np.empty((len(tones), 16))
    # white all over; a striped ball seen along its axis is white as well, but for its rim
    lack = (max(0.0, 0.99 - look.white) / 0.03) ** 2 + (max(0.0, 0.97 - look.rim_white) / 0.06) ** 2
    out[:, 0] = 0.5 * lack
    # little colour in sight, or mixed with white, is little evidence
    shown = max(0.03, 1 - look.white)
    told, colour, off = 0.0, np.full((len(tones), 8), 9.0), np.zeros((len(tones), 8, 3))
    if look.lab is not None:
        told = min(1.0, 0.25 + 2.5 * shown)
        colour, off = paint_offs(look.lab, shown, tones)
        colour = colour * told
    if look.rim is not None:
        # a rim tells the paint where hardly anything else does
        rim = look.rim[[GAINS.index(t.gain) for t in tones]] * RIM_TELLS
        least = rim.min(1, keepdims=True)
        part = float(np.clip((look.white - RIM_FROM) / (RIM_ALONE - RIM_FROM), 0, 1)) if look.lab else 1.0
        colour = (1 - part) * colour + part * np.minimum(rim[:, :8] - least, 9.0)
        told *= 1 - part
        out[:, 0] += 0.5 * np.minimum(CUE_TELLS * (rim[:, 8] - least[:, 0]), MOST_OF_CUE)
    white = look.rim_white + look.white / 3
    solid = (max(0.0, white - WHITE_OF_SOLID) / 0.05) ** 2
    stripe = (max(0.0, WHITE_OF_STRIPE - white) / 0.06) ** 2
    stripe += (max(0.0, look.white - 0.985) / 0.01) ** 2 + 2.0 * max(0.0, look.rim_white - 0.95) / 0.05
    out[:, 1:9] = 0.5 * colour + 0.5 * min(solid, 40.0)
    out[:, 9:] = 0.5 * colour[:, :7] + 0.5 * min(stripe, 40.0)
    return Fits(np.minimum(out, 30.0), off, told)


def fits_together(looks: Sequence[Look], tones: Sequence[Tone] = TONES) -> Fits:
    """The same of one ball seen several times."""
    if not looks:
        return Fits(np.full((len(tones), 16), 4.0), np.zeros((len(tones), 8, 3)), 0.0)
    some = looks[:: -(-len(looks) // MOST_SIGHTS)]
    each = [fits(k, tones) for k in some]
    weight = np.array([k.weight for k in some])
    weight /= weight.sum()
    told = weight * [f.told for f in each]
    return Fits(
        np.tensordot(weight, [f.costs for f in each], 1) * min(2.0, np.sqrt(len(looks))),
        np.tensordot(told, [f.off for f in each], 1) / max(1e-9, told.sum()),
        float(told.sum()),
    )


def cost(look: Look, number: int, tone: Tone = PLAIN) -> float:
    """How badly a look fits a number; half a squared deviation."""
    return float(fits(look, (tone,)).costs[0, number])


def costs(looks: Sequence[Look], tone: Tone = PLAIN) -> Floats:
    """Cost of each number, shape (16,), for one ball seen several times."""
    return np.asarray(fits_together(looks, (tone,)).costs[0], float)


def pair_costs(balls: Sequence[Fits]) -> Floats:
    """What it adds to the costs of two balls, whatever they are, that one is the solid and the other the stripe of a paint:
    shape (tones, 8, balls, balls), the first of the 8 without paint and nothing.

    What a set's paint is off the standard both balls of it share (SHARED of the variance): two balls that are off alike are
    likelier a pair, two that are not are less likely one, by their common Gaussian beside two separate ones.
    """
    off = np.clip(np.stack([f.off[:, :7] for f in balls], 2), -MOST_OFF, MOST_OFF)
    told = np.sqrt([f.told for f in balls])
    rho = SHARED * np.outer(told, told)[..., None]
    u, v = off[:, :, :, None], off[:, :, None, :]
    added = (rho**2 * (u**2 + v**2) / 2 - rho * u * v) / (1 - rho**2) + 0.5 * np.log(1 - rho**2)
    return np.asarray(np.concatenate([np.zeros_like(added[:, :1, ..., 0]), added.sum(-1)], 1), float)


def assign(table_costs: Floats, held: Mapping[int, int] | None = None) -> list[Named]:
    """Numbers for the balls of one table, each number once.

    `table_costs`: shape (balls, 16). `held`: ball index -> number that is settled already (the cue ball that was
    struck). Where there are more balls than numbers the surplus, the worst fitting, gets -1 with no confidence.
    """
    return assign_toned(np.array(table_costs, float)[None], np.zeros(1), held)


def assign_toned(
    table_costs: Floats,
    tone_costs: Floats,
    held: Mapping[int, int] | None = None,
    pairs: Floats | None = None,
) -> list[Named]:
    """As `assign`, under several tones of which one holds for all balls, though it is not known which.

    `table_costs`: shape (tones, balls, 16); `tone_costs`: shape (tones,), how unlikely each tone is; `pairs`: see
    `pair_costs`. The numbers are those under the likeliest tone; how likely they are is averaged over all tones.
    """
    from scipy.optimize import linear_sum_assignment

    c = np.array(table_costs, float)
    count = c.shape[1]
    for i, n in (held or {}).items():
        c[:, :, n] += 60.0
        c[:, i] += 60.0
        c[:, i, n] = 0.0
    found = [linear_sum_assignment(under) for under in c]
    # nobody stands for the numbers that no ball has
    holder = np.full((len(c), 16), count)
    for under, (rows, columns) in zip(holder, found, strict=True):
        under[columns] = rows
    c = np.concatenate([c, np.zeros((len(c), 1, 16))], 1)
    q = np.zeros((len(c), 8, count + 1, count + 1))
    if pairs is not None:
        q[:, :, :count, :count] = pairs
    holder = _settle(c, q, holder)
    total = np.array([_total(*under) for under in zip(c, q, holder, strict=True)]) + tone_costs
    weight = np.exp(-(total - total.min()))
    weight /= weight.sum()
    t = np.arange(len(c))[:, None, None]
    # each ball's other numbers beside the partners that it would have, as if the others stayed what they are
    beside = c[:, :count] + q[t, PAINT, np.arange(count)[:, None], holder[:, PARTNER][:, None]]
    likely = np.tensordot(weight, _shared(beside), 1)
    best = int(total.argmin())
    number = {int(i): k for k, i in enumerate(holder[best]) if i < count}
    taken = {i: beside[best, i, k] - beside[best, i].min() for i, k in number.items()}
    return [
        Named(number[i], float(likely[i, number[i]] * (1 - TAKEN * (1 - np.exp(-taken[i])))))
        if i in number
        else Named(-1, 0.0)
        for i in range(count)
    ]


def _total(c: Floats, q: Floats, holder: NDArray[np.int_]) -> float:
    """What an assignment costs: `holder` of each number, by costs of balls (balls, 16) and pairs (8, balls, balls)."""
    n = np.arange(16)
    return float(c[holder, n].sum() + q[np.arange(1, 8), holder[1:8], holder[9:]].sum())


def _settle(c: Floats, q: Floats, holder: NDArray[np.int_]) -> NDArray[np.int_]:
    """Holders of each number under each tone, two of them exchanged as long as that costs less.

    Pairs make it a quadratic assignment, which is not solved in general; it starts from the one without pairs, and
    16 balls are few.
    """
    holder = holder.copy()
    tones = np.arange(len(holder))
    for _ in range(MOST_SWAPS):
        change = _exchanged(c, q, holder)
        at = change.reshape(len(holder), -1).argmin(1)
        n, m = at // 16, at % 16
        less = change[tones, n, m] < -1e-9
        if not less.any():
            break
        n, m, t = n[less], m[less], tones[less]
        holder[t, n], holder[t, m] = holder[t, m], holder[t, n]
    return holder


def _exchanged(c: Floats, q: Floats, holder: NDArray[np.int_]) -> Floats:
    """What it would change to exchange the holders of two numbers, shape (tones, 16, 16)."""
    t = np.arange(len(holder))[:, None, None]
    n = np.arange(16)
    own = c[t[..., 0], holder, n]
    # [t, n, m]: the holder of m is given n
    given = c[t, holder[:, None, :], n[None, :, None]]
    pair = q[t[..., 0], PAINT, holder, holder[:, PARTNER]]
    paired = q[t, PAINT[None, :, None], holder[:, None, :], holder[:, PARTNER][:, :, None]]
    step = given - own[:, :, None] + np.where(PARTNER[:, None] == n, 0.0, paired - pair[:, :, None])
    step = np.where(np.eye(16, dtype=bool), 0.0, step)
    return np.asarray(step + np.swapaxes(step, 1, 2), float)


def _shared(c: Floats) -> Floats:
    """Likelihood of each number for each ball when no number may go twice (rows sum to 1, columns to 1 at most).

    `c`: shape (tones, balls, 16)."""
    p = np.exp(-(c - c.min(2, keepdims=True)))
    for _ in range(40):
        p /= np.maximum(p.sum(1, keepdims=True), 1.0)
        p /= np.maximum(p.sum(2, keepdims=True), 1e-12)
    return np.asarray(p, float)
