"""The lines along a rail, measured: the cushion's nose, and where the cloth meets the rail behind it."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Camera, Table
from lessonkit.table.camera import project
from lessonkit.table.rails import Picture, length_of, places, px_per_mm, straight_runs, strip

Array = NDArray[np.float64]
_BINS = 40


@dataclass(frozen=True, eq=False)
class Line:
    """Places measured on one line along one side."""

    px: Array
    """Shape (N, 2), pixels."""
    side: int
    strength: float
    """Step across the line in grey levels (length in BGR), the median of its places."""
    shift_mm: float
    """How far outward of the expected place the whole line lies, before fitting."""
    nose: bool = True
    """True: the nose line; False: where cloth meets rail."""
    sigma_px: float = 0.5
    """How well each place is measured: worse where the places scatter or the step is faint."""


def measure_line(
    picture: Picture,
    camera: Camera,
    table: Table,
    side: int,
    back_mm: float,
    z_mm: float,
    search_mm: float,
    *,
    leaving: bool = False,
) -> Line | None:
    """The strongest straight step within `search_mm` of the line `back_mm` behind a side's nose line.

    The whole side first (the median along it, so that balls and hands do not count), then piece by piece close to
    what the whole gave. `leaving`: the first step away from the colour inside rather than the strongest (a dark gap
    may lie between cloth and rail). None where the side is out of the picture or shows no step.
    """
    along, outward, colours, gsd = _straightened(picture, camera, table, side, back_mm, z_mm, search_mm)
    whole = _median(colours, 0)
    if not np.isfinite(whole).any():
        return None
    middle = _strongest(whole, outward, gsd, search_mm)
    if middle is None:
        return None
    if leaving:
        rise = _rise(_off(whole[None], outward, middle, gsd), outward, gsd)[0]
        first, _ = _peak(rise, outward, middle, max(6.0, 4 * gsd), gsd, first=True)
        middle = middle if first is None else first
    direction = _across(whole, outward, middle, gsd)
    strength = float(np.linalg.norm(direction))
    if strength < 2.5:
        return None
    window = min(search_mm, max(12.0, 5 * gsd)) if search_mm > 20 else max(8.0, 4 * gsd)
    px, steps = [], []
    pieces = _pieces(len(along))
    profiles = _median(colours[pieces], 1)
    across = _off(profiles, outward, middle, gsd) if leaving else profiles @ (direction / strength)
    for where, rise in zip(along[pieces].mean(1), _rise(across, outward, gsd), strict=True):
        at, step = _peak(rise, outward, middle, window, gsd, first=leaving)
        if at is None:
            continue
        px.append((float(where), at))
        steps.append(step)
    if len(px) < max(4, len(pieces) // 5):
        return None
    found, strengths = np.array(px), np.array(steps)
    found = found[strengths > 0.4 * np.median(strengths)]
    if len(found) < 3:  # too few for the parabola
        return None
    pixels = project(camera, places(table, side, found[:, 0], back_mm + found[:, 1]), z_mm)
    # a line through a lens is nearly a parabola: what is left over is noise
    bent = np.polynomial.Polynomial.fit(found[:, 0], found[:, 1], 2)(found[:, 0])
    scatter = 1.4826 * float(np.median(np.abs(found[:, 1] - bent))) / gsd
    sigma = float(np.hypot(0.35, 1.5 * scatter) * np.hypot(1.0, 6.0 / strength))
    return Line(pixels, side, strength, middle, not leaving, sigma)


def _pieces(rows: int) -> NDArray[np.int64]:
    """Rows of a strip piece by piece, shape (pieces, rows of each): all alike, so a few rows here and there are left out."""
    count = min(_BINS, max(min(rows, 8), rows // 3))
    return np.round(np.linspace(0, rows - 1, rows // count * count)).astype(np.int64).reshape(count, -1)


def profile_across(
    picture: Picture, camera: Camera, table: Table, side: int, back_mm: float, z_mm: float, reach_mm: float
) -> tuple[Array, Array, float] | None:
    """(places outward of the line in mm, colours (N, 3) there by the median along the side, mm per pixel)."""
    _, outward, colours, gsd = _straightened(picture, camera, table, side, back_mm, z_mm, reach_mm)
    whole = _median(colours, 0)
    return None if not np.isfinite(whole).any() else (outward, whole, gsd)


def steps_of(profile: Array, outward: Array, gsd: float) -> Array:
    """Length of the colour's change per pixel at each place of a profile (N, 3), smoothed over about a pixel."""
    step = outward[1] - outward[0]
    bell = _bell(max(gsd / step * 0.7, 0.7))
    smooth = cv2.filter2D(profile, -1, bell[:, None], borderType=cv2.BORDER_REPLICATE)
    return np.asarray(np.linalg.norm(np.gradient(smooth, step, axis=0), axis=1) * gsd, float)


def _straightened(
    picture: Picture, camera: Camera, table: Table, side: int, back_mm: float, z_mm: float, search_mm: float
) -> tuple[Array, Array, Array, float]:
    middle = places(table, np.array([side]), np.array([length_of(table, side) / 2]), np.array([back_mm]))
    out, aside = px_per_mm(camera, table, np.array([side]), middle, z_mm)
    gsd = float(1 / max(out[0], 1e-3))
    step = max(gsd / 2.0, 0.4)
    reach = search_mm + 26.0
    outward = np.arange(-reach, reach + step, step)
    along = straight_runs(table, side, max(2.0, (2.5 if search_mm > 10 else 1.3) / float(aside[0])))
    colours = strip(picture, camera, table, side, along, back_mm + outward, z_mm)
    whole = np.isfinite(colours).all((1, 2))  # rows that lie in the picture entirely, if there are enough
    if 0.2 * whole.size < whole.sum() < whole.size:
        along, colours = along[whole], colours[whole]
    return along, outward, colours, gsd


def _median(colours: Array, axis: int) -> Array:
    """The median along an axis, places out of the picture left out; NaN where nothing is left."""
    if not np.isnan(colours).any() and colours.shape[axis]:
        return np.asarray(np.median(colours, axis=axis), float)
    if not colours.shape[axis]:
        return np.full(colours.shape[:axis] + colours.shape[axis + 1 :], np.nan)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # columns all out of the picture
        return np.asarray(np.nanmedian(colours, axis=axis), float)


def _bell(sigma: float) -> Array:
    """Gauss's curve out to three sigmas, summing to 1."""
    half = int(np.ceil(3 * sigma))
    kernel = np.exp(-0.5 * (np.arange(-half, half + 1) / sigma) ** 2)
    return np.asarray(kernel / kernel.sum(), float)


def _strongest(whole: Array, outward: Array, gsd: float, search_mm: float) -> float | None:
    steps = np.nan_to_num(steps_of(whole, outward, gsd))
    steps[np.abs(outward) > search_mm] = 0
    best = int(np.argmax(steps))
    return float(outward[best]) if steps[best] > 0 else None


def _across(whole: Array, outward: Array, at: float, gsd: float) -> Array:
    """Colour just outside less colour just inside."""
    near, far = max(2.0, 1.2 * gsd), max(12.0, 4 * gsd)
    outer = (outward > at + near) & (outward < at + far)
    inner = (outward < at - near) & (outward > at - far)
    return np.nan_to_num(_median(whole[outer], 0) - _median(whole[inner], 0))


def _off(profiles: Array, outward: Array, at: float, gsd: float) -> Array:
    """How far each place's colour is from that on the inside of `at`: (P, N) of profiles (P, N, 3)."""
    inner = (outward < at - max(5.0, 2.5 * gsd)) & (outward > at - max(20.0, 8 * gsd))
    return np.asarray(np.linalg.norm(profiles - _median(profiles[:, inner], 1)[:, None], axis=2), float)


def _rise(profiles: Array, outward: Array, gsd: float) -> Array:
    """How fast each of the profiles (P, N) rises per millimetre outward, smoothed over about a pixel."""
    step = outward[1] - outward[0]
    smooth = cv2.filter2D(
        profiles, -1, _bell(max(gsd / step * 0.8, 0.8))[None], borderType=cv2.BORDER_REPLICATE
    )
    return np.asarray(np.nan_to_num(np.gradient(smooth, step, axis=1)), float)


def _peak(
    rise: Array, outward: Array, at: float, window: float, gsd: float, *, first: bool = False
) -> tuple[float | None, float]:
    """Where a profile that rises so rises fastest within `window` of `at`, to a fraction of a sample, and how fast.

    `first`: the innermost of the places where it rises at least half as fast as anywhere there.
    """
    step = outward[1] - outward[0]
    near = np.flatnonzero(np.abs(outward - at) <= window)
    if len(near) < 3:
        return None, 0.0
    i = int(near[np.argmax(rise[near])])
    if first:
        steep = near[1:-1][
            (rise[near[1:-1]] >= 0.5 * rise[i])
            & (rise[near[1:-1]] >= rise[near[:-2]])
            & (rise[near[1:-1]] > rise[near[2:]])
        ]
        i = int(steep[0]) if len(steep) else i
    if i in (near[0], near[-1]) or i < 1 or i > len(rise) - 2 or rise[i] <= 0:
        return None, 0.0
    a, b, c = rise[i - 1], rise[i], rise[i + 1]
    bend = a - 2 * b + c
    shift = 0.5 * (a - c) / bend if bend < 0 else 0.0
    return float(outward[i] + shift * step), float(b * gsd)
