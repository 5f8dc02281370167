"""What a ball looks like: how much of it is white, and the colour of the rest, freed from lamp and place.

Colours are judged in CIELAB against the whitest thing among the balls (the cue ball and the stripes are white), after
the lamp's unevenness over the table, read off the cloth, is divided out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Point
from lessonkit.seeing.bedview import BedView
from lessonkit.seeing.centres import outline_mm
from lessonkit.seeing.cloth import LINEAR, BareTable
from lessonkit.seeing.patches import Patch
from lessonkit.seeing.slivers import slivers

Floats = NDArray[np.float64]

INNER = 0.85
"""Part of the radius that is judged: the rim mixes with the cloth."""
RIM = (0.70, 0.88)
WHITE_CHROMA = 24.0
WHITE_LIGHTNESS = 60.0
"""Lighter than this and paler than the chroma is white, in CIELAB units."""
DIM_CHROMA, DIM_LIGHTNESS = 13.0, 47.0
"""White in the shade: no ball's colour is as pale and as light as this."""
LEAST_PIXELS = 8
FALL, FALL_POWER = 0.42, 2.5
"""A ball of one colour is darker by so much at its rim, growing with this power of how far out: lamps hang above. Between what
made-up balls show (0.71 of the light at 0.8 radii) and what the three path-traced clips do (0.8)."""
NEARLY_WHITE = 0.85
"""From this share of white on the rim is looked at for a trace of paint."""
LAMP_TRUST = 0.5
"""Power to which the cloth's unevenness is taken for the balls': part of it is sheen, wear and stain of the cloth alone.
In 105 scenes of known truth the lightness of yellow, red and orange balls falls with it at 1 (correlations -0.4 to -0.6),
rises with it at 0.3 (0.3 to 0.4), and does neither about here."""
BURNT = 0.88
"""From this share of the most that a camera can tell, a channel of light says only 'at least so much'."""


@dataclass(frozen=True, eq=False)
class Close:
    """The mean close look at one ball in one place: linear light, evenly lit."""

    light: NDArray[np.float32]
    """Shape (n, n, 3), blue-green-red."""
    radius: NDArray[np.float32]
    """How far out on the ball's visible disc each pixel lies: 0 in its middle, 1 on its outline, shape (n, n)."""
    lamp: float
    """What the light was divided by to be evenly lit: times this, it is as the camera saw it."""


@dataclass(frozen=True)
class Look:
    """What one ball looked like in one place."""

    white: float
    """Share of white inside INNER."""
    rim_white: float
    """Share of white near the rim, where the cue ball alone is white all round."""
    lab: tuple[float, float, float] | None
    """CIELAB of what is not white; None for a ball that showed nothing else."""
    weight: float
    """How much the look tells: the square root of the number of patches behind it."""
    burnt: bool = False
    """Whether white is as bright there as the camera can tell, and may be brighter."""
    rim: Floats | None = None
    """Of a ball that is white nearly all over how badly its rim fits each paint, see `slivers`."""


class Lighting:
    """How bright the lamp is at each place of the table, beside its middle brightness."""

    view: BedView
    """By which the bare table was seen."""

    def __init__(self, bare: BareTable) -> None:
        view = bare.view
        light = bare.linear.sum(-1)
        bed = view.table_mask(-view.table.radius_mm)
        self.view = view
        self._middle = float(np.median(light[bed]))
        inside = np.where(bed, light, np.float32(self._middle))
        self._smooth = cv2.GaussianBlur(inside.astype(np.float32), (0, 0), 60 / view.mm_per_px)

    def at(self, place: Point) -> float:
        """1 where the lamp is as bright as in the middle of the range."""
        return float(self.cloth_at(place) ** LAMP_TRUST)

    def cloth_at(self, place: Point) -> float:
        """How bright the cloth is beside its middle brightness: the most that the lamp may be."""
        x, y = self.view.to_view([place])[0]
        x = float(np.clip(x, 0, self.view.columns - 1))
        y = float(np.clip(y, 0, self.view.rows - 1))
        return float(np.clip(self._smooth[round(y), round(x)] / self._middle, 0.4, 2.0))


def close_look(patches: Sequence[Patch], place: Point, lighting: Lighting) -> Close:
    """The mean of up to eight patches of one ball at rest."""
    step = max(1, len(patches) // 8)
    used = patches[::step][:8]
    n = used[0].picture.shape[0]
    total = np.zeros((n, n, 3), np.float32)
    for p in used:
        dx, dy = (np.asarray(place) - np.asarray(p.place)) / p.mm_per_px
        m = np.array([[1.0, 0.0, dx], [0.0, 1.0, dy]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        total += cv2.warpAffine(LINEAR[p.picture], m, (n, n), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    outline = outline_mm(lighting.view.camera, lighting.view.table, place)
    lamp = lighting.at(place)
    return Close(total / np.float32(len(used) * lamp), radii(outline, n, used[0].mm_per_px), lamp)


def radii(outline: Floats, n: int, mm_per_px: float) -> NDArray[np.float32]:
    """How far out in an ellipse each pixel of a patch n wide lies: 0 in its middle, 1 on `outline`, shape (n, n).

    `outline`: millimetres from the ball's centre at even steps round it, shape (N, 2) (`centres.outline_mm`).
    A slanting view draws a ball out: a circle would leave out part of it, a stripe's white at its ends first of all.
    """
    middle = outline.mean(0)
    # points at even steps of x = middle + A (cos t, sin t) have A Aᵀ / 2 as their covariance
    inverse = np.linalg.inv(2 * np.cov((outline - middle).T, bias=True))
    a = np.arange(-(n // 2), n // 2 + 1) * mm_per_px
    off = np.stack(np.meshgrid(a, a), -1) - middle
    return np.asarray(np.sqrt(np.einsum("ijk,kl,ijl->ij", off, inverse, off)), np.float32)


def white_point(closes: Sequence[Close]) -> Floats:
    """The light of white, blue-green-red: what the brightest parts of the balls have in common.

    Highlights are the very brightest and left out by taking a quantile of each ball; the balls with the brightest
    darkest channel are the white ones.
    """
    tops = []
    for c in closes:
        pixels = c.light[c.radius < 0.8]
        order = np.argsort(pixels.min(1))
        tops.append(pixels[order[int(0.80 * len(order)) : int(0.92 * len(order)) + 1]].mean(0))
    if not tops:
        return np.ones(3)
    array = np.asarray(tops, float)
    darkest = array.min(1)
    best = array[darkest >= 0.75 * np.quantile(darkest, 0.97)]
    return np.asarray(np.median(best, axis=0) * 1.03, float)


def lab_of(light: NDArray[np.float32], white: Floats) -> NDArray[np.float32]:
    """CIELAB, shape (..., 3), of linear blue-green-red light with `white` as its white (von Kries in sRGB)."""
    rgb = np.clip(light / np.asarray(white, np.float32), 0, 1)[..., ::-1]
    coded = np.where(rgb <= 0.0031308, 12.92 * rgb, 1.055 * np.maximum(rgb, 1e-6) ** (1 / 2.4) - 0.055)
    flat = np.ascontiguousarray(coded, np.float32).reshape(1, -1, 3)
    return np.asarray(cv2.cvtColor(flat, cv2.COLOR_RGB2Lab), np.float32).reshape(light.shape)


def falloff(radius: NDArray[np.float32]) -> NDArray[np.float32]:
    """How bright a ball of one colour is so far out on its disc, beside its middle."""
    return np.asarray(1 - FALL * np.minimum(radius, 1) ** FALL_POWER, np.float32)


def look(close: Close, white: Floats, patches: int) -> Look:
    """Judge one close look."""
    lab = lab_of(close.light, white)
    chroma = np.hypot(lab[..., 1], lab[..., 2])
    seen = close.light * np.float32(close.lamp)
    # what is burnt out in all channels is white, though under a bright lamp the camera could not tell it as bright
    pale = (lab[..., 0] > WHITE_LIGHTNESS) & (chroma < WHITE_CHROMA) | (seen.min(-1) > BURNT)
    pale |= (lab[..., 0] > DIM_LIGHTNESS) & (chroma < DIM_CHROMA)
    inside = close.radius < INNER
    rim = (close.radius > RIM[0]) & (close.radius < RIM[1])
    other = inside & ~pale
    colour: tuple[float, float, float] | None = None
    if int(other.sum()) >= LEAST_PIXELS:
        # a channel that is burnt out bends the hue, orange towards yellow
        true = other & (seen.max(-1) < BURNT)
        if int(true.sum()) >= LEAST_PIXELS:
            other = true
        # where colour meets white the two mix: the more coloured half is the truer one
        strong = other & (chroma >= np.median(chroma[other]))
        even = lab_of(close.light[strong] / falloff(close.radius[strong])[:, None], white)
        m = np.median(even, axis=0)
        colour = (float(m[0]), float(m[1]), float(m[2]))
    nearly = pale[inside].mean() > NEARLY_WHITE
    rim_fit = slivers(np.asarray(close.light / white, np.float32), close.radius) if nearly else None
    return Look(
        float(pale[inside].mean()),
        float(pale[rim].mean()),
        colour,
        float(np.sqrt(max(1, min(8, patches)))),
        bool(np.min(white) * close.lamp > BURNT),
        rim_fit,
    )
