"""Check footage: read a stretch, find the table, measure, judge.

checked = check(Path("trial.mp4"))
checked.report.verdict.sentence
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.checking import measures
from lessonkit.checking.balls import balls_at
from lessonkit.checking.gathered import light, timely
from lessonkit.checking.smear import exposure_s
from lessonkit.checking.stretch import Stretch, levels, read_stretch
from lessonkit.checking.verdict import Report, judge, table_findings
from lessonkit.errors import FootageError, TableError
from lessonkit.footage.reader import Frame, probe
from lessonkit.model import Camera, Footage, Point, Table
from lessonkit.seeing.bedview import BORDER_MM, VIEW_MM_PER_PX, BedView
from lessonkit.seeing.centres import outline_mm
from lessonkit.seeing.cloth import bare_table
from lessonkit.seeing.size import sized
from lessonkit.table.camera import centre_mm, project
from lessonkit.table.finding import Surface, find_table

Picture = NDArray[np.uint8]
Mask = NDArray[np.bool_]

SIGHTS_MM = 105.0
"""How far behind the nose lines the rails must be seen: the sights and a little more."""
SHORTEST_S = 5e-4
"""A shutter that comes out shorter was not seen at all."""
RAIL_TOP_MM = 42.0
SIZE_PICTURES = 5
COARSE = 3
"""A person is large: looked for in every third pixel of the bed view."""
LEAST_LONG_SIDE_PX = 320
"""Across a nine-foot table that fills so many pixels a ball is 7 wide, well below what is usable (limits.py)."""
CLEAR_SHARE = 0.01
"""A picture in which somebody hides less of the bed than this counts as clear."""
ALWAYS = 0.9
CUT_SHARE = 0.08
BALLS_TO_TELL = 3
OUTLINE_EDGES = 15
"""So many pieces of their outlines at least."""
SHARP_ANYHOW = 0.2
"""Where balls are too few to tell, or too blurred to be found: so much of all edges on a table is sharp where the lens is."""
INSIDE, OUTSIDE = 0.7, 1.35
"""Where a ball's outline is looked for, in radii, to tell how sharp it is."""


@dataclass(frozen=True, eq=False)
class Checked:
    """A report, and what its picture is drawn from."""

    report: Report
    frame: Frame
    """The frame that is shown."""
    surface: Surface | None


def check(
    path: Path,
    *,
    at_s: float | None = None,
    size: str = "auto",
    head: str = "left",
    corners: Sequence[Point] | None = None,
) -> Checked:
    """Check at most ten seconds of footage about `at_s` (None: about its middle).

    `size`, `head`, `corners` as in `find_table`. Footage in which no table is recognised is checked as far as that
    goes. Raises FootageError for what cannot be read, and TableError for corners that make no table.
    """
    refuse_small(path, probe(path))
    stretch = read_stretch(path, at_s)
    pictures = [f.bgr() for f in stretch.frames]
    try:
        surface = _sized(
            stretch,
            find_table(pictures, size=size, head=head, corners=corners),
            pictures,
            size,
            head,
            corners,
        )
    except TableError:
        if corners is not None:
            raise
        return _without_table(stretch, pictures, at_s)
    return _with_table(stretch, surface, at_s)


def refuse_small(path: Path, info: Footage) -> None:
    """Raise FootageError for pictures in which no ball can be seen, before a table is sought in them at length."""
    if max(info.width, info.height) < LEAST_LONG_SIDE_PX:
        raise FootageError(
            f"{path.name} is {info.width} x {info.height} pixels, too small for a ball to be seen; film at 1280 x 720 or more, and "
            "give the camera's own file."
        )


def _sized(
    stretch: Stretch, surface: Surface, pictures: list[Picture], size: str, head: str, corners: Sequence[Point] | None
) -> Surface:  # fmt: skip
    """The surface fitted with the size that its balls tell, where none was asked for."""
    if size != "auto":
        return surface
    frames = stretch.frames[:: max(1, len(stretch.frames) // SIZE_PICTURES)]
    return sized(surface, frames, pictures, head, corners)


def _without_table(stretch: Stretch, pictures: list[Picture], at_s: float | None) -> Checked:
    everywhere = np.ones(stretch.pair[0].shape, bool)
    measured = timely(stretch)
    measured |= light(stretch, everywhere, everywhere, np.ones(stretch.small[0].shape, bool))
    measured["sway_px"] = _sway_px(stretch, np.ones(stretch.small[0].shape, bool))
    cut = measures.border_share(pictures[len(pictures) // 2]) > CUT_SHARE
    verdict = judge(measured, table_findings(None, False, 0, 0, cut, ()))
    k = len(stretch.frames) // 2 if at_s is None else _nearest(stretch.frames, at_s)
    shown = stretch.frames[k]
    report = Report(stretch.footage, stretch.from_s, stretch.to_s, shown.t_s, None, None, 0, 0, (), verdict)
    return Checked(report, shown, None)


def _with_table(stretch: Stretch, surface: Surface, at_s: float | None) -> Checked:
    camera, table = surface.camera, surface.table
    bare = bare_table(BedView.of(camera, table, VIEW_MM_PER_PX), stretch.frames)
    view = bare.view
    views = [view.warp_frame(f) for f in stretch.frames]
    people = [_hidden(v, view) for v in views]
    k = _shown(stretch.frames, [float(p.mean()) for p in people], at_s)
    balls = balls_at(stretch.frames, view, bare, stretch.frames[k].t_s, surface.size_sure)
    measured = timely(stretch)
    measured |= light(
        stretch,
        table_mask(camera, table, stretch.pair[0].shape, SIGHTS_MM),
        table_mask(camera, table, stretch.pair[0].shape, 0.0),
        table_mask(camera, table, stretch.small[0].shape, SIGHTS_MM, stretch.small_scale),
    )
    measured |= _seen(stretch, surface, people, stretch.frames[k], [b.place for b in balls])
    verdict = judge(
        measured, table_findings(table, surface.size_sure, surface.sights, surface.pockets, False, balls)
    )
    report = Report(
        stretch.footage, stretch.from_s, stretch.to_s, stretch.frames[k].t_s, table, camera, surface.sights,
        surface.pockets, tuple(balls), verdict,
    )  # fmt: skip
    return Checked(report, stretch.frames[k], surface)


def outlines_blur_px(
    grey: NDArray[np.uint8], camera: Camera, table: Table, places: Sequence[Point]
) -> float | None:
    """Blur of the outlines of balls at `places`, standard deviation in pixels; None where they are too few to tell.

    A ball's outline is as sharp as the lens makes it; a pool of light has wide edges of its own, and so has a worn rail.
    """
    if len(places) < BALLS_TO_TELL:
        return None
    rings = ring_mask(camera, table, places, grey.shape)
    return measures.edge_blur_px(grey, rings, OUTLINE_EDGES)


def ring_mask(camera: Camera, table: Table, places: Sequence[Point], shape: tuple[int, ...]) -> Mask:
    """True about the outlines of balls, from INSIDE to OUTSIDE radii, in a picture of `shape`."""
    rings = np.zeros(shape[:2], np.uint8)
    for p in places:
        outline = outline_mm(camera, table, p)
        for share, value in ((OUTSIDE, 1), (INSIDE, 0)):
            px = project(camera, np.asarray(p) + share * outline, table.radius_mm)
            cv2.fillPoly(rings, [np.round(np.clip(px, -4e4, 4e4)).astype(np.int32)], value)
    return np.asarray(rings > 0, bool)


def _seen(
    stretch: Stretch, surface: Surface, people: list[Mask], shown: Frame, places: Sequence[Point]
) -> dict[str, float | None]:
    """What needs the camera; `places`: of the balls in the frame `shown`."""
    camera, table = surface.camera, surface.table
    mm_per_px = mm_per_px_of(camera, table)
    grey = levels(shown)
    blur = outlines_blur_px(grey, camera, table, places)
    if blur is None:
        inside = table_mask(camera, table, grey.shape, SIGHTS_MM)
        blur = measures.edge_blur_px(grey, inside, sharpest=SHARP_ANYHOW)
    bed = table_mask(camera, table, stretch.small[0].shape, 0.0, stretch.small_scale)
    radius_px = table.radius_mm / mm_per_px / stretch.small_scale
    told = exposure_s(stretch.small, stretch.times_s, bed, radius_px)
    size = (stretch.footage.width, stretch.footage.height)
    return {
        "sway_px": _sway_px(
            stretch, table_mask(camera, table, stretch.small[0].shape, SIGHTS_MM, stretch.small_scale)
        ),
        "blur_mm": None if blur is None else blur * mm_per_px,
        "ball_px": table.ball_diameter_mm / mm_per_px,
        "angle_deg": slant_deg(camera, table),
        "bed_inside": inside_share(camera, table, size, 0.0, table.nose_height_mm),
        "rails_inside": inside_share(camera, table, size, SIGHTS_MM, RAIL_TOP_MM),
        "exposure_s": told[0] if told and told[0] > SHORTEST_S else None,
        "hidden": float((np.mean(people, axis=0) >= ALWAYS).mean()),
        "clear": float(np.mean([p.mean() < CLEAR_SHARE for p in people])),
    }


def _sway_px(stretch: Stretch, inside: Mask) -> float | None:
    return measures.sway_px(stretch.small, stretch.small_scale, inside)


def _hidden(picture: Picture, view: BedView) -> Mask:
    """Where somebody hides the bed, shape of the bed alone."""
    edge = round(BORDER_MM / view.mm_per_px) + 2
    part = np.asarray(cv2.medianBlur(picture[edge:-edge, edge:-edge], 3), np.uint8)[::COARSE, ::COARSE]
    return measures.somebody(part, np.ones(part.shape[:2], bool), view.radius_px / COARSE)


def _shown(frames: Sequence[Frame], people: list[float], at_s: float | None) -> int:
    """Index of the frame to show: the nearest to the time asked for, else the clearest."""
    if at_s is not None:
        return _nearest(frames, at_s)
    middle = (len(frames) - 1) / 2
    return min(range(len(frames)), key=lambda k: (round(people[k], 3), abs(k - middle)))


def _nearest(frames: Sequence[Frame], at_s: float) -> int:
    return min(range(len(frames)), key=lambda k: abs(frames[k].t_s - at_s))


def mm_per_px_of(camera: Camera, table: Table) -> float:
    """At the height of a ball's centre, over the table's middle."""
    x, y = table.length_mm / 2, table.width_mm / 2
    px = project(camera, [(x - 50, y), (x + 50, y), (x, y - 50), (x, y + 50)], table.radius_mm)
    return 200.0 / float(np.hypot(*(px[1] - px[0])) + np.hypot(*(px[3] - px[2])))


def slant_deg(camera: Camera, table: Table) -> float:
    """Angle between the vertical and the line from the table's middle to the camera, degrees."""
    x, y, z = centre_mm(camera) - (table.length_mm / 2, table.width_mm / 2, 0.0)
    return float(np.degrees(np.arctan2(np.hypot(x, y), z)))


def rectangle_mm(table: Table, out_mm: float, each_mm: float = 40.0) -> NDArray[np.float64]:
    """Points (N, 2) along the rectangle `out_mm` outside the nose lines, close enough for a lens that bends it."""
    L, W = table.length_mm + out_mm, table.width_mm + out_mm
    o = -out_mm
    corners = np.array([[o, o], [L, o], [L, W], [o, W], [o, o]], float)
    parts = []
    for a, b in itertools.pairwise(corners):
        n = int(np.ceil(np.hypot(*(b - a)) / each_mm))
        parts.append(a + (b - a) * np.linspace(0, 1, n, endpoint=False)[:, None])
    return np.concatenate(parts)


def inside_share(camera: Camera, table: Table, size: tuple[int, int], out_mm: float, z_mm: float) -> float:
    """Share of the rectangle `out_mm` outside the nose lines, at a height, that lies in the picture (width, height)."""
    x, y = project(camera, rectangle_mm(table, out_mm), z_mm).T
    return float(np.mean((x >= 0) & (y >= 0) & (x <= size[0] - 1) & (y <= size[1] - 1)))


def table_mask(camera: Camera, table: Table, shape: Sequence[int], out_mm: float, scale: float = 1.0) -> Mask:
    """True inside that rectangle, in a picture (height, width) in which a pixel stands for `scale` of the camera's."""
    px = (
        project(camera, rectangle_mm(table, out_mm), RAIL_TOP_MM if out_mm > 0 else 0.0) + 0.5
    ) / scale - 0.5
    mask = np.zeros(tuple(shape[:2]), np.uint8)
    cv2.fillPoly(mask, [np.round(np.clip(px, -1e4, 1e5)).astype(np.int32)], 1)
    return mask > 0
