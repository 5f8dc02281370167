"""The one picture of a check: what the camera sees with all that was found, the table squared up, and the verdict."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from lessonkit.checking.balls import SeenBall
from lessonkit.checking.check import Checked, rectangle_mm
from lessonkit.checking.verdict import SURE, Finding, Report
from lessonkit.errors import FolderError
from lessonkit.folder import write_bytes
from lessonkit.lesson import style
from lessonkit.lesson.text import line_height_px, text_mask, wrapped
from lessonkit.model import CUE_BALL, Camera, Point, Table
from lessonkit.seeing.centres import outline_mm
from lessonkit.table.camera import project
from lessonkit.table.finding import Surface
from lessonkit.table.marks import measure_sights, pockets_seen
from lessonkit.table.rails import SIDES, places
from lessonkit.table.sizes import sights
from lessonkit.table.topview import top_view, top_view_px

Canvas = NDArray[np.uint8]
Array = NDArray[np.float64]

WIDTH_PX, LEFT_PX, GAP_PX = 1920, 1120, 24
MOST_HIGH_PX = 900
BORDER_MM = 130.0
GROUND, INK, FAINT = "#14181C", "#FFFFFF", "#B8C0C8"
OUTLINE, MISSED, CLEAR = style.SKY_BLUE, style.VERMILLION, style.GREEN
SIGHT_REACH_MM = 8.0
MADE_BY = "lessonkit check"
_SHIFT = 4
_MARKS = {
    "good": (style.GREEN, "ok"),
    "care": (style.YELLOW, "better"),
    "bad": (style.VERMILLION, "mend"),
    "unknown": (FAINT, "?"),
}


def write_picture(checked: Checked, path: Path) -> None:
    """Draw the picture into a PNG file.

    Raises FolderError where `path` is somebody's file that no check has drawn, or cannot be written.
    """
    refuse_foreign(path)
    buffer = io.BytesIO()
    info = PngInfo()
    info.add_text("Software", MADE_BY)
    Image.fromarray(np.ascontiguousarray(draw(checked)[..., ::-1])).save(buffer, "PNG", pnginfo=info)
    write_bytes(path, buffer.getvalue())


def refuse_foreign(path: Path) -> None:
    """Raise FolderError where `path` exists and was not drawn by an earlier check, or its folder does not exist."""
    if not path.parent.is_dir():
        raise FolderError(f"There is no folder {path.parent}; give --out a place in one that exists.")
    if not path.exists():
        return
    try:
        with Image.open(path) as image:
            ours = image.format == "PNG" and image.info.get("Software") == MADE_BY
    except OSError:
        ours = False
    if not ours:
        raise FolderError(f"{path} exists and is no picture of an earlier check; give --out another name.")


def draw(checked: Checked) -> Canvas:
    """The picture, shape (height, WIDTH_PX, 3), BGR."""
    seen = _frame(checked)
    h = seen.shape[0]
    right = _right(checked, WIDTH_PX - LEFT_PX - 3 * GAP_PX)
    words = _words(checked.report)
    top = GAP_PX + max(h, right.shape[0]) + GAP_PX
    canvas = np.empty((top + words.shape[0] + GAP_PX, WIDTH_PX, 3), np.uint8)
    canvas[:] = style.bgr(GROUND)
    left = GAP_PX + (LEFT_PX - seen.shape[1]) // 2
    canvas[GAP_PX : GAP_PX + h, left : left + seen.shape[1]] = seen
    x = LEFT_PX + 2 * GAP_PX
    canvas[GAP_PX : GAP_PX + right.shape[0], x : x + right.shape[1]] = right
    canvas[top : top + words.shape[0], : words.shape[1]] = words
    return canvas


def _frame(checked: Checked) -> Canvas:
    """The frame with what was found on it."""
    picture = checked.frame.bgr()
    h, w = picture.shape[:2]
    scale = min(LEFT_PX / w, MOST_HIGH_PX / h)
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    seen = np.asarray(cv2.resize(picture, (round(w * scale), round(h * scale)), interpolation=how), np.uint8)
    surface = checked.surface
    if surface is not None:
        _outline(seen, surface, scale)
        _marks(seen, surface, scale)
        for b in checked.report.balls:
            _ball(seen, surface.camera, surface.table, b, scale)
    return seen


def _line(canvas: Canvas, px: Array, colour: str, width: int, closed: bool) -> None:
    points = np.round(np.clip(px, -4e4, 4e4) * 2**_SHIFT).astype(np.int32)
    cv2.polylines(canvas, [points], closed, style.bgr(style.BLACK), width + 2, cv2.LINE_AA, _SHIFT)
    cv2.polylines(canvas, [points], closed, style.bgr(colour), width, cv2.LINE_AA, _SHIFT)


def _scaled(px: Array, scale: float) -> Array:
    return (px + 0.5) * scale - 0.5


def _outline(canvas: Canvas, surface: Surface, scale: float) -> None:
    noses = project(surface.camera, rectangle_mm(surface.table, 0.0), surface.table.nose_height_mm)
    _line(canvas, _scaled(noses, scale), OUTLINE, 1, True)


def _marks(canvas: Canvas, surface: Surface, scale: float) -> None:
    """Sights as small squares and pockets as rings, in another colour and crossed out where they were not found."""
    camera, table, rail = surface.camera, surface.table, surface.rail
    seen = measure_sights(surface.plate, camera, table, rail, SIGHT_REACH_MM)
    found = set(zip(seen.side.tolist(), np.round(seen.along).tolist(), strict=True))
    for s in sights(table):
        side = SIDES.index(s.side)
        at = places(table, np.array([side]), np.array([s.along_mm]), np.array([rail.sight_mm]))
        there = (side, float(np.round(s.along_mm))) in found
        _cross_or_box(canvas, _scaled(project(camera, at, rail.sight_height_mm), scale)[0], there)
    radius = table.corner_mouth_mm / 2
    round_ = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    for (x, y), likely in zip(
        table.pockets.values(), pockets_seen(surface.plate, camera, table), strict=True
    ):
        back = 28.0 if x in (0.0, table.length_mm) else 50.0  # the holes lie behind the nose lines
        out = back * np.sign([x - table.length_mm / 2, y - table.width_mm / 2])
        ring = np.array([x, y]) + out + radius * np.c_[np.cos(round_), np.sin(round_)]
        there = likely is not None and likely > 0.5
        _line(canvas, _scaled(project(camera, ring), scale), CLEAR if there else MISSED, 1, True)


def _cross_or_box(canvas: Canvas, at: Array, there: bool) -> None:
    r = 4.0
    box = at + r * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    if there:
        _line(canvas, box, CLEAR, 1, True)
    else:
        _line(canvas, box[[0, 2]], MISSED, 1, False)
        _line(canvas, box[[1, 3]], MISSED, 1, False)


def label_of(ball: SeenBall) -> str:
    """A ball's number with its doubt: 'cue', '7', '7? 62%', '?'."""
    if ball.number is None:
        return "?"
    name = "cue" if ball.number == CUE_BALL else str(ball.number)
    return name if ball.confidence >= SURE else f"{name}? {100 * ball.confidence:.0f}%"


def _ball(canvas: Canvas, camera: Camera, table: Table, ball: SeenBall, scale: float) -> None:
    on_plane = outline_mm(camera, table, ball.place) + np.asarray(ball.place)
    px = _scaled(project(camera, on_plane, table.radius_mm), scale)
    sure = ball.number is not None and ball.confidence >= SURE
    _line(canvas, px, style.WHITE if sure else style.YELLOW, 1, True)
    middle, top = px.mean(0), float(px[:, 1].min())
    _tag(canvas, label_of(ball), (float(middle[0]), top - 10), style.WHITE if sure else style.YELLOW)


def _tag(canvas: Canvas, text: str, centre: Point, colour: str) -> None:
    """A word on a dark plate, kept inside the picture."""
    mask = text_mask(text, 14)
    h, w = mask.shape
    x = int(np.clip(round(centre[0] - w / 2), 3, canvas.shape[1] - w - 3))
    y = int(np.clip(round(centre[1] - h / 2), 3, canvas.shape[0] - h - 3))
    part = canvas[y - 3 : y + h + 3, x - 3 : x + w + 3]
    part[:] = (part * 0.25 + np.array(style.bgr(GROUND)) * 0.75).astype(np.uint8)
    _stamp(canvas, mask, x, y, colour)


def _stamp(canvas: Canvas, mask: NDArray[np.uint8], x: int, y: int, colour: str) -> None:
    h, w = mask.shape
    part = canvas[y : y + h, x : x + w]
    a = mask[: part.shape[0], : part.shape[1], None].astype(np.float32) / 255
    part[:] = np.round(part * (1 - a) + np.array(style.bgr(colour), np.float32) * a).astype(np.uint8)


def _right(checked: Checked, width: int) -> Canvas:
    """The table squared up with the balls on it, and what the signs mean; a word where there is no table."""
    surface = checked.surface
    if surface is None:
        blank = np.empty((120, width, 3), np.uint8)
        blank[:] = style.bgr(GROUND)
        _text(blank, "No table was recognised, so there is no top view.", (0, 10), 20, INK)
        return blank
    table, camera = surface.table, surface.camera
    view = top_view(
        checked.frame.bgr(), camera, table, width_px=width, border_mm=BORDER_MM, z_mm=table.radius_mm
    )
    scale = width / (table.length_mm + 2 * BORDER_MM)
    for b in checked.report.balls:
        x, y = top_view_px(np.array([b.place]), table, width_px=width, border_mm=BORDER_MM)[0]
        sure = b.number is not None and b.confidence >= SURE
        round_ = np.linspace(0, 2 * np.pi, 48, endpoint=False)
        ring = np.array([x, y]) + table.radius_mm * scale * np.c_[np.cos(round_), np.sin(round_)]
        _line(view, ring, style.WHITE if sure else style.YELLOW, 1, True)
        _tag(
            view,
            label_of(b),
            (float(x), float(y) - table.radius_mm * scale - 9),
            style.WHITE if sure else style.YELLOW,
        )
    notes = np.empty((170, width, 3), np.uint8)
    notes[:] = style.bgr(GROUND)
    said = (
        f"Table {table.size}, head at the left; {len(checked.report.balls)} balls at {checked.report.shown_s:.1f} s.",
        "Blue line: where the noses of the cushions are. If it runs along them all round, the camera is right.",
        "Green: sights and pockets that were found. Red: expected there and not found.",
        "White ring: a ball and its number. Yellow with ? and %: how likely the number is.",
    )
    y_px = 12
    for line in said:
        y_px = _text(notes, line, (0, y_px), 17, INK if line is said[0] else FAINT, bold=False) + 4
    return np.concatenate([view, notes])


def _text(
    canvas: Canvas, text: str, at: tuple[int, int], size: int, colour: str, *, bold: bool = True
) -> int:
    """Wrapped text from a place downward; returns the y under it."""
    x, y = at
    for line in wrapped(text, size, canvas.shape[1] - x, bold=bold):
        mask = text_mask(line, size, bold=bold)
        _stamp(canvas, mask, x, y, colour)
        y += line_height_px(size, bold=bold)
    return y


def _words(report: Report) -> Canvas:
    """The verdict: what to mend, then every measure."""
    canvas = np.empty((1400, WIDTH_PX, 3), np.uint8)
    canvas[:] = style.bgr(GROUND)
    colour = _MARKS[report.verdict.grade][0]
    y = _text(canvas, report.verdict.sentence, (GAP_PX, 0), 34, colour) + 10
    for f in report.verdict.troubles:
        ink, mark = _MARKS[f.grade]
        _text(canvas, mark, (GAP_PX, y), 20, ink)
        said = f"{f.trouble[:1].upper()}{f.trouble[1:]} ({f.label}: {f.shown}). {f.advice}"
        y = _text(canvas, said, (GAP_PX + 100, y), 20, INK, bold=False) + 6
    return canvas[: _table_of(canvas, report.verdict.findings, y + 10)]


def _table_of(canvas: Canvas, findings: Sequence[Finding], top: int) -> int:
    """All measures in three columns; returns the y under them."""
    rows = -(-len(findings) // 3)
    column_px = (WIDTH_PX - 2 * GAP_PX) // 3
    for k, f in enumerate(findings):
        x, y = GAP_PX + (k // rows) * column_px, top + (k % rows) * 26
        ink, mark = _MARKS[f.grade]
        _text(canvas, mark, (x, y), 16, ink)
        _text(canvas[:, : x + column_px], f"{f.label}: {f.shown}", (x + 70, y), 16, FAINT, bold=False)
    return top + rows * 26
