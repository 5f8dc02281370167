"""The four sides of a table as places to look along: strips of the picture, straightened by the camera."""

from __future__ import annotations

import numpy as np
from cv2 import BORDER_REPLICATE, INTER_LINEAR, remap
from numpy.typing import NDArray

from lessonkit.model import Camera, Table
from lessonkit.table.camera import project

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

SIDES = ("right", "foot", "left", "head")
"""In turn round the table; a side's number is its place here."""
CORNER_CLEAR_MM, POCKET_CLEAR_MM = 150.0, 120.0
"""How far from a corner, and from the side pocket's middle, the cushion runs undisturbed."""


def length_of(table: Table, side: int) -> float:
    """Length of a side from nose line to nose line, mm."""
    return table.width_mm if side % 2 else table.length_mm


def places(table: Table, side: int | NDArray[np.int64], along: Array, outward: Array) -> Array:
    """Table places (N, 2) from a distance along the side (x or y) and one behind its nose line (inside: negative)."""
    s = np.broadcast_to(side, np.shape(along))
    x = np.select([s == 1, s == 3], [table.length_mm + outward, -np.asarray(outward)], along)
    y = np.select([s == 0, s == 2], [-np.asarray(outward), table.width_mm + outward], along)
    return np.stack([x, y], -1)


def along_outward(table: Table, side: NDArray[np.int64], xy: Array) -> tuple[Array, Array]:
    """The inverse of `places` for N places (N, 2) and their sides (N,)."""
    x, y = xy.T
    turn = outward_rule(table)[side]
    return np.where(side % 2 == 0, x, y), turn[:, 0] * x + turn[:, 1] * y - turn[:, 2]


def outward_rule(table: Table) -> Array:
    """Per side (a, b, c) such that a x + b y - c is how far a place lies behind that side's nose line; shape (4, 3)."""
    return np.array([[0, -1, 0], [1, 0, table.length_mm], [0, 1, table.width_mm], [-1, 0, 0]], float)


def straight_runs(table: Table, side: int, step_mm: float) -> Array:
    """Distances along a side, `step_mm` apart, at which the cushion is neither near a corner nor a pocket."""
    length = length_of(table, side)
    t = np.arange(CORNER_CLEAR_MM, length - CORNER_CLEAR_MM, step_mm)
    if side % 2 == 0:
        t = t[np.abs(t - length / 2) > POCKET_CLEAR_MM]
    return t


def px_per_mm(
    camera: Camera, table: Table, side: NDArray[np.int64], xy: Array, z_mm: float
) -> tuple[Array, Array]:
    """How many pixels a millimetre takes up outward and along, at places (N, 2) near sides (N,)."""
    along, outward = along_outward(table, side, xy)
    p = project(camera, places(table, side, along, outward), z_mm)
    out = project(camera, places(table, side, along, outward + 1.0), z_mm)
    aside = project(camera, places(table, side, along + 1.0, outward), z_mm)
    return np.hypot(*(out - p).T), np.hypot(*(aside - p).T)


def strip(
    picture: Picture, camera: Camera, table: Table, side: int, along: Array, outward: Array, z_mm: float
) -> Array:
    """Colours (len(along), len(outward), 3) at height `z_mm` over that grid; NaN outside the picture."""
    # the lens bends a strip's short way so little that a parabola through three places gives it
    ends = np.array([outward[0], (outward[0] + outward[-1]) / 2, outward[-1]])
    t, u = np.meshgrid(along, ends, indexing="ij")
    p = project(camera, places(table, side, t.ravel(), u.ravel()), z_mm).reshape(len(along), 3, 2)
    v = (outward - ends[1]) / (ends[2] - ends[1])
    weights = np.stack([v * (v - 1) / 2, 1 - v * v, v * (v + 1) / 2], 1)
    px = (weights @ p).reshape(-1, 2)
    return sample(picture, px).reshape(len(along), len(outward), 3)


def sample(picture: Picture, px: Array) -> Array:
    """Colours (N, 3) at pixels (N, 2), linear in between; NaN outside the picture."""
    h, w = picture.shape[:2]
    columns = 2048
    padded = np.full((-(-len(px) // columns) * columns, 2), -9.0, np.float32)
    padded[: len(px)] = np.clip(px, -9, 3e4)
    grid = padded.reshape(-1, columns, 2)
    mapped = remap(picture, grid[..., 0], grid[..., 1], INTER_LINEAR, borderMode=BORDER_REPLICATE)
    got = np.asarray(mapped, float).reshape(-1, 3)[: len(px)]
    x, y = px.T
    got[(x < 0) | (y < 0) | (x > w - 1) | (y > h - 1)] = np.nan
    return np.asarray(got, float)
