"""Whole shots: energy, mirror symmetry, a small-step integrator of the same laws, pockets, speed of the program."""

from __future__ import annotations

from math import atan2, degrees, hypot, sqrt
from time import process_time

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from lessonkit.model import CUE_BALL, Layout, Table
from lessonkit.physics.cushions import cushions_of, pocket_target
from lessonkit.physics.impacts import ball_ball, cushion, strike
from lessonkit.physics.laws import DEFAULT, GRAVITY_MMPS2
from lessonkit.physics.motion import Ball, energy
from lessonkit.physics.simulate import Hit, Run, simulate

TABLE = Table("9ft", 2540.0, 1270.0)
R = TABLE.radius_mm
D = 2 * R


@st.composite
def layouts(draw: st.DrawFn, most: int = 6) -> Layout:
    places: list[tuple[float, float]] = []
    for _ in range(draw(st.integers(1, most))):
        p = (draw(st.floats(40, 2500)), draw(st.floats(40, 1230)))
        if all(hypot(p[0] - q[0], p[1] - q[1]) > D + 0.5 for q in places):
            places.append(p)
    return dict(enumerate(places))


speeds, aims, tips = st.floats(0.3, 6), st.floats(0, 360), st.floats(-0.35, 0.35)


@settings(max_examples=60, deadline=None)
@given(layouts(), speeds, aims, tips, tips)
def test_energy_never_grows(layout: Layout, speed: float, aim: float, up: float, left: float) -> None:
    cue = strike(*layout[CUE_BALL], aim, speed, up, left, R)
    last = [energy(cue, R)]

    def watch(_: Hit, run: Run) -> bool:
        now = sum(energy(b, R) for b in run.balls.values())
        # resting contacts may part at 0.5 mm/s (docs/physics.md): a millionth of a rolling ball's energy
        assert now <= last[0] + 1.0
        last[0] = now
        return False

    run = simulate(layout, cue, TABLE, stop=watch)
    for n, (x, y) in run.rest.items():
        assert -60 < x < 2600 and -60 < y < 1330
        for m, (p, q) in run.rest.items():
            assert n == m or hypot(x - p, y - q) > D - 0.01


@settings(max_examples=40, deadline=None)
@given(layouts(3), st.floats(0.3, 3), aims, tips, tips)
def test_mirrored_shot_gives_the_mirrored_result(
    layout: Layout, speed: float, aim: float, up: float, left: float
) -> None:
    W = TABLE.width_mm
    a = simulate(layout, strike(*layout[CUE_BALL], aim, speed, up, left, R), TABLE)
    assume(len(a.hits) < 10)  # after many contacts rounding itself is magnified
    turned = {n: (x, W - y) for n, (x, y) in layout.items()}
    b = simulate(turned, strike(*turned[CUE_BALL], -aim, speed, up, -left, R), TABLE)
    assert [h.kind for h in a.hits] == [h.kind for h in b.hits]
    assert a.rest.keys() == b.rest.keys()
    for n, (x, y) in a.rest.items():
        assert b.rest[n] == pytest.approx((x, W - y), abs=0.01)


def small_steps(layout: Layout, cue: Ball, dt: float = 2e-5, most_s: float = 8.0) -> Layout:
    """The same laws by small midpoint steps; contacts are noticed when they have happened and stepped back to."""
    balls = {n: Ball(*p) for n, p in layout.items()}
    balls[CUE_BALL] = Ball(cue.x, cue.y, cue.vx, cue.vy, cue.wx, cue.wy, cue.wz)
    edges = cushions_of(TABLE)
    slide, roll = DEFAULT.mu_slide * GRAVITY_MMPS2, DEFAULT.mu_roll * GRAVITY_MMPS2
    moving, t = {CUE_BALL}, 0.0
    while moving and t < most_s:
        t += dt
        for n in sorted(moving):
            b = balls[n]
            ux, uy = b.vx - R * b.wy, b.vy + R * b.wx
            u, v = hypot(ux, uy), hypot(b.vx, b.vy)
            if u > 3.5 * slide * dt:
                ax, ay = -slide * ux / u, -slide * uy / u
                b.wx += 2.5 / R * ay * dt
                b.wy -= 2.5 / R * ax * dt
            elif v > 2 * roll * dt:
                ax, ay = -roll * b.vx / v, -roll * b.vy / v
                b.wx, b.wy = -b.vy / R, b.vx / R
            else:
                b.vx = b.vy = b.wx = b.wy = 0.0
                moving.discard(n)
                continue
            b.x += b.vx * dt + 0.5 * ax * dt * dt
            b.y += b.vy * dt + 0.5 * ay * dt * dt
            b.vx += ax * dt
            b.vy += ay * dt
            b.wz = max(0.0, abs(b.wz) - DEFAULT.spin_decay_radps2 * dt) * (1 if b.wz > 0 else -1)
            for face in edges.noses:
                gap = (face.sx - b.x) * face.nx + (face.sy - b.y) * face.ny - edges.touch_mm
                if gap < 0 and b.vx * face.nx + b.vy * face.ny > 0:
                    cushion(b, face.nx, face.ny, edges.sine, DEFAULT, R)
            for m, other in balls.items():
                d = hypot(other.x - b.x, other.y - b.y)
                if m != n and d < D:
                    closing = (b.vx - other.vx) * (other.x - b.x) + (b.vy - other.vy) * (other.y - b.y)
                    if closing > 0:
                        back = (D - d) * d / closing
                        for c in (b, other):
                            c.x, c.y = c.x - c.vx * back, c.y - c.vy * back
                        ball_ball(b, other, DEFAULT, R)
                        for c in (b, other):
                            c.x, c.y = c.x + c.vx * back, c.y + c.vy * back
                        moving |= {n, m}
    return {n: (b.x, b.y) for n, b in balls.items()}


@pytest.mark.parametrize(
    ("layout", "aim", "speed", "up", "left"),
    [
        ({0: (600.0, 500.0)}, 40.0, 1.2, 0.1, 0.3),
        ({0: (600.0, 500.0), 4: (1200.0, 620.0)}, 12.5, 1.1, -0.3, 0.1),
        ({0: (1500.0, 900.0), 4: (1100.0, 700.0)}, 205.0, 1.3, 0.35, 0.0),
    ],
)
def test_agrees_with_small_steps_to_a_millimetre(
    layout: Layout, aim: float, speed: float, up: float, left: float
) -> None:
    cue = strike(*layout[CUE_BALL], aim, speed, up, left, R)
    run = simulate(layout, cue, TABLE)
    assert len(run.hits) >= 1 and not run.dropped
    slow = small_steps(layout, cue)
    for n, p in run.rest.items():
        assert hypot(p[0] - slow[n][0], p[1] - slow[n][1]) < 1.0


def test_stun_start_goes_as_far_as_the_handbook_says() -> None:
    # source: shared/physics.toml, physics.rolling.stun_2_m_s_total_distance_m, on a table without an end
    long = Table("30000x2000", 30000.0, 2000.0)
    run = simulate({0: (1000.0, 1000.0)}, strike(1000, 1000, 0, 2.0, 0, 0, R), long)
    assert (run.rest[0][0] - 1000) / 1000 == pytest.approx(10.90099648, rel=1e-7)


@pytest.mark.parametrize("pocket", list(TABLE.pockets))
def test_a_ball_into_the_middle_of_a_pocket_drops(pocket: str) -> None:
    x, y = pocket_target(pocket, TABLE, (1270.0, 500.0))  # type: ignore[arg-type]
    start = (1200.0, 640.0)
    aim = degrees(atan2(y - start[1], x - start[0]))
    run = simulate({0: start}, strike(*start, aim, 1.5, 0.4, 0, R), TABLE)
    assert run.dropped == {0: pocket} and run.rest == {}
    assert [h.kind for h in run.hits] == ["pocket"]


def test_a_ball_along_the_rail_drops_but_one_wide_of_the_mouth_does_not() -> None:
    y = cushions_of(TABLE).touch_mm + 3.0
    assert simulate({0: (800.0, y)}, strike(800, y, 180, 1.5, 0.4, 0, R), TABLE).dropped == {0: "head-right"}
    # at the side pocket the same ball passes by
    run = simulate({0: (800.0, y)}, strike(800, y, 0, 1.0, 0.4, 0, R), TABLE, until_s=1.3)
    assert not run.dropped
    # a ball aimed 80 mm beside the mouth's middle meets the cushion first
    run = simulate({0: (600.0, 640.0)}, strike(600, 640, degrees(atan2(-640, -480)), 1.0, 0.4, 0, R), TABLE)
    assert run.hits[0].kind == "cushion"


def test_a_ball_hanging_in_the_jaws_stays_and_can_be_tapped_in() -> None:
    layout = {0: (300.0, 300.0), 3: (24.0, 24.0)}
    assert simulate({0: (300.0, 300.0)}, strike(300, 300, 0, 0.3, 0, 0, R), TABLE).dropped == {}
    run = simulate(layout, strike(300, 300, 225, 0.5, 0.0, 0, R), TABLE)
    assert run.dropped.get(3) == "head-right"


def rack() -> Layout:
    pitch, gap = sqrt(3) / 2 * (D + 0.02), D + 0.02
    spots = [(1905 + r * pitch, 635 + (j - r / 2) * gap) for r in range(5) for j in range(r + 1)]
    return {0: (600.0, 650.0), **{n + 1: p for n, p in enumerate(spots)}}


def test_a_break_spreads_the_rack() -> None:
    layout = rack()
    run = simulate(layout, strike(*layout[0], degrees(atan2(-15, 1305)), 8.0, 0.1, 0, R), TABLE)
    moved = [n for n, p in run.rest.items() if n and hypot(p[0] - layout[n][0], p[1] - layout[n][1]) > 50]
    assert len(moved) + len(run.dropped) >= 8
    # momentum of the first blow goes through the touching balls to the back row
    assert any(13 in h.balls or 15 in h.balls for h in run.hits[:60])


def test_a_shot_and_a_break_are_quick() -> None:
    # a wide allowance for a busy machine: 1 ms and 11 ms were measured
    layout = rack()
    began = process_time()
    simulate(layout, strike(*layout[0], -0.6, 8.0, 0.1, 0, R), TABLE)
    assert process_time() - began < 1.0


def test_path_starts_and_ends_where_the_ball_does() -> None:
    layout = {0: (600.0, 500.0), 4: (1200.0, 620.0)}
    run = simulate(layout, strike(600, 500, 12.5, 1.1, -0.3, 0.1, R), TABLE)
    path = run.path(0)
    assert tuple(path[0, 1:]) == pytest.approx((600.0, 500.0))
    assert tuple(path[-1, 1:]) == pytest.approx(run.rest[0])
    assert (path[1:, 0] > path[:-1, 0]).all()
    assert run.place(4, 0.0) == pytest.approx(layout[4])
    met = next(h.t_s for h in run.hits if h.kind == "ball")
    a, b = run.place(0, met), run.place(4, met)
    assert hypot(a[0] - b[0], a[1] - b[1]) == pytest.approx(D, abs=1e-6)
