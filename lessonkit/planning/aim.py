"""The aim that sends the called ball to its pocket, throw and rebounds included."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import hypot
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import CUE_BALL, Cushion, Layout, Pocket, Point, Table
from lessonkit.physics.cushions import cushions_of
from lessonkit.physics.impacts import strike
from lessonkit.physics.laws import Laws
from lessonkit.physics.many import simulate_many
from lessonkit.physics.motion import Ball, advance
from lessonkit.physics.simulate import Hit, Run, simulate
from lessonkit.planning.geometry import direction_deg, ghost_ball, mirrored

TRIES = 14
SCAN_DEG = 6.0
NEAR_DEG = 0.6
SCAN_STEP_DEG = 0.05
"""Where the secant fails, aims up to so far to either side of the geometric one, or of that of a stroke near by, are
tried in such steps."""
GOOD_MM = 0.5
STRAY_NOSES = 1
"""So many noses besides the called ones may the called ball meet: the rail that it leans on, or the tip of a jaw."""


@dataclass(frozen=True)
class Task:
    """What an aim has to bring about."""

    layout: Layout
    table: Table
    ball: int
    pocket: Pocket
    target: Point
    """Where the called ball is to go, mm."""
    bank: tuple[Cushion, ...]
    rail_first: tuple[Cushion, ...]
    laws: Laws
    exact: bool = True
    """Whether an aim straight at the target can be had; otherwise the middle of the potting aims is looked for."""
    blind: bool = False
    """No aim pots: the geometric one is taken as it is."""
    via: tuple[int, ...] = ()
    """Balls of a combination: the cue ball meets the first, the last sends the called ball."""

    @property
    def struck(self) -> int:
        """The ball that the cue ball is to meet first."""
        return self.via[0] if self.via else self.ball

    @property
    def virtual_target(self) -> Point:
        """The target's mirror image through the bank's cushions."""
        return mirrored(self.target, self.bank, self.table, cushions_of(self.table).touch_mm)

    @property
    def ghosts(self) -> tuple[Point, ...]:
        """Centres of the ghost balls by geometry alone: of the struck ball first, of the called ball last."""
        target, places = self.virtual_target, []
        for ball in reversed((*self.via, self.ball)):
            target = ghost_ball(self.layout[ball], target, self.table.ball_diameter_mm)
            places.append(target)
        return tuple(reversed(places))

    @property
    def ghost(self) -> Point:
        """Centre of the ghost ball that the cue ball is sent to, by geometry alone."""
        return self.ghosts[0]

    @property
    def struck_target(self) -> Point:
        """Where the struck ball is to go: the next ghost ball of a combination, else the target's mirror image."""
        return self.ghosts[1] if self.via else self.virtual_target

    @property
    def first_guess_deg(self) -> float:
        """Direction to the ghost ball, or to its mirror image where a cushion comes first."""
        image = mirrored(self.ghost, self.rail_first, self.table, cushions_of(self.table).touch_mm)
        return direction_deg(self.layout[CUE_BALL], image)


@dataclass(frozen=True)
class Stroke:
    """A stroke without its aim."""

    speed_mps: float
    tip_up: float
    tip_left: float


def play(task: Task, stroke: Stroke, aim_deg: float) -> Run:
    """The whole shot."""
    x, y = task.layout[CUE_BALL]
    cue = strike(x, y, aim_deg, stroke.speed_mps, stroke.tip_up, stroke.tip_left, task.table.radius_mm)
    return simulate(task.layout, cue, task.table, task.laws)


def find_aim(task: Task, stroke: Stroke, guess_deg: float | None = None) -> float | None:
    """The direction of the cue ball, degrees, that pots the called ball if nothing else were on the table.

    Secant steps on the called ball's sideways miss of the target. Where the exact aim cannot be had (a ball on the
    cushion, a mirror image that is far off) the middle of the aims that pot is taken; None: no aim pots.
    """
    start = _start(task, stroke) if guess_deg is None else guess_deg
    if task.blind:
        return start
    if task.exact:
        found = _solve(lambda a: _pot_miss(task, stroke, a), start, 0.05)
        if found is not None:
            return found
    if guess_deg is not None:
        # a stroke near by was aimed so: look close to it only
        return _middle(task, stroke, start, NEAR_DEG)
    return _middle(task, stroke, start, SCAN_DEG)


def aim_exactly(task: Task, stroke: Stroke) -> bool:
    """Whether the exact aim at the target can be had with a stroke."""
    return _solve(lambda a: _pot_miss(task, stroke, a), _start(task, stroke), 0.05) is not None


def _start(task: Task, stroke: Stroke) -> float:
    """A direction to look from: by geometry, then so that cushions and first balls are met as they should be."""
    start = task.first_guess_deg
    if task.rail_first:
        start = _solve(lambda a: _ghost_miss(task, stroke, a), start, 0.5) or start
    if task.via:
        start = _solve(lambda a: _chain_miss(task, stroke, a), start, 0.05) or start
    return start


def _middle(task: Task, stroke: Stroke, about_deg: float, reach_deg: float) -> float | None:
    """The middle of the widest run of potting aims about a direction; the called order of cushions goes first."""
    steps = round(reach_deg / SCAN_STEP_DEG)
    aims = about_deg + SCAN_STEP_DEG * np.arange(-steps, steps + 1)
    results = _pots(task, stroke, aims)
    best = int(results.max())
    if best == 0:
        return None
    hits = np.flatnonzero(results == best)
    widest = max(np.split(hits, np.flatnonzero(np.diff(hits) > 1) + 1), key=len)
    return float(0.5 * (aims[widest[0]] + aims[widest[-1]]))


def _pots(task: Task, stroke: Stroke, aims: NDArray[np.floating[Any]]) -> NDArray[np.int64]:
    """For each aim 2: the called ball drops after the called cushions; 1: after others; 0: it does not drop there, or
    only after a tour that nobody calls."""
    strokes = np.full((len(aims), 4), (0.0, stroke.speed_mps, stroke.tip_up, stroke.tip_left))
    strokes[:, 0] = aims
    layout = {n: task.layout[n] for n in (CUE_BALL, *task.via, task.ball)}
    many = simulate_many(layout, strokes, task.table, task.laws)
    results = np.zeros(len(aims), np.int64)
    for i in np.flatnonzero(many.dropped(task.ball, task.pocket)).tolist():
        before = many.cushions(i)[: many.cushions_before[i]]
        # of a combination's called ball the cushions are not kept
        met = task.bank if task.via else _in_turn(many.cushions(i, first_ball=True))
        if many.first_ball[i] != task.struck or len(met) > len(task.bank) + STRAY_NOSES:
            continue
        if not task.rail_first and before:
            continue
        as_called = before == task.rail_first and met[: len(task.bank)] == task.bank
        results[i] = 2 if as_called else 1
    return results


def _in_turn(cushions: tuple[Cushion, ...]) -> tuple[Cushion, ...]:
    """Cushions without repeats in a row: a ball that runs along a rail may touch it often."""
    return tuple(name for name, _ in itertools.groupby(cushions))


def _solve(miss: Callable[[float], float | None], start: float, step: float) -> float | None:
    """Root of `miss` near `start` by the secant method; a None of `miss` halves the step taken."""
    a, fa = start, miss(start)
    if fa is None:
        return None
    b = a + step
    fb = miss(b)
    if fb is None:
        b = a - step
        fb = miss(b)
    for _ in range(TRIES):
        if fb is None:
            b = 0.5 * (a + b)
            fb = miss(b)
            continue
        if abs(fb) < GOOD_MM:
            return float(b)
        if fb == fa:
            return None
        c = b - fb * (b - a) / (fb - fa)
        c = min(max(c, b - 4.0), b + 4.0)
        a, fa, b = b, fb, c
        fb = miss(b)
    return None


def _pot_miss(task: Task, stroke: Stroke, aim_deg: float) -> float | None:
    """How far to the left of the target the called ball's last leg passes, mm; None: it was not so played."""
    banks = len(task.bank)
    met: list[Cushion] = []
    before: list[Cushion] = []

    def stop(hit: Hit, run: Run) -> bool:
        if hit.kind == "ball":
            return banks == 0 and task.ball in hit.balls
        if hit.kind == "cushion" and hit.cushion is not None:
            if hit.balls[0] == task.ball:
                met.append(hit.cushion)
                return len(met) >= banks
            if task.struck not in run.pieces:
                before.append(hit.cushion)
                return len(before) > len(task.rail_first)
        return hit.kind == "pocket"

    run = _pair(task, stroke, aim_deg, stop)
    if task.ball not in run.pieces or tuple(before) != task.rail_first or tuple(met) != task.bank:
        return None
    ball = run.balls[task.ball]
    return _pass(ball, task.target, task.laws)


def _chain_miss(task: Task, stroke: Stroke, aim_deg: float) -> float | None:
    """How far the struck ball of a combination passes from the next ghost ball, mm; None if it is not met."""
    run = _pair(task, stroke, aim_deg, lambda hit, _: hit.kind in ("ball", "pocket"))
    if task.struck not in run.pieces:
        return None
    return _pass(run.balls[task.struck], task.struck_target, task.laws)


def _ghost_miss(task: Task, stroke: Stroke, aim_deg: float) -> float | None:
    """How far the cue ball's leg after its cushions passes from the ghost ball, mm."""
    met: list[Cushion] = []

    def stop(hit: Hit, run: Run) -> bool:
        if hit.cushion is not None:
            met.append(hit.cushion)
        return len(met) >= len(task.rail_first) or hit.kind == "pocket"

    x, y = task.layout[CUE_BALL]
    cue = strike(x, y, aim_deg, stroke.speed_mps, stroke.tip_up, stroke.tip_left, task.table.radius_mm)
    run = simulate({CUE_BALL: (x, y)}, cue, task.table, task.laws, stop)
    if tuple(met) != task.rail_first:
        return None
    ball = run.balls[CUE_BALL]
    return _pass(ball, task.ghost, task.laws)


def _pair(task: Task, stroke: Stroke, aim_deg: float, stop: Callable[[Hit, Run], bool]) -> Run:
    layout = {n: task.layout[n] for n in (CUE_BALL, *task.via, task.ball)}
    x, y = layout[CUE_BALL]
    cue = strike(x, y, aim_deg, stroke.speed_mps, stroke.tip_up, stroke.tip_left, task.table.radius_mm)
    return simulate(layout, cue, task.table, task.laws, stop)


def _pass(ball: Ball, target: Point, laws: Laws) -> float | None:
    """Signed distance at which a ball's way passes a target; None if it leads away from it.

    A ball that slips bends its way until it rolls, so the straight roll after that counts where the target lies on it.
    """
    later = replace(ball)
    if later.moving:
        advance(later, min(later.ends, later.t + 1.5), laws)
    miss = _pass_straight(later, target)
    return miss if miss is not None else _pass_straight(ball, target)


def _pass_straight(ball: Ball, target: Point) -> float | None:
    v = hypot(ball.vx, ball.vy)
    dx, dy = target[0] - ball.x, target[1] - ball.y
    if v < 1e-3 or ball.vx * dx + ball.vy * dy <= 0.0:
        return None
    return (ball.vx * dy - ball.vy * dx) / v
