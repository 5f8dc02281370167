"""The made-up scenes against things outside them: OpenCV's projection, textbook mechanics, a decoder."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from lessonkit.footage.reader import open_footage
from lessonkit.model import Layout, Table
from lessonkit.table.camera import centre_mm
from tests.scenes import (
    TABLES,
    Lamp,
    Look,
    Scene,
    Script,
    Shot,
    View,
    rack,
    random_layout,
    random_scene,
    render,
    simulate,
    truth,
    write_clip,
)  # fmt: skip
from tests.scenes.layouts import touch_mm
from tests.scenes.lens import RAIL_TOP_MM
from tests.scenes.motion import SLOWING
from tests.scenes.scene import Stage

NINE = TABLES["9ft"]
PLAIN = Look(
    cloth=(20, 20, 22), lamps=(Lamp(0.5, 0.5, shine=0.0),), unevenness=0.0, vignette=0.0, noise=0.0, blur_px=0.0,
    head_string=False, foot_spot=False, marks=0, chalks=0, cue_dots=False,
)  # fmt: skip
VIEWS = {
    "above": View(640, 360, tilt_deg=0.0),
    "tilted": View(640, 360, tilt_deg=32.0, from_deg=265.0),
    "from the head": View(640, 360, tilt_deg=20.0, from_deg=180.0, fill=0.8),
    "wide lens": View(640, 360, tilt_deg=8.0, k1=-0.28, k2=0.05),
    "upside down": View(640, 360, tilt_deg=5.0, roll_deg=181.0, k1=0.05),
}


def _project(camera: dict[str, Any], place: tuple[float, float, float]) -> np.ndarray[Any, Any]:
    R, t = np.array(camera["R"]), np.array(camera["t"])
    K, d = np.array(camera["K"]), np.array(camera["distortion"])
    px, _ = cv2.projectPoints(np.array([place], float), cv2.Rodrigues(R)[0], t, K, d)
    return np.asarray(px.reshape(2))


def _blob(picture: np.ndarray[Any, Any], near: np.ndarray[Any, Any], reach: int) -> np.ndarray[Any, Any]:
    """Centroid of what is bright within `reach` pixels, weighted by how bright it is over the dark cloth."""
    x0, y0 = np.round(near).astype(int) - reach
    w = picture[y0 : y0 + 2 * reach + 1, x0 : x0 + 2 * reach + 1].max(axis=2).astype(float)
    w = np.clip((w - 70) / 60, 0, 1)
    gy, gx = np.mgrid[: w.shape[0], : w.shape[1]]
    assert w.sum() > 20
    return np.array([x0 + (gx * w).sum() / w.sum(), y0 + (gy * w).sum() / w.sum()])


@pytest.mark.parametrize("view", VIEWS.values(), ids=VIEWS.keys())
def test_balls_lie_where_the_truth_projects_them(view: View) -> None:
    layout: Layout = {0: (900.0, 400.0), 9: (2300.0, 1100.0), 1: (250.0, 200.0), 3: (1270.0, 900.0)}
    look = replace(PLAIN, ball_rgb=dict.fromkeys(range(9), (235, 235, 235)), disc=0.0)
    scene = Scene(NINE, view, look, layout)
    picture, t = render(scene, 0.0), truth(scene)
    for n, (x, y) in layout.items():
        at = _project(t["camera"], (x, y, NINE.radius_mm))
        assert np.allclose(at, t["rests"][0]["px"][str(n)], atol=0.01)
        assert np.hypot(*(_blob(picture, at, 14) - at)) < 0.35


def test_sights_lie_on_eighths() -> None:
    scene = Scene(
        NINE,
        replace(VIEWS["tilted"], width=1280, height=720),
        replace(PLAIN, wood=(40, 30, 20)),
        {0: (900, 400)},
    )
    picture, camera = render(scene, 0.0), truth(scene)["camera"]
    for k in (1, 3, 6):
        at = _project(camera, (2540 * k / 8, -93.7, RAIL_TOP_MM))
        assert np.hypot(*(_blob(picture, at, 9) - at)) < 0.6


def test_a_ball_on_the_near_cushion_is_partly_hidden() -> None:
    """By hand: the sight line over the nose passes the ball's centre at a distance that leaves a segment out."""
    low = View(640, 360, tilt_deg=35.0, from_deg=270.0, k1=0.0, k2=0.0)
    r, touch, nose = NINE.radius_mm, touch_mm(NINE), NINE.nose_height_mm
    stage = Stage(Scene(NINE, low, PLAIN, {0: (900.0, touch)}))
    ball = stage.balls_at(0.0)[0]
    free = replace(stage.drawer, bed=replace(stage.bed, opening=np.ones_like(stage.bed.opening)))
    box = (0, 0, 640, 360)
    share = float(stage.drawer.sphere(ball, box, 3)[0].sum() / free.sphere(ball, box, 3)[0].sum())
    eye = centre_mm(stage.camera)
    down = np.array([0.0 - eye[1], nose - eye[2]])
    down /= np.hypot(*down)
    off = abs(touch * down[1] - (r - nose) * down[0]) / r
    hidden = (np.arccos(off) - off * np.sqrt(1 - off**2)) / np.pi
    assert 0.05 < hidden < 0.3
    assert share == pytest.approx(1 - hidden, abs=0.05)


def _no_overlap(table: Table, layout: Layout) -> None:
    p = np.array(list(layout.values()))
    d = np.hypot(*(p[:, None] - p[None]).transpose(2, 0, 1)) + 1e6 * np.eye(len(p))
    assert d.min() > table.ball_diameter_mm - 2e-3


@pytest.mark.parametrize("name", TABLES)
def test_layouts_never_overlap(name: str) -> None:
    table, rng = TABLES[name], np.random.default_rng(5)
    for _ in range(12):
        layout = random_layout(rng, table, 16)
        assert len(layout) == 16
        _no_overlap(table, layout)
    racked = rack(rng, table)
    assert len(racked) == 14
    _no_overlap(table, racked)


def test_a_break_keeps_balls_apart_and_on_the_table() -> None:
    rng = np.random.default_rng(8)
    layout = {**rack(rng, NINE), 0: (600.0, 700.0)}
    m = simulate(NINE, layout, -2.0, 6.0)
    _no_overlap(NINE, m.after)
    assert set(m.after) | set(m.drops) == set(layout)
    p = np.array(list(m.after.values()))
    assert (p > -60).all() and (p < [2600, 1330]).all()
    assert sum(e["kind"] == "ball" for e in m.events) >= 14


def test_a_centre_hit_keeps_five_sevenths() -> None:
    """A sphere struck at its centre ends its slide with 5/7 of its speed (textbook mechanics, solid sphere)."""
    m = simulate(NINE, {0: (200.0, 635.0)}, 0.0, 1.4, tip_b=0.0)
    path = m.paths[0]
    v = np.diff(path[:, 1]) / np.diff(path[:, 0])
    slide_s = 2 / 7 * 1400 / 1960
    k = int((slide_s + 0.01) * 1000)
    assert v[k] == pytest.approx(5 / 7 * 1400 - SLOWING * slide_s, rel=0.02)


def test_rolling_ball_runs_half_the_square_of_its_speed_over_its_slowing() -> None:
    m = simulate(NINE, {0: (200.0, 635.0)}, 0.0, 0.5, tip_b=0.4)
    assert m.after[0][0] - 200 == pytest.approx(500**2 / (2 * SLOWING), rel=0.01)


def test_stun_leaves_along_the_tangent() -> None:
    """Equal balls, no roll: the balls part at a right angle (common practice: the tangent line)."""
    layout = {0: (600.0, 600.0), 1: (700.0, 600.0 + 28.0)}
    m = simulate(NINE, layout, 0.0, 2.5, tip_b=0.0)
    hit = next(e for e in m.events if e["kind"] == "ball")["t"]

    def way(n: int) -> np.ndarray[Any, Any]:
        p = m.paths[n]
        k = int(np.searchsorted(p[:, 0], hit)) + 1
        return np.asarray(p[k + 2, 1:] - p[k, 1:])

    a, b = way(0), way(1)
    angle = np.degrees(np.arccos(a @ b / np.hypot(*a) / np.hypot(*b)))
    assert angle == pytest.approx(90, abs=6)
    # half-ball hits are defined by the offset: fullness is 1 - offset / diameter
    assert m.fullness == pytest.approx(1 - 28.0 / NINE.ball_diameter_mm, abs=0.01)
    assert m.first_hit == 1


def _filmed(size: tuple[int, int] = (640, 360)) -> Scene:
    motion = simulate(NINE, {0: (700.0, 500.0), 5: (1800.0, 800.0)}, 15.0, 2.0)
    motion = replace(motion, after=motion.after)
    return Scene(
        NINE,
        View(*size, tilt_deg=4.0),
        replace(PLAIN, noise=1.0),
        motion.before,
        (Shot(0.3, motion),),
        duration_s=1.0,
    )


def test_a_moving_ball_is_seen_at_the_middle_of_the_exposure() -> None:
    scene = replace(_filmed((960, 540)), look=replace(PLAIN, exposure_s=1 / 60))
    picture, t = render(scene, 0.5), truth(scene)
    path = np.array(t["shots"][0]["cue_path"])
    mid = 0.5 + 1 / 120
    at = _project(
        t["camera"], (np.interp(mid, path[:, 0], path[:, 1]), np.interp(mid, path[:, 0], path[:, 2]), 28.575)
    )
    assert np.hypot(*(_blob(picture, at, 22) - at)) < 0.6


@pytest.mark.parametrize("rotation", [0, 90, 180])
def test_clip_comes_back_whole_and_upright(tmp_path: Path, rotation: int) -> None:
    scene, path = _filmed(), tmp_path / "clip.mp4"
    times = write_clip(scene, path, fps=15, bitrate=3_000_000, rotation=rotation)
    with open_footage(path) as footage:
        assert footage.has_sound
        frames = [(f.t_s, f.bgr() if k in (0, 9) else None) for k, f in enumerate(footage.frames())]
        sound = footage.sound(0.25, 0.35)
        quiet = footage.sound(0.05, 0.25)
    assert len(frames) == len(times) == 15
    assert np.allclose([t for t, _ in frames], times, atol=1e-3)
    for k in (0, 9):
        back, want = frames[k][1], render(scene, float(times[k]))
        assert back is not None and back.shape == want.shape
        assert np.abs(back.astype(int) - want).mean() < 4
    assert np.abs(sound).max() > 5 * np.abs(quiet).max()


def test_uneven_frames_keep_their_times(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    times = write_clip(_filmed(), path, fps=30, vfr=True, sound=False)
    with open_footage(path) as footage:
        got = [f.t_s for f in footage.frames()]
    assert len(got) == len(times) < 30
    assert np.allclose(got, times, atol=1e-3)
    assert np.ptp(np.diff(got)) > 0.01


def test_truth_tells_one_story() -> None:
    rng = np.random.default_rng(21)
    scene = random_scene(rng, "easy", shots=4, size=(640, 360), racked=True)
    t = truth(scene)
    assert len(t["shots"]) >= 3
    for s in t["shots"]:
        assert s["cue_path"][0][0] == pytest.approx(s["strike_s"])
        assert np.allclose(s["cue_path"][0][1:], s["layout_before"]["0"], atol=0.02)
        if not s["scratch"]:
            assert np.allclose(s["cue_path"][-1][1:], s["layout_after"]["0"], atol=0.02)
        gone = {str(p["number"]) for p in s["pocketed"]}
        assert set(s["layout_before"]) == set(s["layout_after"]) | gone
        _no_overlap(scene.table, {int(k): tuple(v) for k, v in s["layout_after"].items()})
    for a, b in zip(t["rests"], t["rests"][1:], strict=False):
        assert a["t0"] < a["t1"] <= b["t0"]
    assert t["duration"] > t["shots"][-1]["rest_s"]


def test_scratch_is_followed_by_a_placement() -> None:
    layout = {0: (600.0, 635.0), 1: (1200.0, 300.0)}
    script = Script(np.random.default_rng(3), NINE, people=True)
    shots, placed, acts, end = script.play({1: layout[1]}, 1)
    assert placed[0].ball == 0 and placed[0].t1_s < shots[0].strike_s
    assert any(a.kind == "hand" for a in acts) and end > shots[0].rest_s
    scene = Scene(NINE, View(640, 360), PLAIN, {1: layout[1]}, tuple(shots), tuple(placed), tuple(acts), end)
    assert "0" not in truth(scene)["rests"][0]["layout"]
    assert "0" in truth(scene)["rests"][1]["layout"]


@pytest.mark.parametrize("difficulty", ["easy", "middling", "hard"])
def test_made_up_scenes_are_repeatable_and_show_the_table(difficulty: Any) -> None:
    def once() -> tuple[Scene, np.ndarray[Any, Any]]:
        scene = random_scene(np.random.default_rng(77), difficulty, size=(640, 360))
        return scene, render(scene, 0.1)

    (scene, a), (_, b) = once(), once()
    assert a.shape == (360, 640, 3) and a.dtype == np.uint8
    assert (a == b).all()
    assert 8 < a.mean() < 235 and a.std() > 8
    corners = np.array(truth(scene)["camera"]["corners_px"])
    assert (corners > -60).all() and (corners < [700, 420]).all()
