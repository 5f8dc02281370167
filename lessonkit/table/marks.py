"""Marks at known places: the sights on the rails, and the pockets."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Camera, Table
from lessonkit.table.camera import project
from lessonkit.table.fitting import Rail
from lessonkit.table.rails import SIDES, Picture, places, strip
from lessonkit.table.sizes import sights

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Sights:
    """Sights that were seen: pixels (N, 2), the side each is on and its place along that side."""

    px: Array
    side: NDArray[np.int64]
    along: Array


def measure_sights(picture: Picture, camera: Camera, table: Table, rail: Rail, search_mm: float) -> Sights:
    """The small mark within `search_mm` of each sight's expected place, where there is one.

    A mark is a compact spot that stands out from the rail round it; its place is the centroid of what stands out.
    Marks far weaker than the rest are left out, and so are those of the other polarity (dark among bright ones).
    """
    found = []
    for sight in sights(table):
        side = SIDES.index(sight.side)
        spot = _spot(picture, camera, table, side, sight.along_mm, rail, search_mm)
        if spot is not None:
            found.append((side, sight.along_mm, *spot))
    if len(found) < 3:
        return Sights(np.zeros((0, 2)), np.zeros(0, np.int64), np.zeros(0))
    rows = np.array(found)
    signed = rows[:, 4]
    polarity = np.sign(np.sum(np.sign(signed) * np.sqrt(np.abs(signed))))
    strength = signed * polarity
    rows = rows[(strength > 0) & (strength > 0.35 * np.median(strength[strength > 0]))]
    rows = rows[_together(rows[:, 5:9])]
    return Sights(rows[:, 2:4], rows[:, 0].astype(np.int64), rows[:, 1])


def _together(places_mm: Array) -> NDArray[np.bool_]:
    """Which spots moved together: expected x, y and seen x, y (N, 4), one affine map between them.

    A camera that is a little off shifts all sights alike; grain, chalk and reflections lie at random. If what is left
    after the best map is no smaller than chance would leave, none is a sight.
    """
    keep = np.ones(len(places_mm), bool)
    a = np.c_[places_mm[:, :2] / 1000, np.ones(len(places_mm))]
    moved = places_mm[:, 2:] - places_mm[:, :2]
    left = np.zeros(len(places_mm))
    for _ in range(4):
        if keep.sum() < 6:
            return np.zeros(len(places_mm), bool)
        left = np.hypot(*(moved - a @ np.linalg.lstsq(a[keep], moved[keep], rcond=None)[0]).T)
        keep = left < max(3.0, 2.5 * float(np.median(left)))
    return keep & (left < 6.0) if np.median(left) < 2.5 else np.zeros(len(places_mm), bool)


def _spot(
    picture: Picture, camera: Camera, table: Table, side: int, at_mm: float, rail: Rail, search_mm: float
) -> tuple[float, ...] | None:
    """Pixel x, y, signed contrast, expected and seen table x, y of the spot near one sight's place."""
    reach, step = search_mm + 14.0, 1.0
    grid = np.arange(-reach, reach + step, step)
    edge = rail.cloth_mm[side] + 4.0
    outward = rail.sight_mm + grid
    colours = strip(picture, camera, table, side, at_mm + grid, outward, rail.sight_height_mm)
    grey = colours @ np.array([0.114, 0.587, 0.299])
    grey[:, outward <= edge] = np.nan
    if np.isnan(grey).mean() > 0.4:
        return None
    level = float(np.nanmedian(grey))
    noise = 1.4826 * float(np.nanmedian(np.abs(grey - level))) + 1.0
    rise = cv2.GaussianBlur(np.nan_to_num(grey - level).astype(np.float32), (0, 0), 2.5)
    wide = cv2.GaussianBlur(np.nan_to_num(grey - level).astype(np.float32), (0, 0), 9.0)
    contrast = rise - wide
    usual = 1.4826 * float(np.median(np.abs(contrast[:, outward > edge])))
    contrast[(np.abs(grid) > search_mm), :] = 0
    contrast[:, (np.abs(grid) > search_mm) | (outward <= edge)] = 0
    i, j = np.unravel_index(int(np.argmax(np.abs(contrast))), contrast.shape)
    sign = float(np.sign(contrast[i, j]))
    if abs(contrast[i, j]) < max(1.5 * noise, 5 * usual, 4.0):
        return None
    r = np.hypot(*np.meshgrid(grid - grid[i], grid - grid[j], indexing="ij"))
    excess = np.clip(np.nan_to_num(grey - level) * sign, 0, None)
    top = float(np.percentile(excess[r < 5], 90))
    excess = np.where((r < 13) & (excess > 0.35 * top), excess, 0)
    ring = (r > 11) & (r < 14)
    if top <= 0 or (excess[r < 13].size and np.mean(np.abs(np.nan_to_num(grey - level))[ring]) > 0.5 * top):
        return None
    total = excess.sum()
    t = at_mm + grid[i] + float((excess * (grid[:, None] - grid[i])).sum() / total)
    u = rail.sight_mm + grid[j] + float((excess * (grid[None, :] - grid[j])).sum() / total)
    both = places(table, side, np.array([at_mm, t]), np.array([rail.sight_mm, u]))
    x, y = project(camera, both[1:], rail.sight_height_mm)[0]
    return float(x), float(y), float(contrast[i, j]), *(float(v) for v in both.ravel())


def pockets_seen(picture: Picture, camera: Camera, table: Table) -> list[float | None]:
    """For each pocket in turn of Table.pockets, how far it looks like a hole: 0 to 1; None: out of the picture.

    A hole is darker than the cloth, and of another colour, over most of a disc as wide as a ball behind the nose
    lines' corner (or behind the middle of the long one).
    """
    L, W = table.length_mm, table.width_mm
    inner = np.stack(np.meshgrid(np.linspace(0.15, 0.85, 24) * L, np.linspace(0.2, 0.8, 12) * W), -1).reshape(
        -1, 2
    )
    from lessonkit.table.rails import sample

    cloth = sample(picture, project(camera, inner))
    cloth = cloth[np.isfinite(cloth).all(1)]
    if len(cloth) < 20:
        return [None] * 6
    typical = np.median(cloth, 0)
    spread = float(np.median(np.linalg.norm(cloth - typical, axis=1))) + 4.0
    angle, radius = np.meshgrid(
        np.linspace(0, 2 * np.pi, 16, endpoint=False), np.array([4.0, 12.0, 20.0, 28.0])
    )
    disc = np.c_[(radius * np.cos(angle)).ravel(), (radius * np.sin(angle)).ravel()]
    results: list[float | None] = []
    for x, y in table.pockets.values():
        back = 28.0 if x in (0.0, L) else 50.0
        centre = np.array([x, y]) + back * np.array([np.sign(x - L / 2), np.sign(y - W / 2)])
        colours = sample(picture, project(camera, centre + disc))
        colours = colours[np.isfinite(colours).all(1)]
        if len(colours) < 0.6 * len(disc):
            results.append(None)
            continue
        dark = colours.mean(1) < 0.72 * typical.mean() + 2
        other = np.linalg.norm(colours - typical, axis=1) > 2.0 * spread
        results.append(float(np.mean(dark & other)))
    return results
