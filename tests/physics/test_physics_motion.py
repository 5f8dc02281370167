"""Slide, roll and spin against shared/physics.toml (B1, B2 there; Coriolis, Alciatore; computed values)."""

from __future__ import annotations

import tomllib
from math import cos, hypot, radians, sin
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lessonkit.physics.impacts import MISCUE_LIMIT, ball_speed_mps, strike
from lessonkit.physics.laws import DEFAULT, Laws
from lessonkit.physics.motion import Ball, advance, settle

FACTS = tomllib.loads((Path(__file__).parents[2] / "shared" / "physics.toml").read_text(encoding="utf-8"))
R = 28.575


def roll_from(v0: list[float], w0: list[float], laws: Laws) -> tuple[Ball, float]:
    ball = Ball(0.0, 0.0, 1000 * v0[0], 1000 * v0[1], *w0)
    settle(ball, laws, R)
    t = ball.ends
    advance(ball, t, laws)
    return ball, t


@pytest.mark.parametrize("case", FACTS["physics"]["slide"]["cases"], ids=lambda c: c["name"])
def test_slide_to_roll(case: dict[str, Any]) -> None:
    # source: shared/physics.toml, physics.slide (computed from the equations of motion)
    ball, t = roll_from(case["v0"], case["w0"], Laws(mu_slide=case["mu"]))
    assert t == pytest.approx(case["t_roll"], rel=1e-8)
    assert (ball.vx / 1000, ball.vy / 1000) == pytest.approx(tuple(case["v_roll"]), rel=1e-8, abs=1e-9)
    assert (ball.x / 1000, ball.y / 1000) == pytest.approx(tuple(case["displacement_m"]), rel=1e-8, abs=1e-9)
    # and it rolls from there: no slip is left
    assert hypot(ball.vx - R * ball.wy, ball.vy + R * ball.wx) < 1e-6


def test_a_stun_ball_rolls_at_five_sevenths() -> None:
    # source: v0 - (2/7) u0 (Alciatore; equations of motion)
    ball, _ = roll_from([1.7, 0.0], [0.0, 0.0, 0.0], DEFAULT)
    assert ball.vx == pytest.approx(1700 * 5 / 7)


def test_rolling_stops_where_the_handbook_says() -> None:
    # source: shared/physics.toml, physics.rolling
    facts = FACTS["physics"]["rolling"]
    ball = Ball(0.0, 0.0, 1000.0, 0.0, 0.0, 1000.0 / R)
    settle(ball, Laws(mu_roll=facts["mu_r"]), R)
    assert ball.ends == pytest.approx(facts["from_1_m_s_stop_time_s"], rel=1e-8)
    advance(ball, ball.ends, DEFAULT)
    assert ball.x / 1000 == pytest.approx(facts["from_1_m_s_stop_distance_m"], rel=1e-8)


def test_a_tip_at_two_fifths_rolls_at_once() -> None:
    # source: centre of percussion, 7/5 R above the cloth (Coriolis 1835; Barrow 2010)
    offset = FACTS["physics"]["ball"]["percussion_offset_above_centre_mm"] / R
    assert offset == pytest.approx(FACTS["physics"]["tip"]["immediate_roll_offset_over_R"])
    ball = strike(0, 0, 0, 2.0, offset, 0.0, R)
    assert ball.vx == pytest.approx(R * ball.wy)


def test_tip_gives_spin_up_to_the_miscue_limit() -> None:
    # source: R w / v = 2.5 b / R, limit 0.5 R (Alciatore, TP 2.1)
    facts = FACTS["physics"]["tip"]
    assert facts["max_offset_over_R"] == MISCUE_LIMIT
    for tip in (0.5, 0.7):
        ball = strike(0, 0, 0, 2.0, tip, 0.0, R)
        assert R * ball.wy / ball.vx == pytest.approx(facts["spin_ratio_at_0_5R"])
    left = strike(0, 0, 90, 2.0, 0.0, 0.3, R)
    assert left.wz < 0 and left.wx == pytest.approx(0.0)


@pytest.mark.parametrize("raised", [10.0, 30.0, 60.0, 80.0])
@pytest.mark.parametrize(("up", "left"), [(0.0, 0.4), (-0.3, 0.3), (0.2, -0.35), (-0.4, 0.0)])
def test_a_raised_cue_sends_the_ball_where_coriolis_says(raised: float, up: float, left: float) -> None:
    # source: Coriolis 1835 (from memory): once it rolls, the ball goes parallel to the line from where it rested on the
    # cloth to where the cue's axis, drawn on, meets the cloth
    e = radians(raised)
    ball = strike(0, 0, 0, 1.5, up, left, R, raised)
    assert hypot(ball.vx, ball.vy) == pytest.approx(1500.0)
    settle(ball, DEFAULT, R)
    advance(ball, ball.ends, DEFAULT)
    tip = np.array([up * sin(e), left, up * cos(e)])  # on the axis, in radii from the centre
    axis = np.array([cos(e), 0.0, -sin(e)])
    meets = tip + axis * (tip[2] + 1.0) / sin(e)
    went = np.array([ball.vx, ball.vy])
    assert went[0] * meets[1] - went[1] * meets[0] == pytest.approx(0.0, abs=1e-6 * 1500.0)
    assert went @ meets[:2] > 0.0


def test_a_curve_of_a_raised_cue_bends_towards_the_side_struck() -> None:
    # common practice, no source: left side with a raised butt swerves to the left, more with more of both
    ends = []
    for left, raised in ((0.0, 20.0), (0.3, 0.0), (0.3, 10.0), (0.3, 20.0), (0.45, 20.0)):
        ball = strike(0, 0, 0, 1.5, 0.0, left, R, raised)
        settle(ball, DEFAULT, R)
        advance(ball, ball.ends, DEFAULT)
        ends.append(ball.vy)
    assert ends[0] == ends[1] == pytest.approx(0.0, abs=1e-9)
    assert 0.0 < ends[2] < ends[3] < ends[4]


@pytest.mark.parametrize("raised", [-1.0, 90.0, float("nan")])
def test_a_cue_cannot_be_raised_so(raised: float) -> None:
    with pytest.raises(ValueError, match="raised"):
        strike(0, 0, 0, 1.0, 0.0, 0.0, R, raised)


@pytest.mark.parametrize("off", [0.0, 0.2, 0.5])
def test_the_cue_gives_no_more_energy_than_it_has(off: float) -> None:
    # both bodies' energies by the impulse J = m v; for e = 1 none is lost (computed; conservation of energy)
    for e, ratio in ((1.0, 3.2), (0.73, 3.2), (0.73, 2.5)):
        v = ball_speed_mps(1.0, off, ratio, e)
        cue_after = 1.0 - v / ratio
        spin = 2.5 * v * off  # R w
        after = 0.5 * ratio * cue_after**2 + 0.5 * v * v + 0.2 * spin**2
        assert after <= 0.5 * ratio * (1 + 1e-12)
        assert (after == pytest.approx(0.5 * ratio)) == (e == 1.0)
    assert ball_speed_mps(1.0, 0.5) < ball_speed_mps(1.0, 0.0)


def test_spin_about_the_vertical_decays_to_nothing_and_no_further() -> None:
    # source: 5 to 15 rad/s2 (shared/physics.toml, physics.ranges)
    ball = Ball(0.0, 0.0, wz=-12.0)
    settle(ball, DEFAULT, R)
    advance(ball, 1.0, DEFAULT)
    assert ball.wz == pytest.approx(-2.0)
    advance(ball, 3.0, DEFAULT)
    assert ball.wz == 0.0


def test_defaults_lie_within_published_ranges() -> None:
    for name, fact in FACTS["defaults"].items():
        assert getattr(DEFAULT, name) == fact["value"]
        assert fact["low"] <= fact["value"] <= fact["high"], name
