"""What an analysis says of the footage itself: nothing of good footage, and of spoilt footage what is wrong."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lessonkit.checking.cautions import cautions
from lessonkit.footage.reader import open_footage
from lessonkit.model import Layout, Seen, SeenShot
from tests.scenes import TABLES, Look, Scene, View, make_camera, random_layout, write_clip

BASE = Scene(TABLES["9ft"], View(), Look(), random_layout(np.random.default_rng(5), TABLES["9ft"], 9), seed=2)


def at_rest(layout: Layout) -> SeenShot:
    """A shot in which nothing but the cue ball, not among these, moved."""
    return SeenShot(1, 0.1, 0.9, layout, layout, (), np.zeros((0, 3)), {}, (), (), None)


def said(tmp_path: Path, look: Any, film: Any) -> tuple[str, ...]:
    scene = replace(BASE, look=replace(BASE.look, **look), duration_s=1.0)
    path = tmp_path / "clip.mp4"
    write_clip(scene, path, sound=False, **film)
    with open_footage(path) as footage:
        shots = (at_rest(scene.layout),)
        seen = Seen(footage.info, scene.table, make_camera(scene.view, scene.table), shots)
    return cautions(path, seen)


def test_good_footage_needs_no_caution(tmp_path: Path) -> None:
    assert said(tmp_path, {}, {}) == ()


@pytest.mark.parametrize(
    ("look", "film", "trouble"),
    [
        ({"brightness": 0.3}, {}, "the picture is too dark"),
        ({"flicker": 0.15}, {}, "the light flickers"),
        ({"blur_px": 6.0}, {}, "the picture is out of focus"),
        ({}, {"fps": 15}, "there are too few frames a second"),
        ({}, {"bitrate": 40_000}, "the footage is heavily compressed"),
    ],
)
def test_spoilt_footage_is_told_of(tmp_path: Path, look: Any, film: Any, trouble: str) -> None:
    lines = said(tmp_path, look, film)
    assert any(line.startswith(trouble) for line in lines)
    assert all("Next time: " in line and line.endswith(".") for line in lines)
