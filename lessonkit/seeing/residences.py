"""Which ball-sized things lay where, and from when to when.

A residence is one thing at one place: it begins when a disc stays there and ends when the bare table shows at the
place again or the disc moves away. A person in front ends nothing: what is hidden has not gone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

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
CLEAR = 0.6
"""Share of bare table about a disc that says it stands alone and is no part of a person."""
LEAST_CLEAR_SIGHTINGS = 3


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

    @property
    def end_s(self) -> float:
        """When it was gone, infinity if never."""
        return np.inf if self.gone_s is None else self.gone_s


@dataclass
class _Open:
    sightings: list[tuple[float, Sighting]] = field(default_factory=list)
    empty: int = 0
    gone_s: float | None = None

    def place(self, last: int = 5) -> Point:
        p = np.median([s.place for _, s in self.sightings[-last:]], axis=0)
        return float(p[0]), float(p[1])

    def closed(self) -> Residence | None:
        place = self.place(9)
        settled = [(t, s) for t, s in self.sightings if np.hypot(s.place[0] - place[0], s.place[1] - place[1]) < SETTLED_MM * 2]  # fmt: skip
        if len(settled) < 2:
            return None
        near = [s.place for _, s in settled]
        middle = np.median(near, axis=0)
        clear = sum(s.clear >= CLEAR for _, s in settled)
        return Residence(
            (float(middle[0]), float(middle[1])), settled[0][0], settled[-1][0], self.gone_s, len(settled), clear,
            float(np.median([s.votes for _, s in settled])), float(np.median([s.fill for _, s in settled])),
            tuple(s.patch for _, s in settled if s.patch is not None and s.clear >= CLEAR),
        )  # fmt: skip


def residences(samples: Sequence[Sample], view: BedView) -> list[Residence]:
    """Everything that lay still like a ball, ascending in its first sight."""
    open_: list[_Open] = []
    done: list[Residence] = []
    for sample in samples:
        foreign = sample.foreign()
        free = list(sample.sightings)
        still: list[_Open] = []
        for o in open_:
            _look(o, sample.t_s, free, foreign, view)
            if o.gone_s is None:
                still.append(o)
            else:
                _close(o, done)
        for s in free:
            still.append(_Open([(sample.t_s, s)]))
        open_ = still
    for o in open_:
        _close(o, done)
    return sorted(done, key=lambda r: r.first_s)


def _close(o: _Open, done: list[Residence]) -> None:
    r = o.closed()
    if r is not None and r.clear_sightings >= LEAST_CLEAR_SIGHTINGS:
        done.append(r)


def _look(o: _Open, t_s: float, free: list[Sighting], foreign: np.ndarray, view: BedView) -> None:
    """Find the open residence in this sample: seen, hidden or gone; takes its sighting out of `free`."""
    x, y = o.place()
    near = min(free, key=lambda s: np.hypot(s.place[0] - x, s.place[1] - y), default=None)
    if near is not None and np.hypot(near.place[0] - x, near.place[1] - y) < SAME_MM:
        free.remove(near)
        o.sightings.append((t_s, near))
        o.empty = 0
        return
    share = cloth_share(foreign, view.to_view([(x, y)])[0], view.radius_px)
    moved = near is not None and np.hypot(near.place[0] - x, near.place[1] - y) < view.table.radius_mm and near.clear >= CLEAR  # fmt: skip
    if share > EMPTY_SHARE or moved:
        if o.empty == 0:
            o.gone_s = None
            o.first_empty_s = t_s  # type: ignore[attr-defined]
        o.empty += 1
        if o.empty >= 2 or len(o.sightings) < 2:
            o.gone_s = getattr(o, "first_empty_s", t_s)
    elif len(o.sightings) < 2:
        o.gone_s = t_s  # seen once and then hidden: most likely part of somebody
    else:
        o.empty = 0
