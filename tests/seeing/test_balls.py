"""Discs, outlines and looks: on drawn truth, and against published values and general libraries."""

from __future__ import annotations

import tomllib
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.model import Camera, Table
from lessonkit.seeing.centres import outline_mm, push_apart
from lessonkit.seeing.discs import find_discs, votes
from lessonkit.seeing.looks import Look
from lessonkit.seeing.numbers import cost
from lessonkit.table.camera import project

TABLE = Table("9ft", 2540.0, 1270.0)
FACTS = tomllib.loads((Path(__file__).parents[2] / "shared" / "seeing.toml").read_text(encoding="utf-8"))


def overhead(height_mm: float = 2500.0, tilt: float = 0.0) -> Camera:
    """A camera over the table's middle, looking down, tilted about the long axis."""
    c, s = np.cos(tilt), np.sin(tilt)
    R = np.array([[1, 0, 0], [0, c, -s], [0, s, c]]) @ np.diag([1.0, -1.0, -1.0])
    eye = np.array([1270.0, 635.0, height_mm])
    K = np.array([[1400.0, 0, 960], [0, 1400.0, 540], [0, 0, 1]])
    return Camera(K, np.zeros(4), cv2.Rodrigues(R)[0].ravel(), -R @ eye, 0.0)


def drawn(
    centres: list[tuple[float, float]], colours: list[tuple[int, int, int]], radius: float
) -> np.ndarray:
    """Anti-aliased discs on green."""
    picture = np.full((160, 240, 3), (90, 140, 20), np.uint8)
    for (x, y), colour in zip(centres, colours, strict=True):
        at = (round((x + 0.0) * 16), round((y + 0.0) * 16))
        cv2.circle(picture, at, round(radius * 16), colour, -1, cv2.LINE_AA, 4)
    return picture


def test_discs_are_found_to_half_a_pixel_touching_and_half_hidden() -> None:
    """Drawn discs at sub-pixel places, two of them touching and one half covered, are each found within 0.5 px."""
    centres = [(40.3, 50.7), (58.3, 50.7), (120.6, 90.2), (190.5, 60.5)]
    picture = drawn(centres, [(230, 230, 230), (40, 40, 200), (30, 30, 30), (20, 200, 230)], 9.0)
    cv2.rectangle(picture, (191, 40), (239, 80), (90, 140, 20), -1)  # hides the right half of the last
    foreign = (np.abs(picture.astype(int) - (90, 140, 20)).max(2) > 30).astype(np.float32)
    found = find_discs(picture, foreign, 9.0, least_votes=0.25, least_fill=0.3)
    for x, y in centres:
        nearest = min(np.hypot(d.x_px - x, d.y_px - y) for d in found)
        assert nearest < (0.5 if x < 180 else 1.0)


def test_votes_agree_with_opencvs_circles() -> None:
    """The strongest votes lie where OpenCV's HoughCircles finds isolated circles of that radius."""
    centres = [(50.0, 40.0), (120.0, 110.0), (200.0, 50.0)]
    picture = drawn(centres, [(240, 240, 240)] * 3, 9.0)
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
    circles = cv2.HoughCircles(
        grey, cv2.HOUGH_GRADIENT, 1, 20, param1=100, param2=8, minRadius=7, maxRadius=11
    )
    assert circles is not None
    ballot = votes(picture, 9.0)
    for x, y, _ in circles.reshape(-1, 3)[:3]:
        part = ballot[round(y) - 3 : round(y) + 4, round(x) - 3 : round(x) + 4]
        assert part.max() > 0.8 * ballot.max()


def test_real_coins_gather_votes_where_scikit_image_sees_circles() -> None:
    """On the photograph of coins that scikit-image carries, votes peak at the circle that its own transform finds."""
    data = pytest.importorskip("skimage.data")
    from skimage.feature import canny
    from skimage.transform import hough_circle, hough_circle_peaks

    coins = data.coins()[0:95, 70:185]
    radii = np.arange(18, 30)
    _, cx, cy, r = hough_circle_peaks(hough_circle(canny(coins, 3, 10, 50), radii), radii, total_num_peaks=1)
    ballot = votes(np.dstack([coins] * 3), float(r[0]))
    y, x = np.unravel_index(int(ballot.argmax()), ballot.shape)
    assert np.hypot(x - cx[0], y - cy[0]) <= 3


def test_outline_is_the_ellipse_of_the_sphere() -> None:
    """The worked example of a sphere aside of a camera that looks straight down (shared/seeing.toml [sphere])."""
    fact = FACTS["sphere"]
    camera = overhead(fact["camera_height_mm"])
    assert camera.matrix[0, 0] == fact["focal_px"]
    place = (1270.0 + fact["aside_mm"], 635.0)
    px = project(camera, outline_mm(camera, TABLE, place, 360) + np.asarray(place), TABLE.radius_mm) - (
        960,
        540,
    )
    assert (px[:, 0].max() + px[:, 0].min()) / 2 == pytest.approx(fact["ellipse_centre_px"], abs=0.02)
    assert (px[:, 0].max() - px[:, 0].min()) / 2 == pytest.approx(fact["semi_axis_radial_px"], abs=0.02)
    assert (px[:, 1].max() - px[:, 1].min()) / 2 == pytest.approx(fact["semi_axis_tangential_px"], abs=0.02)


@settings(max_examples=30, deadline=None)
@given(st.floats(100, 2400), st.floats(100, 1170), st.floats(-0.5, 0.5))
def test_outline_points_are_tangents(x: float, y: float, tilt: float) -> None:
    """Every ray through the outline passes the ball's centre at just its radius."""
    from lessonkit.table.camera import centre_mm

    camera = overhead(2600.0, tilt)
    eye = centre_mm(camera)
    on_plane = np.c_[outline_mm(camera, TABLE, (x, y)) + np.array([x, y]), np.full(72, TABLE.radius_mm)]
    ray = on_plane - eye
    ray /= np.linalg.norm(ray, axis=1)[:, None]
    to_ball = np.array([x, y, TABLE.radius_mm]) - eye
    distance = np.linalg.norm(np.cross(ray, to_ball), axis=1)
    assert distance == pytest.approx(np.full(72, TABLE.radius_mm), abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 300), st.floats(0, 300)), min_size=2, max_size=6, unique=True))
def test_pushed_balls_do_not_overlap_much_and_lone_ones_stay(places: list[tuple[float, float]]) -> None:
    """After pushing, no pair that could be parted overlaps more than it did."""
    before = dict(enumerate(places))
    after = push_apart(before, dict.fromkeys(before, 1.0), TABLE)

    def worst(of: dict[int, tuple[float, float]]) -> float:
        return min(np.hypot(*np.subtract(of[i], of[j])) for i in of for j in of if i < j)

    assert worst(after) >= min(worst(before), TABLE.ball_diameter_mm) - 1e-6


def test_plain_looks_fit_their_numbers_best() -> None:
    """WPA colours (specification 16): a yellow solid is the 1, white with yellow the 9, all white the cue ball."""
    looks = {
        1: Look(0.05, 0.0, (84.0, -3.0, 82.0), 1.0), 9: Look(0.55, 0.5, (84.0, -3.0, 80.0), 1.0),
        0: Look(1.0, 1.0, None, 1.0), 8: Look(0.05, 0.0, (19.0, 1.0, -2.0), 1.0), 6: Look(0.08, 0.0, (45.0, -32.0, 11.0), 1.0),
    }  # fmt: skip
    for number, look in looks.items():
        assert min(range(16), key=lambda n: cost(look, n)) == number
