"""What a contact does to velocities and spins: tip, ball on ball, ball on cushion (docs/physics.md, "Contacts")."""

from __future__ import annotations

from math import atan2, cos, hypot, radians, sin, sqrt

from lessonkit.physics.laws import Laws
from lessonkit.physics.motion import Ball

MISCUE_LIMIT = 0.5
"""Greatest tip offset in ball radii (Alciatore, TP 2.1)."""
SOFT_MMPS = 10.0
"""Contacts slower than this are taken as elastic, so that resting contacts do not collapse into endless ones."""
PART_MMPS = 0.5
"""Least speed at which two bodies part."""
STEPS = 24
"""Steps of the cushion's impulse in compression."""


def strike(
    x_mm: float,
    y_mm: float,
    aim_deg: float,
    speed_mps: float,
    tip_up: float,
    tip_left: float,
    radius_mm: float,
) -> Ball:
    """The cue ball just after a level cue: R w / v = 2.5 b/R about the axis across the offset (I = 2/5 m R2).

    aim_deg: direction of the ball from +x towards +y. Tip offsets in ball radii; beyond the miscue limit they are
    drawn back to it.
    """
    off = hypot(tip_up, tip_left)
    if off > MISCUE_LIMIT:
        tip_up, tip_left = tip_up * MISCUE_LIMIT / off, tip_left * MISCUE_LIMIT / off
    v = 1000.0 * speed_mps
    c, s = cos(radians(aim_deg)), sin(radians(aim_deg))
    w = 2.5 * v / radius_mm
    return Ball(x_mm, y_mm, v * c, v * s, -w * tip_up * s, w * tip_up * c, -w * tip_left)


def _parting(approach: float, e: float) -> float:
    """Speed at which two bodies part that met at `approach`."""
    if approach < SOFT_MMPS:
        return max(approach, PART_MMPS)
    return max(e * approach, SOFT_MMPS)


def ball_ball(a: Ball, b: Ball, laws: Laws, radius_mm: float) -> float:
    """Impact of two touching balls, in place; returns the speed of approach, mm/s.

    Normal: restitution e. Tangential: Coulomb friction against the slip of the surfaces, at most what stops the slip
    (impulse |u| m / 7). The vertical part of the friction turns the balls but does not lift them.
    """
    R = radius_mm
    nx, ny = b.x - a.x, b.y - a.y
    d = hypot(nx, ny)
    nx, ny = nx / d, ny / d
    approach = (a.vx - b.vx) * nx + (a.vy - b.vy) * ny
    jn = 0.5 * (approach + _parting(approach, laws.e_ball))
    # slip of a's surface over b's: across (t = z x n) and up
    tx, ty = -ny, nx
    ut = (a.vx - b.vx) * tx + (a.vy - b.vy) * ty + R * (a.wz + b.wz)
    uz = R * ((a.wx + b.wx) * ny - (a.wy + b.wy) * nx)
    u = hypot(ut, uz)
    jt = jz = 0.0
    if u > 1e-9:
        j = min(laws.mu_ball(u) * jn, u / 7.0)
        jt, jz = -j * ut / u, -j * uz / u
    a.vx += -jn * nx + jt * tx
    a.vy += -jn * ny + jt * ty
    b.vx += jn * nx - jt * tx
    b.vy += jn * ny - jt * ty
    k = 2.5 / R
    # torque on both is the same: r x J with r and J both reversed
    dwx, dwy, dwz = k * jz * ny, -k * jz * nx, k * jt
    a.wx += dwx
    a.wy += dwy
    a.wz += dwz
    b.wx += dwx
    b.wy += dwy
    b.wz += dwz
    return approach


def cushion(ball: Ball, nx: float, ny: float, sine: float, laws: Laws, radius_mm: float) -> float:
    """Rebound from a cushion whose horizontal direction (from ball to nose) is (nx, ny); returns approach, mm/s.

    Mathavan, Jackson & Parkin (2010): the nose touches `sine` * R above the centre, the cloth holds the ball down, both
    rub; the impulse grows in small steps until the normal work given back is e2 times the work taken.
    """
    R = radius_mm
    tx, ty = ny, -nx  # x along the cushion, y into it: right-handed with z up
    vx, vy = ball.vx * tx + ball.vy * ty, ball.vx * nx + ball.vy * ny
    wx, wy, wz = ball.wx * tx + ball.wy * ty, ball.wx * nx + ball.wy * ny, ball.wz
    approach = vy
    if approach < SOFT_MMPS:
        vy = -max(approach, PART_MMPS)
    else:
        vx, vy, wx, wy, wz = _rebound(vx, vy, wx, wy, wz, sine, laws, R)
    ball.vx, ball.vy = vx * tx + vy * nx, vx * ty + vy * ny
    ball.wx, ball.wy, ball.wz = wx * tx + wy * nx, wx * ty + wy * ny, wz
    return approach


def _rebound(
    vx: float, vy: float, wx: float, wy: float, wz: float, sine: float, laws: Laws, R: float
) -> tuple[float, float, float, float, float]:
    """Both phases of the cushion's impulse; frame: x along, y into the cushion, z up."""
    cosine = sqrt(1.0 - sine * sine)
    mw, ms = laws.mu_cushion, laws.mu_slide
    dp = vy / cosine / STEPS
    work = target = 0.0
    restoring = False
    for _ in range(20 * STEPS):
        # slips: at the nose (along, up the tangent) and on the cloth
        ix, iy = vx + R * (wy * sine - wz * cosine), R * wx - vy * sine
        cx, cy = vx - R * wy, vy + R * wx
        u, s = hypot(ix, iy), hypot(cx, cy)
        # near zero slip friction fades over one step's worth of slip, so that the surfaces can stick
        fw = mw / max(u, 3.5 * mw * dp)
        fx, fy = fw * ix, fw * iy
        press = max(0.0, sine + fy * cosine)
        fs = press * ms / max(s, 3.5 * ms * press * dp, 1e-12)
        gx, gy = fs * cx, fs * cy
        dv = cosine - fy * sine + gy
        step = dp
        ends = False
        if restoring:
            # normal work at constant rate of change of vy: cosine * (vy s - dv s2 / 2) = what is left
            left = (target - work) / cosine
            if step * (-vy + 0.5 * dv * step) >= left:
                step, ends = _work_step(-vy, dv, left), True
        elif vy - dv * step <= 0.0:
            step = vy / dv
        work += cosine * step * abs(vy - 0.5 * dv * step)
        vx -= (fx + gx) * step
        vy -= dv * step
        k = 2.5 / R * step
        wx -= k * (fy + gy)
        wy -= k * (fx * sine - gx)
        wz += k * fx * cosine
        if ends:
            break
        if not restoring and vy <= 1e-9:
            vy, restoring, target, work = 0.0, True, laws.e_cushion**2 * work, 0.0
    return vx, vy, wx, wy, wz


def _work_step(v: float, dv: float, left: float) -> float:
    """The impulse at which v s + dv s2/2 reaches `left` (v, dv, left >= 0)."""
    if left <= 0.0:
        return 0.0
    return 2.0 * left / (v + sqrt(v * v + 2.0 * dv * left))


def direction_deg(vx: float, vy: float) -> float:
    """Direction of a velocity from +x towards +y."""
    from math import degrees

    return degrees(atan2(vy, vx))
