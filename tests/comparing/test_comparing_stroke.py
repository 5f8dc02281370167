"""A stroke read back from simulated tracks with the noise of a camera: the fit is checked, not the laws."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.comparing.stroke import estimate_stroke
from lessonkit.model import Event, Layout, SeenShot, Table
from lessonkit.physics.impacts import strike
from lessonkit.physics.laws import DEFAULT
from lessonkit.physics.simulate import simulate
from tests.comparing.made import session, struck
from tests.comparing.strayed import WELL_KNOWN

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


def test_standard_errors_are_honest() -> None:
    """Over made-up shots with a camera's noise about two thirds lie within one error; hardly any is far out."""
    off: dict[str, list[float]] = {"speed": [], "up": [], "aim": []}
    for seed in range(6):
        for k, shot in enumerate(session(DEFAULT, 70 + seed, shots=3)):
            true = struck(70 + seed, 3)[k]
            got = estimate_stroke(shot, TABLE, DEFAULT, WELL_KNOWN)
            if got.speed_mps is not None and got.speed_error_mps is not None:
                off["speed"].append((got.speed_mps - true.speed_mps) / got.speed_error_mps)
            if got.tip_up is not None and got.tip_up_error is not None:
                off["up"].append((got.tip_up - true.tip_up) / got.tip_up_error)
            if got.aim_deg is not None and got.aim_error_deg is not None:
                off["aim"].append(((got.aim_deg - true.aim_deg + 180) % 360 - 180) / got.aim_error_deg)
    for name, values in off.items():
        z = np.abs(values)
        assert len(z) >= 12, name
        assert np.mean(z < 1) >= 0.5 and np.mean(z < 2.5) >= 0.8, (name, sorted(z))


odd = st.floats(-5e3, 5e3) | st.sampled_from([float("nan"), float("inf"), 0.0])


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.tuples(st.floats(0, 6), odd, odd), max_size=30),
    st.lists(st.tuples(st.floats(0, 7), st.sampled_from(["ball", "cushion", "pocket"])), max_size=4),
    st.tuples(odd, odd),
)
def test_odd_paths_never_raise(rows: list[Any], events: list[Any], ball: tuple[float, float]) -> None:
    track = np.array(sorted(rows, key=lambda r: r[0]), float).reshape(-1, 3)
    met = tuple(Event(t, k, (0, 1) if k == "ball" else (0,)) for t, k in sorted(events))
    shot = SeenShot(1, 0.5, 6.0, {0: (600.0, 600.0), 1: ball}, {}, (), track, {1: track[1:]}, met, (), None)
    with np.errstate(all="ignore"):
        got = estimate_stroke(shot, TABLE)
    for value, error in ((got.speed_mps, got.speed_error_mps), (got.tip_left, got.tip_left_error)):
        assert (value is None) == (error is None)
        assert value is None or np.isfinite(value)
