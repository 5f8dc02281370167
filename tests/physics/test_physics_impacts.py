"""Ball on ball and ball on cushion against shared/physics.toml (B3 to B6 of its sources)."""

from __future__ import annotations

import tomllib
from math import asin, atan2, cos, degrees, hypot, radians, sin
from pathlib import Path
from typing import Any

import pytest

from lessonkit.physics.impacts import ball_ball, cushion
from lessonkit.physics.laws import DEFAULT, Laws
from lessonkit.physics.motion import Ball, settle

FACTS = tomllib.loads((Path(__file__).parents[2] / "shared" / "physics.toml").read_text(encoding="utf-8"))[
    "physics"
]
R = 28.575
SMOOTH = {"mu_ball_rest": 0.0, "mu_ball_fall": 0.0}


def hit(v: float, cut_deg: float, spin: float, laws: Laws) -> tuple[Ball, Ball]:
    """A cue ball along +x at v mm/s with R w / v = spin meets a ball cut to the left by `cut_deg`."""
    c = radians(cut_deg)
    cue = Ball(0.0, 0.0, v, 0.0, 0.0, spin * v / R)
    ball = Ball(2 * R * cos(c), 2 * R * sin(c))
    ball_ball(cue, ball, laws, R)
    return cue, ball


def final(ball: Ball) -> tuple[float, float]:
    """Velocity once it rolls: v - (2/7) u."""
    return (
        ball.vx - 2 / 7 * (ball.vx - R * ball.wy),
        ball.vy - 2 / 7 * (ball.vy + R * ball.wx),
    )


@pytest.mark.parametrize("case", FACTS["ball_ball"]["cases"], ids=lambda c: f"{c['e']}-{c['cut_deg']}")
def test_impact_without_friction(case: dict[str, Any]) -> None:
    cue, ball = hit(1000 * case["v"], case["cut_deg"], 0.0, Laws(e_ball=case["e"], **SMOOTH))
    assert hypot(ball.vx, ball.vy) / 1000 == pytest.approx(case["object_speed"], rel=1e-8)
    part = degrees(atan2(ball.vy, ball.vx)) - degrees(atan2(cue.vy, cue.vx))
    assert part == pytest.approx(case["separation_deg"], rel=1e-7)


@pytest.mark.parametrize("cut", [5, 20, 45, 70])
def test_stun_parts_at_ninety_degrees(cut: float) -> None:
    # source: the 90 degree rule (Alciatore), e = 1
    cue, ball = hit(2000, cut, 0.0, Laws(e_ball=1.0, **SMOOTH))
    assert cue.vx * ball.vx + cue.vy * ball.vy == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("case", FACTS["natural_roll"]["fractions"], ids=lambda c: f"{c['hit_fraction']:.2f}")
def test_natural_roll_by_hit_fraction(case: dict[str, Any]) -> None:
    cut = degrees(asin(1 - case["hit_fraction"]))
    assert cut == pytest.approx(case["cut_deg"], rel=1e-6)
    cue, ball = hit(1000, cut, 1.0, Laws(e_ball=1.0, **SMOOTH))
    vx, vy = final(cue)
    assert -degrees(atan2(vy, vx)) == pytest.approx(case["deflection_deg"], rel=1e-6)
    assert hypot(vx, vy) / 1000 == pytest.approx(case["cue_speed_after_roll_over_v"], rel=1e-6)
    assert hypot(ball.vx, ball.vy) / 1000 == pytest.approx(case["object_speed_at_impact_over_v"], rel=1e-6)
    assert hypot(*final(ball)) / 1000 == pytest.approx(case["object_speed_after_roll_over_v"], rel=1e-6)


@pytest.mark.parametrize("case", FACTS["natural_roll"]["by_cut"], ids=lambda c: str(c["cut_deg"]))
def test_natural_roll_by_cut(case: dict[str, Any]) -> None:
    cue, _ = hit(1000, case["cut_deg"], 1.0, Laws(e_ball=1.0, **SMOOTH))
    vx, vy = final(cue)
    assert -degrees(atan2(vy, vx)) == pytest.approx(case["deflection_deg"], rel=1e-6)


def test_half_ball_angle_as_measured() -> None:
    # source: "about 33 degrees", W. Broadfoot, Billiards (Badminton Library), about 1896: with friction and e as here
    cue, _ = hit(1000, 30.0, 1.0, DEFAULT)
    vx, vy = final(cue)
    assert -degrees(atan2(vy, vx)) == pytest.approx(33.0, abs=2.0)


@pytest.mark.parametrize("case", FACTS["draw"]["cases"], ids=lambda c: f"{c['sigma']:.2f}-{c['cut_deg']}")
def test_draw_return_angle(case: dict[str, Any]) -> None:
    cue, _ = hit(1000, case["cut_deg"], case["sigma"], Laws(e_ball=1.0, **SMOOTH))
    vx, vy = final(cue)
    assert 180 + degrees(atan2(vy, vx)) == pytest.approx(case["return_deg"], rel=1e-6)


@pytest.mark.parametrize("case", FACTS["throw"]["cases"], ids=lambda c: f"{c['e']}-{c['cut_deg']}")
def test_throw_of_a_stun_shot(case: dict[str, Any]) -> None:
    laws = Laws(e_ball=case["e"], mu_ball_rest=FACTS["throw"]["mu"], mu_ball_fall=0.0)
    _, ball = hit(1000, case["cut_deg"], 0.0, laws)
    throw = case["cut_deg"] - degrees(atan2(ball.vy, ball.vx))
    assert throw == pytest.approx(case["throw_deg"], rel=1e-6)


@pytest.mark.parametrize("case", FACTS["throw"]["ball_friction"], ids=lambda c: str(c["slip_m_s"]))
def test_friction_falls_with_slip(case: dict[str, Any]) -> None:
    # source: fit to Marlow's data used by Alciatore, TP A.14 (from memory); values computed
    assert DEFAULT.mu_ball(1000 * case["slip_m_s"]) == pytest.approx(case["mu"], rel=1e-6)


def test_side_throws_and_is_handed_on_a_little() -> None:
    # left side on a full hit throws the ball to the right (common practice, no source) and turns it the other way
    cue = Ball(0.0, 0.0, 1000.0, 0.0, 0.0, 0.0, -20.0)
    ball = Ball(2 * R, 0.0)
    ball_ball(cue, ball, DEFAULT, R)
    assert ball.vy < 0 and ball.wz > 0
    assert ball.wz < 0.5 * 20.0


@pytest.mark.parametrize("case", FACTS["cushion"]["cases"], ids=lambda c: c["name"])
def test_cushion_without_nose_height_is_the_simple_law(case: dict[str, Any]) -> None:
    # source: shared/physics.toml, physics.cushion: flat cushion at the ball's height, cloth friction left out
    laws = Laws(e_cushion=case["e"], mu_cushion=case["mu"], mu_slide=0.0)
    ball = Ball(0.0, 0.0, 1000 * case["vx"], 1000 * case["vy"], 0.0, 0.0, case["wz"])
    cushion(ball, 0.0, 1.0, 0.0, laws, R)
    assert ball.vy / 1000 == pytest.approx(case["vy_after"], rel=1e-6)
    assert ball.vx / 1000 == pytest.approx(case["vx_after"], rel=2e-3)
    assert ball.wz == pytest.approx(case["wz_after"], rel=4e-3)


@pytest.mark.parametrize("k", [0, 1])
def test_square_rebound_of_a_rolling_ball(k: int) -> None:
    # source: physics.cushion.square_rolling, (5 e - 2) / 7 with the roll kept through the impact
    facts = FACTS["cushion"]["square_rolling"]
    laws = Laws(e_cushion=facts["e"][k], mu_cushion=0.0, mu_slide=0.0)
    ball = Ball(0.0, 0.0, 0.0, 1000.0, -1000.0 / R)
    cushion(ball, 0.0, 1.0, 0.0, laws, R)
    assert -final(ball)[1] / 1000 == pytest.approx(facts["ratio"][k], rel=1e-6)


def test_cushion_with_its_nose_height_stays_in_the_published_range() -> None:
    # source: ball-rail restitution 0.6 to 0.9 for pool (Alciatore, from memory) to 0.98 (Mathavan 2010)
    sine = 0.27
    for v in (300.0, 1000.0, 2500.0):
        ball = Ball(0.0, 0.0, 0.0, v, -v / R)
        cushion(ball, 0.0, 1.0, sine, DEFAULT, R)
        assert 0.6 <= -ball.vy / v <= 0.98
        # the nose takes away part of the forward roll, so it leaves with less than it came with
        assert abs(ball.wx) < v / R
        settle(ball, DEFAULT, R)
        assert 0.05 < ball.ends < 0.4 * v / 1000 + 0.1  # about 0.1 s of slipping (Mathavan 2009)


def test_running_side_opens_and_check_side_does_not() -> None:
    # source: physics.cushion cases; running side: the front moves along the cushion the way the ball goes
    angles = []
    for wz in (40.0, 0.0, -40.0):
        ball = Ball(0.0, 0.0, 1000.0, 1000.0, -1000.0 / R, 1000.0 / R, wz)
        cushion(ball, 0.0, 1.0, 0.27, DEFAULT, R)
        angles.append(degrees(atan2(ball.vx, -ball.vy)))
    assert angles[0] > angles[1] + 3.0 > angles[2] + 1.0
