"""A shot, event by event: the exact time of the next contact, then what the contact does, until all lie still."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from math import hypot

import numpy as np

from lessonkit.model import CUE_BALL, Cushion, Layout, Pocket, Point, Table, Track
from lessonkit.physics import contacts
from lessonkit.physics.apart import apart
from lessonkit.physics.cushions import Cushions, Drop, Face, Tip, cushions_of
from lessonkit.physics.impacts import ball_ball, cushion
from lessonkit.physics.laws import DEFAULT, Laws
from lessonkit.physics.motion import INF, Ball, advance, end_law, settle

MAX_EVENTS = 20_000
NOSE_SHARE = 0.9
"""A contact with a tip whose normal has at least this share across the rail counts as the nose's."""


@dataclass(frozen=True)
class Hit:
    """One contact: kind 'ball', 'cushion' (jaw: of a pocket's jaws) or 'pocket'; time from the strike."""

    t_s: float
    kind: str
    balls: tuple[int, ...]
    cushion: Cushion | None = None
    pocket: Pocket | None = None
    jaw: bool = False
    speed_mmps: float = 0.0
    """Speed of approach along the normal."""


Piece = tuple[float, float, float, float, float, float, float]
"""t_s, x, y, vx, vy, ax, ay: one parabola, valid until the next piece's time."""


@dataclass
class Run:
    """What came of a simulated shot."""

    hits: list[Hit] = field(default_factory=list)
    pieces: dict[int, list[Piece]] = field(default_factory=dict)
    """Of every ball that moved; the last piece is the ball at rest (or dropped)."""
    rest: Layout = field(default_factory=dict)
    """Balls still on the table, where they lie."""
    dropped: dict[int, Pocket] = field(default_factory=dict)
    balls: dict[int, Ball] = field(default_factory=dict)
    """Last states."""
    end_s: float = 0.0
    stopped: bool = False
    """Ended before all lay still: by the caller's wish, or after MAX_EVENTS."""

    def place(self, ball: int, t_s: float) -> Point:
        """Where a ball that moved is at a time, mm."""
        pieces = self.pieces[ball]
        k = 0
        while k + 1 < len(pieces) and pieces[k + 1][0] <= t_s:
            k += 1
        t, x, y, vx, vy, ax, ay = pieces[k]
        d = max(0.0, t_s - t)
        return x + (vx + 0.5 * ax * d) * d, y + (vy + 0.5 * ay * d) * d

    def path(self, ball: int, step_s: float = 1 / 60) -> Track:
        """A ball's path, shape (N, 3): t_s, x_mm, y_mm, with every change of law and at least every `step_s`."""
        pieces = self.pieces.get(ball)
        if not pieces:
            return np.zeros((0, 3))
        rows: list[tuple[float, float, float]] = []
        for piece, after in zip(pieces, [*pieces[1:], None], strict=True):
            t, x, y, vx, vy, ax, ay = piece
            n = 1 if after is None else max(1, int((after[0] - t) / step_s + 0.5))
            span = 0.0 if after is None else after[0] - t
            for k in range(n):
                d = span * k / n
                rows.append((t + d, x + (vx + 0.5 * ax * d) * d, y + (vy + 0.5 * ay * d) * d))
        return np.array(rows)


def simulate(
    layout: Layout,
    cue: Ball,
    table: Table,
    laws: Laws = DEFAULT,
    stop: Callable[[Hit, Run], bool] | None = None,
    until_s: float = 60.0,
) -> Run:
    """Play a stroke on a layout.

    layout: balls at rest, mm (its cue ball is replaced by `cue`, the state just after the strike); balls that overlap by
    an error of measuring are first moved apart.
    stop: called after every contact; returning True ends the run there.
    A run of more than MAX_EVENTS contacts and changes of law ends there as `stopped`.
    """
    places = apart({**layout, CUE_BALL: (cue.x, cue.y)}, table)
    start = {n: Ball(*p) for n, p in places.items() if n != CUE_BALL}
    start[CUE_BALL] = replace(cue, x=places[CUE_BALL][0], y=places[CUE_BALL][1])
    return _Shot(start, table, laws).play(stop, until_s)


class _Shot:
    """The event loop's working state."""

    def __init__(self, balls: dict[int, Ball], table: Table, laws: Laws) -> None:
        self.balls, self.table, self.laws = balls, table, laws
        self.R = table.radius_mm
        self.edges: Cushions = cushions_of(table)
        self.run = Run(balls=balls)
        self.t = 0.0
        self.walls: dict[int, tuple[float, str, Face | Tip | Drop | None]] = {}
        self.pairs: dict[tuple[int, int], float] = {}
        for n, ball in balls.items():
            settle(ball, laws, self.R)
            if ball.moving:
                self._record(n)
        for n in balls:
            self._foresee(n)

    def play(self, stop: Callable[[Hit, Run], bool] | None, until_s: float) -> Run:
        for _ in range(MAX_EVENTS):
            wall = min(self.walls, key=lambda n: self.walls[n][0], default=None)
            pair = min(self.pairs, key=self.pairs.__getitem__, default=None)
            t_wall = self.walls[wall][0] if wall is not None else INF
            t_pair = self.pairs[pair] if pair is not None else INF
            t = min(t_wall, t_pair)
            if t == INF or t > until_s:
                break
            self.t = t
            hit = self._meet(*pair) if pair is not None and t_pair <= t_wall else self._turn(wall or 0)
            if hit is not None:
                self.run.hits.append(hit)
                if stop is not None and stop(hit, self.run):
                    self.run.stopped = True
                    break
        else:
            self.run.stopped = True
        return self._finish()

    def _finish(self) -> Run:
        self.run.end_s = self.t
        for n, ball in self.balls.items():
            if n not in self.run.dropped:
                if ball.moving:
                    advance(ball, min(self.t, ball.ends), self.laws)
                    self._record(n)
                self.run.rest[n] = (ball.x, ball.y)
        return self.run

    def _record(self, n: int) -> None:
        b = self.balls[n]
        self.run.pieces.setdefault(n, []).append((b.t, b.x, b.y, b.vx, b.vy, b.ax, b.ay))

    def _meet(self, i: int, j: int) -> Hit:
        """Two balls touch; a chain of touching balls is taken pair by pair, hardest first come."""
        a, b = self.balls[i], self.balls[j]
        advance(a, self.t, self.laws)
        advance(b, self.t, self.laws)
        if not a.moving and i not in self.run.pieces:
            self._record(i)
        if not b.moving and j not in self.run.pieces:
            self._record(j)
        first, second = (i, j) if a.moving and (hypot(a.vx, a.vy) >= hypot(b.vx, b.vy)) else (j, i)
        speed = ball_ball(a, b, self.laws, self.R)
        for n in (i, j):
            settle(self.balls[n], self.laws, self.R)
            self._record(n)
        self._foresee(i)
        self._foresee(j, skip=i)
        return Hit(self.t, "ball", (first, second), speed_mmps=speed)

    def _turn(self, n: int) -> Hit | None:
        """A ball's own next event: change of law, cushion, jaw, drop."""
        _, kind, what = self.walls[n]
        ball = self.balls[n]
        advance(ball, self.t, self.laws)
        hit = None
        if isinstance(what, Drop):
            speed = hypot(ball.vx, ball.vy)
            self.run.dropped[n] = what.pocket
            ball.vx = ball.vy = ball.wx = ball.wy = ball.wz = ball.ax = ball.ay = 0.0
            ball.moving, ball.ends = False, INF
            self._record(n)
            self.walls.pop(n)
            self.pairs = {k: v for k, v in self.pairs.items() if n not in k}
            return Hit(self.t, "pocket", (n,), pocket=what.pocket, speed_mmps=speed)
        if isinstance(what, Face):
            speed = cushion(ball, what.nx, what.ny, self.edges.sine, self.laws, self.R)
            hit = Hit(self.t, "cushion", (n,), cushion=what.cushion, jaw=what.jaw, speed_mmps=speed)
        elif isinstance(what, Tip):
            nx, ny = what.x - ball.x, what.y - ball.y
            d = hypot(nx, ny)
            speed = cushion(ball, nx / d, ny / d, self.edges.sine, self.laws, self.R)
            # on the table's side of the tip it is the nose that was met, past it the jaw
            jaw = abs(nx / d if what.cushion in ("head", "foot") else ny / d) < NOSE_SHARE
            hit = Hit(self.t, "cushion", (n,), cushion=what.cushion, jaw=jaw, speed_mmps=speed)
        elif kind == "law":
            end_law(ball, self.R)
        settle(ball, self.laws, self.R)
        self._record(n)
        self._foresee(n)
        return hit

    def _foresee(self, n: int, skip: int | None = None) -> None:
        """Find a ball's next event with itself, the edges and every other ball."""
        if n in self.run.dropped:
            return
        ball = self.balls[n]
        if ball.moving:
            self.walls[n] = contacts.next_edge(ball, self.edges)
        else:
            self.walls.pop(n, None)
        limit = self.walls[n][0] if ball.moving else INF
        for m, other in self.balls.items():
            if m in (n, skip) or m in self.run.dropped:
                continue
            key = (n, m) if n < m else (m, n)
            if not (ball.moving or other.moving):
                self.pairs.pop(key, None)
                continue
            until = min(limit, self.walls[m][0]) if m in self.walls else limit
            t = contacts.next_touch(ball, other, 2.0 * self.R, self.t, until)
            if t is None:
                self.pairs.pop(key, None)
            else:
                self.pairs[key] = t
