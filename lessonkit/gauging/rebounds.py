"""What the cushions give back: a ball's motion before and after each rebound held against the cushion's law."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from math import hypot

import numpy as np
from numpy.typing import NDArray

from lessonkit.gauging.stretches import Fitted
from lessonkit.model import CUE_BALL, Table
from lessonkit.physics.cushions import Face, cushions_of
from lessonkit.physics.impacts import cushion
from lessonkit.physics.laws import Laws
from lessonkit.physics.motion import Ball

Floats = NDArray[np.float64]
LEAST_MMPS = 100.0
"""Slower rebounds tell little and are easily mistimed."""
OFF_JAW_MM = 40.0
"""A contact nearer than this to the end of a nose may be the jaw's."""
CUE_SIDE, BALL_SIDE = 0.45, 0.12
"""Usual R w / v about the vertical of the cue ball and of other balls: it is not seen, so it is allowed for. The cue ball's is
that of half a tip of side, the others' what a cut hands on; common practice, no source."""
LAW_MMPS, LAW_SHARE = 10.0, 0.02
"""What the law itself is taken to be off by, with speed."""
STEPS = (5e-3, 5e-3)
ROUNDS = 4
FOUL = 4.0
"""A rebound that fits worse than this (mean square over its errors) was mistimed or misread, and says no more of the scatter."""


@dataclass(frozen=True, eq=False)
class Rebound:
    """One rebound: the motion before and after it with their errors."""

    face: Face
    coming: Floats
    """Velocity and slip just before, mm/s, shape (4,)."""
    coming_covariance: Floats
    leaving: Floats
    """The same just after."""
    leaving_covariance: Floats
    side_share: float


def rebounds(fits: Iterable[Fitted], table: Table, laws: Laws) -> Iterator[Rebound]:
    """Every rebound of a nose, off the jaws, with a fitted stretch on both sides."""
    noses = cushions_of(table).noses
    fitted = list(fits)
    leaving = {(f.stretch.ball, id(f.stretch.begin)): f for f in fitted if f.stretch.cushion_before}
    for f in fitted:
        out = leaving.get((f.stretch.ball, id(f.stretch.end))) if f.stretch.cushion_after else None
        if out is None:
            continue
        face = next((n for n in noses if _meets(n, out)), None)
        v, u = f.at_end(laws)
        if face is None or v[0] * face.nx + v[1] * face.ny < LEAST_MMPS:
            continue
        share = CUE_SIDE if f.stretch.ball == CUE_BALL else BALL_SIDE
        slopes = np.column_stack([_end_slope(f, k, laws) for k in range(6)])
        yield Rebound(
            face, np.concatenate([v, u]), slopes @ f.covariance @ slopes.T,
            out.values[2:], out.covariance[2:, 2:], share,
        )  # fmt: skip


def _meets(face: Face, out: Fitted) -> bool:
    if face.cushion != out.stretch.cushion_before:
        return False
    way = hypot(face.ex - face.sx, face.ey - face.sy)
    along = (
        (out.values[0] - face.sx) * (face.ex - face.sx) + (out.values[1] - face.sy) * (face.ey - face.sy)
    ) / way
    return bool(OFF_JAW_MM <= along <= way - OFF_JAW_MM)


def _end_slope(f: Fitted, k: int, laws: Laws) -> Floats:
    """How velocity and slip at a stretch's end answer to one of the numbers at its start."""
    step = 1.0
    ends = []
    for sign in (1.0, -1.0):
        values = f.values.copy()
        values[k] += sign * step
        ends.append(np.concatenate(replace(f, values=values).at_end(laws)))
    return np.asarray((ends[0] - ends[1]) / (2.0 * step))


def after(rebound: Rebound, laws: Laws, table: Table, coming: Floats, side: float) -> Floats:
    """Velocity and slip after the cushion by the law, mm/s; side: R w about the vertical, mm/s."""
    R = table.radius_mm
    vx, vy, ux, uy = (float(c) for c in coming)
    ball = Ball(0.0, 0.0, vx, vy, (uy - vy) / R, (vx - ux) / R, side / R)
    cushion(ball, rebound.face.nx, rebound.face.ny, cushions_of(table).sine, laws, R)
    return np.array([ball.vx, ball.vy, ball.vx - R * ball.wy, ball.vy + R * ball.wx])


def fit_cushion(
    found: list[Rebound], table: Table, laws: Laws, before: Floats, before_errors: Floats
) -> tuple[Floats, Floats, int]:
    """(restitution, friction) that the rebounds show, their standard errors, and how many rebounds told.

    before, before_errors: what is known without them, shape (2,). Side and the errors of the motions before and after
    are allowed for in each rebound's covariance; a rebound that fits ill counts less (Huber's weights).
    """
    x = before.copy()
    information = np.diag(1.0 / before_errors**2)
    for _ in range(ROUNDS):
        information = np.diag(1.0 / before_errors**2)
        pull = (before - x) / before_errors**2
        trial = replace(laws, e_cushion=float(x[0]), mu_cushion=float(x[1]))
        misfit = 0.0
        for r in found:
            miss, slopes, inverse = _held_against(r, trial, table)
            chi2 = float(miss @ inverse @ miss) / len(miss)
            weight = 1.0 / max(1.0, np.sqrt(chi2) / 1.5)
            misfit += min(chi2, FOUL)
            pull = pull + weight * slopes.T @ inverse @ miss
            information = information + weight * slopes.T @ inverse @ slopes
        x = np.clip(x + np.linalg.solve(information, pull), (0.5, 0.01), (0.995, 0.5))
    scale = max(1.0, misfit / max(len(found), 1))
    errors = np.sqrt(np.diag(np.linalg.inv(information)) * scale)
    return x, np.minimum(errors, before_errors), len(found)


def _held_against(r: Rebound, laws: Laws, table: Table) -> tuple[Floats, Floats, Floats]:
    """Measured less lawful motion after a rebound (4,), its slopes by (e, mu) (4, 2), and the inverse covariance (4, 4)."""
    fast = float(np.hypot(*r.coming[:2]))
    said = after(r, laws, table, r.coming, 0.0)
    slopes = np.column_stack(
        [
            (after(r, replace(laws, e_cushion=laws.e_cushion - STEPS[0]), table, r.coming, 0.0) - said) / -STEPS[0],
            (after(r, replace(laws, mu_cushion=laws.mu_cushion + STEPS[1]), table, r.coming, 0.0) - said) / STEPS[1],
        ]
    )  # fmt: skip
    spread = r.side_share * fast
    sides = [after(r, laws, table, r.coming, s * spread) for s in (1.0, -1.0)]
    by_side = 0.5 * (sides[0] - sides[1])
    step = 0.01 * fast + 1.0
    by_coming = np.column_stack(
        [(after(r, laws, table, r.coming + step * np.eye(4)[k], 0.0) - said) / step for k in range(4)]
    )
    law = (LAW_MMPS + LAW_SHARE * fast) ** 2 * np.eye(4)
    covariance = r.leaving_covariance + by_coming @ r.coming_covariance @ by_coming.T
    covariance += np.outer(by_side, by_side) + law
    return r.leaving - said, slopes, np.asarray(np.linalg.inv(covariance), np.float64)
