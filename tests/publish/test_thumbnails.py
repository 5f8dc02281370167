"""Thumbnails: the right shots, the right size, few words that can be read."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from lessonkit.lesson import style
from lessonkit.publish import thumbnails
from lessonkit.publish.thumbnails import chosen
from tests.lesson import made
from tests.publish import filmed


def test_the_furthest_and_the_nearest_shot_are_shown() -> None:
    """A miss is further off than any landing; without a comparison there is the title only."""
    shots = [made.shot(k, 10.0 * k, 10.0 * k + 3, "Nine.") for k in (1, 2, 3)]
    off = [(True, 300.0), (False, 10.0), (True, 80.0)]
    shots = [
        replace(s, comparison=replace(made.COMPARISON, called_made=m, landing_error_mm=mm))
        for s, (m, mm) in zip(shots, off, strict=True)
    ]
    found = {t.name: t for t in chosen(made.analysis(*shots))}
    assert {n: t.shot.seen.number for n, t in found.items()} == {"title": 2, "furthest": 2, "nearest": 3}
    assert (found["furthest"].big, found["nearest"].big) == ("Missed", "8 cm off")
    assert [t.name for t in chosen(made.analysis(made.shot(1, 5.0, 9.0)))] == ["title"]
    assert chosen(made.analysis()) == ()


@pytest.mark.parametrize("clip", [filmed.Clip(), filmed.Clip(360, 640)], ids=["lying", "upright"])
def test_pictures_are_1280_by_720_with_both_ways(tmp_path: Path, clip: filmed.Clip) -> None:
    """Whatever the footage's shape; both colours of ways are in it, and no big word is more than four words."""
    info, cam = filmed.film(tmp_path / "clip.mp4", clip)
    a = filmed.analysis(info, cam)
    written = thumbnails.write(tmp_path / "clip.mp4", a, tmp_path)
    assert {p.name for p in written} == {"title.png", "furthest.png"}
    for path in written:
        picture = cv2.imread(str(path))
        assert picture.shape == (720, 1280, 3)
        for colour in (style.ORANGE, style.SKY_BLUE):
            near = np.abs(picture.astype(int) - style.bgr(colour)).max(axis=2) < 30
            assert near.sum() > 200  # of a short way across an upright picture, less the gaps of its dashes
    assert all(len(t.big.split()) <= 4 for t in chosen(a))
