"""Footage of a camera that was moved, shown as the camera that a lesson is drawn by would show it.

So a lesson has one camera: what is drawn lies right before and after the move, and the table stays where it is. Exact
in the plane of the balls' centres; what stands higher leans a little.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.lesson import style
from lessonkit.lesson.picture import BGR_TO_YUV, Picture
from lessonkit.model import Analysis, Camera
from lessonkit.table.camera import project, unproject

Array = NDArray[np.float64]
Map = NDArray[np.float32]
Moved = tuple[tuple[float, Map | None], ...]
"""From when on which map holds; None: the footage as it is."""
STEP_PX = 16
"""Between places of the picture that are worked out; it is bent too little for more."""


def moved(analysis: Analysis, camera: Camera, size: tuple[int, int]) -> Moved:
    """For each camera of the footage the map to a picture of this size by `camera`; empty where it never moved.

    A map has the footage's pixel (x, y) for places STEP_PX apart, shape (rows, columns, 2).
    """
    out: list[tuple[float, Map | None]] = []
    for from_s, own in analysis.cameras:
        same = own is analysis.camera or np.allclose(_numbers(own), _numbers(analysis.camera))
        out.append((from_s, None if same else _map(camera, own, size, analysis.table.radius_mm)))
    return tuple(out)


def map_at(maps: Moved, t_s: float) -> Map | None:
    """The map that holds at a time."""
    held = maps[0][1] if maps else None
    for from_s, later in maps:
        if from_s <= t_s:
            held = later
    return held


def steadied(picture: Picture, shown: Map, size: tuple[int, int], share: Array, ground: str) -> Picture:
    """The footage's picture, scaled by `share` (2,), through a map; `ground` where it does not reach."""
    out = Picture(*size)
    colour = np.rint(BGR_TO_YUV @ np.array(style.bgr(ground), float) + (16, 128, 128))
    # pixel centres at whole numbers; chroma samples sit on every second column and between two rows
    for k, (plane, source) in enumerate(zip(out.planes, picture.planes, strict=True)):
        each, seat = (1.0, (0.0, 0.0)) if k == 0 else (2.0, (0.0, 0.5))
        h, w = plane.shape
        x, y = np.meshgrid(np.arange(w, dtype=np.float32), np.arange(h, dtype=np.float32))
        at = cv2.remap(
            shown, (x * each + seat[0]) / STEP_PX, (y * each + seat[1]) / STEP_PX, cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
        at = (((at + 0.5) * share - 0.5) - np.array(seat, np.float32)) / each
        cv2.remap(
            source, np.asarray(at[..., 0], np.float32), np.asarray(at[..., 1], np.float32), cv2.INTER_LINEAR,
            dst=plane, borderMode=cv2.BORDER_CONSTANT, borderValue=float(colour[k]),
        )  # fmt: skip
    return out


def _map(camera: Camera, own: Camera, size: tuple[int, int], z_mm: float) -> Map:
    w, h = size
    # one column and row past the edge, so that every pixel lies between two
    x, y = np.meshgrid(np.arange(0, w + STEP_PX, STEP_PX), np.arange(0, h + STEP_PX, STEP_PX))
    places = unproject(camera, np.stack([x.ravel(), y.ravel()], 1).astype(float), z_mm)
    px = project(own, places, z_mm)
    return np.asarray(px.reshape(*x.shape, 2), np.float32)


def _numbers(c: Camera) -> NDArray[np.float64]:
    return np.concatenate([np.ravel(a) for a in (c.matrix, c.distortion, c.rotation, c.translation)])
