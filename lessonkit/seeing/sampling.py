"""The first look: a few frames a second, each reduced to the discs in it and to where the bare table shows.

A `Sample` is small (some kilobytes), so hours of footage fit in memory.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import Frame
from lessonkit.model import Point
from lessonkit.seeing.bedview import BedView, Slant, Window
from lessonkit.seeing.changes import Cells, Changes
from lessonkit.seeing.cloth import JAW_MM, BareTable
from lessonkit.seeing.discs import LEAST_APART, Disc, faint_discs, find_discs, gaps_in_racks
from lessonkit.seeing.patches import Patch, Patcher

Mask = NDArray[np.bool_]
Picture = NDArray[np.uint8]
Floats = NDArray[np.float32]

JAW_VOTES = 0.5
"""Least votes for a ball whose centre lies past the nose lines, or so near to them that it lies in a pocket's mouth."""
FROM_NOSE = 0.6
"""A ball that touches a cushion lies a radius from its nose, hardly less; so many radii are left for errors of the camera."""
PATCH_EVERY_S = 0.8
"""How often a ball at rest is looked at closely."""
CLEAR, HARDLY_CLEAR, WELL_CLEAR, WHOLE_VOTES = 0.6, 0.45, 0.8, 0.9
"""Shares of bare table about a disc that say it stands alone; see `Sighting.alone`."""
FAINTEST = 1.1
"""Votes and fill together of a disc that is hardly one. Of nine clips of known truth, those that were balls (3) had 0.96 and more
of bare table about them in the median; of 18 that were none, or somebody's hand near a ball's place, 17 had 0.64 and less."""
LEAST_BARE, MOST_ASIDE = 0.2, 0.4
"""Least share of bare table to both sides of a cue, and how far its middle lies aside at most, in half sides."""
CONTEXT = 1.4
"""How much is looked at about a part that changed, in ball radii."""


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

    @property
    def alone(self) -> bool:
        """Whether it is no part of a person: it stands clear, or nearly so with an outline as whole as a lone ball's."""
        if self.votes >= WHOLE_VOTES:
            return self.clear >= HARDLY_CLEAR
        # half an outline, half filled, may be a ball of the cloth's colour; beside somebody it is rather the gap at an arm
        return self.clear >= (CLEAR if self.votes + self.fill >= FAINTEST else WELL_CLEAR)


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
class _Known:
    """What the last frame that was looked at showed."""

    foreign: NDArray[np.float32]
    discs: list[Disc]
    clear: list[float]
    people: float
    packed: bytes
    gain: float


class Sampler:
    """Turns whole pictures, in the order of time, into samples.

    Most of a table stays as it is from one look to the next, so only the parts that changed are looked at again.
    """

    def __init__(self, view: BedView, bare: BareTable, patcher: Patcher, cells: Cells | None = None) -> None:
        """`cells` may be shared with others that look at the same frames."""
        self._view = view
        self._bare = bare
        self._patcher = patcher
        self._allowed = view.table_mask(JAW_MM)
        self._bed = view.table_mask(-FROM_NOSE * view.table.radius_mm)
        self._looked: dict[tuple[int, int], float] = {}
        self._changes = Changes(view, cells, dim=bare.contrast < 1.0)
        self._known: _Known | None = None
        self._faint_places: set[tuple[int, int]] = set()

    def sample(self, frame: Frame) -> Sample:
        """The sample of a frame."""
        parts = self._changes.since_last(frame)
        known = self._known
        if known is None or parts is None:
            known = self._whole(frame)
        elif parts:
            known = self._renewed(known, frame, parts)
        self._known = known
        sightings = tuple(self._sighting(frame, d, c) for d, c in zip(known.discs, known.clear, strict=True))
        return Sample(frame.t_s, sightings, known.people, known.packed, known.foreign.shape)

    def _whole(self, frame: Frame) -> _Known:
        seen = self._view.warp_frame(frame)
        gain = self._bare.gain(seen)
        foreign = self._bare.foreign(seen, gain=gain)
        clear = [d for d in self._clear_discs(seen, foreign, self._view.slant) if self.believed(d)]
        faint = self._faint_discs(seen, foreign, self._view.slant, clear)
        self._faint_places |= {(round(d.x_px), round(d.y_px)) for d in faint}
        discs = clear + faint
        return self._judged(foreign, [d for d in discs if self.believed(d)], gain)

    def _clear_discs(self, seen: Picture, foreign: Floats, slant: Slant) -> list[Disc]:
        return find_discs(seen, foreign, self._view.radius_px, slant=slant, contrast=self._bare.contrast)

    def _faint_discs(self, seen: Picture, foreign: Floats, slant: Slant, others: list[Disc]) -> list[Disc]:
        radius_px, contrast = self._view.radius_px, self._bare.contrast
        return faint_discs(seen, foreign, radius_px, others, slant=slant, contrast=contrast)

    def _renewed(self, known: _Known, frame: Frame, parts: list[Window]) -> _Known:
        """What was known, the given parts of the view looked at again."""
        foreign = known.foreign.copy()
        kept = [d for d in known.discs if not any(part.holds(d.x_px, d.y_px) for part in parts)]
        found: list[Disc] = []
        for part in parts:
            # a disc is told by its whole outline, so some of what lies about the part is looked at with it
            around = self._view.grown(part, CONTEXT * self._view.radius_px)
            seen = self._view.warp_frame(frame, around)
            fresh = self._bare.foreign(seen, around, known.gain)
            foreign[around.area] = fresh
            slant = self._view.slant.part(around)
            # a dark ball before a dark hole has few clear edges, and all round it weak ones: it must not stand in its own way
            discs = [
                d for d in self._clear_discs(seen, fresh, slant) if self.believed(_shifted(d, around, 1))
            ]
            lay = [_shifted(d, around, -1) for d in known.discs if part.holds(d.x_px, d.y_px)]
            near = 0.5 * self._view.radius_px
            lost = any(all(np.hypot(d.x_px - o.x_px, d.y_px - o.y_px) > near for o in discs) for d in lay)
            # where a faint one was, or something that is clear no more; new ones are found when all is looked at again
            if lost or any(part.holds(*place) for place in self._faint_places):
                discs += self._faint_discs(
                    seen, fresh, slant, discs + [_shifted(k, around, -1) for k in kept]
                )
            for d in discs:
                moved = _shifted(d, around, 1)
                if part.holds(moved.x_px, moved.y_px) and self.believed(moved):
                    found.append(moved)
        apart = LEAST_APART * self._view.radius_px
        new = [d for d in found if all(np.hypot(d.x_px - k.x_px, d.y_px - k.y_px) >= apart for k in kept)]
        return self._judged(foreign, kept + new, known.gain)

    def _judged(self, foreign: NDArray[np.float32], discs: list[Disc], gain: float) -> _Known:
        discs = discs + gaps_in_racks(discs, foreign, self._view.radius_px)
        somebody = people(foreign, self._view.radius_px)
        clear = list(clearness(foreign, discs, somebody, self._view.radius_px, self._view.slant))
        packed = zlib.compress(np.packbits(foreign > 0.5).tobytes(), 1)
        return _Known(foreign, discs, clear, float(somebody.mean()), packed, gain)

    def believed(self, d: Disc) -> bool:
        """Whether a disc lies where a ball can; the round black of a pocket is a faint disc as well."""
        at = min(self._view.rows - 1, round(d.y_px)), min(self._view.columns - 1, round(d.x_px))
        return bool(self._bed[at]) or (bool(self._allowed[at]) and d.votes >= JAW_VOTES)

    def _sighting(self, frame: Frame, d: Disc, clear: float) -> Sighting:
        place = self._view.to_mm([(d.x_px, d.y_px)])[0]
        p = (float(place[0]), float(place[1]))
        patch = None
        key = (round(p[0] / 12), round(p[1] / 12))
        if clear > HARDLY_CLEAR and frame.t_s - self._looked.get(key, -1e9) >= PATCH_EVERY_S:
            self._looked[key] = frame.t_s
            patch = self._patcher.patch(frame, p)
        return Sighting(p, d.votes, d.fill, clear, patch)


def _shifted(d: Disc, window: Window, sign: int) -> Disc:
    """A disc of a part of the view as one of the view (sign 1), or the other way (-1)."""
    return replace(d, x_px=d.x_px + sign * window.x0, y_px=d.y_px + sign * window.y0)


def people(foreign: NDArray[np.float32], radius_px: float) -> Mask:
    """True where something large reaches into the bed view from outside."""
    half = cv2.resize(foreign, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    # a thin line along a cushion must not tie a ball there to the outside
    solid = cv2.morphologyEx((half > 0.5).astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(solid, connectivity=4)
    rows, columns = half.shape
    large = stats[:, cv2.CC_STAT_AREA] > 5 / 4 * np.pi * radius_px**2
    x, y = stats[:, cv2.CC_STAT_LEFT], stats[:, cv2.CC_STAT_TOP]
    outside = (x < 1) | (y < 1) | (x + stats[:, cv2.CC_STAT_WIDTH] >= columns) | (y + stats[:, cv2.CC_STAT_HEIGHT] >= rows)  # fmt: skip
    somebody = large & outside
    somebody[0] = False
    if not somebody.any():
        return np.zeros(foreign.shape, bool)
    whole = cv2.resize(
        somebody[labels].astype(np.uint8), foreign.shape[::-1], interpolation=cv2.INTER_NEAREST
    )
    return np.asarray(whole, bool)


def clearness(
    foreign: NDArray[np.float32], discs: list[Disc], somebody: Mask, radius_px: float, slant: Slant
) -> Iterator[float]:
    """For each disc the share of bare table in the ring from 1.2 to 1.6 radii, other discs left out."""
    n = int(np.ceil(1.7 * radius_px * float(slant.stretch.max())))
    for d in discs:
        if somebody[round(d.y_px), round(d.x_px)]:
            yield 0.0
            continue
        cx, cy = round(d.x_px), round(d.y_px)
        y0, y1 = max(0, cy - n), min(foreign.shape[0], cy + n + 1)
        x0, x1 = max(0, cx - n), min(foreign.shape[1], cx + n + 1)
        at = slice(y0, y1), slice(x0, x1)
        r = slant.radii(d.x_px, d.y_px, at, radius_px)
        ring = (r > 1.2) & (r < 1.6)
        whole = int(ring.sum())
        for o in discs:
            if o is not d and abs(o.x_px - d.x_px) < 2 * n and abs(o.y_px - d.y_px) < 2 * n:
                ring &= slant.radii(o.x_px, o.y_px, at, radius_px) > 1.2
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


def shows_both_sides(covered: Mask) -> bool:
    """Whether bare table shows to both sides of what lies over a place: no ball lies under it.

    `covered`: which pixels of a square within the place are not bare table. A ball that was moved by a little bares one
    side only, and no ball shows cloth to both sides of a cue.
    """
    at = np.argwhere(~covered)
    if len(at) < LEAST_BARE * covered.size:
        return False
    half = (np.array(covered.shape) - 1) / 2
    return bool(np.abs((at.mean(0) - half) / np.maximum(half, 1.0)).max() < MOST_ASIDE)
