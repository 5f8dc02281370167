"""Moving pictures of the bed kept from the first look, so that shots are followed without decoding them again.

Of every frame only the tiles of the bed view in which something changes are kept; the rest of the picture is as it was.
Two balls rolling are some kilobytes a frame. What does not fit into a bounded store is decoded again when it is needed.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import Frame
from lessonkit.seeing.bedview import BedView, Window
from lessonkit.seeing.changes import (
    LEAST_CHANGE,
    MEAN_TO_SIGMA,
    NOISES,
    VIEW_CELL_PX,
    Cells,
    Flicker,
    without_lone,
)

Picture = NDArray[np.uint8]

TILE_PX = 2 * VIEW_CELL_PX
"""Width of a tile, in view pixels: a ball lies in four to nine."""
HOLD_S = 0.12
"""So long a tile is still kept after its last change: a ball that creeps changes its cells only now and then."""
NOISE_MEMORY = 0.95
MOST_BYTES = 160 * 2**20
"""Of all stretches together."""


@dataclass(frozen=True, eq=False)
class Kept:
    """What was kept of one stretch of footage, in the order of time."""

    start_s: float
    end_s: float
    times_s: NDArray[np.float64]
    """Of the frames, shape (N,)."""
    upto: NDArray[np.int64]
    """How many tiles were kept up to and with each frame, shape (N,)."""
    tiles: NDArray[np.int32]
    """Which, row by row, shape (M,)."""
    pixels: Picture
    """Shape (M, TILE_PX, TILE_PX, 3), blue-green-red."""

    @property
    def nbytes(self) -> int:
        """Memory that it takes."""
        return int(self.pixels.nbytes + self.tiles.nbytes)


@dataclass(frozen=True, eq=False)
class Moment:
    """The bed at one time, put together from what was kept; it holds until the next one is asked for."""

    t_s: float
    _picture: Picture
    _view: BedView

    def bed(self, part: Window | None = None) -> Picture:
        """The bed view, or a part of it."""
        cut = self._picture if part is None else np.ascontiguousarray(self._picture[part.area])
        return self._view.calmed(cut)


class Keeper:
    """Keeps what moves, frame by frame."""

    def __init__(self, view: BedView, cells: Cells) -> None:
        """`cells` may be shared with others that look at the same frames."""
        self._view = view
        self._cells = cells
        self._across = -(-view.columns // TILE_PX)
        self._down = -(-view.rows // TILE_PX)
        self._map_x, self._map_y = self._tiled(view.map_x), self._tiled(view.map_y)
        self._last: NDArray[np.float32] | None = None
        self._flicker: Flicker | None = None
        self._noise = 0.0
        self._changed_s = np.zeros(0)
        self._times_s: list[float] = []
        self._tiles: list[NDArray[np.int32]] = []
        self._pixels: list[Picture] = []

    def keep(self, frame: Frame) -> None:
        """Keep what changed in a frame."""
        hot = self._hot(self._cells.small(frame), frame.t_s)
        self._times_s.append(frame.t_s)
        self._tiles.append(hot)
        self._pixels.append(self._cut(frame, hot))

    def kept(self, start_s: float, end_s: float) -> Kept:
        """All that was kept, for a stretch that reaches from start_s to end_s."""
        count = np.cumsum([len(t) for t in self._tiles]).astype(np.int64)
        none = np.zeros((0, TILE_PX, TILE_PX, 3), np.uint8)
        return Kept(
            start_s,
            end_s,
            np.array(self._times_s),
            count,
            np.concatenate([*self._tiles, np.zeros(0, np.int32)]),
            np.concatenate([*self._pixels, none]),
        )

    def _hot(self, small: NDArray[np.float32], t_s: float) -> NDArray[np.int32]:
        """Indices of the tiles that change about this time."""
        if self._last is None or self._flicker is None or self._last.shape != small.shape:
            self._last, self._flicker = small.copy(), Flicker(small)
            self._changed_s = np.full(small.shape, -np.inf)
            return np.arange(self._down * self._across, dtype=np.int32)
        off = cv2.absdiff(small, self._last)
        if self._noise == 0.0:  # 0.68 of normally distributed values lie within one standard deviation
            self._noise = float(np.percentile(off, 68))
        most = max(LEAST_CHANGE, NOISES * self._noise)
        changed = without_lone(np.asarray(off > most, np.uint8))
        spread = MEAN_TO_SIGMA * cv2.mean(off, (off <= most).astype(np.uint8))[0]
        bound = self._flicker.bound(small)
        self._noise = NOISE_MEMORY * self._noise + (1 - NOISE_MEMORY) * min(spread, bound)
        self._changed_s[changed > 0] = t_s
        hot = (self._changed_s > t_s - HOLD_S).astype(np.uint8)
        if not hot.any():
            return np.zeros(0, np.int32)
        near = cv2.dilate(hot, np.ones((3, 3), np.uint8))
        cv2.copyTo(small, near, self._last)
        return self._in_tiles(hot)

    def _in_tiles(self, hot: NDArray[np.uint8]) -> NDArray[np.int32]:
        """The tiles that hold hot cells, and those about them, for a ball reaches further than its changing edges."""
        cells = self._cells.in_view(hot)
        padded = np.zeros((2 * self._down, 2 * self._across), np.uint8)
        padded[: cells.shape[0], : cells.shape[1]] = cells[: 2 * self._down, : 2 * self._across]
        tiles = padded.reshape(self._down, 2, self._across, 2).max((1, 3))
        return np.flatnonzero(cv2.dilate(tiles, np.ones((3, 3), np.uint8))).astype(np.int32)

    def _cut(self, frame: Frame, tiles: NDArray[np.int32]) -> Picture:
        if not len(tiles):
            return np.zeros((0, TILE_PX, TILE_PX, 3), np.uint8)
        wide = (-1, TILE_PX)
        cut = self._view.warp_at(frame, self._map_x[tiles].reshape(wide), self._map_y[tiles].reshape(wide))
        return cut.reshape(len(tiles), TILE_PX, TILE_PX, 3)

    def _tiled(self, a: NDArray[np.float32]) -> NDArray[np.float32]:
        """A map of the view, shape (tiles, TILE_PX, TILE_PX), its last row and column drawn out to fill the tiles."""
        n = TILE_PX
        more = (0, self._down * n - a.shape[0]), (0, self._across * n - a.shape[1])
        full = np.pad(a, more, mode="edge").reshape(self._down, n, self._across, n)
        return np.ascontiguousarray(full.swapaxes(1, 2).reshape(-1, n, n))


def replay(view: BedView, kept: Sequence[Kept], from_s: float) -> Iterator[Moment]:
    """The bed at each frame from `from_s` on, through stretches that follow on one another."""
    n = TILE_PX
    across, down = -(-view.columns // n), -(-view.rows // n)
    whole = np.zeros((down * n, across * n, 3), np.uint8)
    tiled = whole.reshape(down, n, across, n, 3).swapaxes(1, 2)
    picture = whole[: view.rows, : view.columns]
    for stretch in kept:
        done = 0
        for t_s, upto in zip(stretch.times_s, stretch.upto, strict=True):
            at = stretch.tiles[done:upto]
            tiled[at // across, at % across] = stretch.pixels[done:upto]
            done = int(upto)
            if t_s >= from_s - 1e-9:
                yield Moment(float(t_s), picture, view)


class Store:
    """What was kept of all stretches, bounded."""

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._kept: deque[Kept] = deque()
        self._left = most_bytes

    def add(self, kept: Kept) -> None:
        """Keep one more stretch if it fits."""
        if kept.nbytes <= self._left:
            self._left -= kept.nbytes
            self._kept.append(kept)

    def over(self, from_s: float, to_s: float) -> list[Kept]:
        """The stretches without a gap that hold `from_s` and reach on towards `to_s`; none where nothing was kept."""
        out: list[Kept] = []
        for k in self._kept:
            at_s = out[-1].end_s if out else from_s
            if k.start_s <= at_s + 1e-9 < k.end_s and at_s <= to_s:
                out.append(k)
        return out
