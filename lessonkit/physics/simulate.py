"""A shot, event by event: the exact time of the next contact, then what the contact does, until all lie still.

The loop itself is compiled (`kernels.play`); here is what the rest of lessonkit calls.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from lessonkit.model import CUE_BALL, Layout, Table
from lessonkit.physics.apart import apart
from lessonkit.physics.cushions import cushions_of
from lessonkit.physics.kernels.state import (
    COLUMNS,
    ENDED,
    ENDLESS,
    ENDS,
    FULL,
    HIT_COLUMNS,
    INF,
    MET_BALL,
    MET_JAW,
    MET_POCKET,
    MET_TIP_JAW,
    PIECE_COLUMNS,
    Floats,
)  # fmt: skip
from lessonkit.physics.laws import DEFAULT, Laws
from lessonkit.physics.motion import Ball
from lessonkit.physics.prepared import constants_of, edges_of, faces_of
from lessonkit.physics.run import Hit, Piece, Run

__all__ = ["MAX_EVENTS", "Hit", "Piece", "Run", "simulate"]

MAX_EVENTS = 20_000
ROOM = 256
"""Contacts and pieces for which room is made at first."""


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
    until_s: the run ends there if not all lie still before.
    A run of more than MAX_EVENTS contacts and changes of law ends there as `stopped`.
    """
    places = apart({**layout, CUE_BALL: (cue.x, cue.y)}, table)
    return _Shot(places, cue, table, laws).play(stop, until_s)


class _Shot:
    """One game and what has been read from it."""

    def __init__(self, places: Layout, cue: Ball, table: Table, laws: Laws) -> None:
        from lessonkit.physics.kernels import play as kernel

        self.kernel = kernel
        self.table, self.numbers = table, tuple(places)
        n = len(places)
        state = np.zeros((n, COLUMNS))
        state[:, :2] = tuple(places.values())
        state[:, ENDS] = INF
        state[self.numbers.index(CUE_BALL), 2:7] = cue.vx, cue.vy, cue.wx, cue.wy, cue.wz
        self.game = kernel.Game(
            state, np.full(n, -1), np.zeros(n, np.int64), np.full(n, INF), np.zeros((n, 2), np.int64),
            np.full((n, n), INF), np.zeros(1), np.zeros(3, np.int64),
        )  # fmt: skip
        self.hits, self.pieces = np.empty((ROOM, HIT_COLUMNS)), np.empty((ROOM, PIECE_COLUMNS))
        self.edges, self.k = edges_of(table), constants_of(laws, table)
        self.run = Run()
        self.read = [0, 0]
        """Contacts and pieces that the run has already."""
        kernel.start(self.game, self.pieces, self.edges, self.k)

    def play(self, stop: Callable[[Hit, Run], bool] | None, until_s: float) -> Run:
        more = MAX_EVENTS if stop is None else 1
        while True:
            code = self.kernel.play(
                self.game, self.hits, self.pieces, self.edges, self.k, until_s, more, MAX_EVENTS
            )
            if code == FULL:
                self.hits, self.pieces = _longer(self.hits), _longer(self.pieces)
            elif code in (ENDED, ENDLESS):
                self.run.stopped = code == ENDLESS
                break
            elif stop is not None:
                self._take()
                if stop(self.run.hits[-1], self.run):
                    self.run.stopped = True
                    break
        return self._finish()

    def _take(self) -> None:
        """Bring the run up to what the game has come to."""
        run, hits, pieces = self.run, int(self.game.counts[0]), int(self.game.counts[1])
        for b, *piece in self.pieces[self.read[1] : pieces].tolist():
            run.pieces.setdefault(self.numbers[int(b)], []).append(tuple(piece))
        for row in self.hits[self.read[0] : hits].tolist():
            hit = self._hit(row)
            run.hits.append(hit)
            if hit.pocket is not None:
                run.dropped[hit.balls[0]] = hit.pocket
        self.read = [hits, pieces]
        for n, row in zip(self.numbers, self.game.state, strict=True):
            ball = run.balls.setdefault(n, Ball(0.0, 0.0))
            ball.take(row)

    def _hit(self, row: list[float]) -> Hit:
        t, kind, a, b, what, speed = row[0], int(row[1]), int(row[2]), int(row[3]), int(row[4]), row[5]
        first = self.numbers[a]
        if kind == MET_BALL:
            return Hit(t, "ball", (first, self.numbers[b]), speed_mmps=speed)
        if kind == MET_POCKET:
            return Hit(
                t, "pocket", (first,), pocket=cushions_of(self.table).drops[what].pocket, speed_mmps=speed
            )
        face = faces_of(self.table)[what]
        jaw = kind in (MET_JAW, MET_TIP_JAW)
        return Hit(t, "cushion", (first,), cushion=face.cushion, jaw=jaw, speed_mmps=speed)

    def _finish(self) -> Run:
        self.kernel.finish(self.game, self.pieces, self.k)
        self._take()
        self.run.end_s = float(self.game.clock[0])
        self.run.rest = {
            n: (ball.x, ball.y) for n, ball in self.run.balls.items() if n not in self.run.dropped
        }
        return self.run


def _longer(rows: Floats) -> Floats:
    """The same rows with room for as many again."""
    return np.concatenate([rows, np.empty_like(rows)])
