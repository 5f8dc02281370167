"""Many strokes on one layout, and what is asked about each."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from lessonkit.physics.kernels.compiling import compiled
from lessonkit.physics.kernels.play import HITS, PIECES, Game, finish, new_game, play, start
from lessonkit.physics.kernels.state import (
    FULL,
    H_A,
    H_B,
    H_KIND,
    H_PIECES,
    H_TIME,
    H_WHAT,
    HIT_COLUMNS,
    MET_BALL,
    MET_NOSE,
    MET_TIP_NOSE,
    P_BALL,
    PAUSED,
    PIECE_COLUMNS,
    VX,
    Constants,
    Edges,
    Floats,
    Ints,
    X,
    Y,
)  # fmt: skip

ROOM = 256
CUE = 0
"""The cue ball is the first of the balls."""


class Answers(NamedTuple):
    """One row for each stroke; see `lessonkit.physics.many.Many`."""

    rest: Floats
    pocket: Ints
    moved: Ints
    first: Ints
    contact_s: Floats
    contact: Floats
    """Shape (N, 2, 4): of the cue ball and the ball it met first, place and velocity just after."""
    cushions: Ints
    """Shape (N, 2, K): faces met by the cue ball and by the ball it met first, in their order, -1 after the last."""
    counts: Ints
    """Shape (N, 3): nose contacts of the cue ball before its first ball, of the cue ball, of that ball."""
    end_s: Floats
    ended: Ints
    samples: Floats
    """Shape (N, S, B, 2)."""


@compiled
def grown(rows: Floats) -> Floats:
    """The same rows with room for as many again."""
    longer = np.empty((2 * len(rows), rows.shape[1]))
    longer[: len(rows)] = rows
    return longer


@compiled
def first_contact(hits: Floats, n: int) -> int:
    """The row of the cue ball's first contact with a ball; -1: it meets none."""
    for h in range(n):
        if hits[h, H_KIND] == MET_BALL and (hits[h, H_A] == CUE or hits[h, H_B] == CUE):
            return h
    return -1


@compiled
def play_out(
    game: Game,
    hits: Floats,
    pieces: Floats,
    edges: Edges,
    k: Constants,
    until: float,
    to_contact: bool,
    most: int,
) -> tuple[int, Floats, Floats]:
    """Play a game to its end, or to the cue ball's first contact with a ball."""
    while True:
        code = play(game, hits, pieces, edges, k, until, 1 if to_contact else most, most)
        if code == FULL:
            hits, pieces = grown(hits), grown(pieces)
        elif code != PAUSED or first_contact(hits, game.counts[HITS]) >= 0:
            return code, hits, pieces


@compiled
def answer_contact(a: Answers, s: int, game: Game, hits: Floats, pieces: Floats) -> None:
    """The first ball, where both stood and how both went on."""
    h = first_contact(hits, game.counts[HITS])
    a.first[s] = -1
    if h < 0:
        return
    other = int(hits[h, H_B]) if hits[h, H_A] == CUE else int(hits[h, H_A])
    a.first[s], a.contact_s[s] = other, hits[h, H_TIME]
    for which in range(2):
        ball = CUE if which == 0 else other
        for p in range(int(hits[h, H_PIECES]) - 1, -1, -1):
            if pieces[p, P_BALL] == ball:
                a.contact[s, which] = pieces[p, 2:6]
                break


@compiled
def answer_cushions(a: Answers, s: int, game: Game, hits: Floats) -> None:
    """Noses met by the cue ball and by its first ball, jaws left out."""
    room = a.cushions.shape[2]
    seen = False
    for h in range(game.counts[HITS]):
        kind, ball = hits[h, H_KIND], hits[h, H_A]
        if kind == MET_BALL and (ball == CUE or hits[h, H_B] == CUE):
            seen = True
        if kind not in (MET_NOSE, MET_TIP_NOSE) or (ball != CUE and ball != a.first[s]):
            continue
        which = 0 if ball == CUE else 1
        n = a.counts[s, 1 + which]
        if n < room:
            a.cushions[s, which, n] = int(hits[h, H_WHAT])
        a.counts[s, 1 + which] = n + 1
        if which == 0 and not seen:
            a.counts[s, 0] += 1


@compiled
def answer_samples(a: Answers, s: int, game: Game, pieces: Floats, times: Floats, of: Ints) -> None:
    """Where the wanted balls are at the wanted times; a ball without a piece stays where it lies."""
    for b in range(len(of)):
        ball, at, piece = of[b], 0, -1
        for p in range(game.counts[PIECES] + 1):
            last = p == game.counts[PIECES]
            if not last and pieces[p, P_BALL] != ball:
                continue
            while at < len(times) and (last or times[at] < pieces[p, 1]):
                if piece < 0:
                    if not last:
                        a.samples[s, at, b] = pieces[p, 2:4]
                    else:
                        a.samples[s, at, b, 0], a.samples[s, at, b, 1] = (
                            game.state[ball, X],
                            game.state[ball, Y],
                        )
                else:
                    d = max(0.0, times[at] - pieces[piece, 1])
                    for c in range(2):
                        a.samples[s, at, b, c] = (
                            pieces[piece, 2 + c] + (pieces[piece, 4 + c] + 0.5 * pieces[piece, 6 + c] * d) * d
                        )
                at += 1
            piece = p


@compiled
def play_many(
    balls: Floats, cues: Floats, edges: Edges, k: Constants, until: float, to_contact: bool, most: int,
    times: Floats, of: Ints, a: Answers,
) -> None:  # fmt: skip
    """Play each of `cues`, shape (N, 5): vx, vy, wx, wy, wz, on balls at rest, shape (n, COLUMNS), the cue ball first."""
    game = new_game(len(balls))
    hits, pieces = np.empty((ROOM, HIT_COLUMNS)), np.empty((ROOM, PIECE_COLUMNS))
    for s in range(len(cues)):
        game.state[:] = balls
        game.state[CUE, VX : VX + 5] = cues[s]
        start(game, pieces, edges, k)
        code, hits, pieces = play_out(game, hits, pieces, edges, k, until, to_contact, most)
        finish(game, pieces, k)
        a.ended[s], a.end_s[s] = code, game.clock[0]
        for i in range(len(balls)):
            a.pocket[s, i], a.moved[s, i] = game.pocket[i], game.moved[i]
            if game.pocket[i] < 0:
                a.rest[s, i, 0], a.rest[s, i, 1] = game.state[i, X], game.state[i, Y]
        answer_contact(a, s, game, hits, pieces)
        answer_cushions(a, s, game, hits)
        if len(times) > 0:
            answer_samples(a, s, game, pieces, times, of)
