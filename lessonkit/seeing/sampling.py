"""The first look: a few frames a second, each reduced to the discs in it and to where the bare table shows.

A `Sample` is small (some kilobytes), so hours of footage fit in memory.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import Frame
from lessonkit.model import Point
from lessonkit.seeing.bedview import BedView
from lessonkit.seeing.cloth import JAW_MM, BareTable
from lessonkit.seeing.discs import Disc, find_discs
from lessonkit.seeing.patches import Patch, Patcher

Mask = NDArray[np.bool_]

JAW_VOTES = 0.5
"""Least votes for a ball whose centre lies past the nose lines."""
PATCH_EVERY_S = 0.8
"""How often a ball at rest is looked at closely."""


@dataclass(frozen=True)
class Sighting:
    """One disc of one sample."""

    place: Point
    votes: float
    fill: float
    clear: float
    """Share of bare table in the ring about the disc, other discs left out; 0 for a disc that hangs together with
    something that reaches in from outside the table: somebody's arm or cue."""
    patch: Patch | None
    """The close look, now and then."""


@dataclass(frozen=True, eq=False)
class Sample:
    """One frame of the first look."""

    t_s: float
    sightings: tuple[Sighting, ...]
    people: float
    """Share of the bed view that somebody covers."""
    packed: bytes
    shape: tuple[int, int]

    def foreign(self) -> Mask:
        """Where the bare table does not show, shape (rows, columns) of the bed view."""
        bits = np.frombuffer(zlib.decompress(self.packed), np.uint8)
        return np.unpackbits(bits, count=self.shape[0] * self.shape[1]).reshape(self.shape).astype(bool)


@dataclass(frozen=True, eq=False)
class Begun:
    """What one frame shows by itself."""

    discs: list[Disc]
    clear: list[float]
    people: float
    packed: bytes
    shape: tuple[int, int]


class Sampler:
    """Turns whole pictures into samples; remembers only when it last looked closely at each place."""

    def __init__(self, view: BedView, bare: BareTable, patcher: Patcher) -> None:
        self._view = view
        self._bare = bare
        self._patcher = patcher
        self._allowed = view.table_mask(JAW_MM)
        self._bed = view.table_mask()
        self._looked: dict[tuple[int, int], float] = {}

    def sample(self, frame: Frame) -> Sample:
        """The sample of a frame."""
        return self.finish(frame, self.begin(frame))

    def begin(self, frame: Frame) -> Begun:
        """The part of the work that needs no other frame: frames may be begun side by side."""
        seen = self._view.warp_frame(frame)
        foreign = self._bare.foreign(seen)
        discs = [d for d in find_discs(seen, foreign, self._view.radius_px) if self._believed(d)]
        somebody = people(foreign, self._view.radius_px)
        clear = list(clearness(foreign, discs, somebody, self._view.radius_px))
        packed = zlib.compress(np.packbits(foreign > 0.5).tobytes(), 1)
        return Begun(discs, clear, float(somebody.mean()), packed, foreign.shape)

    def finish(self, frame: Frame, begun: Begun) -> Sample:
        """The sample of a frame that was begun; in the order of time, for close looks are spread over it."""
        sightings = tuple(self._sighting(frame, d, c) for d, c in zip(begun.discs, begun.clear, strict=True))
        return Sample(frame.t_s, sightings, begun.people, begun.packed, begun.shape)

    def _believed(self, d: Disc) -> bool:
        """Whether a disc lies where a ball can; the round black of a pocket is a faint disc as well."""
        at = min(self._view.rows - 1, round(d.y_px)), min(self._view.columns - 1, round(d.x_px))
        return bool(self._bed[at]) or (bool(self._allowed[at]) and d.votes >= JAW_VOTES)

    def _sighting(self, frame: Frame, d: Disc, clear: float) -> Sighting:
        place = self._view.to_mm([(d.x_px, d.y_px)])[0]
        p = (float(place[0]), float(place[1]))
        patch = None
        key = (round(p[0] / 12), round(p[1] / 12))
        if clear > 0.5 and frame.t_s - self._looked.get(key, -1e9) >= PATCH_EVERY_S:
            self._looked[key] = frame.t_s
            patch = self._patcher.patch(frame, p)
        return Sighting(p, d.votes, d.fill, clear, patch)


def people(foreign: NDArray[np.float32], radius_px: float) -> Mask:
    """True where something large reaches into the bed view from outside."""
    # a thin line along a cushion must not tie a ball there to the outside
    solid = cv2.morphologyEx((foreign > 0.5).astype(np.uint8), cv2.MORPH_OPEN, np.ones((4, 4), np.uint8))
    n, labels, stats, _ = cv2.connectedComponentsWithStats(solid, connectivity=4)
    rows, columns = foreign.shape
    large = stats[:, cv2.CC_STAT_AREA] > 5 * np.pi * radius_px**2
    x, y = stats[:, cv2.CC_STAT_LEFT], stats[:, cv2.CC_STAT_TOP]
    outside = (x <= 1) | (y <= 1) | (x + stats[:, cv2.CC_STAT_WIDTH] >= columns - 1) | (y + stats[:, cv2.CC_STAT_HEIGHT] >= rows - 1)  # fmt: skip
    somebody = large & outside
    somebody[0] = False
    return np.asarray(somebody[labels], bool) if n > 1 else np.zeros(foreign.shape, bool)


def clearness(
    foreign: NDArray[np.float32], discs: list[Disc], somebody: Mask, radius_px: float
) -> Iterator[float]:
    """For each disc the share of bare table in the ring from 1.2 to 1.6 radii, other discs left out."""
    n = int(np.ceil(1.7 * radius_px))
    for d in discs:
        if somebody[round(d.y_px), round(d.x_px)]:
            yield 0.0
            continue
        cx, cy = round(d.x_px), round(d.y_px)
        y0, y1 = max(0, cy - n), min(foreign.shape[0], cy + n + 1)
        x0, x1 = max(0, cx - n), min(foreign.shape[1], cx + n + 1)
        yy, xx = np.mgrid[y0:y1, x0:x1]
        r = np.hypot(xx - d.x_px, yy - d.y_px)
        ring = (r > 1.2 * radius_px) & (r < 1.6 * radius_px)
        whole = int(ring.sum())
        for o in discs:
            if o is not d and abs(o.x_px - d.x_px) < 3 * radius_px and abs(o.y_px - d.y_px) < 3 * radius_px:
                ring &= np.hypot(xx - o.x_px, yy - o.y_px) > 1.2 * radius_px
        left = int(ring.sum())
        if left < 0.12 * whole:  # surrounded by balls, as in the middle of a rack
            yield 1.0
        else:
            yield float((foreign[y0:y1, x0:x1][ring] < 0.5).mean())


def cloth_share(foreign: Mask, at_px: NDArray[np.float64], radius_px: float) -> float:
    """Share of bare table in the disc of 0.8 radii about a view pixel; 0 outside the view."""
    n = int(np.ceil(0.8 * radius_px))
    cx, cy = round(float(at_px[0])), round(float(at_px[1]))
    part = foreign[max(0, cy - n) : cy + n + 1, max(0, cx - n) : cx + n + 1]
    if part.size == 0:
        return 0.0
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * n + 1, 2 * n + 1)).astype(bool)
    if disc.shape != part.shape:
        return float(1 - part.mean())
    return float(1 - part[disc].mean())
