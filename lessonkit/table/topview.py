"""The table seen straight from above: any picture of it carried onto the plane of the cloth."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Camera, Table
from lessonkit.table.camera import project

Picture = NDArray[np.uint8]


def top_view(
    picture: Picture,
    camera: Camera,
    table: Table,
    *,
    width_px: int = 1280,
    border_mm: float = 0.0,
    z_mm: float = 0.0,
) -> Picture:
    """The rectified picture (h, width_px, 3): head at the left, the right-hand long cushion (y = 0) at the bottom.

    It covers the playing surface and `border_mm` round it, at height `z_mm` (0: the cloth); millimetres per pixel are
    (length + 2 border) / width_px both ways. What lies above that plane appears displaced outward from the camera's
    foot, as it does in the picture. Black where the picture does not reach.
    """
    scale, height_px = _layout(table, width_px, border_mm)
    x = (np.arange(width_px) + 0.5) * scale - border_mm
    y = table.width_mm + border_mm - (np.arange(height_px) + 0.5) * scale
    grid = np.stack(np.meshgrid(x, y), -1)
    px = project(camera, grid.reshape(-1, 2), z_mm).astype(np.float32).reshape(height_px, width_px, 2)
    return np.asarray(
        cv2.remap(
            picture, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0
        ),
        np.uint8,
    )


def top_view_px(
    places_mm: NDArray[np.float64], table: Table, *, width_px: int = 1280, border_mm: float = 0.0
) -> NDArray[np.float64]:
    """Where table places (N, 2) lie in the picture that `top_view` makes with the same settings, pixels (N, 2)."""
    scale, _ = _layout(table, width_px, border_mm)
    p = np.atleast_2d(np.asarray(places_mm, float))
    return np.asarray(
        np.c_[p[:, 0] + border_mm, table.width_mm + border_mm - p[:, 1]] / scale - 0.5,
        float,
    )


def _layout(table: Table, width_px: int, border_mm: float) -> tuple[float, int]:
    scale = (table.length_mm + 2 * border_mm) / width_px
    return scale, round((table.width_mm + 2 * border_mm) / scale)
