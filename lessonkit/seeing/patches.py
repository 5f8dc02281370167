"""A close look at one ball: a small piece of the bed view at the camera's own resolution."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import Frame
from lessonkit.model import Camera, Point, Table
from lessonkit.table.camera import project

REACH = 1.7
"""Half the width of a patch in ball radii."""


@dataclass(frozen=True, eq=False)
class Patch:
    """A square piece of the plane z = ball radius about a place."""

    place: Point
    """Table place of the patch's middle pixel."""
    mm_per_px: float
    picture: NDArray[np.uint8]
    """Shape (n, n, 3), n odd; column along table x, row along table y."""


class Patcher:
    """Cuts patches out of camera pictures."""

    def __init__(self, camera: Camera, table: Table) -> None:
        self._camera = camera
        middle = (table.length_mm / 2, table.width_mm / 2)
        step = project(camera, [middle, (middle[0] + 10.0, middle[1])], table.radius_mm)
        self.mm_per_px = float(10.0 / np.hypot(*(step[1] - step[0])))
        self._n = int(np.ceil(REACH * table.radius_mm / self.mm_per_px))
        self._z_mm = table.radius_mm
        a = np.arange(-self._n, self._n + 1) * self.mm_per_px
        gx, gy = np.meshgrid(a, a)
        self._offsets = np.c_[gx.ravel(), gy.ravel()]

    def patch(self, frame: Frame, place: Point) -> Patch:
        """The patch about `place` (millimetres)."""
        n = 2 * self._n + 1
        px = project(self._camera, self._offsets + np.asarray(place), self._z_mm)
        (x0, y0), (x1, y1) = np.floor(px.min(0)).astype(int) - 2, np.ceil(px.max(0)).astype(int) + 3
        w, h = frame.size
        x0, y0, x1, y1 = max(0, x0) & ~1, max(0, y0) & ~1, min(w, x1), min(h, y1)
        if x1 - x0 < 4 or y1 - y0 < 4:
            return Patch(place, self.mm_per_px, np.zeros((n, n, 3), np.uint8))
        part = frame.crop_bgr(int(x0), int(y0), int(x1), int(y1))
        xy = (px - (x0, y0)).astype(np.float32).reshape(n, n, 2)
        cut = cv2.remap(part, xy[..., 0], xy[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return Patch(place, self.mm_per_px, np.asarray(cut, np.uint8))
