"""The table found in drawn scenes of known camera, and not found where there is none.

The scenes are drawn by tests/scenes, which shares no code with the finder but the projection, itself checked against
OpenCV's and scikit-image's in test_camera.py.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from lessonkit.errors import TableError
from lessonkit.model import Camera, Table
from lessonkit.table.camera import project, unproject
from lessonkit.table.finding import Surface, find_table
from lessonkit.table.fitting import corners_px
from tests.scenes.layouts import random_layout
from tests.scenes.lens import View
from tests.scenes.look import CLOTHS, FLOORS, WOODS, Look
from tests.scenes.making import TABLES
from tests.scenes.scene import Scene, Stage

Picture = NDArray[np.uint8]
ACCEPTED_MM = 2.0
"""Over the whole bed, at the height of the balls' centres; about a pixel of these pictures."""

CASES: dict[str, tuple[View, Look, str]] = {
    "green, overhead": (View(), Look(), "9ft"),
    "blue, tilted 20 degrees, barrel": (View(tilt_deg=20, k1=-0.25), Look(cloth=CLOTHS["blue"]), "9ft"),
    "red, tilted 30 degrees from the head": (
        View(tilt_deg=30, from_deg=180), Look(cloth=CLOTHS["red"], wood=WOODS["oak"], sights="dot"), "9ft"),
    "black cloth, dark floor": (View(), Look(cloth=CLOTHS["black"], floor=FLOORS["dark carpet"]), "9ft"),
    "tan, noisy and dim": (View(k1=-0.12), Look(cloth=CLOTHS["tan"], brightness=0.5, noise=8), "9ft"),
    "purple, seven feet": (View(), Look(cloth=CLOTHS["purple"], wood=WOODS["white"]), "7ft"),
    "floor of the cloth's colour": (View(), Look(floor=CLOTHS["green"], floor_kind="carpet"), "9ft"),
    "no sights": (View(tilt_deg=8), Look(sights="none", cloth=CLOTHS["blue"]), "9ft"),
    "upside down": (View(roll_deg=180, tilt_deg=10), Look(cloth=CLOTHS["teal"]), "9ft"),
    "on end": (View(width=720, height=1280, roll_deg=90), Look(cloth=CLOTHS["grey"]), "9ft"),
}  # fmt: skip


@lru_cache(maxsize=12)
def drawn(name: str) -> tuple[Table, Camera, tuple[Picture, ...]]:
    view, look, size = CASES[name]
    table = TABLES[size]
    layout = random_layout(np.random.default_rng(5), table, 9)
    stage = Stage(Scene(table, view, look, layout, seed=2))
    return table, stage.camera, tuple(stage.frame(t) for t in (0.0, 0.4, 0.8))


def head_side(camera: Camera, table: Table) -> str:
    """The side of the picture on which the head lies, by the true camera."""
    ends = project(camera, np.array([[0.0, table.width_mm / 2], [table.length_mm, table.width_mm / 2]]))
    dx, dy = ends[0] - ends[1]
    if abs(dx) > abs(dy):
        return "left" if dx < 0 else "right"
    return "top" if dy < 0 else "bottom"


def off_mm(true: Camera, found: Camera, table: Table) -> float:
    """The largest error over the bed at the height of the balls' centres."""
    r = table.radius_mm
    x, y = np.linspace(r, table.length_mm - r, 15), np.linspace(r, table.width_mm - r, 9)
    grid = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    return float(np.hypot(*(unproject(found, project(true, grid, r), r) - grid).T).max())


@lru_cache(maxsize=12)
def found_in(name: str) -> tuple[Table, Camera, Surface]:
    table, camera, pictures = drawn(name)
    size = f"{table.length_mm:g}x{table.width_mm:g}"
    return table, camera, find_table(pictures, size=size, head=head_side(camera, table))


@pytest.mark.parametrize("name", CASES)
def test_the_camera_is_found_to_the_millimetre(name: str) -> None:
    table, camera, surface = found_in(name)
    off = off_mm(camera, surface.camera, table)
    assert off < ACCEPTED_MM
    # what is stated is a root mean square, so what came out lies within a few of it
    assert surface.camera.error_mm is not None and off < 4 * surface.camera.error_mm < 4 * ACCEPTED_MM
    assert surface.camera.error_px is not None and surface.camera.error_px < 0.6
    assert surface.size_sure and surface.pockets >= 5
    assert surface.sights == 0 if CASES[name][1].sights == "none" else surface.sights >= 12


def test_the_error_figure_is_no_flattery() -> None:
    """What the fit leaves over is no larger than what it claims, and grows when the picture gets worse."""
    clear, dim = (found_in(n)[2].camera.error_px for n in ("green, overhead", "tan, noisy and dim"))
    assert clear is not None and dim is not None and 0.01 < clear < dim * 1.5


def test_cloth_colour_is_the_beds() -> None:
    _, _, surface = found_in("green, overhead")
    blue, green, red = surface.cloth_bgr
    assert green > blue > red


def test_another_head_turns_the_frame_by_half() -> None:
    table, _, surface = found_in("green, overhead")
    pictures = drawn("green, overhead")[2]
    right = find_table(pictures, size="9ft", head="right").camera
    turned = corners_px(right, table)[[2, 3, 0, 1]]
    assert turned == pytest.approx(corners_px(surface.camera, table), abs=0.5)
    across = find_table(pictures, size="9ft", head="top")
    assert across.head == "left"  # the table lies along the picture: a quarter turn, and it says so


def test_a_person_in_some_pictures_does_not_matter() -> None:
    table, camera, pictures = drawn("green, overhead")
    people = []
    for k, x in enumerate((150, 420, 700)):
        picture = pictures[k % len(pictures)].copy()
        cv2.rectangle(picture, (x, 0), (x + 260, 480), (60, 70, 200), -1)
        people.append(picture)
    surface = find_table([*people, *pictures], size="9ft")
    assert off_mm(camera, surface.camera, table) < ACCEPTED_MM
    assert np.abs(surface.plate.astype(float) - pictures[0])[200:500, 200:1000].mean() < 12


def test_given_corners_lead_to_the_same_camera() -> None:
    table, camera, pictures = drawn("blue, tilted 20 degrees, barrel")
    corners = corners_px(camera, table)[[2, 0, 3, 1]] + np.array([[6, -4], [-5, 5], [4, 6], [-6, -3]])
    surface = find_table(pictures, size="9ft", corners=[(float(x), float(y)) for x, y in corners])
    assert off_mm(camera, surface.camera, table) < ACCEPTED_MM


def test_given_corners_suffice_where_nothing_else_is_seen() -> None:
    """On a blank picture only the corners speak; with no lens and exact corners the pose is nearly the true one."""
    table = TABLES["9ft"]
    stage = Stage(Scene(table, View(tilt_deg=15, k1=0.0, k2=0.0), Look(), {0: (600.0, 600.0)}))
    corners = [(float(x), float(y)) for x, y in corners_px(stage.camera, table)]
    blank = np.full((720, 1280, 3), 90, np.uint8)
    surface = find_table([blank], size="9ft", head=head_side(stage.camera, table), corners=corners)
    assert surface.camera.error_px is None
    assert off_mm(stage.camera, surface.camera, table) < 25


def not_tables() -> dict[str, Picture]:
    rng = np.random.default_rng(0)
    shape = (720, 1280, 3)

    def rough(bgr: tuple[int, int, int], sigma: float) -> Picture:
        return np.clip(np.array(bgr) + rng.normal(0, sigma, shape), 0, 255).astype(np.uint8)

    lawn = np.asarray(cv2.GaussianBlur(rough((40, 120, 60), 18), (0, 0), 1.5), np.uint8)
    pitch = lawn.copy()
    cv2.rectangle(pitch, (150, 100), (1130, 600), (240, 240, 240), 6)
    cv2.line(pitch, (640, 100), (640, 600), (240, 240, 240), 6)
    face = rough((120, 110, 100), 4)
    cv2.ellipse(face, (640, 360), (200, 270), 0, 0, 360, (130, 160, 220), -1)
    for x in (570, 710):
        cv2.circle(face, (x, 300), 25, (40, 40, 40), -1)
    framed = rough((60, 80, 110), 4)
    cv2.rectangle(framed, (220, 120), (1060, 570), (30, 40, 70), -1)
    cv2.rectangle(framed, (270, 170), (1010, 520), (60, 140, 60), -1)
    noise = rng.integers(0, 256, shape, dtype=np.uint8)
    return {
        "wall": rough((190, 195, 200), 3), "noise": noise, "lawn": lawn, "pitch": pitch, "face": face,
        "framed picture": framed, "black": np.zeros(shape, np.uint8),
    }  # fmt: skip


@pytest.mark.parametrize("name", ["wall", "noise", "lawn", "pitch", "face", "framed picture", "black"])
def test_no_table_is_seen_where_there_is_none(name: str) -> None:
    with pytest.raises(TableError, match="--corners") as caught:
        find_table([not_tables()[name]])
    assert str(caught.value).count("\n") == 0


@pytest.mark.parametrize(
    "corners", [[(0, 0), (1, 1)], [(0, 0), (10, 0), (20, 0), (30, 0)], [(5, 5)] * 4, [(0, 0), (9, float("nan")), (9, 9), (0, 9)]]
)  # fmt: skip
def test_corners_that_make_no_table_are_refused(corners: list[tuple[float, float]]) -> None:
    with pytest.raises(TableError):
        find_table([np.zeros((720, 1280, 3), np.uint8)], corners=corners)


def test_an_unknown_head_is_refused() -> None:
    with pytest.raises(TableError, match="left, right, top or bottom"):
        find_table([np.zeros((8, 8, 3), np.uint8)], head="north")


def test_a_wall_behind_given_size_is_still_refused() -> None:
    with pytest.raises(TableError):
        find_table([replace_rows(np.full((720, 1280, 3), 200, np.uint8))], size="8ft")


def replace_rows(picture: Picture) -> Picture:
    """A step in the wall, as of a skirting board."""
    out = picture.copy()
    out[600:] = 60
    return out
