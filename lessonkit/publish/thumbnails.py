"""Thumbnails, 1280 x 720: a telling shot, the cue ball's planned and actual way, and few big words.

One for the shot that went furthest from its plan, one for the one that came nearest, and one that names the lesson.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit import folder
from lessonkit.errors import FolderError
from lessonkit.footage.reader import open_footage
from lessonkit.lesson import style
from lessonkit.lesson.labels import Room
from lessonkit.lesson.phrases import ball_word, target
from lessonkit.lesson.picture import Box, Layer, Picture
from lessonkit.lesson.projected import dashes, px_per_mm
from lessonkit.lesson.scene import pen_for
from lessonkit.lesson.stills import Stills
from lessonkit.lesson.text import balanced, line_height_px, text_mask, top_px, width_px
from lessonkit.model import Analysis, Shot
from lessonkit.publish.figures import lesson_title
from lessonkit.table.camera import project

FOLDER = "thumbnails"
SIZE = (1280, 720)
"""What video platforms ask for (common practice, no source)."""
BIG_PX, SMALL_PX = 116, 54
"""Read on a phone, where the picture is as wide as a thumb."""
PLANNED_PX, ACTUAL_PX = 18.0, 8.0
EDGE_PX, DASH_PX, GAP_PX = 6, 30, 14
"""What an edge adds to a line's width; length of a dash without its round ends, and what of a gap is to be seen."""
_MARGIN = 36
_MISS_MM = 1e6
"""A missed ball or a scratch is further off than any landing."""


@dataclass(frozen=True)
class Thumbnail:
    """What one says."""

    name: str
    shot: Shot
    big: str
    small: str


def chosen(analysis: Analysis) -> tuple[Thumbnail, ...]:
    """Which shots are shown, with which words; empty without a shot. A lesson whose shots were not compared has one."""
    if not analysis.shots:
        return ()
    off = [(o, s) for s in analysis.shots if (o := _off(s)) is not None]
    worst = max(off, key=lambda p: p[0])[1] if off else analysis.shots[0]
    best = min(off, key=lambda p: p[0])[1] if off else worst
    out = [Thumbnail("title", worst, lesson_title(analysis), "")]
    if off:
        out.append(Thumbnail("furthest", worst, _verdict(worst), _called(worst)))
    if best is not worst:
        out.append(Thumbnail("nearest", best, _verdict(best), _called(best)))
    return tuple(out)


def _off(shot: Shot) -> float | None:
    """How far from the plan a shot came, millimetres; None where that is not known."""
    c = shot.comparison
    if c is None:
        return None
    if shot.seen.scratch or c.called_made is False:
        return _MISS_MM + (c.landing_error_mm or 0.0)
    return c.landing_error_mm


def _verdict(shot: Shot) -> str:
    c = shot.comparison
    if shot.seen.scratch:
        return "Scratch"
    if c is not None and c.called_made is False:
        return "Missed"
    cm = round((c.landing_error_mm if c and c.landing_error_mm is not None else 0.0) / 10)
    return f"{cm} cm off"


def _called(shot: Shot) -> str:
    ball, pocket = target(shot)
    words = [ball_word(ball) if ball is not None else "", pocket or ""]
    return ", ".join(w for w in words if w).capitalize()


def write(footage: Path, analysis: Analysis, out: Path) -> list[Path]:
    """Write them into out/thumbnails; what an earlier run wrote there goes.

    Raises FootageError when the footage cannot be read, FolderError when the folder cannot be written.
    """
    home = out / FOLDER
    written: list[Path] = []
    home.mkdir(parents=True, exist_ok=True)
    with open_footage(footage) as source:
        stills = Stills(source, analysis)
        for t in sorted(chosen(analysis), key=lambda t: t.shot.seen.number):
            path = home / f"{t.name}.png"
            good, data = cv2.imencode(".png", drawn(t, analysis, stills.before(t.shot.seen)))
            if not good:
                raise FolderError(f"{path.name} could not be made; report this with the footage's size.")
            folder.write_bytes(path, data.tobytes())
            written.append(path)
    for old in home.glob("*.png"):
        if old not in written and old.stem in ("title", "furthest", "nearest"):
            old.unlink()
    return written


def drawn(t: Thumbnail, analysis: Analysis, still: Picture) -> NDArray[np.uint8]:
    """The picture, blue-green-red, shape (720, 1280, 3)."""
    width, height = SIZE
    bgr = still.to_bgr()
    scale = min(width / bgr.shape[1], height / bgr.shape[0])
    w, h = round(bgr.shape[1] * scale), round(bgr.shape[0] * scale)
    x0, y0 = (width - w) // 2, (height - h) // 2
    ground = cv2.GaussianBlur(cv2.resize(bgr, SIZE), (0, 0), 30) * 0.4
    canvas = np.asarray(ground, np.uint8)
    canvas[y0 : y0 + h, x0 : x0 + w] = cv2.resize(bgr, (w, h), interpolation=cv2.INTER_AREA)
    to_px = np.array([w / analysis.footage.width, h / analysis.footage.height])
    picture, layer = Picture.from_bgr(canvas), Layer(*SIZE)
    planned, actual = (
        np.asarray(way, float).reshape(-1, 2) for way in (_planned(t.shot), t.shot.seen.cue_path[:, 1:3])
    )

    def px(way_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(project(analysis.camera, way_mm) * to_px + (x0, y0), float)

    # The actual way is narrower and on top, so that both are seen where one lies on the other.
    inks = pen_for(analysis, still).inks
    strokes = []
    if len(planned) > 1:
        middle = (analysis.table.length_mm / 2, analysis.table.width_mm / 2)
        mm = 1.0 / (px_per_mm(analysis.camera, middle) * float(to_px[0]))
        # the round ends of a line reach half its width, with its edge, into each gap
        gap = (PLANNED_PX + EDGE_PX + GAP_PX) * mm
        strokes.append(([px(d) for d in dashes(planned, DASH_PX * mm, gap)], inks.planned, PLANNED_PX))
    if len(actual) > 1:
        strokes.append(([px(actual)], inks.actual, ACTUAL_PX))
    for ways, ink, line_px in strokes:
        layer.lines(ways, ink.edge, line_px + EDGE_PX)
        layer.lines(ways, ink.line, line_px)
    room = Room(width, height, soft=[p for ways, _, _ in strokes for p in ways])
    balls = list(t.shot.seen.layout_before.values())
    if balls:
        room.soft.append(px(np.asarray(balls, float)))
    _words(layer, t, room)
    picture.lay(layer.overlay())
    return picture.to_bgr()


def _planned(shot: Shot) -> Sequence[tuple[float, float]]:
    return shot.plan.cue_path if shot.plan else ()


def _words(layer: Layer, t: Thumbnail, room: Room) -> None:
    """In the corner where they hide least."""
    big = balanced(t.big, BIG_PX, round(SIZE[0] * 0.62))[:3]
    lines = [(line, BIG_PX, style.WHITE) for line in big]
    lines += [(t.small, SMALL_PX, style.YELLOW)] if t.small else []
    heights = [line_height_px(px) for _, px, _ in lines]
    w = max(width_px(line, px) for line, px, _ in lines) + 60
    h = sum(heights) + 24
    right, low = SIZE[0] - w - _MARGIN, SIZE[1] - h - _MARGIN
    corners = [(x, y) for y in (low, _MARGIN) for x in (_MARGIN, right)]
    boxes: list[Box] = [(x, y, x + w, y + h) for x, y in corners]
    x, y, _, _ = min(boxes, key=room.cost)
    plate = np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], float)
    layer.fill(plate, style.PLATE, style.PLATE_ALPHA)
    y += 12
    for (line, px, colour), step in zip(lines, heights, strict=True):
        layer.stamp(text_mask(line, px), x + 30, y + top_px(line, px), colour)
        y += step
