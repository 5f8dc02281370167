"""Dim and noisy pictures: edges count by the light there is, and noise is smoothed away; no more than that."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from lessonkit.seeing.bedview import VIEW_MM_PER_PX, BedView
from lessonkit.seeing.cloth import bare_table, contrast_of
from lessonkit.seeing.discs import find_discs
from tests.scenes import TABLES, Look, Scene, View, make_camera, random_layout
from tests.scenes.look import CLOTHS
from tests.seeing.filming import frame

TIMES_S = (0.0, 0.1, 0.2, 0.3)


def scene(brightness: float, noise: float) -> Scene:
    """Nine balls on blue cloth."""
    layout = random_layout(np.random.default_rng(3), TABLES["9ft"], 9)
    look = Look(cloth=CLOTHS["blue"], brightness=brightness, noise=noise)
    return Scene(TABLES["9ft"], View(1280, 720, tilt_deg=8.0), look, layout, seed=3)


def seen(brightness: float, noise: float) -> tuple[int, int, BedView]:
    """How many of the balls are discs in the first picture, how many discs are none, and the view."""
    made = scene(brightness, noise)
    frames = [frame(made, t) for t in TIMES_S]
    table = made.table
    bare = bare_table(BedView.of(make_camera(made.view, table), table, VIEW_MM_PER_PX), frames)
    view = bare.view
    picture = view.warp_frame(frames[0])
    discs = find_discs(
        picture, bare.foreign(picture), view.radius_px, slant=view.slant, contrast=bare.contrast
    )
    bed = view.table_mask()
    places = view.to_mm([(d.x_px, d.y_px) for d in discs if bed[round(d.y_px), round(d.x_px)]])
    true = np.array(list(made.layout.values()))
    off = np.hypot(*(places[:, None] - true[None]).transpose(2, 0, 1))
    return int((off.min(0) < 10).sum()), int((off.min(1) >= 10).sum()), view


@pytest.mark.parametrize(("brightness", "noise"), [(1.0, 0.0), (0.4, 0.0), (0.45, 5.0)])
def test_balls_are_found_in_little_light(brightness: float, noise: float) -> None:
    """All nine, and nothing else."""
    found, false, _ = seen(brightness, noise)
    assert (found, false) == (9, 0)


def test_only_noisy_pictures_are_smoothed() -> None:
    """And as much as SciPy's Gaussian filter of the same width does."""
    assert seen(1.0, 0.0)[2].calm_px == 0.0
    view = seen(0.45, 5.0)[2]
    assert view.calm_px >= 1.0
    rough = np.random.default_rng(1).normal(120, 8, (200, 200, 3)).clip(0, 255).astype(np.uint8)
    theirs = gaussian_filter(rough.astype(float), (view.calm_px, view.calm_px, 0.0))
    inner = np.s_[12:-12, 12:-12]
    ours = view.calmed(rough)[inner].astype(float)
    assert ours.std() < 0.35 * rough.std()
    assert np.abs(ours - theirs[inner]).max() < 1.5


def test_contrast_goes_with_the_light() -> None:
    """Half the values, half the contrast; a well lit picture has all of it."""
    picture = np.full((90, 160, 3), 60, np.uint8)
    picture[40:50, 60:70] = 230
    assert contrast_of([picture]) == 1.0
    assert contrast_of([(picture // 2).astype(np.uint8)]) == pytest.approx(0.575, abs=0.01)
