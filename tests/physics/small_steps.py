"""The laws of docs/physics.md by small time steps: written apart from lessonkit.physics, with vectors and no events.

Only the places of noses, jaws, tips and drops are lessonkit's. Every ball is moved by a fixed step; what overlaps after it is
set back to where it touched, met there, and moved on. `slowly` is compiled only so that the checks stay quick.
"""

from __future__ import annotations

from math import exp, sqrt

import numpy as np
from numba import njit
from numpy.typing import NDArray

from lessonkit.model import Layout, Table
from lessonkit.physics.cushions import cushions_of
from lessonkit.physics.laws import GRAVITY_MMPS2, Laws
from lessonkit.physics.motion import Ball

Floats = NDArray[np.float64]
GONE = -1e6
"""A dropped ball's place."""


def small_steps(
    layout: Layout,
    cue: Ball,
    table: Table,
    laws: Laws,
    dt: float = 1e-5,
    most_s: float = 60.0,
    pushes: int = 2000,
) -> Layout:
    """Where every ball ends that does not drop."""
    names = sorted(layout)
    at, v, w = np.array([layout[n] for n in names]), np.zeros((len(names), 2)), np.zeros((len(names), 3))
    k = names.index(0)
    v[k], w[k] = (cue.vx, cue.vy), (cue.wx, cue.wy, cue.wz)
    around = cushions_of(table)
    faces = [*around.noses, *(f for d in around.drops for f in d.faces)]
    law = np.array(
        [
            laws.mu_slide, laws.mu_roll * GRAVITY_MMPS2, laws.spin_decay_radps2, laws.e_ball,
            laws.mu_ball_rest, laws.mu_ball_fall, laws.mu_ball_rate, laws.e_cushion, laws.e_cushion_fall_spm,
            laws.mu_cushion, table.radius_mm, around.sine, float(pushes),
        ]
    )  # fmt: skip
    slowly(
        at, v, w,
        np.array([(f.sx, f.sy, f.ex, f.ey) for f in faces]),
        np.array([(t.x, t.y) for d in around.drops for t in d.tips]),
        np.array([(d.x, d.y, d.ox, d.oy, d.reach_mm) for d in around.drops]),
        law, dt, most_s,
    )  # fmt: skip
    return {n: (float(x), float(y)) for n, (x, y) in zip(names, at, strict=True) if x != GONE}


@njit
def cross(a, b):  # type: ignore[no-untyped-def]
    """a x b."""
    return np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])


@njit
def direction(v):  # type: ignore[no-untyped-def]
    """A vector's direction; below 0.1 mm/s the vector shrunk alike, so that friction ends at rest."""
    size = sqrt(v @ v)
    return v / max(size, 0.1)


@njit
def slowly(at, v, w, faces, tips, drops, law, dt, most_s):  # type: ignore[no-untyped-def]
    """All balls by small steps, in place, until they lie still. at, v: (n, 2); w: (n, 3)."""
    R, n = law[10], len(at)
    touch = R * sqrt(1.0 - law[11] ** 2)
    low, high = 2.0 * R, (faces[:, 0].max() - 2.0 * R, faces[:, 1].max() - 2.0 * R)
    gone = np.zeros(n, np.bool_)
    for _ in range(int(most_s / dt)):
        still = True
        for i in range(n):
            if not gone[i]:
                still = roll_on(at[i], v[i], w[i], law, dt) and still
        if still:
            return
        for i in range(n):
            if gone[i] or (v[i, 0] == 0.0 and v[i, 1] == 0.0):
                continue
            for j in range(n):
                if (
                    j != i
                    and not gone[j]
                    and (at[j, 0] - at[i, 0]) ** 2 + (at[j, 1] - at[i, 1]) ** 2 < 4.0 * R * R
                ):
                    bump(at, v, w, i, j, law)
            if low < at[i, 0] < high[0] and low < at[i, 1] < high[1]:
                continue  # far from all that stands around
            for f in range(len(faces)):
                lean(at[i], v[i], w[i], faces[f], law)
            for t in range(len(tips)):
                if (tips[t, 0] - at[i, 0]) ** 2 + (tips[t, 1] - at[i, 1]) ** 2 < touch * touch:
                    away = tips[t] - at[i]
                    far = sqrt(away @ away)
                    push_off(at[i], v[i], w[i], away / far, far - touch, law)
            for d in range(len(drops)):
                past = at[i] - drops[d, :2]
                side = past[0] * drops[d, 3] - past[1] * drops[d, 2]
                if past @ drops[d, 2:4] > 0.0 and abs(side) < drops[d, 4]:
                    gone[i] = True
            if gone[i]:
                at[i, 0] = at[i, 1] = GONE
                v[i] = 0.0
                w[i] = 0.0


@njit
def roll_on(at, v, w, law, dt):  # type: ignore[no-untyped-def]
    """One step of a ball on the cloth; whether it lies still."""
    R, a = law[10], law[0] * 9810.0
    w[2] -= np.sign(w[2]) * min(abs(w[2]), law[2] * dt)
    # velocity of the point at the bottom: v + w x (0, 0, -R)
    ux, uy = v[0] - w[1] * R, v[1] + w[0] * R
    size = sqrt(ux * ux + uy * uy)
    if size > 3.5 * a * dt:
        fx, fy = -a * ux / size, -a * uy / size
        at[0] += v[0] * dt + 0.5 * fx * dt * dt
        at[1] += v[1] * dt + 0.5 * fy * dt * dt
        v[0] += fx * dt
        v[1] += fy * dt
        # torque (0, 0, -R) x f over 2/5 R2
        w[0] += 2.5 / R * fy * dt
        w[1] -= 2.5 / R * fx * dt
        return False
    v[0] -= 2.0 / 7.0 * ux
    v[1] -= 2.0 / 7.0 * uy
    speed = sqrt(v[0] * v[0] + v[1] * v[1])
    if speed <= law[1] * dt:
        v[:] = 0.0
        w[:2] = 0.0
        return True
    left = 1.0 - law[1] * dt / speed
    for c in range(2):
        at[c] += 0.5 * (v[c] + left * v[c]) * dt
        v[c] *= left
    w[0], w[1] = -v[1] / R, v[0] / R
    return False


@njit
def bump(at, v, w, i, j, law):  # type: ignore[no-untyped-def]
    """Two balls that overlap and close are set back to the touch and met there."""
    R = law[10]
    between = at[j] - at[i]
    far = sqrt(between @ between)
    if far >= 2.0 * R or (v[i] - v[j]) @ between <= 0.0:
        return
    # back along their ways to the touch: |between - back * closing| = 2 R
    closing = v[j] - v[i]
    p, q = between @ closing, closing @ closing
    back = (p + sqrt(p * p + q * (4.0 * R * R - far * far))) / q
    at[i] -= back * v[i]
    at[j] -= back * v[j]
    n = np.zeros(3)
    n[:2] = (at[j] - at[i]) / (2.0 * R)
    relative = np.zeros(3)
    relative[:2] = v[i] - v[j]
    approach = relative @ n
    parting = max(law[3] * approach, 10.0) if approach >= 10.0 else max(approach, 0.5)
    normal = 0.5 * (approach + parting)
    rub = relative + cross(w[i] + w[j], R * n)
    rub -= (rub @ n) * n
    size = sqrt(rub @ rub)
    mu = law[4] + law[5] * exp(-law[6] * size / 1000.0)
    friction = -min(mu * normal, size / 7.0) * rub / max(size, 1e-9)
    v[i] += friction[:2] - normal * n[:2]
    v[j] -= friction[:2] - normal * n[:2]
    w[i] += 2.5 / R**2 * cross(R * n, friction)
    w[j] += 2.5 / R**2 * cross(-R * n, -friction)
    at[i] += back * v[i]
    at[j] += back * v[j]


@njit
def lean(at, v, w, face, law):  # type: ignore[no-untyped-def]
    """A ball that overlaps a straight face from the table's side."""
    R = law[10]
    along = face[2:4] - face[:2]
    length = sqrt(along @ along)
    along = along / length
    from_start = at - face[:2]
    where = from_start @ along
    if not 0.0 <= where <= length:
        return
    foot = face[:2] + where * along - at  # from the centre square to the face
    far = sqrt(foot @ foot)
    gap = far - R * sqrt(1.0 - law[11] ** 2)
    if gap < 0.0 and v @ foot > 0.0:
        push_off(at, v, w, foot / far, gap, law)


@njit
def push_off(at, v, w, into, gap, law):  # type: ignore[no-untyped-def]
    """A ball that overlaps what lies in the direction `into` by -gap is set back, met by the cushion's law, moved on."""
    approach = v @ into
    if approach <= 0.0:
        return
    back = -gap / approach
    at -= back * v
    if approach < 10.0:
        v -= (approach + max(approach, 0.5)) * into
    else:
        cushion(v, w, into, law)
    at += back * v


@njit
def cushion(v, w, into, law):  # type: ignore[no-untyped-def]
    """Mathavan, Jackson & Parkin 2010 with vectors, in place; unit mass, I = 2/5 R2.

    The nose pushes and rubs in its tangent plane, the cloth bears what is pushed down and rubs at the bottom; ends when
    the nose has given back e2 of the work it took.
    """
    R, sine = law[10], law[11]
    cosine = sqrt(1.0 - sine * sine)
    normal = np.array([-cosine * into[0], -cosine * into[1], -sine])
    nose, bottom = -R * normal, np.array([0.0, 0.0, -R])
    e = max(0.6, law[7] - law[8] * max(0.0, v @ into / 1000.0 - 2.5))
    dp = v @ into / cosine / law[12]
    took = gave = 0.0
    v3 = np.array([v[0], v[1], 0.0])
    while True:
        slip = v3 + cross(w, nose)
        slip -= (slip @ normal) * normal
        push = normal - law[9] * direction(slip)
        below = v3 + cross(w, bottom)
        below[2] = 0.0
        drag = -law[0] * max(0.0, -push[2]) * direction(below)
        before = v3[:2] @ into
        change = (push + drag) * dp
        change[2] = 0.0  # the cloth holds it
        v3 += change
        w += 2.5 / R**2 * (cross(nose, push) + cross(bottom, drag)) * dp
        work = cosine * 0.5 * (before + v3[:2] @ into) * dp
        if work > 0.0:
            took += work
        else:
            gave -= work
            if gave >= e * e * took:
                v[:] = v3[:2]
                return
