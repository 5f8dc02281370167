"""Which number each ball has: colours and white shares of all balls together, each number once.

The standard colours are those of the WPA equipment specification (16: 1/9 yellow, 2/10 blue, 3/11 red, 4/12 purple,
5/13 orange, 6/14 green, 7/15 maroon, 8 black; 1-8 solid, 9-15 white with a band); their CIELAB values here are our
own reading of those words, to which the colours found are held.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lessonkit.seeing.looks import Look

Floats = NDArray[np.float64]

NUMBERS = tuple(range(16))
COLOURS: Mapping[int, tuple[float, float, float]] = {
    1: (83.0, -2.0, 80.0), 2: (36.0, 22.0, -58.0), 3: (48.0, 65.0, 40.0), 4: (33.0, 36.0, -40.0),
    5: (67.0, 38.0, 66.0), 6: (44.0, -33.0, 12.0), 7: (33.0, 38.0, 16.0), 8: (18.0, 1.0, -2.0),
}  # fmt: skip
"""CIELAB of the colour of each solid; a stripe n has that of n - 8."""
DOUBT_BELOW = 0.8
"""A number held for less likely than this is doubtful."""


WHITE_OF_SOLID = 0.20
WHITE_OF_STRIPE = 0.31
"""Most white of a solid and least of a stripe: the share near the rim plus a third of the whole share. A number's disc is white
in the middle or at one side; a stripe shows white near the rim however it lies (with a band of half a radius to both
sides a ring at 0.8 radii is white on 37 to 100 % of its length, by the geometry of the sphere), and blur takes some of
it away. Of 322 solids in scenes of known truth none had more than 0.21, of 278 stripes two had less than 0.29."""


SLIVER = 0.4
MIXED_CHROMA = 40.0
"""Of balls that show less colour than SLIVER the colour may be paler than it is, by up to so much."""


@dataclass(frozen=True)
class Tone:
    """How a camera renders colours as a whole, beside the standard ones."""

    chroma: float = 1.0
    """Factor on all chromas: phones like strong colours."""
    lightness: float = 0.0
    """Added to all lightnesses."""

    @property
    def cost(self) -> float:
        """How unlikely it is before anything was seen; half a squared deviation."""
        return 0.5 * float((np.log(self.chroma / 1.05) / 0.22) ** 2 + (self.lightness / 6.0) ** 2)


PLAIN = Tone()
TONES = tuple(Tone(c, d) for c in (0.8, 0.9, 1.0, 1.12, 1.25, 1.4, 1.55) for d in (-5.0, 0.0, 5.0, 10.0))


@dataclass(frozen=True)
class Named:
    """A ball's number and how likely it is right."""

    number: int
    confidence: float


def _colour_cost(
    lab: tuple[float, float, float], standard: tuple[float, float, float], tone: Tone, shown: float
) -> float:
    """Squared distance of two colours in units of what one colour varies by: hue tells most, lightness least.

    `shown`: share of the ball that is not white. A sliver at a stripe's rim is mixed with white, cloth and shade, and
    how strong its colour is says little."""
    L, a, b = lab[0] - tone.lightness, lab[1] / tone.chroma, lab[2] / tone.chroma
    L0, a0, b0 = standard
    c, c0 = np.hypot(a, b), np.hypot(a0, b0)
    d_hue2 = max(0.0, (a - a0) ** 2 + (b - b0) ** 2 - (c - c0) ** 2)
    lack = MIXED_CHROMA * max(0.0, 1 - shown / SLIVER) if c < c0 else 0.0
    return float(((L - L0) / 11) ** 2 + ((c - c0) / (16 + lack)) ** 2 + d_hue2 / 12**2)


def cost(look: Look, number: int, tone: Tone = PLAIN) -> float:
    """How badly a look fits a number; half a squared deviation, so that exp(-cost) behaves like a likelihood."""
    if number == 0:
        # white all over; a striped ball seen along its axis is white as well, but for its rim
        lack = (max(0.0, 0.99 - look.white) / 0.03) ** 2 + (max(0.0, 0.97 - look.rim_white) / 0.06) ** 2
        return min(30.0, 0.5 * lack)
    standard = COLOURS[number if number <= 8 else number - 8]
    if look.lab is None:
        colour = 9.0
    else:
        # little colour in sight, or mixed with white, is little evidence
        shown = max(0.03, 1 - look.white)
        colour = _colour_cost(look.lab, standard, tone, shown) * min(1.0, 0.25 + 2.5 * shown)
    white = look.rim_white + look.white / 3
    if number <= 8:
        share = (max(0.0, white - WHITE_OF_SOLID) / 0.05) ** 2
    else:
        share = (max(0.0, WHITE_OF_STRIPE - white) / 0.06) ** 2
        share += (max(0.0, look.white - 0.985) / 0.01) ** 2 + 2.0 * max(0.0, look.rim_white - 0.95) / 0.05
    return min(30.0, 0.5 * colour + 0.5 * min(share, 40.0))


def costs(looks: Sequence[Look], tone: Tone = PLAIN) -> Floats:
    """Cost of each number, shape (16,), for one ball seen several times; the better half of the sights counts most."""
    if not looks:
        return np.full(16, 4.0)
    each = np.array([[cost(k, n, tone) for n in NUMBERS] for k in looks])
    weight = np.array([k.weight for k in looks])
    return np.asarray((each * weight[:, None]).sum(0) / weight.sum() * min(2.0, np.sqrt(len(looks))), float)


def assign(table_costs: Floats, held: Mapping[int, int] | None = None) -> list[Named]:
    """Numbers for the balls of one table, each number once.

    `table_costs`: shape (balls, 16). `held`: ball index -> number that is settled already (the cue ball that was
    struck). Where there are more balls than numbers the surplus, the worst fitting, gets -1 with no confidence.
    """
    return assign_toned(np.array(table_costs, float)[None], np.zeros(1), held)


def assign_toned(
    table_costs: Floats, tone_costs: Floats, held: Mapping[int, int] | None = None
) -> list[Named]:
    """As `assign`, under several tones of which one holds for all balls, though it is not known which.

    `table_costs`: shape (tones, balls, 16); `tone_costs`: shape (tones,), how unlikely each tone is. The numbers are
    those under the likeliest tone; how likely they are is averaged over all tones.
    """
    from scipy.optimize import linear_sum_assignment

    c = np.array(table_costs, float)
    for i, n in (held or {}).items():
        c[:, :, n] += 60.0
        c[:, i] += 60.0
        c[:, i, n] = 0.0
    pairs = [linear_sum_assignment(under) for under in c]
    total = np.array([under[pair].sum() for under, pair in zip(c, pairs, strict=True)]) + tone_costs
    weight = np.exp(-(total - total.min()))
    likely = np.tensordot(weight / weight.sum(), np.array([_shared(under) for under in c]), 1)
    rows, columns = pairs[int(total.argmin())]
    number = dict(zip(rows.tolist(), columns.tolist(), strict=True))
    return [
        Named(number[i], float(likely[i, number[i]])) if i in number else Named(-1, 0.0)
        for i in range(c.shape[1])
    ]


def _shared(c: Floats) -> Floats:
    """Likelihood of each number for each ball when no number may go twice (rows sum to 1, columns to 1 at most)."""
    p = np.exp(-(c - c.min(1, keepdims=True)))
    for _ in range(40):
        p /= np.maximum(p.sum(0, keepdims=True), 1.0)
        p /= np.maximum(p.sum(1, keepdims=True), 1e-12)
    return np.asarray(p, float)
