"""One ball between two contacts: slide, roll, spin, rest (docs/physics.md, "On the cloth")."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from lessonkit.physics.laws import GRAVITY_MMPS2, Laws

INF = float("inf")
SLIP_FLOOR_MMPS = 1e-6
REST_FLOOR_MMPS = 1e-6


@dataclass(slots=True)
class Ball:
    """A ball's state at `t`: place mm, velocity mm/s, spin rad/s, and the law it follows until `ends`."""

    x: float
    y: float
    vx: float = 0.0
    vy: float = 0.0
    wx: float = 0.0
    wy: float = 0.0
    wz: float = 0.0
    t: float = 0.0
    ax: float = 0.0
    ay: float = 0.0
    bx: float = 0.0
    """Rate of wx."""
    by: float = 0.0
    """Rate of wy."""
    ends: float = INF
    """When the law changes; infinite at rest."""
    moving: bool = False


def settle(ball: Ball, laws: Laws, radius_mm: float) -> None:
    """Choose the law that holds from ball.t on.

    Slip of the contact point u = (vx - R wy, vy + R wx). Slipping: dv/dt = -mu g u/|u| with u's direction constant,
    dw/dt = (5 mu g / 2R)(-uy, ux)/|u|, for 2|u|/(7 mu g). Rolling: deceleration mu_roll g against the motion.
    """
    R = radius_mm
    ux, uy = ball.vx - R * ball.wy, ball.vy + R * ball.wx
    u = hypot(ux, uy)
    if u > SLIP_FLOOR_MMPS:
        a = laws.mu_slide * GRAVITY_MMPS2
        ux, uy = ux / u, uy / u
        ball.ax, ball.ay = -a * ux, -a * uy
        ball.bx, ball.by = -2.5 * a / R * uy, 2.5 * a / R * ux
        ball.ends = ball.t + 2.0 * u / (7.0 * a)
        ball.moving = True
        return
    v = hypot(ball.vx, ball.vy)
    if v > REST_FLOOR_MMPS:
        a = laws.mu_roll * GRAVITY_MMPS2
        ball.ax, ball.ay = -a * ball.vx / v, -a * ball.vy / v
        ball.bx, ball.by = -ball.ay / R, ball.ax / R
        ball.wx, ball.wy = -ball.vy / R, ball.vx / R
        ball.ends = ball.t + v / a
        ball.moving = True
        return
    ball.vx = ball.vy = ball.wx = ball.wy = ball.ax = ball.ay = ball.bx = ball.by = 0.0
    ball.ends, ball.moving = INF, False


def advance(ball: Ball, t: float, laws: Laws) -> None:
    """Move a ball to time `t`, which must not lie beyond the end of its law."""
    d = t - ball.t
    if d <= 0.0:
        return
    if ball.moving:
        ball.x += (ball.vx + 0.5 * ball.ax * d) * d
        ball.y += (ball.vy + 0.5 * ball.ay * d) * d
        ball.vx += ball.ax * d
        ball.vy += ball.ay * d
        ball.wx += ball.bx * d
        ball.wy += ball.by * d
    lost = laws.spin_decay_radps2 * d
    ball.wz = max(0.0, ball.wz - lost) if ball.wz >= 0.0 else min(0.0, ball.wz + lost)
    ball.t = t


def end_law(ball: Ball, radius_mm: float) -> None:
    """Make a ball that stands at the end of its law obey the next one exactly: no left-over slip or crawl."""
    R = radius_mm
    if hypot(ball.vx - R * ball.wy, ball.vy + R * ball.wx) < 1e-3 * (1.0 + hypot(ball.vx, ball.vy)):
        ball.wx, ball.wy = -ball.vy / R, ball.vx / R
    if hypot(ball.vx, ball.vy) < 1e-4:
        ball.vx = ball.vy = ball.wx = ball.wy = 0.0


def energy(ball: Ball, radius_mm: float) -> float:
    """Kinetic energy per mass, mm2/s2: v2/2 + R2 w2/5."""
    w2 = ball.wx**2 + ball.wy**2 + ball.wz**2
    return 0.5 * (ball.vx**2 + ball.vy**2) + 0.2 * radius_mm**2 * w2
