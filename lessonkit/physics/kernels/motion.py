"""One ball between two contacts: slide, roll, spin, rest (docs/physics.md, "On the cloth")."""

from __future__ import annotations

from math import sqrt

from lessonkit.physics.kernels.compiling import compiled
from lessonkit.physics.kernels.state import (
    AX,
    AY,
    BX,
    BY,
    ENDS,
    INF,
    MOVING,
    VX,
    VY,
    WX,
    WY,
    WZ,
    Constants,
    Floats,
    T,
    X,
    Y,
)  # fmt: skip

SLIP_FLOOR_MMPS = 1e-6
REST_FLOOR_MMPS = 1e-6


@compiled
def settle(state: Floats, i: int, k: Constants) -> None:
    """Choose the law that ball i follows from its time on.

    Slip of the contact point u = (vx - R wy, vy + R wx). Slipping: dv/dt = -mu g u/|u| with u's direction constant,
    dw/dt = (5 mu g / 2R)(-uy, ux)/|u|, for 2|u|/(7 mu g). Rolling: deceleration mu_roll g against the motion.
    """
    R = k.radius
    vx, vy = state[i, VX], state[i, VY]
    ux, uy = vx - R * state[i, WY], vy + R * state[i, WX]
    u = sqrt(ux * ux + uy * uy)
    if u > SLIP_FLOOR_MMPS:
        a = k.slide_mmps2
        ux, uy = ux / u, uy / u
        state[i, AX], state[i, AY] = -a * ux, -a * uy
        state[i, BX], state[i, BY] = -2.5 * a / R * uy, 2.5 * a / R * ux
        state[i, ENDS] = state[i, T] + 2.0 * u / (7.0 * a)
        state[i, MOVING] = 1.0
        return
    v = sqrt(vx * vx + vy * vy)
    if v > REST_FLOOR_MMPS:
        a = k.roll_mmps2
        state[i, AX], state[i, AY] = -a * vx / v, -a * vy / v
        state[i, BX], state[i, BY] = -state[i, AY] / R, state[i, AX] / R
        state[i, WX], state[i, WY] = -vy / R, vx / R
        state[i, ENDS] = state[i, T] + v / a
        state[i, MOVING] = 1.0
        return
    for column in (VX, VY, WX, WY, AX, AY, BX, BY, MOVING):
        state[i, column] = 0.0
    state[i, ENDS] = INF


@compiled
def advance(state: Floats, i: int, t: float, k: Constants) -> None:
    """Move ball i to time `t`, which must not lie beyond the end of its law."""
    d = t - state[i, T]
    if d <= 0.0:
        return
    if state[i, MOVING] != 0.0:
        ax, ay = state[i, AX], state[i, AY]
        state[i, X] += (state[i, VX] + 0.5 * ax * d) * d
        state[i, Y] += (state[i, VY] + 0.5 * ay * d) * d
        state[i, VX] += ax * d
        state[i, VY] += ay * d
        state[i, WX] += state[i, BX] * d
        state[i, WY] += state[i, BY] * d
    lost = k.spin_decay_radps2 * d
    wz = state[i, WZ]
    state[i, WZ] = max(0.0, wz - lost) if wz >= 0.0 else min(0.0, wz + lost)
    state[i, T] = t


@compiled
def end_law(state: Floats, i: int, k: Constants) -> None:
    """Make ball i, which stands at the end of its law, obey the next one exactly: no left-over slip or crawl."""
    R = k.radius
    vx, vy = state[i, VX], state[i, VY]
    ux, uy, v = vx - R * state[i, WY], vy + R * state[i, WX], sqrt(vx * vx + vy * vy)
    if sqrt(ux * ux + uy * uy) < 1e-3 * (1.0 + v):
        state[i, WX], state[i, WY] = -vy / R, vx / R
    if v < 1e-4:
        for column in (VX, VY, WX, WY):
            state[i, column] = 0.0
