"""Where a picture has changed since the last one that was looked at: small luma, no colours.

Camera noise averages out over a cell of 8 x 8 pixels (at 1080 lines); the edge of a ball that creeps by a few millimetres does not.
What changed is compared with the last picture in which the same place was looked at, so a slow creep adds up.
"""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import Frame
from lessonkit.seeing.bedview import BedView, Window

CELL_PX = 8
"""Width of a cell in camera pixels, at 1080 lines; smaller pictures have smaller cells, always a power of two."""
VIEW_CELL_PX = 8
"""Width of a cell in view pixels."""
LEAST_CHANGE = 2.5
"""Grey levels by which a cell changes at least, whatever the noise."""
NOISES = 6.0
STILL_NOISES = 4.0
MEAN_TO_SIGMA = 1.2533
"""Standard deviation by mean distance, of a normal distribution: sqrt(pi / 2)."""
DRIFT = 2.5
"""Cells that did not move may be off by so many times what they differ by from one picture to the next, and no more counts
as noise: where a camera's exposure drifts, or somebody's shadow does, they go on being off more and more."""
LEAST_SHARE = 0.008
"""A change of exposure by less is a level of 125, which is no change anyway."""
ONE_SIGMA = 0.6827
"""Share of normally distributed values within one standard deviation."""
WHOLE_SHARE = 0.45
"""Where more of the view than this is to be looked at again, all of it is."""
RENEW_S = 5.0
"""After this time everything is looked at again, so that nothing missed stays for ever."""


class Flicker:
    """What cells differ by from one picture to the next: a bound of what may be taken for noise."""

    def __init__(self, first: NDArray[np.float32]) -> None:
        """`first`: the cells of the first picture, see `Cells.small`."""
        self._before = first

    def bound(self, small: NDArray[np.float32]) -> float:
        """DRIFT standard deviations, grey levels, of how far the cells of the next picture are from those of the last one.

        By the quantile that less than a third of the cells may move without shifting it. Levels are whole numbers, so what
        is counted as 1 lies from a half to one and a half.
        """
        # a quarter of the cells tells it as well
        off = np.asarray(cv2.absdiff(small[::2, ::2], self._before[::2, ::2]), np.float32)
        self._before = small
        share = np.cumsum(cv2.calcHist([off], [0], None, [256], [0, 256]).ravel()) / off.size
        return DRIFT * float(np.interp(ONE_SIGMA, np.r_[0.0, share], np.r_[0.0, np.arange(256) + 0.5]))


class Cells:
    """The picture in cells, and where they lie in the view."""

    def __init__(self, view: BedView) -> None:
        self._view = view
        self._shape: tuple[int, ...] = (0, 0)
        self._at: tuple[NDArray[np.float32], NDArray[np.float32]] | None = None
        self._of: Frame | None = None
        self._small = np.zeros((0, 0), np.float32)
        self._first = np.zeros((0, 0), np.float32)

    def small(self, frame: Frame) -> NDArray[np.float32]:
        """Mean luma of each cell of a frame, as bright as the first frame was, in whole levels, shape (rows, columns); not to be
        written to.

        A camera that sets its own exposure makes all of the picture brighter and darker together, by more than the edge
        of a ball that creeps changes a cell.
        """
        if frame is self._of:
            return self._small
        small = frame.luma()
        h, w = small.shape
        # halving again and again is five times as quick as one step of the same width
        for _ in range(max(1, round(math.log2(CELL_PX * h / 1080)))):
            halves = max(1, small.shape[1] // 2), max(1, small.shape[0] // 2)
            small = np.asarray(cv2.resize(small, halves, interpolation=cv2.INTER_AREA), np.uint8)
        if small.shape != self._shape:
            self._shape = small.shape
            n = VIEW_CELL_PX
            self._at = (
                self._view.map_x[n // 2 :: n, n // 2 :: n] * np.float32(small.shape[1] / w),
                self._view.map_y[n // 2 :: n, n // 2 :: n] * np.float32(small.shape[0] / h),
            )
        self._of = frame
        self._small = self._even(small.astype(np.float32))
        return self._small

    def _even(self, small: NDArray[np.float32]) -> NDArray[np.float32]:
        """The cells without what the camera's exposure changed since the first picture."""
        part = small[::2, ::2]
        if self._first.shape != part.shape:
            self._first = np.maximum(part, 1.0)
        # what moves and who stands there changes less than half of the cells, so the median tells the exposure
        share = float(np.median(part / self._first))
        if share <= 0 or abs(share - 1) < LEAST_SHARE:
            return small
        return np.asarray(np.rint(small / np.float32(share)), np.float32)

    def in_view(self, marked: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Cells marked in the last picture and their neighbours, on the view's own cells of VIEW_CELL_PX."""
        assert self._at is not None
        near = cv2.dilate(marked, np.ones((3, 3), np.uint8))
        out = cv2.remap(near, *self._at, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
        return np.asarray(out, np.uint8)


def without_lone(changed: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Cells that changed together with a neighbour; a lone one is noise, for the edge of a ball changes several."""
    beside = cv2.boxFilter(changed, -1, (3, 3), normalize=False)
    return np.asarray(changed * (beside > 1), np.uint8)


class Changes:
    """Compares each frame with those before."""

    def __init__(self, view: BedView, cells: Cells | None = None, *, dim: bool = False) -> None:
        """`cells` may be shared with others that look at the same frames; in `dim` ones the edge of a ball may change but a
        lone cell."""
        self._view = view
        self._dim = dim
        self._cells = cells or Cells(view)
        self._last: NDArray[np.float32] | None = None
        self._flicker: Flicker | None = None
        self._noise = 0.0
        self._whole_s = -np.inf

    def since_last(self, frame: Frame) -> list[Window] | None:
        """The parts of the view that changed, not overlapping; None where all of it is to be looked at."""
        small = self._cells.small(frame)
        last = self._last
        if (
            last is None
            or self._flicker is None
            or last.shape != small.shape
            or frame.t_s >= self._whole_s + RENEW_S
        ):
            self._all(small, frame.t_s)
            return None
        off = np.asarray(cv2.absdiff(small, last), np.float32)
        bound = self._flicker.bound(small)
        # cells that did not change show the noise; the mean, for levels are whole numbers
        still = off[off <= max(LEAST_CHANGE, STILL_NOISES * self._noise)]
        spread = min(MEAN_TO_SIGMA * float(still.mean()), bound) if still.size else self._noise
        self._noise = spread if self._noise == 0 else 0.8 * self._noise + 0.2 * spread
        most = max(LEAST_CHANGE, NOISES * self._noise)
        changed = np.asarray(off > most, np.uint8)
        if not self._dim:
            changed = without_lone(changed)
        if not changed.any():
            return []
        parts = self._in_view(changed)
        area = sum((p.x1 - p.x0) * (p.y1 - p.y0) for p in parts)
        if area > WHOLE_SHARE * self._view.rows * self._view.columns:
            self._all(small, frame.t_s)
            return None
        # only what is looked at again is compared with this picture from now on
        wide = cv2.dilate(changed, np.ones((3, 3), np.uint8)).astype(bool)
        last[wide] = small[wide]
        return parts

    def _all(self, small: NDArray[np.float32], t_s: float) -> None:
        self._last, self._flicker, self._whole_s = small.copy(), Flicker(small), t_s

    def _in_view(self, changed: NDArray[np.uint8]) -> list[Window]:
        """Rectangles of the view that hold all changed cells and the balls that reach into them."""
        near = self._cells.in_view(changed)
        reach = int(np.ceil(1.1 * self._view.radius_px / VIEW_CELL_PX))
        cells = cv2.dilate(near, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8))
        return [self._window(*box) for box in _boxes(cells)]

    def _window(self, x: int, y: int, w: int, h: int) -> Window:
        n = VIEW_CELL_PX
        right = self._view.columns if (x + w + 1) * n > self._view.columns else (x + w) * n
        bottom = self._view.rows if (y + h + 1) * n > self._view.rows else (y + h) * n
        return Window(x * n, y * n, right, bottom)


def _boxes(cells: NDArray[Any]) -> list[tuple[int, int, int, int]]:
    """Rectangles (x, y, width, height) about what hangs together; those that overlap are put into one."""
    n, _, stats, _ = cv2.connectedComponentsWithStats(cells, connectivity=8)
    boxes = [tuple(int(v) for v in stats[i, :4]) for i in range(1, n)]
    merged: list[tuple[int, int, int, int]] = []
    while boxes:
        x, y, w, h = boxes.pop()
        for k, (a, b, c, d) in enumerate(merged):
            if x < a + c and a < x + w and y < b + d and b < y + h:
                left, top = min(x, a), min(y, b)
                del merged[k]
                boxes.append((left, top, max(x + w, a + c) - left, max(y + h, b + d) - top))
                break
        else:
            merged.append((x, y, w, h))
    return merged
