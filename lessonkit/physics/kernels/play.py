"""The event loop: the exact time of the next contact, then what the contact does, until all lie still."""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np

from lessonkit.physics.kernels.compiling import compiled
from lessonkit.physics.kernels.contacts import next_edge, next_touch
from lessonkit.physics.kernels.impacts import ball_ball, cushion
from lessonkit.physics.kernels.motion import advance, end_law, settle
from lessonkit.physics.kernels.state import (
    AX,
    AY,
    COLUMNS,
    DROP,
    ENDED,
    ENDLESS,
    ENDS,
    FULL,
    H_A,
    H_B,
    H_KIND,
    H_PIECES,
    H_SPEED,
    H_TIME,
    H_WHAT,
    INF,
    JAW,
    LAW,
    MET_BALL,
    MET_JAW,
    MET_NOSE,
    MET_POCKET,
    MET_TIP_JAW,
    MET_TIP_NOSE,
    MOVING,
    NO_WALL,
    NOSE,
    P_BALL,
    PAUSED,
    TIP,
    VX,
    VY,
    Constants,
    Edges,
    Floats,
    Ints,
    T,
    X,
    Y,
)  # fmt: skip

NOSE_SHARE = 0.9
"""A contact with a tip whose normal has at least this share across the rail counts as the nose's."""
HITS, PIECES, EVENTS = 0, 1, 2
"""Counters of a game."""


class Game(NamedTuple):
    """A shot in play; all arrays are written to. n balls."""

    state: Floats
    """Shape (n, COLUMNS)."""
    pocket: Ints
    """Shape (n,): the drop a ball went down, else -1."""
    moved: Ints
    """Shape (n,): 1 once a ball has a piece of path."""
    wall_time: Floats
    """Shape (n,): each ball's own next event, of what kind and with what."""
    wall: Ints
    """Shape (n, 2)."""
    pair_time: Floats
    """Shape (n, n): when balls i < j meet next."""
    clock: Floats
    """Shape (1,)."""
    counts: Ints
    """Shape (3,): HITS, PIECES, EVENTS."""


@compiled
def record(game: Game, pieces: Floats, i: int) -> None:
    """Write down ball i's new piece of path."""
    row = pieces[game.counts[PIECES]]
    row[P_BALL], row[1] = i, game.state[i, T]
    row[2], row[3], row[4], row[5] = game.state[i, X], game.state[i, Y], game.state[i, VX], game.state[i, VY]
    row[6], row[7] = game.state[i, AX], game.state[i, AY]
    game.counts[PIECES] += 1
    game.moved[i] = 1


@compiled
def note_hit(game: Game, hits: Floats, kind: int, a: int, b: int, what: int, speed: float) -> None:
    """Write down a contact."""
    row = hits[game.counts[HITS]]
    row[H_TIME], row[H_KIND], row[H_A], row[H_B] = game.clock[0], kind, a, b
    row[H_WHAT], row[H_SPEED], row[H_PIECES] = what, speed, game.counts[PIECES]
    game.counts[HITS] += 1


@compiled
def foresee_wall(game: Game, i: int, edges: Edges, k: Constants) -> None:
    """Find ball i's next event of its own."""
    if game.state[i, MOVING] != 0.0:
        game.wall_time[i], game.wall[i, 0], game.wall[i, 1] = next_edge(game.state, i, edges, k.touch)
    else:
        game.wall_time[i], game.wall[i, 0] = INF, NO_WALL


@compiled
def foresee_pairs(game: Game, i: int, k: Constants) -> None:
    """Find when ball i meets each other ball, as long as the laws of both last."""
    moving = game.state[i, MOVING] != 0.0
    for j in range(len(game.state)):
        if j == i or game.pocket[j] >= 0:
            continue
        t = INF
        if moving or game.state[j, MOVING] != 0.0:
            until = min(game.wall_time[i], game.wall_time[j])
            t = next_touch(game.state, i, j, 2.0 * k.radius, game.clock[0], until)
        game.pair_time[min(i, j), max(i, j)] = t


@compiled
def start(game: Game, pieces: Floats, edges: Edges, k: Constants) -> None:
    """Make a game whose balls' places, velocities and spins are set ready to play."""
    n = len(game.state)
    game.pocket[:] = -1
    game.moved[:] = 0
    game.counts[:] = 0
    game.clock[0] = 0.0
    game.pair_time[:] = INF
    for i in range(n):
        settle(game.state, i, k)
        if game.state[i, MOVING] != 0.0:
            record(game, pieces, i)
        foresee_wall(game, i, edges, k)
    for i in range(n):
        if game.state[i, MOVING] != 0.0:
            foresee_pairs(game, i, k)


@compiled
def meet(game: Game, hits: Floats, pieces: Floats, i: int, j: int, edges: Edges, k: Constants) -> None:
    """Two balls touch; a chain of touching balls is taken pair by pair, hardest first come."""
    state = game.state
    for m in (i, j):
        advance(state, m, game.clock[0], k)
        if game.moved[m] == 0:
            record(game, pieces, m)
    vi = state[i, VX] * state[i, VX] + state[i, VY] * state[i, VY]
    vj = state[j, VX] * state[j, VX] + state[j, VY] * state[j, VY]
    first = i if state[i, MOVING] != 0.0 and vi >= vj else j
    speed = ball_ball(state, i, j, k)
    for m in (i, j):
        settle(state, m, k)
        record(game, pieces, m)
        foresee_wall(game, m, edges, k)
    note_hit(game, hits, MET_BALL, first, i + j - first, 0, speed)
    foresee_pairs(game, i, k)
    foresee_pairs(game, j, k)


@compiled
def drop(game: Game, hits: Floats, pieces: Floats, i: int, which: int) -> None:
    """Ball i goes down a pocket and out of the game."""
    state = game.state
    speed = sqrt(state[i, VX] * state[i, VX] + state[i, VY] * state[i, VY])
    for column in range(VX, COLUMNS):
        if column != T:
            state[i, column] = 0.0
    state[i, ENDS] = INF
    game.pocket[i] = which
    record(game, pieces, i)
    game.wall_time[i], game.wall[i, 0] = INF, NO_WALL
    game.pair_time[i, :] = INF
    game.pair_time[:, i] = INF
    note_hit(game, hits, MET_POCKET, i, -1, which, speed)


@compiled
def turn(game: Game, hits: Floats, pieces: Floats, i: int, edges: Edges, k: Constants) -> None:
    """Ball i's own next event: change of law, cushion, jaw, drop."""
    state, kind, which = game.state, game.wall[i, 0], game.wall[i, 1]
    advance(state, i, game.clock[0], k)
    if kind == DROP:
        drop(game, hits, pieces, i, which)
        return
    met, face, speed = -1, which, 0.0
    if kind in (NOSE, JAW):
        speed = cushion(state, i, edges.faces[which, 4], edges.faces[which, 5], k)
        met = MET_NOSE if kind == NOSE else MET_JAW
    elif kind == TIP:
        nx, ny = edges.tips[which, 0] - state[i, X], edges.tips[which, 1] - state[i, Y]
        d = sqrt(nx * nx + ny * ny)
        nx, ny = nx / d, ny / d
        speed = cushion(state, i, nx, ny, k)
        # on the table's side of the tip it is the nose that was met, past it the jaw
        across = abs(nx) if edges.tips[which, 2] != 0.0 else abs(ny)
        met = MET_TIP_JAW if across < NOSE_SHARE else MET_TIP_NOSE
        face = int(edges.tips[which, 3])
    elif kind == LAW:
        end_law(state, i, k)
    settle(state, i, k)
    record(game, pieces, i)
    if met >= 0:
        note_hit(game, hits, met, i, -1, face, speed)
    foresee_wall(game, i, edges, k)
    foresee_pairs(game, i, k)


@compiled
def play(
    game: Game, hits: Floats, pieces: Floats, edges: Edges, k: Constants, until: float, more: int, most: int
) -> int:
    """Go on with a game until all lie still, `until` is reached, or `more` contacts have come.

    hits, pieces: rows to write to, shapes (H, HIT_COLUMNS), (P, PIECE_COLUMNS); FULL is returned when they are, and the
    game can go on with longer ones. most: greatest number of events, ENDLESS is returned beyond it.
    """
    n = len(game.state)
    stop = game.counts[HITS] + more
    while True:
        if game.counts[HITS] >= stop:
            return PAUSED
        if game.counts[HITS] >= len(hits) or game.counts[PIECES] + n + 4 > len(pieces):
            return FULL
        if game.counts[EVENTS] >= most:
            return ENDLESS
        a, b, t = 0, -1, INF
        for i in range(n):
            if game.wall_time[i] < t:
                a, t = i, game.wall_time[i]
        for i in range(n):
            for j in range(i + 1, n):
                if game.pair_time[i, j] <= t and game.pair_time[i, j] < INF:
                    if b >= 0 and game.pair_time[i, j] == t:
                        continue
                    a, b, t = i, j, game.pair_time[i, j]
        if t == INF:
            return ENDED
        if t > until:
            game.clock[0] = until
            return ENDED
        game.clock[0] = t
        game.counts[EVENTS] += 1
        if b >= 0:
            meet(game, hits, pieces, a, b, edges, k)
        else:
            turn(game, hits, pieces, a, edges, k)


@compiled
def finish(game: Game, pieces: Floats, k: Constants) -> None:
    """Bring every ball that still moves to the clock's time."""
    for i in range(len(game.state)):
        if game.pocket[i] < 0 and game.state[i, MOVING] != 0.0:
            advance(game.state, i, min(game.clock[0], game.state[i, ENDS]), k)
            record(game, pieces, i)


@compiled
def new_game(n: int) -> Game:
    """An empty game for n balls."""
    return Game(
        np.zeros((n, COLUMNS)), np.full(n, -1, np.int64), np.zeros(n, np.int64), np.full(n, INF),
        np.zeros((n, 2), np.int64), np.full((n, n), INF), np.zeros(1), np.zeros(3, np.int64),
    )  # fmt: skip
