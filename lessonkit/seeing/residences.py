"""Which ball-sized things lay where, and from when to when.

A residence is one thing at one place: it begins when a disc stays there and ends when the bare table shows at the
place again or the disc moves away. A person in front ends nothing: what is hidden has not gone.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from lessonkit.model import Point
from lessonkit.seeing.bedview import BedView
from lessonkit.seeing.patches import Patch
from lessonkit.seeing.sampling import Sample, Sighting, cloth_share

SAME_MM = 5.0
"""Two sightings nearer than this from one sample to the next are one thing at rest or creeping."""
SETTLED_MM = 2.5
"""A residence counts as begun when the thing is this near to its last place."""
EMPTY_SHARE = 0.55
"""Share of bare table in a disc that says nothing lies there."""
LEAST_CLEAR_SIGHTINGS = 3
LEAST_STAY, LEAST_STAY_S = 8, 0.7
"""A thing that creeps on had lain still before if it was seen so often, and so long, at one place."""


@dataclass(frozen=True)
class Residence:
    """One thing at one place."""

    place: Point
    first_s: float
    """First sight of it at this place."""
    last_s: float
    """Last sight of it at this place."""
    gone_s: float | None
    """First sample that shows it gone; None: it lay there to the end of the footage."""
    sightings: int
    clear_sightings: int
    votes: float
    """Median of its sightings."""
    fill: float
    patches: tuple[Patch, ...]
    """All cut out by one camera."""
    part: int = 0
    """Which of the footage's cameras cut them out (see lessonkit.seeing.parts)."""

    @property
    def end_s(self) -> float:
        """When it was gone, infinity if never."""
        return np.inf if self.gone_s is None else self.gone_s


MOST_SIGHTINGS = 600
"""Sightings of one thing that are kept; of more, those in the middle are thinned out."""
ENDS = 60
"""First and last sightings that are never thinned out."""
MOST_PATCHES = 24
"""Close looks at one thing that are kept, evenly spread over its stay."""
USED_PATCHES = 8
"""So many of them are kept once it has gone: in hours of footage thousands of things come and go."""
MANY_BYTES, FEW_PATCHES = 100_000_000, 3
"""Once so much is kept, fewer of each thing are."""


@dataclass
class _Open:
    sightings: list[tuple[float, Sighting]] = field(default_factory=list)
    counted: int = 0
    """All sightings, those thinned out as well."""
    clear: int = 0
    patches: list[tuple[int, float, Patch]] = field(default_factory=list)
    """Part of the footage, time and close look."""
    every: int = 1
    """Of so many close looks one is kept."""
    offered: int = 0
    empty: int = 0
    first_empty_s: float = 0.0
    gone_s: float | None = None
    part: int = 0

    def add(self, t_s: float, s: Sighting, part: int = 0) -> None:
        """One more sighting; memory stays bounded however long the thing lies there."""
        self.counted += 1
        self.clear += s.alone
        if s.patch is not None and s.alone:
            if self.offered % self.every == 0:
                self.patches.append((part, t_s, s.patch))
            self.offered += 1
            if len(self.patches) > MOST_PATCHES:
                self.patches = self.patches[::2]
                self.every *= 2
        self.sightings.append((t_s, replace(s, patch=None) if s.patch is not None else s))
        if len(self.sightings) > MOST_SIGHTINGS:
            self.sightings = [*self.sightings[:ENDS], *self.sightings[ENDS:-ENDS:2], *self.sightings[-ENDS:]]

    def place(self, last: int = 5) -> Point:
        x, y = zip(*(s.place for _, s in self.sightings[-last:]), strict=True)
        # of so few values NumPy's costs twenty times as much, and it is asked for of every ball in every sample
        return statistics.median(x), statistics.median(y)

    def closed(self, most: int = USED_PATCHES) -> list[Residence]:
        """What became of it, each with at most so many close looks; nothing for what was never still.

        A thing that was pushed on by a little was at two places or more, one after another.
        """
        place = self.place(9)
        still = [_near_by(s.place, place) for _, s in self.sightings]
        if sum(still) < 2:
            return []
        settled = [x for x, near in zip(self.sightings, still, strict=True) if near]
        unsettled = [s for (_, s), near in zip(self.sightings, still, strict=True) if not near]
        first_s = settled[0][0]
        here = self._residence(
            settled,
            self.counted - len(unsettled),
            self.clear - sum(s.alone for s in unsettled),
            most,
        )
        before = [x for x in self.sightings if x[0] < first_s]
        return [*_stays_before(before, first_s, self, most), here]

    def _residence(
        self, settled: list[tuple[float, Sighting]], count: int, clear: int, most: int
    ) -> Residence:
        """One stay, from the sightings at its place."""
        middle = np.median([s.place for _, s in settled], axis=0)
        place = (float(middle[0]), float(middle[1]))
        first_s, last_s = settled[0][0], settled[-1][0]
        kept = [(k, p) for k, t, p in self.patches if first_s <= t <= last_s and _near_by(p.place, place)]
        part = max((k for k, _ in kept), key=[k for k, _ in kept].count, default=self.part)
        mine = [p for k, p in kept if k == part]
        votes, fill = (
            float(np.median(v)) for v in zip(*((s.votes, s.fill) for _, s in settled), strict=True)
        )
        return Residence(
            place, first_s, last_s, self.gone_s, count, clear, votes, fill,
            tuple(mine[:: max(1, len(mine) // most)][:most]), part,
        )  # fmt: skip


def _stays_before(
    sightings: list[tuple[float, Sighting]], gone_s: float, of: _Open, most: int
) -> list[Residence]:
    """Where a thing lay still for LEAST_STAY_S and more before it crept on to its last place, in the order of time."""
    out: list[Residence] = []
    while len(sightings) >= LEAST_STAY:
        at = np.median([s.place for _, s in sightings[-LEAST_STAY:]], axis=0)
        place = (float(at[0]), float(at[1]))
        settled = [x for x in sightings if _near_by(x[1].place, place)]
        if len(settled) < LEAST_STAY or settled[-1][0] - settled[0][0] < LEAST_STAY_S:
            # it crept here; what lay still lies further back
            gone_s, sightings = sightings[-1][0], sightings[:-1]
            continue
        later = [t for t, _ in sightings if t > settled[-1][0]]
        clear = sum(s.alone for _, s in settled)
        stay = of._residence(settled, len(settled), clear, most)
        out.append(replace(stay, gone_s=min([*later, gone_s])))
        gone_s = settled[0][0]
        sightings = [x for x in sightings if x[0] < gone_s]
    return out[::-1]


def _near_by(a: Point, b: Point) -> bool:
    return bool(np.hypot(a[0] - b[0], a[1] - b[1]) < SETTLED_MM * 2)


class Stays:
    """Gathers residences from samples in the order of time."""

    def __init__(self, view: BedView) -> None:
        self._view = view
        self._part = 0
        self._open: list[_Open] = []
        self._done: list[Residence] = []
        self._bytes = 0

    def see_by(self, part: int, view: BedView) -> None:
        """From now on samples are by another camera; what lies there goes on lying there."""
        self._part, self._view = part, view

    def add(self, sample: Sample) -> None:
        """One more look."""
        foreign = sample.foreign()
        free = list(sample.sightings)
        still: list[_Open] = []
        for o in self._open:
            _look(o, sample.t_s, free, foreign, self._view, self._part)
            if o.gone_s is None:
                still.append(o)
            else:
                self._close(o)
        for s in free:
            begun = _Open(part=self._part)
            begun.add(sample.t_s, s, self._part)
            still.append(begun)
        self._open = still

    def all(self) -> list[Residence]:
        """Everything that lay still like a ball, ascending in its first sight; to be asked once, at the end."""
        for o in self._open:
            self._close(o)
        self._open = []
        return sorted(self._done, key=lambda r: r.first_s)

    def _close(self, o: _Open) -> None:
        for r in o.closed(USED_PATCHES if self._bytes < MANY_BYTES else FEW_PATCHES):
            if r.clear_sightings >= LEAST_CLEAR_SIGHTINGS:
                self._done.append(r)
                self._bytes += sum(p.picture.nbytes for p in r.patches)


def residences(samples: Iterable[Sample], view: BedView) -> list[Residence]:
    """Everything that lay still like a ball, ascending in its first sight."""
    stays = Stays(view)
    for sample in samples:
        stays.add(sample)
    return stays.all()


def _look(o: _Open, t_s: float, free: list[Sighting], foreign: np.ndarray, view: BedView, part: int) -> None:
    """Find the open residence in this sample: seen, hidden or gone; takes its sighting out of `free`."""
    x, y = o.place()
    near = min(free, key=lambda s: np.hypot(s.place[0] - x, s.place[1] - y), default=None)
    if near is not None and np.hypot(near.place[0] - x, near.place[1] - y) < SAME_MM:
        free.remove(near)
        o.add(t_s, near, part)
        o.empty = 0
        return
    share = cloth_share(foreign, view.to_view([(x, y)])[0], view.radius_px)
    moved = near is not None and np.hypot(near.place[0] - x, near.place[1] - y) < view.table.radius_mm and near.alone  # fmt: skip
    if share > EMPTY_SHARE or moved:
        if o.empty == 0:
            o.gone_s = None
            o.first_empty_s = t_s
        o.empty += 1
        if o.empty >= 2 or len(o.sightings) < 2:
            o.gone_s = o.first_empty_s
    elif len(o.sightings) < 2:
        o.gone_s = t_s  # seen once and then hidden: most likely part of somebody
    else:
        o.empty = 0
