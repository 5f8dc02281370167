"""How large the balls appear on the table, which tells the table's size: a ball is 57.15 mm on every one."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Camera, Table
from lessonkit.table.camera import centre_mm, project
from lessonkit.table.rails import Picture, sample
from lessonkit.table.topview import top_view

Array = NDArray[np.float64]
_MM_PER_PX = 4.0
_SMALLEST_MM, _LARGEST_MM = 42.0, 100.0
_RAYS = 48
_LIMB = 0.985
"""Where a ball's edge is seen, as a share of its radius: the limb is darker than the middle (drawn and filmed balls)."""


def ball_diameters(pictures: Sequence[Picture], camera: Camera, table: Table) -> Array:
    """Apparent diameters (N,) of the round things on the bed, in the millimetres of `table` (if that is its size).

    Each picture gives its own; a ball that lies still counts in each. Balls that touch others, lie at a cushion or
    under a hand are left out by their shape.
    """
    found = []
    for picture in pictures:
        for x, y in _round_things(picture, camera, table):
            diameter = _diameter(picture, camera, np.array([x, y]), table.radius_mm)
            if diameter is not None:
                found.append(diameter)
    return np.array(found, float)


def _round_things(picture: Picture, camera: Camera, table: Table) -> list[tuple[float, float]]:
    width = round(table.length_mm / _MM_PER_PX)
    view = top_view(picture, camera, table, width_px=width, z_mm=table.radius_mm)
    smooth = cv2.GaussianBlur(view, (0, 0), 0.8)
    little = cv2.resize(smooth, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    cloth = cv2.resize(
        cv2.medianBlur(little, 21), (view.shape[1], view.shape[0]), interpolation=cv2.INTER_LINEAR
    )
    off = _unlike(smooth.astype(float), np.asarray(cloth, float))
    mask = (off > max(14.0, 5 * float(np.median(off)))).astype(np.uint8)
    closed = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    outlines, _ = cv2.findContours(closed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    things = []
    for outline in outlines:
        area = cv2.contourArea(outline) * _MM_PER_PX**2
        if not 0.785 * _SMALLEST_MM**2 < area < 0.785 * _LARGEST_MM**2 or len(outline) < 5:
            continue
        (cx, cy), (wide, high), _ = cv2.minAreaRect(outline)
        if max(wide, high) > 1.35 * min(wide, high) or area < 0.68 * wide * high * _MM_PER_PX**2:
            continue
        x, y = (cx + 0.5) * _MM_PER_PX, table.width_mm - (cy + 0.5) * _MM_PER_PX
        if 60 < x < table.length_mm - 60 and 60 < y < table.width_mm - 60:
            things.append((x, y))
    return things


def _diameter(picture: Picture, camera: Camera, centre: Array, z_mm: float) -> float | None:
    """The diameter of the sphere whose outline surrounds that place, from its outermost edge along rays."""
    angle = np.linspace(0, 2 * np.pi, _RAYS, endpoint=False)
    reach = np.arange(8.0, 76.0, 0.75)
    edge = np.zeros(_RAYS)
    for _ in range(3):
        way = np.c_[np.cos(angle), np.sin(angle)]
        grid = centre + reach[None, :, None] * way[:, None, :]
        colours = sample(picture, project(camera, grid.reshape(-1, 2), z_mm)).reshape(_RAYS, len(reach), 3)
        if np.isnan(colours).any():
            return None
        outside = colours[:, (reach > 52)]
        cloth = np.median(outside.reshape(-1, 3), 0)
        off = cv2.GaussianBlur(_unlike(colours, cloth), (0, 0), sigmaX=1.2, sigmaY=0.6)
        quiet = float(np.median(off[:, reach > 52]))
        inner = float(np.median(off[:, reach < 22]))
        if inner < 4 * quiet + 6:
            return None
        edge = _outermost(np.asarray(off, float), reach)
        if np.isnan(edge).sum() > _RAYS // 4:
            return None
        points = (edge[:, None] * way)[np.isfinite(edge)]
        a = np.c_[2 * points, np.ones(len(points))]
        shift = np.linalg.lstsq(a, (points**2).sum(1), rcond=None)[0][:2]
        if np.hypot(*shift) > 25:
            return None
        centre = centre + shift
    return _size_from_edge(camera, centre, z_mm, angle, edge)


def _unlike(colours: Array, cloth: Array) -> Array:
    """How far colours (..., 3) are from the cloth's (3,) or (..., 3) in any light up to its own: shadows count nothing."""
    share = np.clip((colours * cloth).sum(-1) / np.maximum((cloth * cloth).sum(-1), 1.0), 0.0, 1.0)
    return np.asarray(np.linalg.norm(colours - share[..., None] * cloth, axis=-1), float)


def _outermost(off: Array, reach: Array) -> Array:
    """Per ray, the last place outward where the unlikeness to cloth falls steeply; NaN: nowhere."""
    falls = -np.gradient(off, axis=1)
    falls[:, (reach < 18) | (reach > 52)] = 0
    edge = np.full(len(off), np.nan)
    for i, row in enumerate(falls):
        steepest = row.max()
        if steepest <= 0:
            continue
        peaks = (
            np.flatnonzero((row[1:-1] >= row[:-2]) & (row[1:-1] > row[2:]) & (row[1:-1] > 0.4 * steepest)) + 1
        )
        if not len(peaks):
            continue
        j = int(peaks[-1])
        a, b, c = row[j - 1], row[j], row[j + 1]
        bend = a - 2 * b + c
        edge[i] = reach[j] + (0.5 * (a - c) / bend if bend < 0 else 0.0) * (reach[1] - reach[0])
    return edge


def _size_from_edge(camera: Camera, centre: Array, z_mm: float, angle: Array, edge: Array) -> float | None:
    """Undo the stretch that a sphere's outline has away from the camera's foot (on the plane of its centre)."""
    eye = centre_mm(camera)
    away = centre - eye[:2]
    lean = np.arctan2(np.hypot(*away), eye[2] - z_mm)
    turn = angle - np.arctan2(away[1], away[0])
    stretch = 1 / np.sqrt((np.cos(turn) * np.cos(lean)) ** 2 + np.sin(turn) ** 2)
    radii = edge / stretch
    radii = radii[np.isfinite(radii)]
    middle = float(np.percentile(radii, 65))
    spread = 1.4826 * float(np.median(np.abs(radii - middle)))
    if spread > 0.08 * middle or not _SMALLEST_MM < 2 * middle < _LARGEST_MM:
        return None
    return 2 * middle / _LIMB
