"""Bumps of the camera on made-up scenes of known camera; nothing but the scene's own projection is the truth."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from lessonkit.errors import TableError
from lessonkit.model import Camera, Layout
from lessonkit.table.bump import landmarks, moved_since, refit, turned_camera
from lessonkit.table.camera import project, rotation_matrix
from lessonkit.table.finding import Surface, find_table
from tests.scenes import scene as scenes
from tests.scenes.layouts import random_layout
from tests.scenes.lens import View, make_camera
from tests.scenes.look import Look
from tests.scenes.making import TABLES
from tests.scenes.people import Act
from tests.scenes.scene import Scene, Stage
from tests.table.rooms import errors_mm, head_side

Picture = NDArray[np.uint8]
TABLE = TABLES["9ft"]
VIEW = View(tilt_deg=12, k1=-0.12)


def turned(camera: Camera, shift_px: tuple[float, float], roll_deg: float = 0.0) -> Camera:
    """The camera after it was knocked: turned so that the picture's middle goes by `shift_px`."""
    f = camera.matrix[0, 0]
    knock = np.array([-shift_px[1] / f, shift_px[0] / f, np.radians(roll_deg)])
    R = np.asarray(cv2.Rodrigues(knock)[0])
    return replace(
        camera,
        rotation=np.asarray(cv2.Rodrigues(R @ rotation_matrix(camera))[0]).ravel(),
        translation=R @ camera.translation,
    )


@lru_cache(maxsize=16)
def filmed(
    shift_px: tuple[float, float] = (0.0, 0.0), roll_deg: float = 0.0, people: bool = False, light: float = 1.0, seed: int = 1
) -> tuple[Camera, Picture]:  # fmt: skip
    """The true camera and a picture of other balls, with or without somebody leaning over the table."""
    camera = turned(make_camera(VIEW, TABLE), shift_px, roll_deg)
    layout: Layout = random_layout(np.random.default_rng(seed), TABLE, 9)
    acts: tuple[Act, ...] = ()
    if people:
        who = Act("player", -5, 9, layout[0], aim_deg=35.0, strike_s=float("inf"))
        acts = (who, replace(who, kind="walk", at=(200.0, -500.0), to=(2300.0, -450.0)))
    original = scenes.make_camera
    scenes.make_camera = lambda *_: camera  # type: ignore[attr-defined]
    try:
        stage = Stage(Scene(TABLE, VIEW, Look(brightness=light, noise=4.0), layout, acts=acts, seed=seed))
    finally:
        scenes.make_camera = original  # type: ignore[attr-defined]
    return camera, stage.frame(0.1 * seed)


@lru_cache(maxsize=1)
def start() -> Surface:
    camera, picture = filmed()
    return find_table([picture], size="9ft", head=head_side(camera, TABLE))


@pytest.mark.parametrize(
    ("shift_px", "roll_deg"),
    [((3.0, 0.0), 0.0), ((-6.0, 8.0), 0.0), ((50.0, 33.0), 0.0), ((0.0, 0.0), 1.0), ((-20.0, 5.0), -1.0)],
)
@pytest.mark.parametrize("people", [False, True])
def test_a_bump_is_noticed_measured_and_followed(
    shift_px: tuple[float, float], roll_deg: float, people: bool
) -> None:
    surface = start()
    mark = landmarks(surface.plate, surface.camera, TABLE)
    camera, picture = filmed(shift_px, roll_deg, people, seed=3)
    move = moved_since(mark, picture)
    assert move.moved is True
    if not roll_deg:
        assert move.shift_px == pytest.approx(float(np.hypot(*shift_px)), rel=0.12, abs=0.4)
    assert move.turn_deg == pytest.approx(roll_deg, abs=0.12)
    assert errors_mm(camera, turned_camera(surface.camera, move), TABLE).max() < 6.0
    again = refit(surface, move, [picture])
    assert errors_mm(camera, again.camera, TABLE).max() < 2.0
    assert again.table == TABLE and again.head == surface.head


@pytest.mark.parametrize("seed", [1, 3, 4, 5])
@pytest.mark.parametrize("light", [1.0, 0.7])
def test_people_balls_and_light_are_no_bump(seed: int, light: float) -> None:
    surface = start()
    mark = landmarks(surface.plate, surface.camera, TABLE)
    _, picture = filmed(people=True, light=light, seed=seed)
    move = moved_since(mark, picture)
    assert move.moved is False
    assert move.shift_px is not None and move.shift_px < 0.5
    assert refit(surface, move, [picture]) is surface


def test_a_sway_below_a_pixel_is_no_bump() -> None:
    surface = start()
    mark = landmarks(surface.plate, surface.camera, TABLE)
    assert moved_since(mark, filmed((0.5, 0.4), seed=4)[1]).moved is False


def test_what_cannot_be_seen_is_not_told() -> None:
    surface = start()
    mark = landmarks(surface.plate, surface.camera, TABLE)
    for blank in (np.full_like(surface.plate, 12), np.random.default_rng(0).integers(0, 256, surface.plate.shape, np.uint8)):
        move = moved_since(mark, blank)
        assert move.moved is None and move.shift_px is None
    with pytest.raises(TableError, match="size"):
        moved_since(mark, np.zeros((100, 100), np.uint8))
    with pytest.raises(TableError, match="rails"):
        landmarks(np.full_like(surface.plate, 90), surface.camera, TABLE)


def test_marks_lie_on_the_rails() -> None:
    surface = start()
    mark = landmarks(surface.plate, surface.camera, TABLE)
    x, y = mark.places_mm[:, 0], mark.places_mm[:, 1]
    out = np.maximum(np.maximum(-x, x - TABLE.length_mm), np.maximum(-y, y - TABLE.width_mm))
    assert (out > -12).all() and (out < 180).all() and len(out) >= 40
    back = project(surface.camera, mark.places_mm)
    assert back == pytest.approx((mark.px + 0.5) * mark.scale - 0.5, abs=0.05)
