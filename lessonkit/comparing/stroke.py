"""The stroke that best explains what the tracked cue ball and the first ball did (docs/comparing.md)."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import atan2, degrees, sqrt

import numpy as np
from numpy.typing import NDArray

from lessonkit.comparing.sights import TOGETHER_S, Sights, first_sights, late_sights, usable
from lessonkit.model import CUE_BALL, SeenShot, StrokeEstimate, Table, TableFigures
from lessonkit.physics.impacts import MISCUE_LIMIT
from lessonkit.physics.laws import DEFAULT, GRAVITY_MMPS2, Laws

Floats = NDArray[np.float64]
UNKNOWN = StrokeEstimate(None, None, None)
AIM, PACE, UP, LATE = range(4)
"""Numbers of a fit. Pace is speed (1 + k height). A ball that has come to roll shows 5/7 of speed (1 + height) and no more
(docs/physics.md), one that still slides shows the speed itself; k is 1 and 0, so that pace and height do not bend into each
other along a curve as speed and height would."""
MOSTLY_SLIDING = 0.6
"""Share of the way to the first contact from which on a ball counts as sliding there."""
STEPS = np.array([0.02, 0.01, 0.01, 0.001])
"""Steps of the differences: aim deg, pace m/s, height R, strike s."""
LOW = np.array([-720.0, 0.03, -MISCUE_LIMIT, -0.03])
HIGH = np.array([720.0, 18.0, MISCUE_LIMIT, 0.03])
STRIKE_S = 0.006
"""Usual error of the time of the strike."""
USUAL_UP, USUAL_LEFT = 0.5, 0.3
"""How far off the centre tips usually are, in radii: no more than a hold on what the tracks do not tell."""
SURE_UP, SURE_LEFT, SURE_SPEED, SURE_AIM = 0.08, 0.12, 0.08, 2.0
"""Standard errors (radii; share of the speed; deg) above which a number is not told."""
LEAST_ERRORS, LEAST_SPEED = np.array([0.05, 0.0, 0.01, 0.0]), 0.003
"""Least errors told: aim deg, height R; speed as a share. Cloth, ball and level cue are never quite as the laws
have them. Our choice."""
LEAST_SIDE, SIDE_SHARE = 0.02, 0.2
"""Least error of a side, and the share of it that it is uncertain by besides: published laws of the cushion differ in what they
make of side, and the one used here is a snooker cushion's."""
SIDES = np.linspace(-0.48, 0.48, 13)
FINER = np.array([-0.5, -0.25, 0.25, 0.5])
MOST_STEP = np.array([1.0, 0.3, 0.2, 0.01])
"""No round of the fit moves aim (deg), pace (m/s), height (R) and strike (s) by more: the misses bend."""
ILL, LOST = 4.0, 25.0
"""Mean square of the misses, in errors, from which on the best stroke tells nothing of the tip's place; of anything."""
OTHER_LAWS = {"e_ball": 0.02, "mu_ball_fall": 0.03}
"""Uncertain constants that no clip is asked for: half their published ranges (docs/physics.md)."""
USUAL_ERRORS = {"mu_slide": 0.03, "mu_roll": 0.003, "e_cushion": 0.04, "mu_cushion": 0.06}
"""Those of the figures of a table that were not measured."""
DRIFTS = (0.012, 0.012, 0.015, 0.01)
"""Share by which the cue ball (speed, direction) and the first ball may leave a contact otherwise than by the laws."""
START_MM = 0.7
"""Usual error of where the cue ball lay against where it was seen later."""
SHIFT_MM = 1.2
"""Usual error of where the first ball lay across the aim; also for a way bent a little by side and a raised cue."""


def estimate_stroke(
    shot: SeenShot, table: Table, laws: Laws = DEFAULT, figures: TableFigures | None = None
) -> StrokeEstimate:
    """Aim, speed and the tip's place, found by playing strokes until simulated balls follow the tracked ones.

    First the cue ball up to its second contact and the first ball up to its next, for aim, speed and height; then, if
    one cushion follows with no more than that ball before it, the cue ball's way after it for the side. The standard
    errors hold the tracks' noise and what is uncertain of the laws (`figures` gives that of the table's own) and of the
    first ball's place. A number whose error is above the SURE_ bounds is None; a shot that cannot be fitted gives None
    for all. Never raises for odd tracks.
    """
    if not usable(shot):
        return UNKNOWN
    sights = first_sights(shot, table)
    if sights is None:
        return UNKNOWN
    ground = _Ground(sights, table, laws, law_errors(laws, figures))
    x = _first_fit(ground, shot)
    if x is None:
        return UNKNOWN
    ground, x = ground.fitting(x, _first_contact_s(shot))
    weights = _weights(ground, x)
    x, cost, covariance = _settled(x, 0.0, [ground], [weights], True)
    ill = cost / len(weights)
    if not np.isfinite(ill) or ill > LOST:
        return UNKNOWN
    found = Found(x, covariance * max(1.0, ill), ill)
    left: tuple[float, float] | None = None
    late = late_sights(shot, table)
    if late is not None and ill <= ILL:
        after = replace(ground, sights=late)
        both = _with_side(found, [ground, after], [weights, np.ones(2 * len(late.cue_s))])
        if both is not None:
            found, left = both
    told = _told(found, left, ground.rolls)
    return replace(told, tip_up=None, tip_up_error=None) if _met_together(shot) else told


def _met_together(shot: SeenShot) -> bool:
    """Whether the cue ball met a cushion and its first ball at about the same time.

    What the first ball's way then tells of the cue ball's spin hangs on tenths of a millimetre, and there is no way of the cue
    ball's own after the ball to read: heights told of such shots were 3 to 7 errors off in all three of the development clips.
    """
    mine = [e for e in shot.events if CUE_BALL in e.balls and e.t_s > shot.strike_s]
    met = next((e for e in mine if e.kind == "ball"), None)
    return met is not None and any(e.kind == "cushion" and abs(e.t_s - met.t_s) < TOGETHER_S for e in mine)


def _told(found: Found, left: tuple[float, float] | None, k: float) -> StrokeEstimate:
    """Only the numbers that are sure enough."""
    aim, pace, up = (float(v) for v in found.values[:3])
    speed = pace / (1.0 + k * up)
    by = np.array([0.0, 1.0, -k * speed, 0.0]) / (1.0 + k * up)
    speed_error = max(sqrt(float(by @ found.covariance @ by)), LEAST_SPEED * speed)
    errors = np.maximum(found.errors, LEAST_ERRORS)
    speed_told = speed_error <= SURE_SPEED * speed
    up_told = errors[UP] <= SURE_UP and found.ill <= ILL
    if left is not None:
        left = left[0], sqrt(max(left[1], LEAST_SIDE) ** 2 + (SIDE_SHARE * left[0]) ** 2)
    left_told = left is not None and left[1] <= SURE_LEFT
    aim_told = errors[AIM] <= SURE_AIM

    def kept(value: float, told: bool, digits: int = 3) -> float | None:
        return round(float(value), digits) if told else None

    return StrokeEstimate(
        kept(speed, speed_told),
        kept(up, up_told),
        kept(left[0], left_told) if left is not None else None,
        kept(aim % 360.0, aim_told),
        kept(speed_error, speed_told, 4),
        kept(errors[UP], up_told, 4),
        kept(left[1], left_told, 4) if left is not None else None,
        kept(errors[AIM], aim_told, 4),
    )


def law_errors(laws: Laws, figures: TableFigures | None) -> dict[str, float]:
    """Standard error of each constant that the simulation hangs on."""
    errors = {**OTHER_LAWS, **USUAL_ERRORS}
    if figures is not None:
        for name, figure in (
            ("mu_slide", figures.sliding),
            ("mu_roll", figures.rolling),
            ("e_cushion", figures.rebound),
            ("mu_cushion", figures.cushion_grip),
        ):
            if figure.measured:
                errors[name] = figure.error
    return errors


@dataclass(frozen=True, eq=False)
class Found:
    """A fitted stroke: aim deg, pace m/s, height R, strike s late."""

    values: Floats
    covariance: Floats
    """Shape (4, 4)."""
    ill: float
    """Mean square of the misses in their errors."""

    @property
    def errors(self) -> Floats:
        """Standard errors, shape (4,)."""
        return np.asarray(np.sqrt(np.maximum(np.diag(self.covariance), 0.0)))


@dataclass(frozen=True, eq=False)
class _Ground:
    """What strokes are tried on: tracked places, table, laws and what is doubtful of them."""

    sights: Sights
    table: Table
    laws: Laws
    doubts: dict[str, float]
    rolls: float = 1.0
    """The k of the pace."""

    def row(self, x: Floats, left: float) -> Floats:
        """One row for `simulate_many` from the numbers of a fit."""
        return np.array([[x[AIM], x[PACE] / (1.0 + self.rolls * x[UP]), x[UP], left]])

    def fitting(self, x: Floats, contact_s: float) -> tuple[_Ground, Floats]:
        """The same with the pace that suits a stroke, and the stroke in it."""
        speed = float(x[PACE] / (1.0 + self.rolls * x[UP]))
        slides_s = 2000.0 * speed * abs(1.0 - 2.5 * float(x[UP])) / (7.0 * self.laws.mu_slide * GRAVITY_MMPS2)
        k = 1.0 if slides_s < MOSTLY_SLIDING * contact_s else 0.0
        y = x.copy()
        y[PACE] = speed * (1.0 + k * x[UP])
        return replace(self, rolls=k), y

    def miss(self, x: Floats, left: float) -> Floats:
        """Misses in errors, shape (2 (N + M),)."""
        return np.asarray(self.sights.miss(self.row(x, left), float(x[LATE]), self.table, self.laws)[0])

    def slopes(self, x: Floats, left: float) -> Floats:
        """Derivatives of the misses by aim, pace, height, strike time; shape (2 (N + M), 4)."""
        base = self.row(x, left)
        steps = [s * STEPS[k] * np.eye(4)[k] for k in (AIM, PACE, UP) for s in (1.0, -1.0)]
        rows = np.vstack([self.row(x + step, left) for step in steps])
        late, d = float(x[LATE]), STEPS[LATE]
        away = self.sights.miss(rows, late, self.table, self.laws)
        by = [(away[2 * k] - away[2 * k + 1]) / (2.0 * STEPS[k]) for k in (AIM, PACE, UP)]
        later = [self.sights.miss(base, late + s * d, self.table, self.laws)[0] for s in (1.0, -1.0)]
        return np.column_stack([*by, (later[0] - later[1]) / (2.0 * d)])

    def by_doubts(self, x: Floats, left: float, with_side: bool) -> tuple[Floats, Floats]:
        """How the misses move with one standard error of each law, of the balls' places and, if asked, of the side; and of
        how balls leave the contact in these sights; shapes (2 (N + M), doubts)."""
        base, late, s = self.row(x, left), float(x[LATE]), self.sights
        sided = base[0].copy()
        sided[3] += 0.2 * USUAL_LEFT
        said, beside = s.miss(np.array([base[0], sided]), late, self.table, self.laws)
        columns = [5.0 * (beside - said)] if with_side else []
        for name, error in self.doubts.items():
            other = replace(self.laws, **{name: max(1e-3, getattr(self.laws, name) - error)})
            columns.append(s.miss(base, late, self.table, other)[0] - said)
        across = np.radians(x[AIM])
        shift = SHIFT_MM * np.array([-np.sin(across), np.cos(across)])
        columns.append(s.miss(base, late, self.table, self.laws, shift)[0] - said)
        for k in (0, 1):
            start = np.zeros((len(s.errors_mm), 2))
            start[: len(s.cue_s), k] = START_MM / s.errors_mm[: len(s.cue_s)]
            columns.append(start.ravel())
        own = [share * c for share, c in zip(DRIFTS, s.drift(said), strict=False)]
        return np.column_stack(columns), np.column_stack(own) if own else np.zeros((len(said), 0))

    def start(self, shot: SeenShot) -> Floats:
        """The best of a grid about what the first places show: a stroke's fit has valleys of its own."""
        s = self.sights
        x, y = s.layout[CUE_BALL]
        free = s.cue_s <= min(0.4, max(_first_contact_s(shot), float(s.cue_s[min(2, len(s.cue_s) - 1)])))
        far, t = s.cue[free][-1], max(float(s.cue_s[free][-1]), 1e-3)
        way = float(np.hypot(far[0] - x, far[1] - y))
        speed = max(0.1, (way / t + 0.25 * self.laws.mu_slide * GRAVITY_MMPS2 * t) / 1000.0)
        aim = degrees(atan2(far[1] - y, far[0] - x))
        near = degrees(3.0 / max(way, 30.0))
        grid = np.array(
            [
                [aim + a * near, min(speed * f, 11.0), up, 0.0]
                for a in (-2.0, -1.0, 0.0, 1.0, 2.0)
                for f in (0.85, 1.0, 1.15, 1.3)
                for up in (-0.4, -0.25, -0.1, 0.05, 0.2, 0.35, 0.45)
            ]
        )
        costs = np.sum(np.sqrt(1.0 + s.miss(grid, 0.0, self.table, self.laws) ** 2), axis=1)
        best = grid[int(np.argmin(costs))]
        return np.array([best[0], best[1] * (1.0 + best[2]), best[2], 0.0])


def _first_contact_s(shot: SeenShot) -> float:
    """Seconds from the strike to the cue ball's first contact, or to rest."""
    times = [e.t_s for e in shot.events if CUE_BALL in e.balls and e.t_s > shot.strike_s]
    return min([*times, shot.rest_s]) - shot.strike_s


def _held(x: Floats) -> Floats:
    return np.array([x[LATE] / STRIKE_S, x[UP] / USUAL_UP])


HELD = np.zeros((2, 4))
HELD[0, LATE], HELD[1, UP] = 1.0 / STRIKE_S, 1.0 / USUAL_UP


def _first_fit(ground: _Ground, shot: SeenShot) -> Floats | None:
    """Robust least squares from the best of the grid: aim, pace, height, strike time with no side."""
    from scipy.optimize import least_squares

    fit = least_squares(
        lambda x: np.concatenate([ground.miss(x, 0.0), _held(x)]),
        np.clip(ground.start(shot), LOW + 1e-6, HIGH - 1e-6),
        lambda x: np.vstack([ground.slopes(x, 0.0), HELD]),
        bounds=(LOW, HIGH), x_scale=STEPS, loss="soft_l1", max_nfev=30,
    )  # fmt: skip
    return np.asarray(fit.x, np.float64) if np.all(np.isfinite(fit.x)) else None


def _settled(
    start: Floats,
    left: float,
    grounds: list[_Ground],
    weights: list[Floats],
    with_side: bool,
    rounds: int = 3,
) -> tuple[Floats, float, Floats]:
    """The rest of the stroke for one side: values, cost (twice the negative log-likelihood) and covariance (4, 4).

    The doubts (laws, first ball's place) are fitted along, each held to nothing by its own error.
    """
    x = start.copy()
    moved = _side_by_side([g.by_doubts(x, left, with_side) for g in grounds])
    root = np.sqrt(np.concatenate(weights))
    n = moved.shape[1]
    d = np.zeros(n)
    cost, covariance = np.inf, np.eye(4)
    for _ in range(rounds):
        J = np.vstack([g.slopes(x, left) for g in grounds])
        r = np.concatenate([g.miss(x, left) for g in grounds])
        A = np.block(
            [
                [root[:, None] * J, root[:, None] * moved],
                [HELD, np.zeros((len(HELD), n))],
                [np.zeros((n, 4)), np.eye(n)],
            ]
        )
        b = np.concatenate([root * (r + moved @ d), _held(x), d])
        normal = A.T @ A + 1e-9 * np.eye(4 + n)
        step = np.linalg.solve(normal, -A.T @ b)
        x = np.clip(x + np.clip(step[:4], -MOST_STEP, MOST_STEP), LOW, HIGH)
        d = d + step[4:]
        covariance = np.linalg.inv(normal)[:4, :4]
    r = np.concatenate([g.miss(x, left) for g in grounds])
    cost = float(np.sum((root * (r + moved @ d)) ** 2) + np.sum(_held(x) ** 2) + np.sum(d**2))
    return x, cost, covariance


def _side_by_side(parts: list[tuple[Floats, Floats]]) -> Floats:
    """The doubts of several sights as columns of one matrix: those that they share, then each one's own."""
    shared = np.vstack([p[0] for p in parts])
    rows = np.cumsum([0, *(len(p[0]) for p in parts)])
    own = np.zeros((len(shared), sum(p[1].shape[1] for p in parts)))
    at = 0
    for k, (_, columns) in enumerate(parts):
        own[rows[k] : rows[k + 1], at : at + columns.shape[1]] = columns
        at += columns.shape[1]
    return np.hstack([shared, own])


def _weights(ground: _Ground, x: Floats) -> Floats:
    """What each miss counts, less where the best stroke is far off: a bad sight, or something the laws do not know."""
    return np.asarray(1.0 / np.sqrt(1.0 + ground.miss(x, 0.0) ** 2))


def _with_side(
    first: Found, grounds: list[_Ground], weights: list[Floats]
) -> tuple[Found, tuple[float, float]] | None:
    """Stroke and side by the way after a cushion as well; None where no side explains it.

    Rebounds do not answer evenly to side (a cushion can only take so much, and cloth wears it away), so every side is
    tried, the rest of the stroke settled for each, and their likelihoods weighed.
    """
    found: dict[float, tuple[Floats, float, Floats]] = {}
    for side in SIDES:
        found[float(side)] = _settled(first.values, float(side), grounds, weights, False)
    best = min(found, key=lambda s: found[s][1] + (s / USUAL_LEFT) ** 2)
    for side in best + FINER * (SIDES[1] - SIDES[0]):
        if abs(side) <= MISCUE_LIMIT:
            found[float(side)] = _settled(found[best][0], float(side), grounds, weights, False)
    sides = np.array(sorted(found))
    costs = np.array([found[float(s)][1] for s in sides]) + (sides / USUAL_LEFT) ** 2
    told = sum(len(w) for w in weights)
    if not np.isfinite(costs).all() or costs.min() > ILL * told:
        return None
    scale = max(1.0, costs.min() / told)
    chance = np.exp(-0.5 * (costs - costs.min()) / scale) * np.gradient(sides)
    chance /= chance.sum()
    left = float(chance @ sides)
    error = sqrt(float(chance @ (sides - left) ** 2) + (0.25 * float(np.min(np.diff(sides)))) ** 2)
    values = np.array([found[float(s)][0] for s in sides])
    mean = chance @ values
    between = (values - mean).T @ (chance[:, None] * (values - mean))
    likely = found[float(sides[int(np.argmin(costs))])]
    return Found(mean, likely[2] * scale + between, first.ill), (left, error)
