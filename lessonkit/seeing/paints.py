"""The colours of the balls' paints, what a camera makes of them, and how badly a colour that was seen fits each.

The standard colours are those of the WPA equipment specification (16: 1/9 yellow, 2/10 blue, 3/11 red, 4/12 purple,
5/13 orange, 6/14 green, 7/15 maroon, 8 black; 1-8 solid, 9-15 white with a band); their CIELAB values here are our
own reading of those words, to which the colours found are held.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

COLOURS: Mapping[int, tuple[float, float, float]] = {
    1: (83.0, -2.0, 80.0), 2: (36.0, 22.0, -58.0), 3: (48.0, 65.0, 40.0), 4: (33.0, 36.0, -40.0),
    5: (67.0, 38.0, 66.0), 6: (44.0, -33.0, 12.0), 7: (33.0, 38.0, 16.0), 8: (18.0, 1.0, -2.0),
}  # fmt: skip
"""CIELAB of the colour of each solid; a stripe n has that of n - 8."""
LIGHTNESS_VARIES, CHROMA_VARIES, HUE_VARIES = 11.0, 18.0, 9.0
"""What one colour varies by from ball set to ball set and lamp to lamp, in CIELAB units: hue tells most, lightness least."""
SLIVER = 0.4
"""Of balls that show less colour than this the colour may be mixed with white."""
MIXED = 0.55
"""How much of it white may make up in the smallest sliver: a standard deviation."""
SHARES = (1.0, 0.88, 0.76, 0.64, 0.52, 0.4, 0.3)
"""Shares of paint, the rest white, that are tried."""
GAINS = (1.0, 1.35, 1.8, 2.4, 3.2)
OPEN_GAIN, CLOSED_GAIN = 0.8, 0.12
"""Standard deviation of the logarithm of the gain where white is burnt out, and where it is not."""


@dataclass(frozen=True)
class Tone:
    """How a camera renders colours as a whole, beside the standard ones."""

    chroma: float = 1.0
    """Factor on all chromas: phones like strong colours."""
    lightness: float = 0.0
    """Added to all lightnesses."""
    gain: float = 1.0
    """Factor on all light. Where white is burnt out it is brighter than the camera can tell, and all other colours are too
    bright beside it: maroon comes out as red and, their red burnt out as well, orange as yellow."""

    def cost(self, burnt: bool = False) -> float:
        """How unlikely it is before any colour was seen; half a squared deviation. `burnt`: white is burnt out."""
        gain = np.log(self.gain) / (OPEN_GAIN if burnt else CLOSED_GAIN)
        return 0.5 * float((np.log(self.chroma / 1.05) / 0.22) ** 2 + (self.lightness / 6.0) ** 2 + gain**2)


PLAIN = Tone()
TONES = tuple(
    Tone(c, d, g)
    for g in GAINS
    for c in (0.8, 0.9, 1.0, 1.12, 1.25, 1.4, 1.55)
    for d in (-5.0, 0.0, 5.0, 10.0)
)


def light_of(lab: Floats) -> Floats:
    """Linear red-green-blue light, shape (..., 3), of CIELAB under its own white (CIE 15; sRGB's primaries), not clipped."""
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], -1)
    xyz = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * np.array([0.950456, 1.0, 1.088754])
    to_rgb = np.array(
        [[3.2404542, -1.5371385, -0.4985314], [-0.969266, 1.8760108, 0.041556], [0.0556434, -0.2040259, 1.0572252]]
    )  # fmt: skip
    return np.asarray(xyz @ to_rgb.T, float)


def coded(light: Floats) -> NDArray[np.float32]:
    """sRGB values 0 to 1 of linear light (IEC 61966-2-1), clipped to what it can tell."""
    x = np.clip(light, 0, 1)
    return np.asarray(
        np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 1e-6) ** (1 / 2.4) - 0.055), np.float32
    )


def paint_light(gains: Sequence[float]) -> Floats:
    """Linear red-green-blue light of the paints 1 to 8 beside white under each gain, shape (gains, 8, 3)."""
    paint = np.clip(light_of(np.array([COLOURS[n] for n in range(1, 9)])), 0, 1)
    return np.asarray(np.minimum(np.array(gains)[:, None, None] * paint, 1.0), float)


@lru_cache(maxsize=4)
def rendered(tones: tuple[Tone, ...]) -> Floats:
    """CIELAB of each paint mixed with white under the gain of each tone, shape (tones, 8, SHARES, 3)."""
    share = np.array(SHARES)[:, None]
    mixed = paint_light([t.gain for t in tones])[:, :, None] * share + (1 - share)
    flat = np.ascontiguousarray(coded(mixed)).reshape(1, -1, 3)
    return np.asarray(cv2.cvtColor(flat, cv2.COLOR_RGB2Lab), float).reshape(mixed.shape)


def paint_offs(lab: tuple[float, float, float], shown: float, tones: Sequence[Tone]) -> tuple[Floats, Floats]:
    """How badly a colour fits each of the paints 1 to 8 under each tone: squared deviations, shape (tones, 8), and by how
    much it is lighter, stronger and turned in hue, shape (tones, 8, 3), in units of what one colour varies by.

    `shown`: share of the ball that is not white. A sliver at a stripe's rim is mixed with white, so that a pale red there may
    as well be maroon: of all mixtures the likeliest counts.
    """
    made = rendered(tuple(tones))
    chroma = np.array([t.chroma for t in tones])[:, None, None]
    lightness = np.array([t.lightness for t in tones])[:, None, None]
    L, a, b = lab[0] - lightness, lab[1] / chroma, lab[2] / chroma
    a0, b0 = made[..., 1], made[..., 2]
    c, c0 = np.hypot(a, b), np.hypot(a0, b0)
    hue2 = np.maximum(0.0, (a - a0) ** 2 + (b - b0) ** 2 - (c - c0) ** 2)
    hue = np.sqrt(hue2) * np.sign(a0 * b - b0 * a)
    off = np.stack([(L - made[..., 0]) / LIGHTNESS_VARIES, (c - c0) / CHROMA_VARIES, hue / HUE_VARIES], -1)
    spread = 0.06 + MIXED * max(0.0, 1 - shown / SLIVER)
    cost = (off**2).sum(-1) + ((1 - np.array(SHARES)) / spread) ** 2
    best = cost.argmin(-1)[..., None]
    return (
        np.asarray(np.take_along_axis(cost, best, -1)[..., 0], float),
        np.asarray(np.take_along_axis(off, best[..., None], -2)[..., 0, :], float),
    )
