"""Stills without people: somebody who walks by vanishes, somebody who stays is replaced by table and balls."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from lessonkit.footage.reader import open_footage
from lessonkit.lesson.cursor import Cursor
from lessonkit.lesson.stills import Stills, rests
from lessonkit.model import Analysis
from lessonkit.table.camera import project
from tests.publish import filmed


@dataclass(frozen=True)
class Someone:
    """A dark shape over the table: where it is in the picture, by time."""

    boxes: tuple[tuple[float, float, tuple[int, int, int, int]], ...]
    """From, to (seconds), and the pixels' box."""


def shoot(folder: Path, someone: Someone, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, Analysis]:
    """A clip with somebody in it; noise-free."""
    plain = filmed.scene

    def peopled(cam, width, height, t_s, **how):  # type: ignore[no-untyped-def]
        picture = plain(cam, width, height, t_s, flash=False)
        for start, end, (x0, y0, x1, y1) in someone.boxes:
            if start <= t_s < end:
                picture[y0:y1, x0:x1] = (30, 25, 20)
        return picture

    monkeypatch.setattr(filmed, "scene", peopled)
    info, cam = filmed.film(folder / "clip.mp4", filmed.Clip(sound=False))
    monkeypatch.setattr(filmed, "scene", plain)
    return folder / "clip.mp4", filmed.without_clear_times(filmed.analysis(info, cam))


def differs(got: np.ndarray, cam, t_s: float) -> float:  # type: ignore[no-untyped-def]
    """Share of pixels on the table that are not as without anybody."""
    bare = filmed.scene(cam, 640, 360, t_s, flash=False)
    corners = np.round(project(cam, [(0, 0), (2540, 0), (2540, 1270), (0, 1270)])).astype(np.int32)
    table = cv2.fillPoly(np.zeros((360, 640), np.uint8), [corners], 1) > 0
    return float((np.abs(got.astype(int) - bare).max(-1)[table] > 40).mean())


def test_somebody_walking_by_vanishes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In front for a third of the rest."""
    path, analysis = shoot(tmp_path, Someone(((0.5, 1.0, (150, 60, 260, 300)),)), monkeypatch)
    with open_footage(path) as footage:
        still = Stills(footage, analysis).before(analysis.shots[0].seen).to_bgr()
    assert differs(still, analysis.camera, 1.0) < 0.002


def test_somebody_who_stays_is_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In front during the whole rest before the shot, over a ball that lies open after it."""
    x, y = np.round(project(filmed.camera(), [filmed.OTHER], 28.6)[0]).astype(int)
    path, analysis = shoot(tmp_path, Someone(((0.0, 1.6, (x - 40, y - 40, x + 40, y + 90)),)), monkeypatch)
    with open_footage(path) as footage:
        still = Stills(footage, analysis).before(analysis.shots[0].seen).to_bgr()
    assert differs(still, analysis.camera, 1.0) < 0.002
    assert still[y, x, 2] > 150  # the red ball is there


def test_a_named_clear_moment_is_taken_as_it_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The frame of that time, nothing mended."""
    path, analysis = shoot(tmp_path, Someone(((0.0, 0.6, (100, 100, 300, 200)),)), monkeypatch)
    seen = replace(analysis.shots[0].seen, clear_before_s=0.3)
    with open_footage(path) as footage:
        dirty = Stills(footage, replace(analysis, shots=(replace(analysis.shots[0], seen=seen),))).before(
            seen
        )
        clean = Stills(footage, analysis).before(analysis.shots[0].seen)
    assert differs(dirty.to_bgr(), analysis.camera, 0.3) > 0.1
    assert differs(clean.to_bgr(), analysis.camera, 0.3) < 0.01


def test_rests_lie_between_the_shots() -> None:
    """From the start to the strike, and from the last rest to the footage's end."""
    from lessonkit.model import Footage

    a = filmed.analysis(Footage("c.mp4", 640, 360, 30.0, 120, 4.0), filmed.camera())
    assert [(r.start_s, r.end_s) for r in rests(a)] == [(0.0, filmed.STRIKE_S), (filmed.REST_S, 4.0)]


def test_the_cursor_gives_the_nearest_frame_in_any_order(tmp_path: Path) -> None:
    """Ascending, jumping and going back, beyond both ends, on a clip of variable rate."""
    times = np.array(filmed.VARIABLE_TIMES_S)
    filmed.film(tmp_path / "clip.mp4", filmed.Clip(times_s=filmed.VARIABLE_TIMES_S, sound=False))
    wanted = [0.0, 0.01, 0.02, 1.3, 1.31, 3.9, 0.4, 2.2, 9.0, -1.0, 1.0]
    with open_footage(tmp_path / "clip.mp4") as footage:
        cursor = Cursor(footage)
        for t in wanted:
            got = cursor.at(t).t_s
            assert abs(got - t) == pytest.approx(np.abs(times - t).min(), abs=1e-3)
