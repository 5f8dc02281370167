"""When a moving ball touches what: roots of the polynomials of its parabola (docs/physics.md, "Finding contacts")."""

from __future__ import annotations

from lessonkit.physics.cushions import Cushions, Drop, Face, Tip
from lessonkit.physics.motion import INF, Ball
from lessonkit.physics.roots import first_fall, quadratic_roots

Edge = tuple[float, str, Face | Tip | Drop | None]
LATE_S = 1e-9


def next_touch(a: Ball, b: Ball, distance_mm: float, now: float, until: float) -> float | None:
    """The time in [now, until] at which two centres come to `distance_mm`; None if they do not."""
    if until <= now:
        until = now
    ta, tb = now - a.t, now - b.t
    px = b.x - a.x + (b.vx + 0.5 * b.ax * tb) * tb - (a.vx + 0.5 * a.ax * ta) * ta
    py = b.y - a.y + (b.vy + 0.5 * b.ay * tb) * tb - (a.vy + 0.5 * a.ay * ta) * ta
    vx, vy = b.vx + b.ax * tb - a.vx - a.ax * ta, b.vy + b.ay * tb - a.vy - a.ay * ta
    hx, hy = 0.5 * (b.ax - a.ax), 0.5 * (b.ay - a.ay)
    return _reach(px, py, vx, vy, hx, hy, distance_mm, now, until)


def _reach(
    px: float, py: float, vx: float, vy: float, hx: float, hy: float, d: float, now: float, until: float
) -> float | None:
    """First time at which |p + v t + h t2| falls to d, from `now` to `until`."""
    span = until - now
    gap2 = px * px + py * py - d * d
    if span < INF:
        # quick no: even straight at each other they could not close the gap
        reach = d + ((vx * vx + vy * vy) ** 0.5 + (hx * hx + hy * hy) ** 0.5 * span) * span
        if px * px + py * py > reach * reach:
            return None
    c1 = 2.0 * (px * vx + py * vy)
    c2 = vx * vx + vy * vy + 2.0 * (px * hx + py * hy)
    if c1 >= 0.0 and c2 >= 0.0 and gap2 >= 0.0 and px * hx + py * hy >= 0.0:
        return None
    c3 = 2.0 * (vx * hx + vy * hy)
    c4 = hx * hx + hy * hy
    if gap2 < 1e-7 * d * d:
        # touching: only a closing pair meets (again)
        gap2 = 0.0
        if c1 > -1e-9:
            c1 = max(c1, 0.0)
            if c1 == 0.0 and c2 >= 0.0:
                return None
            gap2 = 1e-12
    t = first_fall(c4, c3, c2, c1, gap2, span)
    return None if t is None else now + t


def next_edge(ball: Ball, edges: Cushions) -> Edge:
    """A moving ball's next event with what stands still, or the end of its law."""
    best: Edge = (ball.ends, "law", None)
    for face in edges.noses:
        t = _face(ball, face, edges.touch_mm, best[0])
        if t is not None:
            best = (t, "nose", face)
    span = best[0] - ball.t
    reach = ((ball.vx**2 + ball.vy**2) ** 0.5 + 0.5 * (ball.ax**2 + ball.ay**2) ** 0.5 * span) * span
    for drop in edges.drops:
        dx, dy = drop.mouth[0] - ball.x, drop.mouth[1] - ball.y
        if dx * dx + dy * dy > (drop.reach_mm + reach) ** 2:
            continue
        best = _pocket(ball, drop, edges.touch_mm, best)
    return best


def _pocket(ball: Ball, drop: Drop, touch_mm: float, best: Edge) -> Edge:
    """The earlier of `best` and the ball's contacts with one pocket's jaws, tips and drop."""
    for face in drop.faces:
        t = _face(ball, face, touch_mm, best[0])
        if t is not None:
            best = (t, "jaw", face)
    for tip in drop.tips:
        t = _reach(
            tip.x - ball.x, tip.y - ball.y, -ball.vx, -ball.vy, -0.5 * ball.ax, -0.5 * ball.ay,
            touch_mm, ball.t, best[0],
        )  # fmt: skip
        if t is not None and t < best[0]:
            best = (t, "tip", tip)
    gap = (drop.x - ball.x) * drop.ox + (drop.y - ball.y) * drop.oy
    t = _cross(gap, -(ball.vx * drop.ox + ball.vy * drop.oy), -0.5 * (ball.ax * drop.ox + ball.ay * drop.oy))
    if t is not None and ball.t + t < best[0]:
        x = ball.x + (ball.vx + 0.5 * ball.ax * t) * t - drop.x
        y = ball.y + (ball.vy + 0.5 * ball.ay * t) * t - drop.y
        if abs(x * drop.oy - y * drop.ox) < drop.reach_mm:
            best = (ball.t + t, "drop", drop)
    return best


def _face(ball: Ball, face: Face, touch_mm: float, before: float) -> float | None:
    """When the centre comes within `touch_mm` of a face, alongside it, before a time; None if it does not."""
    gap = (face.sx - ball.x) * face.nx + (face.sy - ball.y) * face.ny - touch_mm
    if gap < -touch_mm:
        return None  # behind it
    speed = ball.vx * face.nx + ball.vy * face.ny
    t = _cross(gap, -speed, -0.5 * (ball.ax * face.nx + ball.ay * face.ny))
    if t is None or ball.t + t >= before:
        return None
    x = ball.x + (ball.vx + 0.5 * ball.ax * t) * t
    y = ball.y + (ball.vy + 0.5 * ball.ay * t) * t
    dx, dy = face.ex - face.sx, face.ey - face.sy
    along = (x - face.sx) * dx + (y - face.sy) * dy
    return ball.t + t if 0.0 <= along <= dx * dx + dy * dy else None


def _cross(gap: float, rate: float, half: float) -> float | None:
    """First t >= 0 at which gap + rate t + half t2 passes to or below zero; None if it never does."""
    if gap <= 1e-6:
        if rate < 0.0 or (rate == 0.0 and half < 0.0):
            return 0.0
        if half >= 0.0:
            return None
        return -rate / half
    for t in quadratic_roots(half, rate, gap):
        if t > 0.0:
            return t
    return None
