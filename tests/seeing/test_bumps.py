"""A camera that is moved in mid-clip: told from what else moves, dated, followed, and drawn for.

Nothing but the scenes' own cameras is the truth.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, cast

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from lessonkit.analysis_file import from_json, to_json
from lessonkit.footage.reader import Frame, OpenFootage, open_footage
from lessonkit.lesson.view import make_view
from lessonkit.model import Analysis, Camera, Seen
from lessonkit.seeing.bumps import FAR_S, Bump, changes, find_bumps
from lessonkit.seeing.bumps import _wanted as wanted_times
from lessonkit.seeing.parts import _said, cameras_after, split
from lessonkit.seeing.watch import watch
from lessonkit.table.camera import project, unproject
from lessonkit.table.finding import Surface
from lessonkit.table.fitting import Rail
from tests.scenes import random_scene, truth, write_clip
from tests.scenes.layouts import random_layout
from tests.scenes.lens import View, make_camera
from tests.scenes.look import Look
from tests.scenes.making import TABLES, Script
from tests.scenes.people import Act
from tests.scenes.scene import Scene, Stage

Picture = NDArray[np.uint8]
TABLE = TABLES["9ft"]
VIEW = View(width=960, height=540, tilt_deg=8, k1=-0.1)
FPS = 24
PX_1080P = 0.5
"""Pixels of these pictures for one of a 1080p picture."""


@dataclass(frozen=True, eq=False)
class Shown:
    """A frame as far as finding bumps needs one."""

    t_s: float
    picture: Picture

    @property
    def size(self) -> tuple[int, int]:
        return self.picture.shape[1], self.picture.shape[0]

    def luma(self) -> Picture:
        return self.picture


class Film:
    """Footage of given pictures, ten a second; every second one in twenty is a key frame."""

    def __init__(self, pictures: Sequence[Picture]) -> None:
        self.all = [Shown(k / 10, p) for k, p in enumerate(pictures)]

    def key_times(self) -> list[float]:
        return [f.t_s for f in self.all[::20]]

    def frames(self, start_s: float, end_s: float = np.inf, *, every: bool = True) -> Iterator[Shown]:
        return (f for f in self.all if start_s - 1e-9 <= f.t_s < end_s)

    def bumps(self, each: int = 8) -> list[Bump]:
        spread = cast("list[Frame]", self.all[::each])
        return find_bumps(cast(OpenFootage, self), spread)


def still(view: View = VIEW, seed: int = 1, *, people: bool = False, noise: float = 3.0) -> Picture:
    """A picture of the table with other balls for each seed."""
    layout = random_layout(np.random.default_rng(seed), TABLE, 9)
    acts: tuple[Act, ...] = ()
    if people:
        who = Act("player", -5, 9, layout[0], aim_deg=35.0 * seed, strike_s=float("inf"))
        acts = (who, replace(who, kind="walk", at=(200.0, -500.0), to=(2300.0, -450.0)))
    stage = Stage(Scene(TABLE, view, Look(noise=noise), layout, acts=acts, seed=seed))
    return np.asarray(cv2.cvtColor(stage.frame(0.1 * seed), cv2.COLOR_BGR2GRAY), np.uint8)


def lit(picture: Picture, gain: float, side: float = 0.0) -> Picture:
    """The picture in other light: stronger by `gain`, and as if from a lamp at one side."""
    ramp = gain * (1 + side * np.linspace(-1, 1, picture.shape[1], dtype=np.float32))
    return np.asarray(np.clip(picture * ramp, 0, 255), np.uint8)


def gone(picture: Picture, x: float, y: float) -> Picture:
    h, w = picture.shape
    move = np.array([[1.0, 0, x], [0, 1, y]])
    return np.asarray(cv2.warpAffine(picture, move, (w, h), borderMode=cv2.BORDER_REPLICATE), np.uint8)


@pytest.fixture(scope="module")
def scenes() -> list[Picture]:
    """Four pictures of one camera: other balls in each, somebody in front in two."""
    return [still(seed=k, people=k % 2 == 0) for k in (1, 2, 3, 4)]


def test_people_balls_light_and_short_shakes_are_no_bump(scenes: list[Picture]) -> None:
    """Somebody steps in, balls lie elsewhere, a lamp is switched, exposure drifts, a heel knocks the floor."""
    film = [scenes[k // 12 % 4] for k in range(96)]
    assert Film(film).bumps() == []
    switched = [lit(p, 1.0 if k < 50 else 0.6, 0.0 if k < 50 else 0.3) for k, p in enumerate(film)]
    assert Film(switched).bumps() == []
    drifting = [lit(p, 0.7 + 0.005 * k) for k, p in enumerate(film)]
    assert Film(drifting).bumps() == []
    shaken = [gone(p, 9.0, -6.0) if 39 <= k < 42 else p for k, p in enumerate(film)]
    assert Film(shaken).bumps() == []


def test_a_swaying_mount_is_no_bump(scenes: list[Picture]) -> None:
    """A camera that sways by a pixel all the time is left alone; a real move of it is not."""
    rng = np.random.default_rng(3)
    sway = [gone(scenes[k // 12 % 4], *rng.uniform(-1, 1, 2)) for k in range(96)]
    assert Film(sway).bumps() == []
    moved = [gone(p, 8.0, 0.0) if k >= 47 else p for k, p in enumerate(sway)]
    assert [b.shift_px for b in Film(moved).bumps()] == pytest.approx([8.0], abs=1.0)


def test_a_dark_or_covered_picture_tells_nothing(scenes: list[Picture]) -> None:
    """Lights out for a while, and then the same view again."""
    dark = np.full_like(scenes[0], 9)
    assert Film([dark if 30 <= k < 60 else scenes[k // 12 % 4] for k in range(96)]).bumps() == []
    assert Film([dark] * 40).bumps() == []


@pytest.mark.parametrize("shift", [(1.2, 0.9), (-2.5, 0.0), (24.0, 18.0), (-40.0, 25.0)])
def test_a_bump_is_found_dated_and_measured(scenes: list[Picture], shift: tuple[float, float]) -> None:
    """From 3 to 94 pixels of a 1080p picture, told to a fifth of a second, with people about."""
    film = [gone(scenes[k // 12 % 4], *shift) if k >= 53 else scenes[k // 12 % 4] for k in range(96)]
    (bump,) = Film(film).bumps()
    assert bump.last_s <= 5.3 <= bump.first_s + 0.01
    assert bump.first_s - bump.last_s < 0.21
    assert bump.shift_px == pytest.approx(float(np.hypot(*shift)), abs=0.4)
    middle = cv2.perspectiveTransform(np.array([[[480.0, 270.0]]]), bump.move)[0, 0] - (480, 270)
    assert middle == pytest.approx(shift, abs=0.4)


def test_what_moves_less_than_it_matters_is_left_alone(scenes: list[Picture]) -> None:
    """One pixel of a 1080p picture."""
    film = [
        gone(scenes[k // 12 % 4], 1.0 * PX_1080P, 0.0) if k >= 53 else scenes[k // 12 % 4] for k in range(96)
    ]
    assert Film(film).bumps() == []


def test_a_re_aim_with_zoom_and_a_second_move_are_found() -> None:
    """Two moves: aimed and zoomed elsewhere, and later back to a third view."""
    views = [
        VIEW,
        replace(VIEW, fill=0.8, off_px=(20.0, -9.0), roll_deg=4.0),
        replace(VIEW, off_px=(3.0, 2.0)),
    ]
    film = [still(views[k], seed=seed, people=seed == 2) for k in range(3) for seed in (1, 2)]
    bumps = Film([p for p in film for _ in range(18)]).bumps()
    assert [b.first_s for b in bumps] == pytest.approx([3.6, 7.2], abs=0.2)
    old = make_camera(views[0], TABLE)
    candidates = cameras_after(old, TABLE, bumps[0].move)
    assert min(far_mm(c, make_camera(views[1], TABLE)) for c in candidates) < 20.0


def test_changes_stay() -> None:
    """What comes back is no change; two that stay are two; a single last picture counts."""
    at = [np.zeros((9, 2))] * 20
    assert changes(at, 1.0) == []
    assert changes([*at[:9], at[0] + 7, *at[:9]], 1.0) == []
    assert changes([*at[:9], *([at[0] + 7] * 6), *([at[0] - 4] * 6)], 1.0) == [9, 15]
    assert changes([*at[:9], at[0] + 7], 1.0) == [9]
    assert changes([np.zeros((9, 2))], 1.0) == []


def test_long_footage_is_looked_at_twice_a_minute() -> None:
    """Key frames fill what the spread frames leave open, to the very end; short footage needs next to none."""
    keys = [2.0 * k for k in range(1800)]
    wanted = wanted_times(keys, [140.0 * k for k in range(26)])
    at = sorted([*wanted, *(140.0 * k for k in range(26))])
    assert max(b - a for a, b in itertools.pairwise(at)) <= FAR_S + 2.0
    assert at[-1] == keys[-1] and len(wanted) < 3600 / 20
    assert wanted_times(keys[:30], [1.0, 20.0, 40.0, 57.9]) == []
    assert wanted_times([], [1.0, 2.0]) == []


def far_mm(camera: Camera, true: Camera) -> float:
    """Largest error over the bed at the height of the balls' centres."""
    x, y = np.meshgrid(np.linspace(30, TABLE.length_mm - 30, 9), np.linspace(30, TABLE.width_mm - 30, 5))
    grid = np.stack([x.ravel(), y.ravel()], 1)
    back = unproject(camera, project(true, grid, TABLE.radius_mm), TABLE.radius_mm)
    return float(np.hypot(*(back - grid).T).max())


@dataclass(frozen=True, eq=False)
class Watched:
    """A clip whose camera was moved, and what was seen of it."""

    path: Path
    scene: Scene
    after: View
    bump_s: float
    seen: Seen
    real: dict[str, Any]


@pytest.fixture(scope="module")
def watched(tmp_path_factory: pytest.TempPathFactory) -> Watched:
    """Two shots; between them the camera is knocked aside, and a little closer."""
    rng = np.random.default_rng(4)
    scene = random_scene(rng, "easy", 0, size=(854, 480))
    shots, placed, acts, end_s = Script(rng, scene.table, lead_s=0.5).play(scene.layout, 2)
    scene = replace(scene, shots=tuple(shots), placements=tuple(placed), acts=tuple(acts), duration_s=end_s)
    after = replace(scene.view, off_px=(22.0, -9.0), roll_deg=scene.view.roll_deg + 0.7, fill=0.95)
    bump_s = 0.5 * (shots[0].rest_s + shots[1].strike_s)
    head = "right" if abs(scene.view.roll_deg) > 90 else "left"
    path: Path = tmp_path_factory.mktemp("bumped") / "clip.mp4"
    write_clip(scene, path, fps=FPS, bumped=(bump_s, after), keys_s=1.0)
    return Watched(
        path, scene, after, bump_s, watch(path, table=scene.table.size, head=head), truth(scene, FPS)
    )


def test_both_cameras_are_measured(watched: Watched) -> None:
    """The second one from when it holds; both within 3 mm over the bed, and it is said."""
    (first_s, first), (then_s, then) = watched.seen.cameras
    assert first_s == 0.0
    assert then_s == pytest.approx(watched.bump_s, abs=0.1)
    assert far_mm(first, make_camera(watched.scene.view, TABLE)) < 3.0
    assert far_mm(then, make_camera(watched.after, TABLE)) < 3.0
    assert any("camera was moved at" in d for d in watched.seen.doubts)
    assert watched.seen.camera in (first, then)


def test_shots_and_balls_go_on_over_the_bump(watched: Watched) -> None:
    """Both shots, in order, with the same balls under the same numbers at their true places before and after."""
    shots = watched.seen.shots
    assert [s.number for s in shots] == [1, 2]
    for a, b in zip(watched.real["shots"], shots, strict=True):
        assert b.strike_s == pytest.approx(a["strike_s"], abs=1.5 / FPS)
        for key, layout in (("layout_before", b.layout_before), ("layout_after", b.layout_after)):
            assert sorted(layout) == sorted(int(n) for n in a[key]), (key, b.number)
            off = [np.hypot(*np.subtract(layout[int(n)], p)) for n, p in a[key].items()]
            assert np.median(off) < 3.0 and max(off) < 8.0
    kept = shots[0].layout_after
    assert all(np.hypot(*np.subtract(kept[n], shots[1].layout_before[n])) < 0.5 for n in kept if n)


def test_the_file_keeps_the_cameras(watched: Watched) -> None:
    """Written and read back, both are there; a file from before has none."""
    seen = watched.seen
    analysis = Analysis(seen.footage, seen.table, seen.camera, (), cameras=seen.cameras)
    plain = to_json(analysis)
    again = from_json(plain)
    assert [t for t, _ in again.cameras] == pytest.approx([t for t, _ in seen.cameras], abs=1e-4)
    assert again.cameras[1][1].translation == pytest.approx(seen.cameras[1][1].translation)
    del plain["cameras"]
    assert from_json(plain).cameras == ()


@pytest.mark.parametrize(("size", "shape"), [((854, 480), "footage"), ((480, 854), "tall")])
def test_what_is_drawn_lies_on_the_balls_after_the_bump(
    watched: Watched, size: tuple[int, int], shape: str
) -> None:
    """In the lesson's pictures the balls are where they are drawn, before the move and after it."""
    seen, where = watched.seen, list(watched.real["shots"][1]["layout_before"].values())
    analysis = Analysis(seen.footage, seen.table, seen.camera, (), cameras=seen.cameras)
    view = make_view(analysis, size, cast(Any, shape))
    unaware = make_view(replace(analysis, cameras=()), size, cast(Any, shape))
    drawn = project(view.camera, np.asarray(where, float), seen.table.radius_mm)
    clips = []
    with open_footage(watched.path) as footage:
        for t_s in (watched.bump_s - 0.3, watched.bump_s + 0.3):
            frame = next(footage.frames(t_s))
            clips.append([view.picture(frame).to_bgr(), unaware.picture(frame).to_bgr()])
    right = [apart(clips[0][0], clips[1][0], p) for p in drawn]
    wrong = [apart(clips[0][1], clips[1][1], p) for p in drawn]
    assert np.median(right) < 0.35 * np.median(wrong)


def apart(one: Picture, other: Picture, at: NDArray[np.float64]) -> float:
    """How unlike two pictures are in a square of 25 pixels about a place: mean difference of brightness."""
    a, b = (
        cv2.getRectSubPix(cv2.cvtColor(p, cv2.COLOR_BGR2GRAY), (25, 25), (float(at[0]), float(at[1])))
        for p in (one, other)
    )
    return float(np.abs(a.astype(float) - b.astype(float)).mean())


def test_without_a_bump_nothing_is_split(watched: Watched) -> None:
    """One part from the first picture to the last, no list of cameras, nothing said."""
    with open_footage(watched.path) as footage:
        frames = [f for f in footage.spread(12, 4) if f.t_s < watched.bump_s - 0.2]
        assert find_bumps(cast(OpenFootage, Film([])), frames) == []
        plate, camera = frames[0].bgr(), make_camera(watched.scene.view, TABLE)
        surface = Surface(TABLE, camera, plate, (0.0, 0.0, 0.0), True, "left", Rail(), 0, 0)
        whole = split(footage, frames, [], lambda _: surface)
    assert [(p.from_s, p.until_s) for p in whole.parts] == [(0.0, np.inf)]
    assert whole.cameras == () and whole.doubts == ()


def test_a_table_that_is_not_found_again_is_said_once() -> None:
    bumps = [Bump(9.9, 10.0, 20.0, np.eye(3)), Bump(29.9, 30.0, 20.0, np.eye(3))]
    said = _said(bumps, [(30.0, np.inf)])
    assert len(said) == 2
    assert "moved at 10.0 s" in said[0]
    assert "nothing was seen from 30.0 s to the end" in said[1]
