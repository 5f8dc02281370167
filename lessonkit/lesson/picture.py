"""Pictures as the encoder wants them (Y, U, V planes), and layers laid over them without touching the rest.

Camera frames stay Y, U, V from the decoder to the encoder, so that a pixel on which nothing is drawn leaves as it
came. What is drawn is converted by ITU-R BT.709, studio range, which the video states.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import Frame, colour_matrix
from lessonkit.lesson import style

U8 = NDArray[np.uint8]
F32 = NDArray[np.float32]
Box = tuple[int, int, int, int]
"""x0, y0, x1, y1 in pixels, the far edges outside."""

MAX_LONG_PX, MAX_SHORT_PX = 1920, 1080
_KR, _KB = 0.2126, 0.0722  # ITU-R BT.709-6, item 3.2
_KG = 1 - _KR - _KB
BGR_TO_YUV = np.array(
    [
        [219 * _KB, 219 * _KG, 219 * _KR],
        [112.0, -112 * _KG / (1 - _KB), -112 * _KR / (1 - _KB)],
        [-112 * _KB / (1 - _KR), -112 * _KG / (1 - _KR), 112.0],
    ]
) / 255  # fmt: skip
"""B, G, R of 0-255 to Y, U, V less their offsets 16, 128, 128 (ITU-R BT.709-6, studio range of 8 bits)."""
YUV_TO_BGR = np.linalg.inv(BGR_TO_YUV)
_OFFSETS = (16.0, 128.0, 128.0)


def output_size(width: int, height: int) -> tuple[int, int]:
    """Width and height of the lesson: the footage's, scaled down to 1920 by 1080 either way round, even, never up."""
    scale = min(1.0, MAX_LONG_PX / max(width, height), MAX_SHORT_PX / min(width, height))
    return max(2, round(width * scale) // 2 * 2), max(2, round(height * scale) // 2 * 2)


class Picture:
    """One picture, yuv420p, BT.709 studio range; width and height even."""

    def __init__(self, width: int, height: int) -> None:
        self.width, self.height = width, height
        self.i420: U8 = np.empty((height * 3 // 2, width), np.uint8)
        """All planes as one array, shape (height * 3 / 2, width)."""
        flat = self.i420.reshape(-1)
        n, q = width * height, width * height // 4
        self.y: U8 = flat[:n].reshape(height, width)
        self.u: U8 = flat[n : n + q].reshape(height // 2, width // 2)
        self.v: U8 = flat[n + q : n + 2 * q].reshape(height // 2, width // 2)

    @property
    def planes(self) -> tuple[U8, U8, U8]:
        """Y, U and V; changing them changes the picture."""
        return self.y, self.u, self.v

    def copy(self) -> Picture:
        """The same picture in memory of its own."""
        other = Picture(self.width, self.height)
        other.i420[:] = self.i420
        return other

    def mixed(self, other: Picture, share: float) -> Picture:
        """This picture with so much (0-1) of another one of the same size."""
        picture = Picture(self.width, self.height)
        cv2.addWeighted(self.i420, 1 - share, other.i420, share, 0.0, dst=picture.i420)
        return picture

    @classmethod
    def from_frame(cls, frame: Frame, width: int, height: int) -> Picture:
        """A camera frame, upright, scaled if need be; untouched where size and colour are the lesson's already."""
        raw = frame.raw
        turned = frame.rotation % 180 != 0
        want = (height, width) if turned else (width, height)
        even = (raw.width // 2 * 2, raw.height // 2 * 2)
        same_colour = colour_matrix(raw) == 1 and raw.color_range != 2
        if want != even or not same_colour:
            raw = raw.reformat(
                width=want[0], height=want[1], format="yuv420p", interpolation="AREA",
                src_colorspace=_colorspace(colour_matrix(raw)), dst_colorspace="ITU709",
                src_color_range="JPEG" if raw.color_range == 2 else "MPEG", dst_color_range="MPEG",
            )  # fmt: skip
            frame = Frame(frame.t_s, raw, frame.rotation)
        picture = cls(width, height)
        for mine, theirs in zip(picture.planes, frame.planes(), strict=True):
            mine[:] = theirs[: mine.shape[0], : mine.shape[1]]
        return picture

    @classmethod
    def fitted(cls, frame: Frame, width: int, height: int) -> Picture:
        """A frame of any shape, whole, in the middle of a picture of this size; black beside it."""
        w, h = frame.size
        scale = min(width / w, height / h)
        inner = (max(2, round(w * scale / 2) * 2), max(2, round(h * scale / 2) * 2))
        inner = (min(inner[0], width), min(inner[1], height))
        part = cls.from_frame(frame, *inner)
        if inner == (width, height):
            return part
        picture = cls(width, height)
        x, y = (width - inner[0]) // 4 * 2, (height - inner[1]) // 4 * 2
        for k, (plane, theirs) in enumerate(zip(picture.planes, part.planes, strict=True)):
            plane[:] = 128 if k else 16
            px, py = (x // 2, y // 2) if k else (x, y)
            plane[py : py + theirs.shape[0], px : px + theirs.shape[1]] = theirs
        return picture

    @classmethod
    def from_bgr(cls, bgr: U8) -> Picture:
        """A drawn picture, shape (height, width, 3) with even sides."""
        picture = cls(bgr.shape[1], bgr.shape[0])
        yuv = np.asarray(cv2.transform(bgr, np.c_[BGR_TO_YUV, _OFFSETS]), np.uint8)
        y, u, v = (np.ascontiguousarray(yuv[..., k]) for k in range(3))
        picture.y[:] = y
        picture.u[:], picture.v[:] = halved(u), halved(v)
        return picture

    def to_bgr(self) -> U8:
        """Blue, green, red, shape (height, width, 3)."""
        # Chroma samples sit on every second luma column and between rows (the usual 4:2:0 of MPEG-4 part 10).
        chroma = [_doubled(p, self.width, self.height) for p in (self.u, self.v)]
        matrix = np.c_[YUV_TO_BGR, -YUV_TO_BGR @ _OFFSETS]
        return np.asarray(cv2.transform(cv2.merge([self.y, *chroma]), matrix), np.uint8)

    def lay(
        self,
        overlay: Overlay,
        *,
        opacity: float = 1.0,
        above: Sequence[Cutout] = (),
        hidden: U8 | None = None,
    ) -> None:
        """Lay `overlay` over this picture in its box only.

        `above` are things that stand in front of it; `hidden` tells 0-255, at half the box's size, how much of it
        somebody hides.
        """
        kept = [(c, c.taken(self)) for c in above if overlay.covers(c.box)]
        overlay.blend(self, opacity, hidden)
        for cutout, pixels in kept:
            cutout.give_back(self, pixels)


def _colorspace(matrix: int) -> str:
    return "ITU709" if matrix == 1 else "SMPTE240M" if matrix == 7 else "ITU601"


def halved(plane: U8) -> U8:
    """A full-size plane at the places of 4:2:0 chroma: [1 2 1]/4 across around even columns, row pairs averaged."""
    across = cv2.sepFilter2D(plane, cv2.CV_32F, np.array([0.25, 0.5, 0.25]), np.array([1.0]))[:, ::2]
    return np.asarray(np.rint((across[::2] + across[1::2]) / 2), np.uint8)


def _doubled(plane: U8, width: int, height: int) -> U8:
    matrix = np.array([[0.5, 0.0, 0.0], [0.0, 0.5, -0.25]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(
        cv2.warpAffine(plane, matrix, (width, height), flags=flags, borderMode=cv2.BORDER_REPLICATE), np.uint8
    )


class Overlay:
    """What is laid over pictures: premultiplied Y, U, V and the share that shines through, in one box."""

    def __init__(self, box: Box) -> None:
        x0, y0, x1, y1 = box
        self.box: Box = (x0 & ~1, y0 & ~1, x1 + (x1 & 1), y1 + (y1 & 1))
        w, h = self.box[2] - self.box[0], self.box[3] - self.box[1]
        sizes = ((h, w), (h // 2, w // 2), (h // 2, w // 2))
        self.colour = [np.zeros(s, np.uint8) for s in sizes]
        self.cover = [np.zeros(s, np.uint8) for s in sizes[:2]]

    def update(self, bgra: U8, box: Box) -> None:
        """Take over the part `box` of a premultiplied blue-green-red-alpha layer, shape (height, width, 4)."""
        x0, y0, x1, y1 = _clipped(
            (box[0] - 2 & ~1, box[1] - 2 & ~1, box[2] + 3 & ~1, box[3] + 3 & ~1), self.box
        )
        if x1 <= x0 or y1 <= y0:
            return
        lead = min(2, x0)  # a chroma sample also looks at the column before it
        part = bgra[y0:y1, x0 - lead : x1]
        alpha = part[..., 3].copy()
        yuv = np.asarray(cv2.transform(part, np.c_[BGR_TO_YUV, np.array(_OFFSETS) / 255]), np.uint8)
        ox, oy = x0 - self.box[0], y0 - self.box[1]
        full = np.s_[oy : oy + y1 - y0, ox : ox + x1 - x0]
        half = np.s_[oy // 2 : (oy + y1 - y0) // 2, ox // 2 : (ox + x1 - x0) // 2]
        self.colour[0][full] = yuv[:, lead:, 0]
        self.cover[0][full] = alpha[:, lead:]
        for k in (1, 2):
            self.colour[k][half] = halved(yuv[..., k].copy())[:, lead // 2 :]
        self.cover[1][half] = halved(alpha)[:, lead // 2 :]

    def covers(self, box: Box) -> bool:
        """Whether anything is drawn within `box`."""
        x0, y0, x1, y1 = _clipped(box, self.box)
        if x1 <= x0 or y1 <= y0:
            return False
        ox, oy = self.box[:2]
        return bool(self.cover[0][y0 - oy : y1 - oy, x0 - ox : x1 - ox].any())

    def blend(self, picture: Picture, opacity: float, hidden: U8 | None = None) -> None:
        """Change the picture within the box."""
        x0, y0, x1, y1 = self.box
        for k, plane in enumerate(picture.planes):
            part = plane[y0:y1, x0:x1] if k == 0 else plane[y0 // 2 : y1 // 2, x0 // 2 : x1 // 2]
            colour: U8 = self.colour[k]
            cover: U8 = self.cover[min(k, 1)]
            if hidden is not None:
                shown = 255 - np.asarray(
                    cv2.resize(hidden, cover.shape[::-1]) if k == 0 else hidden, np.uint8
                )
                colour, cover = (
                    np.asarray(cv2.multiply(p, shown, scale=1 / 255), np.uint8) for p in (colour, cover)
                )
            through: U8 = 255 - cover
            if opacity < 1:
                colour = np.asarray(cv2.convertScaleAbs(colour, alpha=opacity), np.uint8)
                scaled = cv2.convertScaleAbs(through, alpha=opacity, beta=255 * (1 - opacity))
                through = np.asarray(scaled, np.uint8)
            part[:] = cv2.add(cv2.multiply(part, through, scale=1 / 255), colour)


def _clipped(box: Box, within: Box) -> Box:
    return max(box[0], within[0]), max(box[1], within[1]), min(box[2], within[2]), min(box[3], within[3])


@dataclass(frozen=True, eq=False)
class Cutout:
    """A thing in the picture that stands in front of what is drawn: a ball above a line on the cloth."""

    box: Box
    """Even sides."""
    luma: F32
    """Share of each pixel that the thing fills, over the box."""
    chroma: F32

    @classmethod
    def polygon(cls, points_px: NDArray[np.float64], width: int, height: int) -> Cutout | None:
        """The inside of a polygon, shape (N, 2); None where it lies outside the picture."""
        lo, hi = np.floor(points_px.min(0)).astype(int) - 1, np.ceil(points_px.max(0)).astype(int) + 2
        box = (int(lo[0]) & ~1, int(lo[1]) & ~1, int(hi[0]) + 1 & ~1, int(hi[1]) + 1 & ~1)
        x0, y0, x1, y1 = _clipped(box, (0, 0, width, height))
        if x1 <= x0 or y1 <= y0:
            return None
        mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
        cv2.fillPoly(mask, [fixed(points_px - (x0, y0))], 255, cv2.LINE_AA, SHIFT)
        luma, chroma = (np.asarray(m / np.float32(255), np.float32) for m in (mask, halved(mask)))
        return cls((x0, y0, x1, y1), luma, chroma)

    def _parts(self, picture: Picture) -> Iterable[tuple[U8, F32]]:
        x0, y0, x1, y1 = self.box
        yield picture.y[y0:y1, x0:x1], self.luma
        for plane in (picture.u, picture.v):
            yield plane[y0 // 2 : y1 // 2, x0 // 2 : x1 // 2], self.chroma

    def taken(self, picture: Picture) -> list[U8]:
        """The picture's pixels here, before anything is drawn."""
        return [part.copy() for part, _ in self._parts(picture)]

    def give_back(self, picture: Picture, pixels: list[U8]) -> None:
        """Put the thing back on top of what was drawn."""
        for (part, share), old in zip(self._parts(picture), pixels, strict=True):
            part[:] = np.rint(part + (old - part.astype(np.float32)) * share)


SHIFT = 4
"""Bits of fraction in OpenCV's coordinates: sixteenths of a pixel."""


def fixed(points_px: NDArray[np.float64]) -> NDArray[np.int32]:
    """Pixels to OpenCV's fixed-point coordinates."""
    return np.round(np.asarray(points_px, float) * (1 << SHIFT)).astype(np.int32)


class Layer:
    """A clear sheet to draw on: blue, green, red, alpha, premultiplied, so that OpenCV's edges compose rightly."""

    def __init__(self, width: int, height: int) -> None:
        self.width, self.height = width, height
        self.bgra: U8 = np.zeros((height, width, 4), np.uint8)
        self.touched: Box | None = None

    def _touch(self, x0: float, y0: float, x1: float, y1: float) -> Box:
        box = _clipped(
            (int(np.floor(x0)), int(np.floor(y0)), int(np.ceil(x1)) + 1, int(np.ceil(y1)) + 1),
            (0, 0, self.width, self.height),
        )
        if box[2] > box[0] and box[3] > box[1]:
            t = self.touched
            self.touched = box if t is None else (
                min(t[0], box[0]), min(t[1], box[1]), max(t[2], box[2]), max(t[3], box[3])
            )  # fmt: skip
        return box

    def lines(self, ways_px: Sequence[NDArray[np.float64]], colour: str, width_px: float) -> None:
        """Draw polylines, each of shape (N, 2)."""
        ways = [w for w in ways_px if len(w) > 1]
        if not ways:
            return
        every = np.concatenate(ways)
        pad = width_px + 2
        self._touch(*(every.min(0) - pad), *(every.max(0) + pad))
        width = max(1, round(width_px))
        cv2.polylines(
            self.bgra, [fixed(w) for w in ways], False, (*style.bgr(colour), 255), width, cv2.LINE_AA, SHIFT
        )

    def fill(self, points_px: NDArray[np.float64], colour: str, opacity: float = 1.0) -> None:
        """Fill a polygon of shape (N, 2)."""
        x0, y0, x1, y1 = self._touch(*(points_px.min(0) - 2), *(points_px.max(0) + 2))
        if x1 <= x0 or y1 <= y0:
            return
        mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
        cv2.fillPoly(mask, [fixed(points_px - (x0, y0))], 255, cv2.LINE_AA, SHIFT)
        self.stamp(mask, x0, y0, colour, opacity)

    def stamp(self, mask: U8, x: int, y: int, colour: str, opacity: float = 1.0) -> None:
        """Lay colour on by coverage 0-255, its first pixel at (x, y); clipped at the edges."""
        h, w = mask.shape
        x0, y0, x1, y1 = self._touch(x, y, x + w - 1, y + h - 1)
        if x1 <= x0 or y1 <= y0:
            return
        a = mask[y0 - y : y1 - y, x0 - x : x1 - x, None].astype(np.float32) * (opacity / 255)
        part = self.bgra[y0:y1, x0:x1]
        part[:] = np.rint(part * (1 - a) + np.array((*style.bgr(colour), 255), np.float32) * a)

    def image(self, bgr: U8, x: int, y: int) -> None:
        """Lay an opaque picture down, its first pixel at (x, y); it must fit."""
        h, w = bgr.shape[:2]
        self._touch(x, y, x + w - 1, y + h - 1)
        self.bgra[y : y + h, x : x + w, :3] = bgr
        self.bgra[y : y + h, x : x + w, 3] = 255

    def overlay(self, box: Box | None = None) -> Overlay:
        """What is drawn so far, ready to be laid over pictures; `box` leaves room for what will be drawn."""
        overlay = Overlay(box or self.touched or (0, 0, 2, 2))
        if self.touched is not None:
            overlay.update(self.bgra, self.touched)
        return overlay
