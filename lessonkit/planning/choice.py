"""What a note leaves open, settled from the layout and from what was played."""

from __future__ import annotations

from math import cos, hypot, radians

from lessonkit.model import CUE_BALL, Intent, Layout, Pocket, Point, SeenShot, Side, Table
from lessonkit.physics.cushions import cushions_of, pocket_target
from lessonkit.physics.simulate import Run
from lessonkit.planning.geometry import (
    blocked_mm,
    cut_deg,
    direction_deg,
    ghost_ball,
    half_window_deg,
    turn_deg,
)

NEAR_WAY_DEG = 10.0
"""A ball that left within this angle of a pocket was played there."""
WENT_MM = 40.0
"""A ball has gone somewhere once it is this far from where it lay."""


def first_hit(shot: SeenShot) -> int | None:
    """The first ball that the cue ball met."""
    for event in shot.events:
        if event.kind == "ball" and CUE_BALL in event.balls:
            return next((b for b in event.balls if b != CUE_BALL), None)
    return None


def settle_ball(shot: SeenShot, intent: Intent) -> int | None:
    """The called ball: the note's; else the one that dropped in the called pocket, the first hit, one that dropped."""
    if intent.ball is not None:
        return intent.ball
    made = [p for p in shot.pocketed if p.ball != CUE_BALL]
    if intent.pocket is not None:
        there = [p.ball for p in made if p.pocket == intent.pocket]
        if there:
            return there[0]
    hit = first_hit(shot)
    if hit is not None:
        return hit
    return made[0].ball if made else None


def settle_via(shot: SeenShot, ball: int | None, intent: Intent) -> tuple[int, ...]:
    """The balls of a combination: the note's; else, where the called ball has dropped off another that was hit first,
    that other one. A called ball that did not drop is taken as called directly."""
    if intent.via or ball is None or intent.rail_first or intent.bank:
        return tuple(n for n in intent.via if n not in (ball, CUE_BALL))
    hit = first_hit(shot)
    if hit is None or hit == ball or all(p.ball != ball for p in shot.pocketed):
        return ()
    sent = next((e.balls for e in shot.events if e.kind == "ball" and ball in e.balls), ())
    return (hit,) if set(sent) == {hit, ball} and intent.ball == ball else ()


def settle_pocket(
    shot: SeenShot, table: Table, ball: int, intent: Intent, via: tuple[int, ...] = ()
) -> Pocket | None:
    """The called pocket: the note's; else where the called ball dropped; else the best by layout and actual way."""
    if intent.pocket is not None:
        return intent.pocket
    for drop in shot.pocketed:
        if drop.ball == ball:
            return drop.pocket
    place = shot.layout_before.get(ball)
    if place is None or CUE_BALL not in shot.layout_before:
        return None
    if intent.bank or intent.rail_first:
        return _best_by_way(shot, table, ball, place)
    if via and via[-1] in shot.layout_before:
        # the last ball of the combination plays the cue ball's part
        sender = {**shot.layout_before, CUE_BALL: shot.layout_before[via[-1]]}
        del sender[via[-1]]
        return max(table.pockets, key=lambda p: openness(sender, table, ball, p))
    scores = {p: openness(shot.layout_before, table, ball, p) for p in table.pockets}
    went = went_deg(shot, ball)
    if went is not None:
        for p, at in table.pockets.items():
            scores[p] *= 1.0 / (1.0 + (turn_deg(went, direction_deg(place, at)) / 8.0) ** 2)
    best = max(scores, key=lambda p: scores[p])
    if scores[best] > 0.0:
        return best
    if went is None:
        return None
    # nothing was open, yet it was played somewhere
    turns = {p: abs(turn_deg(went, direction_deg(place, at))) for p, at in table.pockets.items()}
    nearest = min(turns, key=lambda p: turns[p])
    return nearest if turns[nearest] < NEAR_WAY_DEG else None


def _best_by_way(shot: SeenShot, table: Table, ball: int, place: Point) -> Pocket | None:
    """For banks and kicks: the pocket nearest to where the called ball ended its way."""
    path = shot.paths.get(ball)
    if path is None or len(path) == 0:
        return None
    x, y = float(path[-1, 1]), float(path[-1, 2])
    return min(table.pockets, key=lambda p: hypot(table.pockets[p][0] - x, table.pockets[p][1] - y))


def openness(layout: Layout, table: Table, ball: int, pocket: Pocket) -> float:
    """How open a pocket is to a ball from the cue ball: the cue ball's window in degrees (docs/strokes.md, "Pockets").

    Half window of the object ball times the share cos c D / L of it that the cue ball has; nothing where the cut is
    above 80 degrees or a ball stands in either way; 0 to about 10.
    """
    drop = next(d for d in cushions_of(table).drops if d.pocket == pocket)
    place, cue, D = layout[ball], layout[CUE_BALL], table.ball_diameter_mm
    target = pocket_target(pocket, table, place)
    cut = cut_deg(cue, place, target, D)
    ghost = ghost_ball(place, target, D)
    if abs(cut) > 80.0 or blocked_mm(place, target, layout, (ball, CUE_BALL), D) > 0.0:
        return 0.0
    if blocked_mm(cue, ghost, layout, (ball, CUE_BALL), D) > 0.0:
        return 0.0
    way = hypot(target[0] - place[0], target[1] - place[1])
    axis = direction_deg((0.0, 0.0), (drop.ox, drop.oy))
    mouth = table.side_mouth_mm if pocket.startswith("side") else table.corner_mouth_mm
    off = abs(turn_deg(axis, direction_deg(place, target)))
    delta = half_window_deg(mouth, D, max(way, D), min(off, 89.0))
    reach = max(hypot(ghost[0] - cue[0], ghost[1] - cue[1]), D)
    return delta * min(1.0, D * cos(radians(cut)) / reach)


def went_deg(shot: SeenShot, ball: int) -> float | None:
    """The direction in which a ball first went; None if it did not move."""
    path = shot.paths.get(ball)
    if path is None:
        return None
    start = shot.layout_before[ball]
    for _, x, y in path:
        if hypot(x - start[0], y - start[1]) > WENT_MM:
            return direction_deg(start, (float(x), float(y)))
    return None


def settle_side(
    relative: str | None, cue: Point, ball: Point, target: Point, D: float, run: Run | None
) -> Side | None:
    """Left or right for inside, outside, running or reverse side; None where it cannot be told.

    Inside is the side towards which the ball is cut. Running side turns the ball so that its front moves along the
    first cushion the way the ball itself goes: it opens the rebound (B6 of the sources in docs/physics.md).
    """
    if relative in ("inside", "outside"):
        cut = cut_deg(cue, ball, target, D)
        if abs(cut) < 0.5:
            return None
        left = (cut > 0.0) == (relative == "inside")
        return "left" if left else "right"
    if relative not in ("running", "reverse") or run is None:
        return None
    along = _along_first_cushion(run)
    if along is None:
        return None
    return "right" if (along > 0.0) == (relative == "running") else "left"


_INTO = {"head": (-1.0, 0.0), "foot": (1.0, 0.0), "right": (0.0, -1.0), "left": (0.0, 1.0)}


def _along_first_cushion(run: Run) -> float | None:
    """The cue ball's speed along its first cushion after the ball contact, positive to its right."""
    met = False
    for hit in run.hits:
        if CUE_BALL not in hit.balls:
            continue
        if hit.kind == "ball":
            met = True
        elif hit.kind == "cushion" and met and hit.cushion is not None:
            nx, ny = _INTO[hit.cushion]
            (x0, y0), (x1, y1) = run.place(CUE_BALL, hit.t_s - 0.004), run.place(CUE_BALL, hit.t_s - 0.001)
            return (x1 - x0) * ny - (y1 - y0) * nx
    return None
