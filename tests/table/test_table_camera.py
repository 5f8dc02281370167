"""The camera against general libraries and worked examples (shared/table.toml, sections homography, lens, parallax)."""

from __future__ import annotations

import tomllib
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.transform import ProjectiveTransform

from lessonkit.model import Camera
from lessonkit.table.camera import centre_mm, project, rays, unproject
from lessonkit.table.fitting import corners_px, first_cameras
from lessonkit.table.sizes import table_of_size
from lessonkit.table.topview import top_view, top_view_px

TABLE = table_of_size("9ft")
FACTS = tomllib.loads((Path(__file__).parents[2] / "shared" / "table.toml").read_text())


def overhead(
    height_mm: float = 2500.0, focal_px: float = 1400.0, distortion: tuple[float, ...] = (0, 0, 0, 0)
) -> Camera:
    """Straight above the table's origin, the picture's x along the table's x."""
    K = np.array([[focal_px, 0, 0.0], [0, focal_px, 0.0], [0, 0, 1]])
    return Camera(K, np.array(distortion, float), np.array([np.pi, 0, 0]), np.array([0, 0, height_mm]), None)


def test_plane_agrees_with_scikit_image_and_the_worked_homography() -> None:
    """Projecting z = 0 is a homography without a lens; general library: skimage.transform.ProjectiveTransform."""
    facts = FACTS["homography"]
    known = ProjectiveTransform.from_estimate(np.array(facts["image_px"]), np.array(facts["table_mm"]))
    assert known.params / known.params[2, 2] == pytest.approx(np.array(facts["matrix"]), rel=1e-6)
    # the quadrilateral's mirror image is a table seen from above: y of the example runs the other way
    px = np.array(facts["image_px"])[[3, 2, 1, 0]]
    for camera in first_cameras(px, TABLE, 0.0, 0.0, (1080, 1920), focal_widths=(0.9,)):
        grid = np.array([[x, y] for x in (100.0, 900.0, 2400.0) for y in (50.0, 640.0, 1200.0)])
        ours = project(camera, grid)
        corner = project(camera, np.array([[0, 0], [2540, 0], [2540, 1270], [0, 1270.0]]))
        theirs = ProjectiveTransform.from_estimate(
            np.array([[0, 0], [2540, 0], [2540, 1270], [0, 1270.0]]), corner
        )
        assert ours == pytest.approx(theirs(grid), abs=1e-6)


def test_worked_points_of_the_homography() -> None:
    facts = FACTS["homography"]
    known = ProjectiveTransform(np.array(facts["matrix"]))
    for u, v, x, y in facts["px_to_mm"]:
        assert known(np.array([[u, v]]))[0] == pytest.approx([x, y], abs=1e-3)


def test_lens_of_the_worked_example() -> None:
    f = FACTS["lens"]
    K = np.array([[f["focal_px"], 0, f["centre_px"][0]], [0, f["focal_px"], f["centre_px"][1]], [0, 0, 1.0]])
    five = np.array([f["k1"], f["k2"], f["p1"], f["p2"], f["k3"]])
    x, y = f["normalised"]
    camera = Camera(K, five, np.zeros(3), np.zeros(3), None)
    assert project(camera, np.array([[x, y, 1.0]]))[0] == pytest.approx(f["pixel"], abs=1e-4)
    back = rays(camera, np.array([f["pixel"]]))[0]
    assert back[:2] / back[2] == pytest.approx([x, y], abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(
    tilt=st.floats(-0.6, 0.6), turn=st.floats(-3.1, 3.1), k1=st.floats(-0.35, 0.2), k2=st.floats(-0.1, 0.1),
    p1=st.floats(-3e-3, 3e-3), p2=st.floats(-3e-3, 3e-3), focal=st.floats(500, 3000),
)  # fmt: skip
def test_project_agrees_with_opencv(
    tilt: float, turn: float, k1: float, k2: float, p1: float, p2: float, focal: float
) -> None:
    """General library: OpenCV's projectPoints."""
    lean = cv2.Rodrigues(np.array([tilt, 0, 0]))[0] @ cv2.Rodrigues(np.array([0, 0, turn]))[0]
    R = np.asarray(lean, float) @ np.diag([1.0, -1.0, -1.0])
    K = np.array([[focal, 0, 950.0], [0, focal, 545.0], [0, 0, 1]])
    t = -R @ np.array([1270.0, 635.0, 0]) + np.array([0, 0, 3600.0])
    camera = Camera(K, np.array([k1, k2, p1, p2]), np.asarray(cv2.Rodrigues(R)[0]).ravel(), t, None)
    places = np.array([[x, y, z] for x in (0.0, 900.0, 2540.0) for y in (0.0, 1270.0) for z in (0.0, 28.6)])
    theirs, _ = cv2.projectPoints(places, camera.rotation, camera.translation, K, camera.distortion)
    assert project(camera, places) == pytest.approx(theirs.reshape(-1, 2), abs=1e-6, rel=1e-9)


def test_parallax_of_the_worked_example() -> None:
    p = FACTS["parallax"]
    camera = overhead(p["height_mm"], p["focal_px"])
    ball = project(camera, np.array([[p["aside_mm"], 0.0]]), TABLE.radius_mm)
    assert ball[0, 0] == pytest.approx(p["centre_px"], abs=1e-4)
    assert project(camera, np.array([[p["aside_mm"], 0.0]]))[0, 0] == pytest.approx(p["contact_px"], abs=1e-9)
    assert unproject(camera, ball, 0.0)[0, 0] - p["aside_mm"] == pytest.approx(p["shift_mm"], abs=1e-4)


def test_outline_of_a_sphere_is_the_worked_ellipse() -> None:
    """Rays that touch the sphere, projected by our camera, against the handbook's ellipse."""
    p, r = FACTS["parallax"], TABLE.radius_mm
    camera = overhead(p["height_mm"], p["focal_px"])
    centre = np.array([p["aside_mm"], 0.0, r])
    eye = centre_mm(camera)
    way = centre - eye
    d = float(np.linalg.norm(way))
    middle, radius = eye + way * (1 - r**2 / d**2), r * np.sqrt(1 - r**2 / d**2)
    u = np.cross(way, [0, 1.0, 0])
    u /= np.linalg.norm(u)
    v = np.cross(way, u) / d
    a = np.linspace(0, 2 * np.pi, 200, endpoint=False)[:, None]
    px = project(camera, middle + radius * (np.cos(a) * u + np.sin(a) * v))
    (cx, _), size, _ = cv2.fitEllipse(px.astype(np.float32))
    assert cx == pytest.approx(p["outline_centre_px"], abs=1e-3)
    assert sorted(np.array(size) / 2) == pytest.approx([p["semi_across_px"], p["semi_radial_px"]], abs=1e-3)


@settings(max_examples=60, deadline=None)
@given(
    x=st.floats(0, 2540), y=st.floats(0, 1270), z=st.floats(0, 60),
    tilt=st.floats(-0.6, 0.6), turn=st.floats(-3.1, 3.1), k1=st.floats(-0.25, 0.1), focal=st.floats(700, 3000),
)  # fmt: skip
def test_unproject_undoes_project(
    x: float, y: float, z: float, tilt: float, turn: float, k1: float, focal: float
) -> None:
    down = np.diag([1.0, -1.0, -1.0])
    lean = np.asarray(cv2.Rodrigues(np.array([tilt, 0, 0]))[0]) @ np.asarray(
        cv2.Rodrigues(np.array([0, 0, turn]))[0]
    )
    R = lean @ down
    t = -R @ np.array([1270.0, 635.0, 0]) + np.array([0, 0, 3600.0])
    K = np.array([[focal, 0, 959.5], [0, focal, 539.5], [0, 0, 1]])
    camera = Camera(K, np.array([k1, 0, 0, 0]), np.asarray(cv2.Rodrigues(R)[0]).ravel(), t, None)
    px = project(camera, np.array([[x, y]]), z)
    assert unproject(camera, px, z)[0] == pytest.approx([x, y], abs=1e-3)


def test_top_view_puts_places_where_it_says() -> None:
    """A dot at a table place in the picture appears at top_view_px of that place."""
    camera = first_cameras(
        np.array([[200.0, 950], [1750, 930], [1600, 120], [330, 140]]), TABLE, 0.0, 36.29, (1080, 1920)
    )[0]
    place = np.array([[700.0, 300.0]])
    picture = np.zeros((1080, 1920, 3), np.uint8)
    u, v = project(camera, place)[0]
    cv2.circle(picture, (round(u), round(v)), 6, (255, 255, 255), -1, cv2.LINE_AA)
    view = top_view(picture, camera, TABLE, width_px=1000, border_mm=60.0)
    assert view.shape == (round((1270 + 120) / 2660 * 1000), 1000, 3)
    weight = view[..., 0].astype(float)
    ys, xs = np.mgrid[: view.shape[0], : view.shape[1]]
    seen = np.array([(xs * weight).sum(), (ys * weight).sum()]) / weight.sum()
    assert seen == pytest.approx(top_view_px(place, TABLE, width_px=1000, border_mm=60.0)[0], abs=1.0)


def test_corners_of_a_true_camera_come_back() -> None:
    R = np.asarray(cv2.Rodrigues(np.array([0.25, 0.1, 0.05]))[0]) @ np.diag([1.0, -1.0, -1.0])
    K = np.array([[1728.0, 0, 959.5], [0, 1728.0, 539.5], [0, 0, 1]])
    t = -R @ np.array([1270.0, 635.0, 0]) + np.array([0, 0, 3400.0])
    true = Camera(K, np.zeros(4), np.asarray(cv2.Rodrigues(R)[0]).ravel(), t, None)
    px = corners_px(true, TABLE)
    found = first_cameras(px, TABLE, 0.0, TABLE.nose_height_mm, (1080, 1920), focal_widths=(0.9,))
    assert min(float(np.abs(corners_px(c, TABLE) - px).max()) for c in found) < 1e-3
    assert min(float(np.abs(centre_mm(c) - centre_mm(true)).max()) for c in found) < 0.1
