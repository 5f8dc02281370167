"""The bed seen straight from above at ball height: the picture in which a ball is a disc of known size anywhere.

The view is the plane z = ball radius, so that the centre of a ball at rest falls on its own table place. One view
pixel is `mm_per_px` millimetres; view column grows with table x, view row with table y.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from lessonkit.footage.reader import Frame, yuv_to_bgr
from lessonkit.model import Camera, Table
from lessonkit.table.camera import centre_mm, project

Picture = NDArray[np.uint8]
Floats = NDArray[np.float64]

VIEW_MM_PER_PX = 3.2
"""A ball is 18 pixels wide: enough to find it, little to compute."""
BORDER_MM = 70.0
"""How far the view reaches past the nose lines, so that a ball in a pocket's mouth is still in it."""


@dataclass(frozen=True)
class Window:
    """A rectangle of view pixels, half open."""

    x0: int
    y0: int
    x1: int
    y1: int

    @property
    def area(self) -> tuple[slice, slice]:
        """The same as (rows, columns) to index with."""
        return slice(self.y0, self.y1), slice(self.x0, self.x1)

    def holds(self, x_px: float, y_px: float) -> bool:
        """Whether a place in the view falls into the rectangle."""
        return self.x0 <= x_px < self.x1 and self.y0 <= y_px < self.y1


class Shown(Protocol):
    """A moment of the footage as the bed view shows it."""

    @property
    def t_s(self) -> float:
        """Presentation time."""

    def bed(self, part: Window | None = None) -> Picture:
        """The bed view, or a part of it, blue-green-red."""


@dataclass(frozen=True, eq=False)
class Slant:
    """How a slanting view draws balls out, at each pixel of a view or of a part of it.

    Seen at an angle phi from straight above, the outline of a sphere of radius R is, on the plane through its centre, an
    ellipse: R wide, R / cos(phi) long, in the direction away from the camera.
    """

    x: NDArray[np.float32]
    """Direction away from the point below the camera, shape (rows, columns), a unit vector with `y`."""
    y: NDArray[np.float32]
    stretch: NDArray[np.float32]
    """1 / cos(phi), 1 and more."""

    def part(self, window: Window) -> Slant:
        """The same for a part of the view."""
        return Slant(self.x[window.area], self.y[window.area], self.stretch[window.area])

    def radii(self, x_px: float, y_px: float, at: tuple[slice, slice], radius_px: float) -> Floats:
        """Distance of the pixels in `at` from a ball's centre, in units of its outline there: 1 on the outline."""
        row = min(self.x.shape[0] - 1, max(0, round(y_px)))
        column = min(self.x.shape[1] - 1, max(0, round(x_px)))
        ex, ey = float(self.x[row, column]), float(self.y[row, column])
        yy, xx = np.mgrid[at]
        dx, dy = xx - x_px, yy - y_px
        along = (dx * ex + dy * ey) / float(self.stretch[row, column])
        return np.asarray(np.hypot(along, dx * ey - dy * ex) / radius_px, float)


@dataclass(frozen=True, eq=False)
class BedView:
    """How camera pixels and view pixels correspond."""

    table: Table
    camera: Camera
    mm_per_px: float
    columns: int
    rows: int
    map_x: NDArray[np.float32]
    """Camera column of each view pixel, shape (rows, columns)."""
    map_y: NDArray[np.float32]
    """Camera row of each view pixel."""
    calm_px: float = 0.0
    """Pictures of the view are smoothed so far, standard deviation in view pixels: noisy footage needs it."""

    @classmethod
    def of(cls, camera: Camera, table: Table, mm_per_px: float) -> BedView:
        """The view of a table under a camera."""
        columns = int(np.ceil((table.length_mm + 2 * BORDER_MM) / mm_per_px))
        rows = int(np.ceil((table.width_mm + 2 * BORDER_MM) / mm_per_px))
        xs = np.arange(columns) * mm_per_px - BORDER_MM
        ys = np.arange(rows) * mm_per_px - BORDER_MM
        gx, gy = np.meshgrid(xs, ys)
        px = project(camera, np.c_[gx.ravel(), gy.ravel()], table.radius_mm).astype(np.float32)
        return cls(table, camera, mm_per_px, columns, rows,
                   px[:, 0].reshape(rows, columns), px[:, 1].reshape(rows, columns))  # fmt: skip

    @cached_property
    def slant(self) -> Slant:
        """How the view draws balls out."""
        eye = centre_mm(self.camera)
        xs = np.arange(self.columns) * self.mm_per_px - BORDER_MM - eye[0]
        ys = np.arange(self.rows) * self.mm_per_px - BORDER_MM - eye[1]
        gx, gy = np.meshgrid(xs, ys)
        flat = np.maximum(np.hypot(gx, gy), 1e-6)
        stretch = np.hypot(1.0, flat / max(abs(float(eye[2]) - self.table.radius_mm), 1.0))
        return Slant(
            (gx / flat).astype(np.float32), (gy / flat).astype(np.float32), stretch.astype(np.float32)
        )

    @property
    def radius_px(self) -> float:
        """Radius of a ball in the view."""
        return self.table.radius_mm / self.mm_per_px

    def to_view(self, places_mm: ArrayLike) -> Floats:
        """View (column, row), shape (N, 2), of table places (N, 2)."""
        return (np.atleast_2d(np.asarray(places_mm, float)) + BORDER_MM) / self.mm_per_px

    def to_mm(self, view_px: ArrayLike) -> Floats:
        """Table places of view (column, row)."""
        return np.atleast_2d(np.asarray(view_px, float)) * self.mm_per_px - BORDER_MM

    def window(self, centre_px: ArrayLike, half_px: float) -> Window:
        """The square part of the view about a view pixel, clipped to the view."""
        x, y = (float(v) for v in np.asarray(centre_px, float).ravel())
        return Window(
            max(0, int(x - half_px)), max(0, int(y - half_px)),
            min(self.columns, int(x + half_px) + 2), min(self.rows, int(y + half_px) + 2),
        )  # fmt: skip

    def grown(self, part: Window, by_px: float) -> Window:
        """The rectangle with `by_px` more on every side, as far as the view reaches."""
        n = int(np.ceil(by_px))
        return Window(max(0, part.x0 - n), max(0, part.y0 - n),
                      min(self.columns, part.x1 + n), min(self.rows, part.y1 + n))  # fmt: skip

    def warp_frame(self, frame: Frame, part: Window | None = None) -> Picture:
        """The view of a frame, or only a part of it, blue-green-red, without converting the whole picture.

        The planes are sampled first and turned to colours afterwards, so the cost is that of the view.
        """
        area = (slice(None), slice(None)) if part is None else part.area
        return self.calmed(self.warp_at(frame, self.map_x[area], self.map_y[area]))

    def calmed(self, picture: Picture) -> Picture:
        """A picture of the view, or of a part of it, smoothed as far as this footage needs."""
        if self.calm_px <= 0 or not picture.size:
            return picture
        return np.asarray(cv2.GaussianBlur(picture, (0, 0), self.calm_px), np.uint8)

    def warp_at(self, frame: Frame, mx: NDArray[np.float32], my: NDArray[np.float32]) -> Picture:
        """The colours of a frame, not smoothed, at camera columns `mx` and rows `my`, both of shape (rows, columns)."""
        luma, u, v = frame.planes()
        border = cv2.BORDER_REPLICATE
        y = cv2.remap(np.ascontiguousarray(luma), mx, my, cv2.INTER_LINEAR, borderMode=border)
        # a chroma sample lies midway between its 2 x 2 luma samples vertically, and on the left one (MPEG-2 siting)
        hx, hy = mx * 0.5, my * 0.5 - 0.25
        cu = cv2.remap(np.ascontiguousarray(u), hx, hy, cv2.INTER_LINEAR, borderMode=border)
        cv = cv2.remap(np.ascontiguousarray(v), hx, hy, cv2.INTER_LINEAR, borderMode=border)
        return np.asarray(cv2.transform(cv2.merge([y, cu, cv]), yuv_to_bgr(frame.raw)), np.uint8)

    def table_mask(self, margin_mm: float = 0.0) -> NDArray[np.bool_]:
        """True where a ball's centre can be: inside the nose lines grown by `margin_mm`."""
        xs = np.arange(self.columns) * self.mm_per_px - BORDER_MM
        ys = np.arange(self.rows) * self.mm_per_px - BORDER_MM
        ok_x = (xs >= -margin_mm) & (xs <= self.table.length_mm + margin_mm)
        ok_y = (ys >= -margin_mm) & (ys <= self.table.width_mm + margin_mm)
        return np.asarray(ok_y[:, None] & ok_x[None, :])


@dataclass(frozen=True, eq=False)
class Live:
    """A decoded frame; it holds as long as the frame does."""

    view: BedView
    frame: Frame

    @property
    def t_s(self) -> float:
        """Presentation time."""
        return self.frame.t_s

    def bed(self, part: Window | None = None) -> Picture:
        """The bed view, or a part of it."""
        return self.view.warp_frame(self.frame, part)
