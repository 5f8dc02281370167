"""How the footage lies in the lesson's picture: as it is, or turned, cut and enlarged to fill another shape.

A view is one affine map from footage pixels to the picture's and the camera that belongs to it, so that everything
drawn by that camera lies right in whatever shape the lesson has. The diagram alone is a view too: of a camera so far
above the table that it sees no perspective.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import Frame
from lessonkit.lesson import projected, style
from lessonkit.lesson.diagram_shapes import FRAME_MM
from lessonkit.lesson.picture import BGR_TO_YUV, Box, Picture, output_size
from lessonkit.lesson.steadying import Moved, map_at, moved, steadied
from lessonkit.model import Analysis, Camera, Table
from lessonkit.table.camera import project, rotation_matrix

Shape = Literal["footage", "wide", "tall", "square"]
Diagram = Literal["inset", "beside", "alone", "none"]
Array = NDArray[np.float64]

RAIL_MM = 170.0
"""Around the playing surface: what is shown of it at least, rails and a little floor."""
SPARE_SHARE = 0.25
"""Of the height: from how much room left on the table stands at the top of it."""
GROUND = "#10161B"
"""Beside the footage, where it does not reach."""
HEADLINE_SHARE = 0.155
"""Band above the table for a headline of two lines, to the shorter side."""
PANEL_SHARE = 0.305
"""Width of the diagram beside the footage, to the wide picture's."""
LYING_SHARE = 0.57
"""Height of a lying table with its rails, to its width, about."""
FAR_MM = 2e6
"""Height of the diagram's camera: over its 2.5 m a ball's height then moves nothing by a hundredth of a pixel."""
_TURNS: tuple[Array, ...] = (
    np.array([[1.0, 0], [0, 1]]), np.array([[0.0, 1], [-1, 0]]), np.array([[-1.0, 0], [0, -1]]),
    np.array([[0.0, -1], [1, 0]]),
)  # fmt: skip
"""A picture's quarter turns anticlockwise, of (x right, y down)."""


@dataclass(frozen=True, eq=False)
class View:
    """One lesson's way of showing the footage."""

    size: tuple[int, int]
    """The lesson's picture, width and height, even."""
    camera: Camera
    """Of the lesson's picture."""
    matrix: Array
    """Footage pixels (upright) to the picture's, shape (2, 3)."""
    source: tuple[int, int]
    """The footage's width and height, upright."""
    diagram: Diagram = "inset"
    panel: Box | None = None
    """Where the diagram stands beside the footage; it reaches to the picture's edge."""
    whole: bool = False
    """Whether the picture is the footage's, merely scaled."""
    moved: Moved = ()
    """Where the camera was moved while it filmed: how its later pictures are brought to `camera`."""

    @property
    def room(self) -> tuple[int, int]:
        """Width and height, from the top left, that the diagram's panel leaves to the footage."""
        w, h = self.size
        if self.panel is None:
            return w, h
        return (self.panel[0], h) if self.panel[0] > 0 else (w, self.panel[1])

    def picture(self, frame: Frame) -> Picture:
        """A camera frame as this view shows it."""
        shown = map_at(self.moved, frame.t_s)
        if self.whole and shown is None:
            return Picture.from_frame(frame, *self.size)
        scale = float(np.hypot(self.matrix[0, 0], self.matrix[1, 0]))
        # swscale averages areas where a picture shrinks, which warping would not
        w, h = (max(2, round(s * min(1.0, scale)) // 2 * 2) for s in self.source)
        if shown is not None:
            return steadied(
                Picture.from_frame(frame, w, h), shown, self.size, np.array([w, h]) / self.source, GROUND
            )
        return warped(Picture.from_frame(frame, w, h), self._from(w, h), self.size)

    def _from(self, width: int, height: int) -> Array:
        """From pixels of the footage scaled to this size."""
        sx, sy = self.source[0] / width, self.source[1] / height
        shift = np.array([(sx - 1) / 2, (sy - 1) / 2])
        linear = self.matrix[:, :2] * (sx, sy)
        return np.asarray(np.c_[linear, self.matrix[:, :2] @ shift + self.matrix[:, 2]], np.float64)


def warped(picture: Picture, matrix: Array, size: tuple[int, int]) -> Picture:
    """A picture through an affine map of its luma pixels, shape (2, 3); the ground where it does not reach."""
    out = Picture(*size)
    ground = np.rint(BGR_TO_YUV @ np.array(style.bgr(GROUND), float) + (16, 128, 128))
    # chroma samples sit on every second column and between two rows (picture.halved)
    seat = np.array([0.0, 0.5])
    halved = np.c_[matrix[:, :2], (matrix[:, :2] @ seat + matrix[:, 2] - seat) / 2]
    for k, (plane, source) in enumerate(zip(out.planes, picture.planes, strict=True)):
        cv2.warpAffine(
            source, halved if k else matrix, plane.shape[::-1], dst=plane, flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT, borderValue=float(ground[k]),
        )  # fmt: skip
    return out


def turned(camera: Camera, quarter: int, scale: float, shift: Array) -> Camera:
    """The camera of the picture p -> scale * turn(p) + shift.

    Turning a picture turns the camera about its axis; of the lens only the tangential terms have a direction, that of
    the vector (p2, p1).
    """
    turn = _TURNS[quarter % 4]
    roll = np.eye(3)
    roll[:2, :2] = turn
    fx, fy = camera.matrix[0, 0], camera.matrix[1, 1]
    if quarter % 2:
        fx, fy = fy, fx
    cx, cy = scale * turn @ camera.matrix[:2, 2] + shift
    k1, k2, p1, p2 = camera.distortion[:4]
    p2, p1 = turn @ np.array([p2, p1])
    rotation = cv2.Rodrigues(roll @ rotation_matrix(camera))[0].ravel()
    return replace(
        camera, matrix=np.array([[scale * fx, 0, cx], [0, scale * fy, cy], [0, 0, 1]]),
        distortion=np.array([k1, k2, p1, p2]), rotation=np.asarray(rotation, float),
        translation=roll @ np.asarray(camera.translation, float),
    )  # fmt: skip


def picture_size(
    analysis: Analysis, shape: Shape, *, longest: int = 1920, shortest: int = 1080
) -> tuple[int, int]:
    """Width and height of a lesson of this shape: as fine as the footage, no finer than 1920 by 1080."""
    w, h = output_size(analysis.footage.width, analysis.footage.height)
    scale = min(1.0, longest / max(w, h), shortest / min(w, h))
    w, h = (max(2, round(s * scale) // 2 * 2) for s in (w, h))
    short = min(w, h)
    long = max(2, round(short * 16 / 9) // 2 * 2)
    return {"footage": (w, h), "wide": (long, short), "tall": (short, long), "square": (short, short)}[shape]


def make_view(
    analysis: Analysis, size: tuple[int, int], shape: Shape = "footage", diagram: Diagram = "inset"
) -> View:
    """The view of a lesson whose picture has this size (see `picture_size`)."""
    view = _view(analysis, size, shape, diagram)
    if not analysis.cameras or diagram == "alone":
        return view
    return replace(view, moved=moved(analysis, view.camera, size))


def _view(analysis: Analysis, size: tuple[int, int], shape: Shape, diagram: Diagram) -> View:
    w, h = size
    source = (analysis.footage.width, analysis.footage.height)
    camera = analysis.camera
    if diagram == "alone":
        return _far_view(analysis, size)
    same = abs(source[0] / source[1] - w / h) < 0.01
    turn = projected.quarter_turns(camera, analysis.table)
    if diagram != "beside" and same and (shape == "footage" or (turn % 2 == 0) == (w >= h)):
        matrix = np.array(
            [[w / source[0], 0, (w / source[0] - 1) / 2], [0, h / source[1], (h / source[1] - 1) / 2]]
        )
        return View(
            size, projected.scaled(camera, w / source[0], h / source[1]), matrix, source, diagram, None, True
        )
    panel = _panel(size) if diagram == "beside" else None
    lying = w >= h or panel is not None
    wanted = 0 if lying else 1
    quarter = 0 if (turn % 2 == 0) == lying else (wanted - turn) % 4
    band = round(HEADLINE_SHARE * min(size))
    right, bottom = w, h
    if panel is not None:
        right, bottom = (panel[0], h) if panel[0] > 0 else (w, panel[1])
    scale, shift = _fit(analysis, quarter, (0, band, right, bottom), high=panel is None)
    matrix = np.c_[scale * _TURNS[quarter], shift]
    return View(size, turned(camera, quarter, scale, shift), matrix, source, diagram, panel)


def _panel(size: tuple[int, int]) -> Box:
    """The diagram's place: upright at the right of a wide picture, lying at the bottom of others."""
    w, h = size
    if w > h:
        return (round(w * (1 - PANEL_SHARE)) // 2 * 2, 0, w, h)
    spare = h - round(HEADLINE_SHARE * min(size))
    high = min(round(w * LYING_SHARE), spare // 2)
    return (0, (h - high) // 2 * 2, w, h)


def _fit(analysis: Analysis, quarter: int, area: Box, *, high: bool) -> tuple[float, Array]:
    """Scale and shift that bring the table with its rails into `area`, as large as it goes.

    It stands in the middle; where much room is left and `high` is told, at the top: inset and captions go below.
    """
    table, a = analysis.table, RAIL_MM
    L, W = table.length_mm, table.width_mm
    rim = projected.sampled([(-a, -a), (L + a, -a), (L + a, W + a), (-a, W + a), (-a, -a)], 60.0)
    p = project(analysis.camera, rim, table.nose_height_mm) @ _TURNS[quarter].T
    first, last = p.min(0), p.max(0)
    x0, y0, x1, y1 = area
    scale = float(min((x1 - x0) / (last[0] - first[0]), (y1 - y0) / (last[1] - first[1])))
    middle = np.array([(x0 + x1) / 2 - 0.5, (y0 + y1) / 2 - 0.5])
    tall = scale * (last[1] - first[1])
    if high and y1 - y0 - tall > SPARE_SHARE * (y1 - y0):
        middle[1] = y0 + tall / 2
    return scale, np.asarray(middle - scale * (first + last) / 2)


def _far_view(analysis: Analysis, size: tuple[int, int]) -> View:
    """The diagram alone: the table from straight above, lying in a wide picture, head down in a tall one."""
    w, h = size
    table = analysis.table
    long, short = table.length_mm + 2 * FRAME_MM, table.width_mm + 2 * FRAME_MM
    lying = w >= h
    across, down = (long, short) if lying else (short, long)
    band = round(HEADLINE_SHARE * min(size))
    margin = 0.012 * min(size)
    scale = min((w - 2 * margin) / across, (h - band - margin) / down)
    middle = np.array([w / 2 - 0.5, (h - margin + band) / 2 - 0.5])
    source = (analysis.footage.width, analysis.footage.height)
    return View(size, far_camera(table, scale, middle, lying=lying), np.zeros((2, 3)), source, "alone")


def far_camera(table: Table, scale: float, middle_px: Array, *, lying: bool) -> Camera:
    """A camera far above the table's middle that shows a millimetre as `scale` pixels, the head left or at the bottom."""
    f = scale * FAR_MM
    matrix = np.array([[f, 0, middle_px[0]], [0, f, middle_px[1]], [0, 0, 1]])
    turn = np.array([[1.0, 0, 0], [0, -1, 0], [0, 0, -1]])
    if not lying:
        turn = np.array([[0.0, -1, 0], [-1, 0, 0], [0, 0, -1]])
    centre = np.array([table.length_mm / 2, table.width_mm / 2, FAR_MM])
    rotation = np.asarray(cv2.Rodrigues(turn)[0].ravel(), float)
    return Camera(matrix, np.zeros(4), rotation, -turn @ centre, None)
