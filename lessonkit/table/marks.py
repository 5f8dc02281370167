"""Marks at known places: the sights on the rails, and the pockets."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Camera, Table
from lessonkit.table.camera import project
from lessonkit.table.fitting import HOLE_HEIGHT_MM, Rail
from lessonkit.table.rails import SIDES, Picture, places, px_per_mm, sample, strip
from lessonkit.table.sizes import sights

Array = NDArray[np.float64]

_TO_THE_RAILS_END_MM = 40.0
"""From the sights outward to where a rail may end, at least (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Sights:
    """Sights that were seen: pixels (N, 2), the side each is on and its place along that side."""

    px: Array
    side: NDArray[np.int64]
    along: Array


def measure_sights(picture: Picture, camera: Camera, table: Table, rail: Rail, search_mm: float) -> Sights:
    """The small mark within `search_mm` of each sight's expected place, where there is one.

    A mark is a compact spot that stands out from the rail round it; its place is the centroid of what stands out.
    First each side as a whole (its windows laid over each other: faint marks add up, grain does not), then one by one
    near what the whole gave. Marks far weaker than the rest are left out, and so are those of the other polarity (dark
    among bright ones).
    """
    found = []
    for side in range(4):
        alongs = [s.along_mm for s in sights(table) if SIDES.index(s.side) == side]
        windows = [_window(picture, camera, table, side, at, rail, search_mm) for at in alongs]
        seen = [w for w in windows if w is not None]
        shift = _common_shift(seen, search_mm)
        for w in seen:
            spot = _spot(camera, table, rail, w, search_mm, shift)
            if spot is not None:
                found.append((side, w.at_mm, *spot))
    if len(found) < 3:
        return Sights(np.zeros((0, 2)), np.zeros(0, np.int64), np.zeros(0))
    rows = np.array(found)
    signed = rows[:, 4]
    polarity = np.sign(np.sum(np.sign(signed) * np.sqrt(np.abs(signed))))
    strength = signed * polarity
    rows = rows[(strength > 0) & (strength > 0.35 * np.median(strength[strength > 0]))]
    rows = rows[_together(rows[:, 5:9])]
    return Sights(rows[:, 2:4], rows[:, 0].astype(np.int64), rows[:, 1])


@dataclass(frozen=True, eq=False)
class _Window:
    """The rail about one sight's expected place, straightened, a sample a millimetre: along by outward."""

    side: int
    at_mm: float
    grid: Array
    grey: Array
    """Beside the rail's level; 0 where nothing is known."""
    contrast: Array
    """Spots of a sight's size stand out; in units of what is usual by chance."""
    usual: float
    """That unit in grey levels."""
    px_mm: float
    """Millimetres that a pixel takes up."""


def _window(
    picture: Picture, camera: Camera, table: Table, side: int, at_mm: float, rail: Rail, search_mm: float
) -> _Window | None:
    """None: too much of it is out of the picture."""
    place = places(table, np.array([side]), np.array([at_mm]), np.array([rail.sight_mm]))
    scales = px_per_mm(camera, table, np.array([side]), place, rail.sight_height_mm)
    px_mm = float(1 / max(min(scales[0][0], scales[1][0]), 1e-3))
    reach = int(np.ceil(search_mm + max(14.0, 4.5 * px_mm)))
    grid = np.arange(-reach, reach + 1, dtype=float)
    edge = rail.cloth_mm[side] + 4.0
    outward = rail.sight_mm + grid
    colours = strip(picture, camera, table, side, at_mm + grid, outward, rail.sight_height_mm)
    grey = colours @ np.array([0.114, 0.587, 0.299])
    grey[:, outward <= edge] = np.nan
    if np.isnan(grey).mean() > 0.4:
        return None
    level = float(np.nanmedian(grey))
    beside = np.nan_to_num(grey - level).astype(np.float32)
    rise = cv2.GaussianBlur(beside, (0, 0), max(2.5, 0.7 * px_mm))
    contrast = np.asarray(rise - cv2.GaussianBlur(beside, (0, 0), max(9.0, 2.5 * px_mm)), float)
    beyond = np.abs(contrast[:, (outward > edge) & (outward < rail.sight_mm + _TO_THE_RAILS_END_MM)])
    usual = 1.4826 * float(np.median(np.sort(beyond.ravel())[: beyond.size * 3 // 4])) + 0.15
    contrast[:, (np.abs(grid) > search_mm) | (outward <= edge)] = 0
    contrast[(np.abs(grid) > search_mm), :] = 0
    return _Window(side, at_mm, grid, np.asarray(beside, float), contrast / usual, usual, px_mm)


def _common_shift(windows: list[_Window], search_mm: float) -> tuple[float, float] | None:
    """Along and outward by which a side's marks all lie off, millimetres; None if they do not stand out together."""
    if len(windows) < 3 or search_mm < 6:
        return None
    half = int(search_mm)
    middles = [
        np.clip(w.contrast[m - half : m + half + 1, m - half : m + half + 1], -8, 8)
        for w in windows
        for m in [len(w.grid) // 2]
    ]
    stack = np.mean(middles, 0) * np.sqrt(len(windows))
    i, j = np.unravel_index(int(np.argmax(np.abs(stack))), stack.shape)
    return (float(i - half), float(j - half)) if abs(stack[i, j]) >= 6.0 else None


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
    camera: Camera,
    table: Table,
    rail: Rail,
    window: _Window,
    search_mm: float,
    shift: tuple[float, float] | None,
) -> tuple[float, ...] | None:
    """Pixel x, y, signed contrast, expected and seen table x, y of the spot near one sight's place."""
    grid, contrast = window.grid, window.contrast
    if shift is not None:
        near = max(5.0, 1.5 * window.px_mm)
        off = np.maximum(np.abs(grid - shift[0])[:, None], np.abs(grid - shift[1])[None])
        contrast = np.where(off <= near, contrast, 0)
    i, j = np.unravel_index(int(np.argmax(np.abs(contrast))), contrast.shape)
    sign, strength = float(np.sign(contrast[i, j])), float(abs(contrast[i, j]))
    if strength < (4.0 if shift is not None else 5.0) or strength * window.usual < 2.0:
        return None
    r = np.hypot(*np.meshgrid(grid - grid[i], grid - grid[j], indexing="ij"))
    soft = cv2.GaussianBlur(window.grey.astype(np.float32), (0, 0), max(1.0, 0.5 * window.px_mm))
    reach = max(13.0, 2.2 * window.px_mm)
    excess = np.clip(soft * sign, 0, None)
    top = float(np.percentile(excess[r < max(5.0, 0.8 * window.px_mm)], 90))
    ring = (r > 0.85 * reach) & (r < 1.1 * reach)
    if top <= 0 or np.mean(np.abs(soft)[ring]) > 0.5 * top:
        return None
    excess = np.where((r < reach) & (excess > 0.35 * top), excess, 0)
    total = excess.sum()
    t = window.at_mm + grid[i] + float((excess * (grid[:, None] - grid[i])).sum() / total)
    u = rail.sight_mm + grid[j] + float((excess * (grid[None, :] - grid[j])).sum() / total)
    both = places(table, window.side, np.array([window.at_mm, t]), np.array([rail.sight_mm, u]))
    x, y = project(camera, both[1:], rail.sight_height_mm)[0]
    return float(x), float(y), sign * strength * window.usual, *(float(v) for v in both.ravel())


def _cloth_and_spread(picture: Picture, camera: Camera, table: Table) -> tuple[Array, float] | None:
    """The bed's typical colour (3,) and how far its colours lie from it; None where hardly any of it is seen."""
    L, W = table.length_mm, table.width_mm
    inner = np.stack(np.meshgrid(np.linspace(0.15, 0.85, 24) * L, np.linspace(0.2, 0.8, 12) * W), -1)
    cloth = sample(picture, project(camera, inner.reshape(-1, 2)))
    cloth = cloth[np.isfinite(cloth).all(1)]
    if len(cloth) < 20:
        return None
    typical = np.median(cloth, 0)
    return typical, float(np.median(np.linalg.norm(cloth - typical, axis=1))) + 4.0


def measure_holes(picture: Picture, camera: Camera, table: Table, search_mm: float) -> tuple[Array, Array]:
    """Middles of the pockets' holes: pixels (N, 2) and where on the table they are expected (N, 2).

    A hole is a dark disc with something lighter round it, at least towards the bed, within `search_mm` of the expected
    place; good to a centimetre or so, which tells nothing that lines do not, save which lines they are.
    """
    cloth = _cloth_and_spread(picture, camera, table)
    pixels, expected = [], []
    step = 6.0
    reach = search_mm + 100.0
    grid = np.arange(-reach, reach + step, step)
    y, x = np.mgrid[-13:14, -13:14] * step
    r = np.hypot(x, y)
    disc, ring = (r < 42).astype(np.float32), ((r > 58) & (r < 78)).astype(np.float32)
    kernel = disc / disc.sum() - ring / ring.sum()
    for px, py in table.pockets.values() if cloth is not None else ():
        corner = px in (0.0, table.length_mm)
        outward = np.sign([px - table.length_mm / 2, py - table.width_mm / 2])
        centre = np.array([px, py]) + outward * (30.0 if corner else 54.0)
        places_mm = centre + np.stack(np.meshgrid(grid, grid), -1)
        colours = sample(picture, project(camera, places_mm.reshape(-1, 2), HOLE_HEIGHT_MM))
        grey = colours.mean(1).reshape(len(grid), len(grid))
        if np.isnan(grey).mean() > 0.4:
            continue
        dark = np.nan_to_num(np.nanmedian(grey) - grey).astype(np.float32)
        match = cv2.filter2D(dark, -1, kernel, borderType=cv2.BORDER_REPLICATE)
        match[(np.abs(grid) > search_mm)[:, None] | (np.abs(grid) > search_mm)[None]] = -np.inf
        i, j = np.unravel_index(int(np.argmax(match)), match.shape)
        near = grey[max(0, i - 4) : i + 5, max(0, j - 4) : j + 5]
        assert cloth is not None
        if np.isnan(near).all():
            continue
        if match[i, j] < 5 or np.nanmedian(near) > 0.72 * cloth[0].mean() + 2:
            continue
        # a dark rim widens the hole outward, so its middle is that of all that is dark there, not of the best disc
        black = np.nan_to_num(grey, nan=255.0) < 0.6 * cloth[0].mean() + 0.4 * float(np.nanmedian(near))
        at = places_mm[i, j]
        for _ in range(3):
            about = black & (np.hypot(*(places_mm - at).transpose(2, 0, 1)) < 70)
            at = places_mm[about].mean(0) if about.any() else at
        pixels.append(project(camera, at[None], HOLE_HEIGHT_MM)[0])
        expected.append(centre)
    return np.array(pixels).reshape(-1, 2), np.array(expected).reshape(-1, 2)


def pockets_seen(picture: Picture, camera: Camera, table: Table) -> list[float | None]:
    """For each pocket in turn of Table.pockets, how far it looks like a hole: 0 to 1; None: out of the picture.

    A hole is darker than the cloth, and of another colour, over most of a disc as wide as a ball behind the nose
    lines' corner (or behind the middle of the long one).
    """
    L, W = table.length_mm, table.width_mm
    known = _cloth_and_spread(picture, camera, table)
    if known is None:
        return [None] * 6
    typical, spread = known
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
