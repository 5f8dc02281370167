"""Geometry of play against shared/physics.toml, geometry (computed worked examples)."""

from __future__ import annotations

import tomllib
from math import cos, degrees, hypot, radians
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.model import Table
from lessonkit.planning.geometry import (
    blocked_mm,
    cut_deg,
    diamonds,
    direction_deg,
    fullness,
    ghost_ball,
    half_window_deg,
    mirror,
    mirrored,
    turn_deg,
)
from lessonkit.planning.thin import thin_path

FACTS = tomllib.loads((Path(__file__).parents[2] / "shared" / "physics.toml").read_text(encoding="utf-8"))[
    "geometry"
]
TABLE = Table("9ft", 2540.0, 1270.0)
D = TABLE.ball_diameter_mm


def test_ghost_ball_cut_and_fraction() -> None:
    g = FACTS["ghost_ball"]
    cue, ball, target = tuple(g["cue"]), tuple(g["object"]), tuple(g["pocket_aim"])
    ghost = ghost_ball(ball, target, D)
    assert ghost == pytest.approx(tuple(g["ghost"]), abs=1e-5)
    assert direction_deg(cue, ghost) == pytest.approx(g["aim_direction_deg"], abs=1e-7)
    cut = cut_deg(cue, ball, target, D)
    assert cut == pytest.approx(g["cut_deg"], abs=1e-7)
    assert fullness(cut) == pytest.approx(g["hit_fraction"], abs=1e-9)


@pytest.mark.parametrize("case", FACTS["margin"]["cases"])
def test_window_of_the_object_ball(case: dict[str, Any]) -> None:
    got = half_window_deg(case["opening_mm"], D, case["object_distance_mm"], 0.0)
    assert got == pytest.approx(case["object_half_window_deg"], rel=1e-8)


@pytest.mark.parametrize("case", FACTS["margin"]["opening_by_angle"])
def test_opening_off_the_axis(case: dict[str, Any]) -> None:
    got = half_window_deg(case["opening_mm"], D, 1000.0, case["off_axis_deg"])
    assert got == pytest.approx(half_window_deg(case["effective_mm"], D, 1000.0, 0.0), rel=1e-8)


def test_bank_by_mirror_image() -> None:
    m = FACTS["mirror"]
    image = mirror(tuple(m["target"]), "left", TABLE, TABLE.radius_mm)
    assert image == pytest.approx(tuple(m["mirrored_target"]))
    x0, y0 = m["start"]
    x = x0 + (image[0] - x0) * (m["mirror_line_y_mm"] - y0) / (image[1] - y0)
    assert x == pytest.approx(m["hit_x_mm"], rel=1e-8)
    assert 90 - direction_deg((x0, y0), image) == pytest.approx(m["angle_from_normal_deg"], rel=1e-8)
    assert diamonds(x, TABLE.length_mm) == pytest.approx(m["diamond_at_ball_centre"], rel=1e-8)


def test_two_cushions_are_mirrored_last_first() -> None:
    both = mirrored((500.0, 300.0), ("foot", "left"), TABLE, 28.575)
    assert both == pytest.approx((2 * (2540 - 28.575) - 500, 2 * (1270 - 28.575) - 300))


def test_a_ball_a_diameter_off_the_line_is_clear() -> None:
    # source: geometry.obstruction, a path is clear if every other centre is at least D from it
    least = FACTS["obstruction"]["path_clear_if_centre_distance_at_least_mm"]
    for off, clear in ((least + 0.01, True), (least - 0.01, False)):
        layout = {0: (0.0, 0.0), 5: (500.0, off)}
        assert (blocked_mm((0.0, 0.0), (1000.0, 0.0), layout, (0,), D) <= 0) == clear


point = st.tuples(st.floats(50, 2490), st.floats(50, 1220))


@settings(deadline=None)
@given(point, point, st.sampled_from(["head", "foot", "right", "left"]))
def test_mirroring_twice_is_nothing_and_keeps_distances(p: tuple, q: tuple, name: Any) -> None:  # type: ignore[type-arg]
    a, b = mirror(p, name, TABLE, 28.0), mirror(q, name, TABLE, 28.0)
    assert mirror(a, name, TABLE, 28.0) == pytest.approx(p)
    assert hypot(a[0] - b[0], a[1] - b[1]) == pytest.approx(hypot(p[0] - q[0], p[1] - q[1]), abs=1e-6)


@settings(deadline=None)
@given(st.floats(-720, 720), st.floats(-720, 720))
def test_turn_is_the_short_way_round(a: float, b: float) -> None:
    t = turn_deg(a, b)
    assert -180 <= t <= 180
    assert (
        degrees(radians(a + t)) % 360 == pytest.approx(b % 360, abs=1e-6)
        or cos(radians(a + t - b)) > 1 - 1e-9
    )


@settings(deadline=None)
@given(st.lists(point, min_size=2, max_size=40))
def test_thinned_path_keeps_its_ends_and_points(path: list) -> None:  # type: ignore[type-arg]
    thin = thin_path(path, 5.0)
    assert thin[0] == path[0] and thin[-1] == path[-1]
    assert set(thin) <= set(path)
