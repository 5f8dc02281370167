"""The footage in parts, in each of which the camera stays where it is, and the camera and bare table of each.

Where the camera never moves there is one part. After a move the camera is fitted anew from where the picture went; the
table, its head and its size stay what they were.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import TableError
from lessonkit.footage.reader import Frame, OpenFootage
from lessonkit.model import Camera, SeenShot, Table
from lessonkit.seeing.bedview import VIEW_MM_PER_PX, BedView
from lessonkit.seeing.bumps import Bump
from lessonkit.seeing.cloth import BareTable, bare_table
from lessonkit.seeing.residences import Residence
from lessonkit.table.camera import project
from lessonkit.table.finding import Surface, find_near, find_table

Array = NDArray[np.float64]

LEAST_S = 1.0
"""Between two moves the camera must have stayed this long, else nothing is looked at there."""
LEAST_FRAMES = 8
MOST_PICTURES = 13
SOON_S = 0.5
IN_ONE_PASS_S = 30.0
"""A part no longer than this is decoded once for its pictures; of a longer one each is sought."""
WORSE = 0.15
"""A table refitted from where it was must look like one nearly as much as before, else it is looked for anew."""


@dataclass(frozen=True, eq=False)
class Part:
    """Footage from one move of the camera to the next."""

    from_s: float
    until_s: float
    """Infinity for the last one."""
    bare: BareTable


@dataclass(frozen=True, eq=False)
class Parts:
    """The whole footage."""

    parts: tuple[Part, ...]
    surface: Surface
    """Of the longest part."""
    cameras: tuple[tuple[float, Camera], ...]
    """From when on which camera holds; empty where it never moves."""
    doubts: tuple[str, ...]


def split(
    footage: OpenFootage,
    frames: Sequence[Frame],
    bumps: Sequence[Bump],
    find: Callable[[Sequence[Frame]], Surface],
) -> Parts:
    """The parts between the bumps; `find` finds the table in the frames of one part.

    Raises TableError where not even the longest part shows a table.
    """
    ends = [(a, b) for a, b in _between(bumps) if min(b, footage.info.duration_s) - a >= LEAST_S]
    if len(ends) < 2:
        surface = find(frames)
        return Parts((Part(0.0, math.inf, _bare(surface, frames)),), surface, (), ())
    shown = [_frames_of(footage, frames, a, b) for a, b in ends]
    main, surface = _first_found(ends, shown, find, footage.info.duration_s)
    surfaces: dict[int, Surface] = {main: surface}
    for k in [*range(main + 1, len(ends)), *range(main - 1, -1, -1)]:
        near = min(surfaces, key=lambda j: abs(j - k))
        found = refound(surfaces[near], moved_between(bumps, ends[near], ends[k]), shown[k])
        if found is not None:
            surfaces[k] = found
    parts = tuple(Part(*ends[k], _bare(surfaces[k], shown[k])) for k in sorted(surfaces))
    cameras = tuple((p.from_s, p.bare.view.camera) for p in parts)
    lost = [ends[k] for k in range(len(ends)) if k not in surfaces]
    return Parts(parts, surfaces[main], cameras if len(parts) > 1 else (), _said(bumps, lost))


def _first_found(
    ends: Sequence[tuple[float, float]],
    shown: Sequence[Sequence[Frame]],
    find: Callable[[Sequence[Frame]], Surface],
    duration_s: float,
) -> tuple[int, Surface]:
    """The longest part in which the table is found."""
    by_length = sorted(range(len(ends)), key=lambda k: ends[k][0] - min(ends[k][1], duration_s))
    for k in by_length[:-1]:
        with suppress(TableError):
            return k, find(shown[k])
    return by_length[-1], find(shown[by_length[-1]])


def moved_between(bumps: Sequence[Bump], old: tuple[float, float], new: tuple[float, float]) -> Array:
    """The homography from a pixel of one part to that of another, either way."""
    if old[0] > new[0]:
        return np.asarray(np.linalg.inv(moved_between(bumps, new, old)), float)
    move = np.eye(3)
    for bump in bumps:
        if old[0] < bump.first_s <= new[0]:
            move = bump.move @ move
    return move


def refound(before: Surface, move: Array, frames: Sequence[Frame]) -> Surface | None:
    """The surface after the picture went by a homography, measured anew in frames since; None: it is not found again."""
    pictures = [f.bgr() for f in frames[:: len(frames) // MOST_PICTURES or 1]]
    found = []
    for camera in cameras_after(before.camera, before.table, move):
        try:
            found.append(find_near(pictures, before, camera))
        except TableError:
            continue
    best = max(found, key=lambda s: s.score, default=None)
    if best is None or best.score < before.score - WORSE:
        with suppress(TableError):
            found.append(find_table(pictures, size=before.table.size, head=before.head))
    best = max(found, key=lambda s: s.score, default=None)
    return None if best is None else replace(best, table=before.table, size_sure=before.size_sure)


def cameras_after(camera: Camera, table: Table, move: Array) -> list[Camera]:
    """Cameras that may show the table where the picture went: turned or carried, and the same with another focal length."""
    t = np.linspace(0.0, 1.0, 7)
    x, y = np.meshgrid(t * table.length_mm, t * table.width_mm)
    places = np.stack([x.ravel(), y.ravel(), np.full(x.size, table.nose_height_mm)], 1)
    px = np.asarray(project(camera, places[:, :2], table.nose_height_mm), float)
    gone = np.asarray(cv2.perspectiveTransform(px[:, None], move)[:, 0], float)
    larger = math.sqrt(float(abs(cv2.contourArea(_hull(gone)) / max(cv2.contourArea(_hull(px)), 1e-9))))
    out = []
    for zoom in (1.0, larger) if abs(larger - 1) > 0.02 else (1.0,):
        matrix = camera.matrix.copy()
        matrix[0, 0] *= zoom
        matrix[1, 1] *= zoom
        rotation, translation = cv2.solvePnPRefineLM(
            places, gone, matrix, camera.distortion,
            np.array(camera.rotation, float).reshape(3, 1), np.array(camera.translation, float).reshape(3, 1),
        )  # fmt: skip
        out.append(
            replace(
                camera,
                matrix=matrix,
                rotation=np.asarray(rotation, float).ravel(),
                translation=np.asarray(translation, float).ravel(),
            )
        )
    return out


def _hull(px: Array) -> NDArray[np.float32]:
    return np.asarray(cv2.convexHull(px.astype(np.float32)), np.float32)


def _between(bumps: Sequence[Bump]) -> list[tuple[float, float]]:
    """From the first picture of a view to just past its last."""
    starts = [0.0, *(b.first_s for b in bumps)]
    ends = [*(b.last_s + 1e-3 for b in bumps), math.inf]
    return list(zip(starts, ends, strict=True))


def _frames_of(footage: OpenFootage, frames: Sequence[Frame], from_s: float, until_s: float) -> list[Frame]:
    """Frames spread over one part: those at hand, or where they are few others."""
    there = [f for f in frames if from_s <= f.t_s < until_s]
    if len(there) >= LEAST_FRAMES:
        return there
    until_s = min(until_s, footage.info.duration_s)
    wanted = [from_s + (until_s - from_s) * (k + 0.5) / MOST_PICTURES for k in range(MOST_PICTURES)]
    if until_s - from_s > IN_ONE_PASS_S:
        return [f for w in wanted if (f := next(footage.frames(w, until_s), None)) is not None] or there
    out: list[Frame] = []
    for frame in footage.frames(from_s, until_s):
        if len(out) < len(wanted) and frame.t_s >= wanted[len(out)]:
            out.append(frame)
    return out or there


def _bare(surface: Surface, frames: Sequence[Frame]) -> BareTable:
    view = BedView.of(surface.camera, surface.table, VIEW_MM_PER_PX)
    return bare_table(view, frames)


def _said(bumps: Sequence[Bump], lost: Sequence[tuple[float, float]]) -> tuple[str, ...]:
    said = [
        f"the camera was moved at {b.first_s:.1f} s, by {b.shift_px:.0f} pixels; it was measured anew, so look at the "
        "shots next to that time."
        for b in bumps
        # of a move after which nothing was measured one warning is enough, and the other would not be true
        if not any(since <= b.first_s < until for since, until in lost)
    ]
    for a, b in lost:
        end = "the end" if math.isinf(b) else f"{b:.1f} s"
        said.append(
            f"the table was not found again after the camera was moved, so nothing was seen from {a:.1f} s to {end}; "
            "cut the footage there and give --corners for that part."
        )
    return tuple(said)


def missed(bumps: Sequence[Bump], shots: Sequence[SeenShot], found: Sequence[Residence]) -> list[str]:
    """What a person should hear of shots that were under way while the camera moved."""
    said = []
    for bump in bumps:
        during = [s.number for s in shots if s.strike_s <= bump.first_s and s.rest_s >= bump.last_s]
        if during:
            said.append(
                f"the camera was moved while the balls of shot {during[0]} ran; check their ways and places."
            )
            continue
        gone = [r for r in found if r.gone_s is not None and r.last_s <= bump.last_s < r.gone_s]
        if any(r.gone_s is not None and r.gone_s <= bump.first_s + SOON_S for r in gone):
            said.append(
                f"balls lay elsewhere after the camera was moved at {bump.first_s:.1f} s, and what moved them could "
                "not be followed: a shot may be missing there."
            )
    return said
