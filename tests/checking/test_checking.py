"""Verdicts on made-up scenes that were harmed, and none on good ones; single measures on pictures of known truth."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from lessonkit.checking import measures
from lessonkit.checking.check import Checked, check, ring_mask
from lessonkit.checking.limits import LIMITS
from lessonkit.checking.picture import draw
from lessonkit.checking.smear import exposure_s
from lessonkit.checking.verdict import as_json, judge
from lessonkit.errors import FootageError
from tests.running import ROOT
from tests.scenes import (
    TABLES,
    Look,
    Scene,
    View,
    make_camera,
    random_layout,
    random_scene,
    render,
    write_clip,
)

BASE = Scene(TABLES["9ft"], View(), Look(), random_layout(np.random.default_rng(5), TABLES["9ft"], 9), seed=2)


def checked(tmp_path: Path, look: Any = None, view: Any = None, **film: Any) -> Checked:
    scene = replace(BASE, look=replace(BASE.look, **(look or {})), view=replace(BASE.view, **(view or {})))
    path = tmp_path / "clip.mp4"
    write_clip(replace(scene, duration_s=0.5), path, sound=False, **film)
    return check(path, size="9ft")


def test_a_good_clip_is_usable_and_its_balls_are_named(tmp_path: Path) -> None:
    done = checked(tmp_path)
    assert done.report.verdict.grade == "good" and not done.report.verdict.troubles
    assert [b.number for b in done.report.balls] == sorted(BASE.layout)
    for b in done.report.balls:
        assert b.number is not None and np.hypot(*np.subtract(b.place, BASE.layout[b.number])) < 5
    assert draw(done).shape[1] == 1920
    assert as_json(done.report)["verdict"] == "usable"


@pytest.mark.parametrize(
    ("look", "view", "film", "keys"),
    [
        ({"brightness": 0.2, "noise": 5}, {}, {}, {"white"}),
        ({"blur_px": 6}, {}, {}, {"blur_mm"}),
        ({}, {"tilt_deg": 45}, {}, {"angle_deg"}),
        ({"flicker": 0.15}, {}, {}, {"flicker"}),
        ({}, {}, {"fps": 18}, {"fps"}),
        ({}, {"fill": 1.3}, {}, {"table"}),
    ],
)
def test_a_harmed_clip_is_told_what_is_wrong(
    tmp_path: Path, look: Any, view: Any, film: Any, keys: set[str]
) -> None:
    verdict = checked(tmp_path, look, view, **film).report.verdict
    assert verdict.grade == "bad"
    assert keys <= {f.key for f in verdict.troubles}
    assert all(f.advice for f in verdict.troubles)


def test_nothing_measured_is_no_trouble() -> None:
    verdict = judge({})
    assert verdict.grade == "good" and {f.grade for f in verdict.findings} == {"unknown"}


def test_blur_grows_with_the_blur() -> None:
    rng = np.random.default_rng(1)
    sharp = np.full((480, 640), 60, np.uint8)
    for x, y in rng.uniform((60, 60), (580, 420), (40, 2)).astype(int):
        cv2.circle(sharp, (int(x), int(y)), 14, 200, -1, cv2.LINE_AA)
    read = [measures.edge_blur_px(cv2.GaussianBlur(sharp, (0, 0), s)) for s in (1.0, 2.0, 4.0)]
    for got, true in zip(read, (1.0, 2.0, 4.0), strict=True):
        assert got is not None and 0.4 * true < got < 1.4 * true


@pytest.mark.parametrize("seed", [7001, 7003, 7005])
def test_blur_is_told_by_the_balls(seed: int) -> None:
    """On made-up tables with pools of light, grain and noise: what the renderer blurred by, told within a pixel, though
    all edges of the table together would tell up to half as much again."""
    kind = ("easy", "middling", "hard")[seed % 3]
    scene = random_scene(np.random.default_rng(seed), kind, 0, size=(1280, 720), people=False)  # type: ignore[arg-type]
    camera = make_camera(scene.view, scene.table)
    read = []
    for blur_px in (0.5, 1.5, 3.0):
        picture = render(replace(scene, look=replace(scene.look, blur_px=blur_px)), 0.0)
        grey = np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)
        rings = ring_mask(camera, scene.table, list(scene.layout.values()), grey.shape)
        told = measures.edge_blur_px(grey, rings)
        assert told is not None and abs(told - blur_px) < 1.0
        read.append(told)
    assert read == sorted(read)


@pytest.mark.parametrize("open_s", [1 / 30, 1 / 60])
def test_the_shutter_is_told_from_a_rolling_ball(open_s: float) -> None:
    """Discs added up in linear light while the shutter is open, as light adds up on a sensor."""
    radius, speed = 6.0, 420.0  # px, px a second: 2 m/s
    y, x = np.mgrid[:200, :640]
    times = np.arange(0, 1.2, 1 / 30)
    pictures = []
    for t in times:
        moments = t + open_s * (np.arange(24) + 0.5) / 24
        cover = np.mean(
            [np.clip(radius + 0.5 - np.hypot(x - 40 - speed * m, y - 100), 0, 1) for m in moments], axis=0
        )
        light = 0.08 + 0.7 * cover
        pictures.append(np.round(255 * (1.055 * light ** (1 / 2.4) - 0.055)).astype(np.uint8))
    told = exposure_s(pictures, times, np.ones((200, 640), bool), radius)
    assert told is not None and told[0] == pytest.approx(open_s, rel=0.25)


def test_noise_and_missing_frames() -> None:
    rng = np.random.default_rng(2)
    a, b = (np.clip(rng.normal(120, 5, (300, 300)), 0, 255).astype(np.uint8) for _ in range(2))
    assert measures.noise_levels(a, b, np.ones(a.shape, bool)) == pytest.approx(5, rel=0.05)
    times = np.delete(np.arange(40) / 30, [7, 20])
    assert measures.uneven_share(times) == pytest.approx(2 / 40)


def test_the_page_on_filming_has_every_limit() -> None:
    page = (ROOT / "docs" / "filming.md").read_text()
    for limit in LIMITS:
        assert limit.label in page and limit.shown(limit.care) in page and limit.advice in page


@pytest.mark.parametrize("coding_noise", [0, 2])
def test_repeated_frames_are_counted(coding_noise: int) -> None:
    """A ball that runs on, in 40 frames; then every second frame shown twice, coded once more with small errors."""
    rng = np.random.default_rng(4)
    film = []
    for k in range(40):
        p = np.full((120, 200), 70, np.uint8)
        cv2.circle(p, (20 + 4 * k, 60), 9, 220, -1, cv2.LINE_AA)
        film.append(cv2.add(p, rng.integers(0, 3, p.shape, np.uint8)))
    assert measures.repeated_share(film) == 0.0
    twice = [film[k - k % 2] for k in range(40)]
    coded = [cv2.add(p, rng.integers(0, coding_noise + 1, p.shape, np.uint8)) for p in twice]
    assert measures.repeated_share(coded) == pytest.approx(0.5, abs=0.03)


def _swaying(shift_px: float, someone: bool) -> list[np.ndarray]:
    """A table of 640 by 360 pixels that jumps by so much in mid-stretch, and somebody dark who leans in for half of it."""
    rng = np.random.default_rng(3)
    base = cv2.GaussianBlur(rng.integers(40, 90, (400, 700), np.uint8), (0, 0), 3.0)
    cv2.rectangle(base, (60, 50), (640, 350), 150, 8)
    for x, y in rng.uniform((90, 80), (610, 320), (12, 2)).astype(int):
        cv2.circle(base, (int(x), int(y)), 6, 220, -1, cv2.LINE_AA)
    pictures = []
    for k in range(30):
        move = np.array([[1.0, 0.0, -30.0 + (shift_px if k > 5 else 0.0)], [0.0, 1.0, -20.0]])
        picture = cv2.warpAffine(base, move, (640, 360))
        if someone and k > 5:
            cv2.ellipse(picture, (150 + 9 * k, 300), (130, 200), 0, 0, 360, 235, -1)
        pictures.append(picture)
    return pictures


@pytest.mark.parametrize(("shift_px", "someone"), [(0.0, False), (0.0, True), (1.5, False), (1.5, True)])
def test_somebody_who_leans_in_does_not_move_the_camera(shift_px: float, someone: bool) -> None:
    """What a person covers is left out; a camera that moved is told all the same."""
    inside = np.ones((360, 640), bool)
    told = measures.sway_px(_swaying(shift_px, someone), 1.0, inside)
    assert told is not None and abs(told - shift_px) < 0.25


def test_pictures_too_small_for_a_ball_are_refused_at_once(tmp_path: Path) -> None:
    """Before a table is sought in them, which takes long where there is none."""
    from tests.publish import filmed

    clip = tmp_path / "tiny.mp4"
    filmed.film(clip, filmed.Clip(160, 90))
    with pytest.raises(FootageError, match=r"tiny\.mp4 is 160 x 90 pixels, too small"):
        check(clip)
