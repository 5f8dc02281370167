"""What the bare table looks like in the bed view, and which pixels of a frame are not it.

A pixel is judged in linear light against the bare table at the same place: k says how bright it is along the table's
own colour (a shadow keeps the colour and lowers k), e how far its colour lies off that line. Both are relative, so
one rule serves every cloth and lamp.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.seeing.bedview import BORDER_MM, BedView, Window

Picture = NDArray[np.uint8]
Mask = NDArray[np.float32]

_SRGB = np.arange(256) / 255.0
LINEAR = np.where(_SRGB <= 0.04045, _SRGB / 12.92, ((_SRGB + 0.055) / 1.055) ** 2.4).astype(np.float32)
"""Linear light of an 8-bit sRGB value (IEC 61966-2-1)."""

SHADOW_K = 0.58
"""Darker than this along the cloth's own colour is no contact shadow of a ball (measured shadows: 0.63 and more)."""
BRIGHT_K = 1.30
LEAST_E = 0.04
"""Smallest relative colour difference that counts, whatever the noise."""
FLOOR_SHARE = 0.2
"""Light below this share of the cloth's counts as black."""
WIDE_MM = 300.0
"""Length of the running median that clears balls off the cushion bands."""


def _surface(picture: NDArray[np.float32], use: NDArray[np.bool_]) -> NDArray[np.float32]:
    """A smooth picture (polynomial of degree 4) through the pixels in `use`, outliers left out."""
    h, w = use.shape
    ys, xs = np.nonzero(use)
    step = max(1, len(xs) // 20000)
    xs, ys = xs[::step], ys[::step]

    def terms(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        u, v = 2 * x / w - 1, 2 * y / h - 1
        return np.stack([u**i * v**j for i in range(5) for j in range(5 - i)], -1)

    A = terms(xs.astype(float), ys.astype(float))
    out = np.empty((h, w, 3), np.float32)
    gx, gy = np.meshgrid(np.arange(0, w, 4.0), np.arange(0, h, 4.0))
    coarse = terms(gx, gy)
    for c in range(3):
        z = picture[ys, xs, c].astype(float)
        weight = np.ones(len(z))
        coefficients = np.zeros(A.shape[1])
        for _ in range(8):
            coefficients, *_ = np.linalg.lstsq(A * weight[:, None], z * weight, rcond=None)
            r = z - A @ coefficients
            s = 1.4826 * np.median(np.abs(r)) + 1e-3
            weight = np.clip(1 - (r / (4 * s)) ** 2, 0, None)
        small = (coarse @ coefficients).astype(np.float32)
        out[..., c] = cv2.resize(small, (w, h), interpolation=cv2.INTER_LINEAR)
    return out


def _bare(view: BedView, plate: NDArray[np.float32]) -> NDArray[np.float32]:
    """The median picture with the balls that never moved taken off."""
    bare = plate.copy()
    wide = round(WIDE_MM / view.mm_per_px)
    band = round(BORDER_MM / view.mm_per_px)
    bed = view.table_mask()
    smooth = _surface(plate, view.table_mask(-view.table.radius_mm))
    off = np.abs(plate - smooth).max(2)
    s = 1.4826 * float(np.median(off[bed]))
    odd = (off > max(10.0, 5 * s)) & bed
    # lines and spots printed on the cloth are thin: an opening keeps them in the bare table
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (7, 7))
    odd_u8 = cv2.morphologyEx(odd.astype(np.uint8), cv2.MORPH_OPEN, disc)
    odd_u8 = cv2.dilate(odd_u8, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9)))
    bare[odd_u8 > 0] = smooth[odd_u8 > 0]
    for rows in (slice(0, band), slice(view.rows - band, view.rows)):
        bare[rows] = _running_median(plate[rows], wide, axis=1)
    for columns in (slice(0, band), slice(view.columns - band, view.columns)):
        inner = slice(band, view.rows - band)
        bare[inner, columns] = _running_median(plate[inner, columns], wide, axis=0)
    for x, y in view.to_view(list(view.table.pockets.values())):
        r = 1.6 * view.table.corner_mouth_mm / view.mm_per_px / 2
        area = np.s_[max(0, int(y - r)) : int(y + r) + 1, max(0, int(x - r)) : int(x + r) + 1]
        # what is darker than the cloth here is the pocket itself; a ball that hung there throughout is lighter
        keep = (odd_u8[area] == 0) | (plate[area].sum(-1) < 0.6 * smooth[area].sum(-1))
        bare[area][keep] = plate[area][keep]
    return bare


def _running_median(strip: NDArray[np.float32], length: int, axis: int) -> NDArray[np.float32]:
    from scipy.ndimage import median_filter

    step = 4  # the table changes slowly along a cushion
    thin = strip[:, ::step] if axis == 1 else strip[::step]
    size = (1, length // step, 1) if axis == 1 else (length // step, 1, 1)
    filtered = median_filter(thin, size=size, mode="nearest")
    return np.repeat(filtered, step, axis=axis)[: strip.shape[0], : strip.shape[1]]


@dataclass(frozen=True, eq=False)
class BareTable:
    """The table without balls and people, and how noisy its pixels are."""

    view: BedView
    linear: NDArray[np.float32]
    """Linear-light picture, shape (rows, columns, 3)."""
    floor: float
    """Squared light added to every pixel's own, so that noise in the black of a pocket counts for little."""
    e_noise: float
    """Typical relative colour difference of a bare pixel of one frame."""

    @classmethod
    def of(cls, view: BedView, pictures: Sequence[Picture]) -> BareTable:
        """From bed views spread over the footage (people in front at different places in each)."""
        stack = np.stack([np.asarray(p) for p in pictures])
        plate = np.median(stack, axis=0).astype(np.float32)
        bare = _bare(view, plate)
        linear = LINEAR[np.clip(bare, 0, 255).astype(np.uint8)]
        bed = view.table_mask(-view.table.radius_mm)
        floor = (FLOOR_SHARE * float(np.median(np.linalg.norm(linear[bed], axis=-1)))) ** 2
        table = cls(view, linear, floor, 0.01)
        noises = [float(np.median(table.measures(p)[1][bed])) for p in stack[:: max(1, len(stack) // 5)]]
        return cls(view, linear, floor, float(np.median(noises)))

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
        light = LINEAR[picture] * np.float32(1 / gain)
        bb = np.einsum("ijk,ijk->ij", b, b) + self.floor
        k = (np.einsum("ijk,ijk->ij", light, b) + self.floor) / bb
        off = light - k[..., None] * b
        e = np.sqrt(np.einsum("ijk,ijk->ij", off, off) / bb)
        return k, e

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
        by_colour = (e - 1.5 * self.e_noise) / (3 * LEAST_E)
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
        least = max(LEAST_E, 4 * self.e_noise)
        by_colour = (e - least) / (1.5 * least)
        by_dark = (SHADOW_K - k) / 0.12
        by_bright = (k - BRIGHT_K) / 0.3
        return np.asarray(np.clip(np.maximum(np.maximum(by_colour, by_dark), by_bright), 0, 1), np.float32)
