"""What a contact does to velocities and spins: ball on ball, ball on cushion (docs/physics.md, "Contacts")."""

from __future__ import annotations

from math import exp, sqrt

from lessonkit.physics.kernels.compiling import compiled
from lessonkit.physics.kernels.state import VX, VY, WX, WY, WZ, Constants, Floats, X, Y

SOFT_MMPS = 10.0
"""Contacts slower than this are taken as elastic, so that resting contacts do not collapse into endless ones."""
PART_MMPS = 0.5
"""Least speed at which two bodies part."""
STEPS = 16
"""Steps of the cushion's impulse in compression where both surfaces slip."""
FINER = 16
"""So many times as many where one of them sticks or may come to."""
FADE = 2.0
"""Width, in steps' worth of friction, over which friction fades near zero slip; above 7/4 the steps are stable."""


@compiled
def parting(approach: float, e: float) -> float:
    """Speed at which two bodies part that met at `approach`."""
    if approach < SOFT_MMPS:
        return max(approach, PART_MMPS)
    return max(e * approach, SOFT_MMPS)


@compiled
def ball_ball(state: Floats, a: int, b: int, k: Constants) -> float:
    """Impact of two touching balls, in place; returns the speed of approach, mm/s.

    Normal: restitution e. Tangential: Coulomb friction against the slip of the surfaces, at most what stops the slip
    (impulse |u| m / 7). The vertical part of the friction turns the balls but does not lift them.
    """
    R = k.radius
    nx, ny = state[b, X] - state[a, X], state[b, Y] - state[a, Y]
    d = sqrt(nx * nx + ny * ny)
    nx, ny = nx / d, ny / d
    rx, ry = state[a, VX] - state[b, VX], state[a, VY] - state[b, VY]
    approach: float = rx * nx + ry * ny
    jn = 0.5 * (approach + parting(approach, k.e_ball))
    # slip of a's surface over b's: across (t = z x n) and up
    tx, ty = -ny, nx
    ut = rx * tx + ry * ty + R * (state[a, WZ] + state[b, WZ])
    uz = R * ((state[a, WX] + state[b, WX]) * ny - (state[a, WY] + state[b, WY]) * nx)
    u = sqrt(ut * ut + uz * uz)
    jt = jz = 0.0
    if u > 1e-9:
        mu = k.mu_ball_rest + k.mu_ball_fall * exp(-k.mu_ball_rate * u)
        j = min(mu * jn, u / 7.0)
        jt, jz = -j * ut / u, -j * uz / u
    jx, jy = -jn * nx + jt * tx, -jn * ny + jt * ty
    state[a, VX] += jx
    state[a, VY] += jy
    state[b, VX] -= jx
    state[b, VY] -= jy
    # torque on both is the same: r x J with r and J both reversed
    c = 2.5 / R
    for i in (a, b):
        state[i, WX] += c * jz * ny
        state[i, WY] -= c * jz * nx
        state[i, WZ] += c * jt
    return approach


@compiled
def cushion(state: Floats, i: int, nx: float, ny: float, k: Constants) -> float:
    """Rebound of ball i from a cushion whose horizontal direction (from ball to nose) is (nx, ny); returns approach, mm/s.

    Mathavan, Jackson & Parkin (2010): the nose touches `sine` * R above the centre, the cloth holds the ball down, both
    rub; the impulse grows in small steps until the normal work given back is e2 times the work taken.
    """
    tx, ty = ny, -nx  # x along the cushion, y into it: right-handed with z up
    vx, vy = state[i, VX] * tx + state[i, VY] * ty, state[i, VX] * nx + state[i, VY] * ny
    wx, wy, wz = state[i, WX] * tx + state[i, WY] * ty, state[i, WX] * nx + state[i, WY] * ny, state[i, WZ]
    approach: float = vy
    if approach < SOFT_MMPS:
        vy = -max(approach, PART_MMPS)
    else:
        vx, vy, wx, wy, wz = rebound(vx, vy, wx, wy, wz, k)
    state[i, VX], state[i, VY] = vx * tx + vy * nx, vx * ty + vy * ny
    state[i, WX], state[i, WY], state[i, WZ] = wx * tx + wy * nx, wx * ty + wy * ny, wz
    return approach


@compiled
def restitution(approach: float, k: Constants) -> float:
    """Of a cushion met at a speed along its normal: it falls when the ball comes hard."""
    fallen = k.e_cushion - k.e_cushion_fall * max(0.0, approach - k.e_cushion_mmps)
    return max(fallen, min(k.e_cushion, k.e_cushion_least))


@compiled
def pushed(
    vx: float, vy: float, wx: float, wy: float, wz: float, dp: float, k: Constants
) -> tuple[float, float, float, float, float, float]:
    """Change of velocity and spin for each unit of the nose's impulse over the mass, and the lesser slip of the two contacts.

    Frame: x along, y into the cushion, z up. dp: the step that is to be made.
    """
    R, sine = k.radius, k.sine
    cosine = sqrt(1.0 - sine * sine)
    # slips: at the nose (along, up the tangent) and on the cloth
    ix, iy = vx + R * (wy * sine - wz * cosine), R * wx - vy * sine
    cx, cy = vx - R * wy, vy + R * wx
    u, s = sqrt(ix * ix + iy * iy), sqrt(cx * cx + cy * cy)
    # near zero slip friction fades over one step's worth of slip, so that the surfaces can stick
    fw = k.mu_cushion / max(u, FADE * k.mu_cushion * dp, 1e-12)
    fx, fy = fw * ix, fw * iy
    press = max(0.0, sine + fy * cosine) * k.mu_slide
    fs = press / max(s, FADE * press * dp, 1e-12)
    gx, gy = fs * cx, fs * cy
    c = 2.5 / R
    least = u if press == 0.0 else min(u, s)
    return (
        -(fx + gx),
        -(cosine - fy * sine + gy),
        -c * (fy + gy),
        -c * (fx * sine - gx),
        c * fx * cosine,
        least,
    )


@compiled
def rebound(
    vx: float, vy: float, wx: float, wy: float, wz: float, k: Constants
) -> tuple[float, float, float, float, float]:
    """Both phases of the cushion's impulse by midpoint steps; frame: x along, y into the cushion, z up."""
    cosine = sqrt(1.0 - k.sine * k.sine)
    e = restitution(vy, k)
    long = vy / cosine / STEPS
    work = target = 0.0
    restoring = False
    for _ in range(20 * STEPS * FINER):
        # slip changes by about the impulse: where it could reach zero in this step or the next, go slowly
        step = long
        ax, ay, bx, by, bz, least = pushed(vx, vy, wx, wy, wz, step, k)
        if least <= 2.0 * long:
            step = long / FINER
            ax, ay, bx, by, bz, least = pushed(vx, vy, wx, wy, wz, step, k)
        h = 0.5 * step
        ax, ay, bx, by, bz, least = pushed(
            vx + h * ax, vy + h * ay, wx + h * bx, wy + h * by, wz + h * bz, step, k
        )
        ends = False
        if restoring:
            # work at a constant change of speed: cosine * (-vy s - ay s2 / 2) = what is left
            left = (target - work) / cosine
            if step * (-vy - 0.5 * ay * step) >= left:
                step = 2.0 * left / (sqrt(vy * vy - 2.0 * ay * left) - vy) if left > 0.0 else 0.0
                ends = True
        elif vy + ay * step <= 0.0:
            step = -vy / ay
        work += cosine * step * abs(vy + 0.5 * ay * step)
        vx, vy = vx + ax * step, vy + ay * step
        wx, wy, wz = wx + bx * step, wy + by * step, wz + bz * step
        if ends:
            break
        if not restoring and vy <= 1e-9:
            vy, restoring, target, work = 0.0, True, e * e * work, 0.0
    return vx, vy, wx, wy, wz
