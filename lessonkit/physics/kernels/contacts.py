"""When a moving ball touches what: roots of the polynomials of its parabola (docs/physics.md, "Finding contacts")."""

from __future__ import annotations

from math import sqrt

from lessonkit.physics.kernels.compiling import compiled
from lessonkit.physics.kernels.roots import first_fall, quadratic_roots
from lessonkit.physics.kernels.state import (
    AX,
    AY,
    DROP,
    ENDS,
    INF,
    JAW,
    LAW,
    NOSE,
    TIP,
    VX,
    VY,
    Edges,
    Floats,
    T,
    X,
    Y,
)  # fmt: skip


@compiled
def reach(
    px: float, py: float, vx: float, vy: float, hx: float, hy: float, d: float, now: float, until: float
) -> float:
    """First time at which |p + v t + h t2| falls to d, from `now` to `until`; infinite: it does not."""
    span = until - now
    apart2 = px * px + py * py
    # quick no: even straight at each other they could not close the gap
    far = d + (sqrt(vx * vx + vy * vy) + sqrt(hx * hx + hy * hy) * span) * span
    if apart2 > far * far:
        return INF
    gap2 = apart2 - d * d
    c1 = 2.0 * (px * vx + py * vy)
    ph = px * hx + py * hy
    c2 = vx * vx + vy * vy + 2.0 * ph
    if c1 >= 0.0 and c2 >= 0.0 and gap2 >= 0.0 and ph >= 0.0:
        return INF
    c3 = 2.0 * (vx * hx + vy * hy)
    c4 = hx * hx + hy * hy
    if gap2 < 1e-7 * d * d:
        # touching: only a closing pair meets (again)
        gap2 = 0.0
        if c1 > -1e-9:
            c1 = max(c1, 0.0)
            if c1 == 0.0 and c2 >= 0.0:
                return INF
            gap2 = 1e-12
    return now + first_fall(c4, c3, c2, c1, gap2, span)


@compiled
def next_touch(state: Floats, i: int, j: int, distance: float, now: float, until: float) -> float:
    """The time in [now, until] at which the centres of balls i and j come to `distance`; infinite: they do not."""
    until = max(until, now)
    ti, tj = now - state[i, T], now - state[j, T]
    iax, iay, jax, jay = state[i, AX], state[i, AY], state[j, AX], state[j, AY]
    ivx, ivy, jvx, jvy = state[i, VX], state[i, VY], state[j, VX], state[j, VY]
    px = state[j, X] - state[i, X] + (jvx + 0.5 * jax * tj) * tj - (ivx + 0.5 * iax * ti) * ti
    py = state[j, Y] - state[i, Y] + (jvy + 0.5 * jay * tj) * tj - (ivy + 0.5 * iay * ti) * ti
    vx, vy = jvx + jax * tj - ivx - iax * ti, jvy + jay * tj - ivy - iay * ti
    return reach(px, py, vx, vy, 0.5 * (jax - iax), 0.5 * (jay - iay), distance, now, until)


@compiled
def cross(gap: float, rate: float, half: float) -> float:
    """First t >= 0 at which gap + rate t + half t2 passes to or below zero; infinite: it never does."""
    if gap <= 1e-6:
        if rate < 0.0 or (rate == 0.0 and half < 0.0):
            return 0.0
        if half >= 0.0:
            return INF
        return -rate / half
    first, second = quadratic_roots(half, rate, gap)
    if first > 0.0:
        return first
    return second if second > 0.0 else INF


@compiled
def meet_face(state: Floats, i: int, face: Floats, touch: float, before: float) -> float:
    """When ball i's centre comes within `touch` of a face, alongside it, before a time; infinite: it does not."""
    sx, sy, nx, ny = face[0], face[1], face[4], face[5]
    x, y, vx, vy, ax, ay = state[i, X], state[i, Y], state[i, VX], state[i, VY], state[i, AX], state[i, AY]
    gap = (sx - x) * nx + (sy - y) * ny - touch
    if gap < -touch:
        return INF  # behind it
    t = cross(gap, -(vx * nx + vy * ny), -0.5 * (ax * nx + ay * ny))
    if state[i, T] + t >= before:
        return INF
    dx, dy = face[2] - sx, face[3] - sy
    along = (x + (vx + 0.5 * ax * t) * t - sx) * dx + (y + (vy + 0.5 * ay * t) * t - sy) * dy
    return state[i, T] + t if 0.0 <= along <= dx * dx + dy * dy else INF


@compiled
def next_edge(state: Floats, i: int, edges: Edges, touch: float) -> tuple[float, int, int]:
    """Moving ball i's next event with what stands still, or the end of its law: time, kind, which."""
    best, kind, which = state[i, ENDS], LAW, 0
    for f in range(edges.noses):
        t = meet_face(state, i, edges.faces[f], touch, best)
        if t < best:
            best, kind, which = t, NOSE, f
    span = best - state[i, T]
    vx, vy, ax, ay = state[i, VX], state[i, VY], state[i, AX], state[i, AY]
    way = (sqrt(vx * vx + vy * vy) + 0.5 * sqrt(ax * ax + ay * ay) * span) * span
    for p in range(len(edges.drops)):
        drop = edges.drops[p]
        dx, dy, far = drop[4] - state[i, X], drop[5] - state[i, Y], drop[6] + way
        if dx * dx + dy * dy > far * far:
            continue
        for f in range(edges.noses + 2 * p, edges.noses + 2 * p + 2):
            t = meet_face(state, i, edges.faces[f], touch, best)
            if t < best:
                best, kind, which = t, JAW, f
        for q in range(2 * p, 2 * p + 2):
            px, py = edges.tips[q, 0] - state[i, X], edges.tips[q, 1] - state[i, Y]
            t = reach(px, py, -vx, -vy, -0.5 * ax, -0.5 * ay, touch, state[i, T], best)
            if t < best:
                best, kind, which = t, TIP, q
        t = drop_time(state, i, drop)
        if t < best:
            best, kind, which = t, DROP, p
    return best, kind, which


@compiled
def drop_time(state: Floats, i: int, drop: Floats) -> float:
    """When ball i's centre passes a pocket's drop line within its reach; infinite: it does not."""
    ox, oy = drop[2], drop[3]
    vx, vy, ax, ay = state[i, VX], state[i, VY], state[i, AX], state[i, AY]
    gap = (drop[0] - state[i, X]) * ox + (drop[1] - state[i, Y]) * oy
    t = cross(gap, -(vx * ox + vy * oy), -0.5 * (ax * ox + ay * oy))
    if t == INF:
        return INF
    x = state[i, X] + (vx + 0.5 * ax * t) * t - drop[0]
    y = state[i, Y] + (vy + 0.5 * ay * t) * t - drop[1]
    return state[i, T] + t if abs(x * oy - y * ox) < drop[6] else INF
