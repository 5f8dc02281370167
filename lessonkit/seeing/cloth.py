"""What the bare table looks like in the bed view, and which pixels of a frame are not it.

A pixel is judged in linear light against the bare table at the same place: k says how bright it is along the table's
own colour (a shadow keeps the colour and lowers k), e how far its colour lies off that line. Both are relative, so
one rule serves every cloth and lamp.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import Frame
from lessonkit.seeing.bedview import BedView, Window
from lessonkit.seeing.discs import (
    FAINT,
    FAINT_ROUND,
    FAINT_VOTES,
    LEAST_APART,
    all_round,
    edges_of,
    votes,
    votes_of,
)
from lessonkit.seeing.threads import in_threads
from lessonkit.table.plate import middle_of

Picture = NDArray[np.uint8]
Mask = NDArray[np.float32]

_SRGB = np.arange(256) / 255.0
LINEAR = np.where(_SRGB <= 0.04045, _SRGB / 12.92, ((_SRGB + 0.055) / 1.055) ** 2.4).astype(np.float32)
"""Linear light of an 8-bit sRGB value (IEC 61966-2-1)."""

SHADOW_K = 0.58
"""Darker than this along the cloth's own colour is no contact shadow of a ball (measured shadows: 0.63 and more)."""
BRIGHT_K = 1.30
LEAST_E = 0.04
FAINTEST_E = 0.012
"""See `BareTable.least_e`."""
FLOOR_SHARE = 0.2
"""Light below this share of the cloth's counts as black."""
TOP_PERCENT, WELL_LIT, LIT, LEAST_CONTRAST = 99.9, 200.0, 170.0, 0.3
"""So many of 100 pixels of a bed view are darker than a white ball, the brightest of it; there it is, well lit, so bright,
and lit well enough from LIT on."""
NOISY_E, MOST_CALM_PX = 0.01, 1.6
"""From this noise on pictures are smoothed, by a pixel and more the noisier they are: a ball's radius is nine view pixels."""
PLATE_VOTES = 0.35
"""A disc with this many votes in the median picture is a ball that lay there most of the time."""
HOLE_VOTES = 0.7
"""What is dark at a pocket is its hole unless its outline is as whole as a ball's: an 8 may hang in the jaws for long."""
WHOLE_VOTES, WHOLE_ROUND = 0.75, 0.99
"""The weak edges of a ball in the jaws lie all round it; those of the hole lie about another circle, and not all round."""
WIDE_STEP = 8
WIDE_CELLS = 15
"""What cloth looks like is the median over so many cells of WIDE_STEP view pixels each way: 0.4 m."""
CLOTH_K = 0.2
"""How much darker or brighter cloth may be there; the shadow at a ball's foot is darker."""
COVER = 1.6
"""So far from its middle, in radii, a ball and its shadow change what a place looks like."""
DIMMEST_K = 0.4
"""Beside a cushion cloth is so dark beside what lies around, at least."""
ALL_OF_IT = 0.97
UNLIKE_BALL = 8.0
"""A place that shows cloth looks like it all over, and differs from the ball that lay there by so many grey levels."""
LEAST_CLOTH = 2
MOST_CLOTH = 0.6
"""Where fewer than this share of the pictures show cloth, their median cannot be trusted to."""
BURNT = 0.84
"""From this share of the most that a camera can tell, a channel of the cloth's light says only 'at least so much'."""
LEAST_BURNT = 0.02
"""Where a smaller share of the bed than this is burnt out in some channel, none is taken to be."""
LEAST_TOLD = 0.02
"""So much of the cloth's squared light must be left in channels that are not burnt out for them to tell its brightness."""
JAW_MM = 32.0
"""How far past the nose lines the centre of a ball that hangs in a pocket's jaws can lie."""


def contrast_of(pictures: Sequence[Picture]) -> float:
    """How strong edges are beside those of a well lit picture, 1 at most: as bright as the brightest of it is."""
    some = pictures[:: max(1, len(pictures) // 5)]
    top = np.median([np.percentile(p[::2, ::2].max(2), TOP_PERCENT) for p in some])
    return 1.0 if top >= LIT else float(max(top / WELL_LIT, LEAST_CONTRAST))


def _bare(view: BedView, stack: Picture, contrast: float) -> Picture:
    """The table as it is bare, from `stack`, shape (pictures, rows, columns, 3).

    The median, with cloth wherever some picture shows cloth; balls that lay there in most pictures are taken off: what the
    others show takes their places, or where no other shows it what lies around.
    """
    median = middle_of(list(stack))
    like = _like_cloth(median)
    plate = _seen_bare(view, stack, median, like)
    balls = _balls_in(view, plate, median, contrast)
    cleared = _without(stack, like, plate, balls, view.radius_px)
    faint = _faint_balls(view, cleared, median, contrast, balls)
    return _without(stack, like, cleared, faint, view.radius_px) if faint else cleared


def _without(
    stack: Picture, like: NDArray[np.float32], plate: Picture, balls: Sequence[tuple[int, int, Picture]], radius_px: float
) -> Picture:  # fmt: skip
    """The plate with what other pictures show in place of the balls, or where none shows it what lies around."""
    mask = np.zeros(plate.shape[:2], np.uint8)
    patched = plate.copy()
    for x, y, shown in balls:
        uncovered = _uncovered(stack, like, shown, (x, y), radius_px)
        if uncovered is None:
            cv2.circle(mask, (x, y), round(COVER * radius_px), 255, -1)
        else:
            at, seen, inside = uncovered
            patched[at][inside] = seen[inside]
    return np.asarray(cv2.inpaint(patched, mask, 3.0, cv2.INPAINT_TELEA), np.uint8)


def _balls_in(
    view: BedView, plate: Picture, median: Picture, contrast: float
) -> list[tuple[int, int, Picture]]:
    """Balls that still lie in the plate or lay in the median: column, row, and the one of the two that shows it better."""
    reach = view.table_mask(JAW_MM)
    both = [votes(p, view.radius_px, view.slant, contrast) for p in (plate, median)]
    ballot = np.where(reach, np.maximum(*both), 0)
    bright = plate.sum(-1).astype(np.float32)
    cloth = float(np.median(bright[view.table_mask()]))
    pockets = view.to_view(list(view.table.pockets.values()))
    found = []
    for x, y in _peaks(ballot, PLATE_VOTES):
        n = round(0.5 * view.radius_px)
        at_pocket = np.hypot(*(pockets - (x, y)).T).min() * view.mm_per_px < 0.8 * view.table.corner_mouth_mm
        if (
            at_pocket
            and ballot[y, x] < HOLE_VOTES
            and np.median(bright[max(0, y - n) : y + n + 1, max(0, x - n) : x + n + 1]) < 0.5 * cloth
        ):
            continue  # the round black of the pocket itself
        found.append((x, y, plate if both[0][y, x] > both[1][y, x] else median))
    return found


def _faint_balls(
    view: BedView, cleared: Picture, median: Picture, contrast: float, others: Sequence[tuple[int, int, Picture]]
) -> list[tuple[int, int, Picture]]:  # fmt: skip
    """Balls of the cloth's own colour: weak edges in the median that are in the plate still when `others` are cleared off it.

    Away from cushions, for their shadows have weak edges too; nearer to them, in a pocket's jaws first of all, only where
    the outline is whole, as that of a dark ball before a dark hole is.
    """
    bed, reach = view.table_mask(-view.table.radius_mm), view.table_mask(JAW_MM)
    edges = edges_of(median, view.slant, FAINT * contrast)
    seen = votes_of(edges, view.radius_px)
    left = votes(cleared, view.radius_px, view.slant, FAINT * contrast)
    near = cv2.dilate(left, np.ones((5, 5), np.uint8))
    apart = LEAST_APART * view.radius_px
    return [
        (x, y, median)
        for x, y in _peaks(np.where(reach, seen, 0), FAINT_VOTES)
        if bed[y, x] or seen[y, x] >= WHOLE_VOTES
        # a neighbour that was cleared off took some of its outline along
        if near[y, x] >= 0.5 * FAINT_VOTES
        and all_round(edges, view.radius_px, x, y) >= (FAINT_ROUND if bed[y, x] else WHOLE_ROUND)
        and all(np.hypot(x - a, y - b) >= apart for a, b, _ in others)
    ]


def _peaks(ballot: NDArray[np.float32], least: float) -> list[tuple[int, int]]:
    """Columns and rows of the places of at least so many votes that have more than those about them."""
    best = cv2.dilate(ballot, np.ones((5, 5), np.uint8))
    return [(int(x), int(y)) for y, x in zip(*np.nonzero((ballot == best) & (ballot >= least)), strict=True)]


def _uncovered(
    stack: Picture, like: NDArray[np.float32], shown: Picture, place: tuple[int, int], radius_px: float
) -> tuple[tuple[slice, slice], Picture, NDArray[np.bool_]] | None:
    """What pictures without the ball show where it lies in `shown`: where that is, the colours, and which of them lie
    under it; None where fewer than LEAST_CLOTH do.

    Such a picture shows the cloth's colour in some light all over the place, and not what `shown` shows: a ball of the
    cloth's own colour is no bare cloth.
    """
    n = int(np.ceil(COVER * radius_px))
    x, y = place
    rows, columns = shown.shape[:2]
    at = (slice(max(0, y - n), min(rows, y + n + 1)), slice(max(0, x - n), min(columns, x + n + 1)))
    yy, xx = np.mgrid[at]
    away = np.hypot(xx - x, yy - y)
    inside = away <= COVER * radius_px
    ball = shown[at].astype(np.float32)
    without = []
    for picture in stack:
        cut = picture[at]
        k, coloured = _beside(cut, like[at])
        cloth = ~coloured & (k > DIMMEST_K) & (k < BRIGHT_K)
        differs = np.abs(cut.astype(np.float32) - ball).max(-1)[away < 0.8 * radius_px].mean()
        if cloth[inside].mean() > ALL_OF_IT and differs > UNLIKE_BALL:
            without.append(cut)
    if len(without) < LEAST_CLOTH:
        return None
    return at, middle_of(without), inside


def _like_cloth(plate: Picture) -> NDArray[np.float32]:
    """What cloth looks like at each place, linear light: the middle of a wide piece of the plate about it."""
    small = cv2.resize(plate, None, fx=1 / WIDE_STEP, fy=1 / WIDE_STEP, interpolation=cv2.INTER_AREA)
    wide = cv2.resize(cv2.medianBlur(small, WIDE_CELLS), plate.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(LINEAR[wide], np.float32)


def _seen_bare(view: BedView, stack: Picture, plate: Picture, like: NDArray[np.float32]) -> Picture:
    """The plate with cloth wherever some picture shows cloth, though most show a ball or somebody there.

    `like`: see `_like_cloth`; `stack` has shape (pictures, rows, columns, 3).
    """

    def shows_cloth(picture: Picture) -> NDArray[np.bool_]:
        k, coloured = _beside(picture, like)
        return np.asarray(~coloured & (np.abs(k - 1) < CLOTH_K))

    cloth = np.stack(in_threads(shows_cloth, list(stack)))
    count = cloth.sum(0)
    mend = view.table_mask() & (count >= LEAST_CLOTH) & (count < MOST_CLOTH * len(stack))
    if mend.any():
        seen = np.where(cloth[:, mend, None], stack[:, mend].astype(np.float32), np.float32(np.nan))
        plate = plate.copy()
        plate[mend] = np.nanmedian(seen, axis=0).astype(np.uint8)
    return plate


def _beside(picture: Picture, like: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """How bright each pixel is along what cloth looks like there, and whether its colour lies off it."""
    bb = _dot(like, like) + np.float32(1e-6)
    light = LINEAR[picture]
    k = _dot(light, like) / bb
    off = np.asarray(light - k[..., None] * like, np.float32)
    return k, _dot(off, off) / bb >= (1.5 * LEAST_E) ** 2


def _dot(a: NDArray[np.float32], b: NDArray[np.float32]) -> NDArray[np.float32]:
    """Sum over the three channels of a product, shape (rows, columns)."""
    return np.asarray(cv2.transform(cv2.multiply(a, b), np.ones((1, 3), np.float32)), np.float32)


def told_by(linear: NDArray[np.float32], bed: NDArray[np.bool_]) -> NDArray[np.float32] | None:
    """Which channels of the bare table tell how bright it is: 1, or 0 where they are burnt out and others are left.

    A strongly coloured cloth under a bright lamp burns out the channel of its colour first; `bed` is True on the bed.
    None where hardly any does.
    """
    burnt = linear > BURNT
    squares = linear * linear
    left = np.where(burnt, 0, squares).sum(-1) > LEAST_TOLD * squares.sum(-1)
    burnt &= left[..., None]
    if np.asarray(burnt.any(-1))[bed].mean() < LEAST_BURNT:
        return None
    return np.asarray(~burnt, np.float32)


def bare_table(view: BedView, frames: Sequence[Frame]) -> BareTable:
    """The bare table from frames spread over the footage; its view smooths pictures where they are noisy."""
    bare = BareTable.of(view, in_threads(view.warp_frame, frames))
    if bare.e_noise < NOISY_E:
        return bare
    calm = replace(view, calm_px=min(MOST_CALM_PX, float(np.sqrt(bare.e_noise / NOISY_E))))
    return replace(BareTable.of(calm, in_threads(calm.warp_frame, frames)), raw_noise=bare.e_noise)


@dataclass(frozen=True, eq=False)
class BareTable:
    """The table without balls and people, and how noisy its pixels are."""

    view: BedView
    linear: NDArray[np.float32]
    """Linear-light picture, shape (rows, columns, 3)."""
    floor: float
    """Squared light added to every pixel's own, so that noise in the black of a pocket counts for little."""
    e_noise: float
    """Typical relative colour difference of a bare pixel of one frame of the view."""
    raw_noise: float
    """The same of a frame that was not smoothed (see `BedView.calm_px`), as close looks are not."""
    contrast: float = 1.0
    """See `contrast_of`."""
    told: NDArray[np.float32] | None = None
    """1 where a channel of `linear` tells how bright the cloth is, 0 where it is burnt out; None where none is."""

    @classmethod
    def of(cls, view: BedView, pictures: Sequence[Picture]) -> BareTable:
        """From bed views spread over the footage (people in front at different places in each)."""
        stack = np.stack([np.asarray(p) for p in pictures])
        contrast = contrast_of(pictures)
        linear = LINEAR[_bare(view, stack, contrast)]
        bed = view.table_mask(-view.table.radius_mm)
        floor = (FLOOR_SHARE * float(np.median(np.linalg.norm(linear[bed], axis=-1)))) ** 2
        told = told_by(linear, bed)
        table = cls(view, linear, floor, 0.01, 0.01, told=told)
        noises = [float(np.median(table.measures(p)[1][bed])) for p in stack[:: max(1, len(stack) // 5)]]
        noise = float(np.median(noises))
        return cls(view, linear, floor, noise, noise, contrast, told)

    @property
    def least_e(self) -> float:
        """Smallest relative colour difference that counts: less in clean pictures, so that a green ball on green cloth
        shows, more in noisy ones."""
        return max(min(LEAST_E, FAINTEST_E + 4 * self.e_noise), 4 * self.e_noise)

    def gain(self, picture: Picture) -> float:
        """How bright a whole bed view is beside the bare table: 1 unless the camera changed its exposure."""
        light, b = LINEAR[picture[::8, ::8]], self.linear[::8, ::8]
        k = ((light * b).sum(-1) + self.floor) / ((b * b).sum(-1) + self.floor)
        gain = float(np.median(k))
        return gain if 0.5 < gain < 2.0 else 1.0

    def measures(
        self, picture: Picture, part: Window | None = None, gain: float | None = None
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """k and e of every pixel of a bed view (or of `part` of it); `gain` is taken out, by default the view's own."""
        if gain is None:
            gain = 1.0 if part is not None else self.gain(picture)
        b = self.linear if part is None else self.linear[part.area]
        if self.told is not None:
            told = self.told if part is None else self.told[part.area]
            return self._measures_burnt(picture, b, told, gain)
        light = np.asarray(cv2.LUT(picture, (LINEAR / np.float32(gain)).astype(np.float32)), np.float32)
        bb = _dot(b, b) + np.float32(self.floor)
        lb = _dot(light, b)
        k = (lb + np.float32(self.floor)) / bb
        # |light - k b|² spelled out, so that no picture of three channels is made on the way
        off2 = _dot(light, light) - 2 * k * lb + k * k * (bb - np.float32(self.floor))
        e = np.sqrt(np.maximum(off2, 0) / bb)
        return k, e

    def _measures_burnt(
        self, picture: Picture, b: NDArray[np.float32], told: NDArray[np.float32], gain: float
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """As `measures`, where some channels of the cloth are burnt out: they tell no brightness, and cloth in the shade
        may have any more of them than its colour asks for; only less of them is off its colour."""
        light = np.asarray(cv2.LUT(picture, (LINEAR / np.float32(gain)).astype(np.float32)), np.float32)
        whole = _dot(b, b)
        kept = np.asarray(cv2.multiply(b, told), np.float32)
        bb = _dot(kept, b)
        floor = np.float32(self.floor) * bb / np.maximum(whole, np.float32(1e-6))
        k = np.asarray((_dot(light, kept) + floor) / np.maximum(bb + floor, np.float32(1e-6)), np.float32)
        off = light - k[..., None] * b
        off = np.asarray(np.where(told > 0, off, np.minimum(off, 0)), np.float32)
        return k, np.asarray(np.sqrt(_dot(off, off) / (whole + np.float32(self.floor))), np.float32)

    def foreignness(self, picture: Picture, linear: NDArray[np.float32]) -> Mask:
        """How far each pixel of a picture is from the bare table `linear` of the same shape; 1 is as far as counts.

        Smoother than `foreign` and without its thresholds, so that the middle of a ball's edge is where it is seen:
        a white cap and a dark band of one ball both come near 1, the cloth about them near 0.
        """
        light = LINEAR[picture]
        bb = np.einsum("ijk,ijk->ij", linear, linear) + self.floor
        k = (np.einsum("ijk,ijk->ij", light, linear) + self.floor) / bb
        off = light - k[..., None] * linear
        e = np.sqrt(np.einsum("ijk,ijk->ij", off, off) / bb)
        by_colour = (e - 1.5 * self.raw_noise) / (3 * LEAST_E)
        far = np.maximum(np.maximum(by_colour, (0.8 - k) / 0.35), (k - 1.2) / 0.5)
        return np.asarray(np.clip(far, 0, 1), np.float32)

    def linear_patch(self, place: tuple[float, float], mm_per_px: float, size_px: int) -> NDArray[np.float32]:
        """The bare table about a place, linear light, shape (size_px, size_px, 3)."""
        half = size_px // 2
        at = self.view.to_view([place])[0]
        steps = np.arange(-half, half + 1) * mm_per_px / self.view.mm_per_px
        gx, gy = np.meshgrid(at[0] + steps, at[1] + steps)
        return np.asarray(
            cv2.remap(self.linear, gx.astype(np.float32), gy.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE),
            np.float32,
        )  # fmt: skip

    def foreign(self, picture: Picture, part: Window | None = None, gain: float | None = None) -> Mask:
        """How surely each pixel of a bed view, or of `part` of it, is not the bare table, 0 to 1."""
        k, e = self.measures(picture, part, gain)
        least = self.least_e
        by_colour = (e - least) / (1.5 * least)
        by_dark = (SHADOW_K - k) / 0.12
        by_bright = (k - BRIGHT_K) / 0.3
        return np.asarray(np.clip(np.maximum(np.maximum(by_colour, by_dark), by_bright), 0, 1), np.float32)
