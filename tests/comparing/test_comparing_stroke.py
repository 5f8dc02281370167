"""A stroke read back from simulated tracks with the noise of a camera: the fit is checked, not the laws."""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.comparing.stroke import estimate_stroke
from lessonkit.model import Event, Layout, SeenShot, Table
from lessonkit.physics.impacts import strike
from lessonkit.physics.simulate import simulate

TABLE = Table("9ft", 2540.0, 1270.0)


def filmed(
    layout: Layout, aim: float, speed: float, up: float, left: float, noise_mm: float = 1.0
) -> SeenShot:
    """A simulated shot as 30 pictures a second show it."""
    run = simulate(layout, strike(*layout[0], aim, speed, up, left, TABLE.radius_mm), TABLE)
    rng = np.random.default_rng(3)
    t = np.arange(0.0, run.end_s, 1 / 30)
    places = np.array([run.place(0, float(s)) for s in t]) + rng.normal(0, noise_mm, (len(t), 2))
    events = tuple(
        Event(1.0 + h.t_s, h.kind, h.balls, h.cushion, h.pocket)  # type: ignore[arg-type]
        for h in run.hits
        if not h.jaw
    )
    return SeenShot(
        1,
        1.0,
        1.0 + run.end_s,
        layout,
        run.rest,
        (),
        np.column_stack([t + 1.0, places]),
        {},
        events,
        (),
        None,
    )


@pytest.mark.parametrize(
    ("aim", "speed", "up"), [(37.0, 1.5, 0.3), (37.0, 2.4, -0.35), (36.0, 1.0, 0.1), (39.5, 1.8, 0.0)]
)
def test_speed_and_height_come_back(aim: float, speed: float, up: float) -> None:
    layout = {0: (1500.0, 500.0), 9: (2000.0, 900.0)}
    got = estimate_stroke(filmed(layout, aim, speed, up, 0.0), TABLE)
    assert got.speed_mps == pytest.approx(speed, rel=0.06)
    if got.tip_up is not None:
        assert got.tip_up == pytest.approx(up, abs=0.12)


def test_side_is_told_only_where_a_cushion_shows_it() -> None:
    layout = {0: (600.0, 600.0)}
    got = estimate_stroke(filmed(layout, 60.0, 1.5, 0.1, 0.35), TABLE)
    assert got.tip_left == pytest.approx(0.35, abs=0.12)
    slow = estimate_stroke(filmed(layout, 60.0, 0.35, 0.1, 0.35), TABLE)  # stops before any cushion
    assert slow.tip_left is None


def test_too_little_to_tell() -> None:
    seen = filmed({0: (600.0, 600.0)}, 60.0, 1.5, 0.1, 0.0)
    none = SeenShot(1, 1.0, 2.0, seen.layout_before, {}, (), seen.cue_path[:2], {}, (), (), None)
    got = estimate_stroke(none, TABLE)
    assert (got.speed_mps, got.tip_up, got.tip_left) == (None, None, None)
