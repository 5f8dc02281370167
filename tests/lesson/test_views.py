"""Lessons of other shapes: the camera that belongs to a turned, cut and enlarged picture, and the diagram alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.lesson import projected
from lessonkit.lesson.drawn_table import DrawnTable
from lessonkit.lesson.picture import Picture
from lessonkit.lesson.view import Shape, make_view, picture_size, warped
from lessonkit.model import Analysis, Footage
from lessonkit.table.camera import project
from tests.publish import filmed

W, H = 1280, 720
SHAPES: list[Shape] = ["wide", "tall", "square"]


def analysis(*, portrait: bool = False) -> Analysis:
    """The made-up shot, filmed lying or upright, with a lens that has every term."""
    w, h = (H, W) if portrait else (W, H)
    made = filmed.analysis(Footage("clip.mp4", w, h, 30.0, 120, 4.0), filmed.camera(w, h, portrait=portrait))
    camera = made.camera
    return replace(made, camera=replace(camera, distortion=np.array([-0.08, 0.02, 0.003, -0.004])))


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("diagram", ["inset", "beside", "none"])
@pytest.mark.parametrize("portrait", [False, True])
def test_the_view_s_camera_is_the_footage_s_through_its_map(
    shape: Shape, diagram: str, portrait: bool
) -> None:
    """Places through the view's camera lie within 0.01 pixel of footage pixels through the view's affine map."""
    a = analysis(portrait=portrait)
    view = make_view(a, picture_size(a, shape), shape, diagram)  # type: ignore[arg-type]
    rng = np.random.default_rng(5)
    places = np.c_[rng.uniform(0, 2540, 40), rng.uniform(0, 1270, 40), rng.uniform(0, 60, 40)]
    through = project(a.camera, places) @ view.matrix[:, :2].T + view.matrix[:, 2]
    assert np.abs(project(view.camera, places) - through).max() < 0.01


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("diagram", ["inset", "beside", "alone"])
@pytest.mark.parametrize("portrait", [False, True])
def test_the_whole_table_is_in_the_picture(shape: Shape, diagram: str, portrait: bool) -> None:
    """Whatever the shape, every pocket lies in the part of the picture that the footage has, long side along long side."""
    a = analysis(portrait=portrait)
    view = make_view(a, picture_size(a, shape), shape, diagram)  # type: ignore[arg-type]
    px = project(view.camera, list(a.table.pockets.values()), a.table.nose_height_mm)
    w, h = view.room
    assert (px >= 0).all()
    assert (px[:, 0] < w).all()
    assert (px[:, 1] < h).all()
    if shape == "tall" and diagram != "beside":
        assert np.ptp(px[:, 1]) > 1.7 * np.ptp(px[:, 0])
        assert np.ptp(px[:, 1]) > 0.75 * h


def test_warped_pixels_lie_where_the_map_says() -> None:
    """The middle of a white disc, luma and chroma alike, is where the map sends it, within a pixel."""
    bgr = np.full((H, W, 3), 150, np.uint8)
    yy, xx = np.mgrid[:H, :W]
    bgr[(xx - 900) ** 2 + (yy - 200) ** 2 < 30**2] = (0, 0, 255)
    matrix = np.array([[0.0, 1.2, 40.0], [-1.2, 0.0, 1600.0]])
    out = warped(Picture.from_bgr(bgr), matrix, (900, 1600))
    wanted = matrix[:, :2] @ (900, 200) + matrix[:, 2]
    for plane, ground, step in ((out.y.astype(int), out.y[800, 450], 1), (out.v.astype(int), 128, 2)):
        ys, xs = np.nonzero(np.abs(plane - int(ground)) > (6 if step == 1 else 40))
        inside = (np.abs(xs * step - wanted[0]) < 60) & (np.abs(ys * step - wanted[1]) < 60)
        assert inside.any()
        middle = np.array([xs[inside].mean() * step, ys[inside].mean() * step + (step - 1) / 2])
        assert np.hypot(*(middle - wanted)) < 1.0


@settings(max_examples=12, deadline=None)
@given(st.floats(60, 2480), st.floats(60, 1210))
def test_a_ball_of_the_diagram_lies_where_its_camera_sees_it(x: float, y: float) -> None:
    """The drawn ball's middle is within a pixel of the projected place, in the diagram that lines are drawn on."""
    a = analysis()
    view = make_view(a, (640, 360), "wide", "alone")
    table = DrawnTable(view, a)
    bare, ball = table.picture({}).y.astype(int), table.picture({8: (x, y)}).y.astype(int)
    ys, xs = np.nonzero(np.abs(ball - bare) > 12)
    middle = np.array([(xs.min() + xs.max()) / 2, (ys.min() + ys.max()) / 2])
    assert np.hypot(*(middle - project(view.camera, [(x, y)], a.table.radius_mm)[0])) < 1.0
    outline = projected.ball_outline(view.camera, (x, y), a.table.radius_mm)
    assert np.ptp(outline[:, 0]) == pytest.approx(np.ptp(xs), abs=3)
