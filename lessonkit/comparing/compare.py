"""The plan held against what happened: called ball, landing, way, rails, what made the difference, and one sentence."""

from __future__ import annotations

import itertools
from dataclasses import replace
from math import hypot

import numpy as np
from numpy.typing import NDArray

from lessonkit.comparing import words
from lessonkit.comparing.causes import Causes, find_causes
from lessonkit.comparing.difference_words import LANDING, clause, detail_of
from lessonkit.comparing.differences import measured, with_account
from lessonkit.comparing.meant import Meant, meant
from lessonkit.comparing.meetings import Meeting, brings_about, find_meeting
from lessonkit.comparing.paths import from_nearest, length_mm, mean_distance_mm
from lessonkit.model import (
    CUE_BALL,
    Comparison,
    Intent,
    Landing,
    Plan,
    Point,
    SeenShot,
    StrokeEstimate,
    Table,
)
from lessonkit.physics.cushions import pocket_target
from lessonkit.physics.laws import DEFAULT, Laws
from lessonkit.planning.geometry import off_line

NEAR_MM = 100.0
"""A white within so far of a place given in figures (or of a predicted rest) stopped as planned: our choice, a little
less than two ball widths."""
NOT_COMPARED = "not compared"
"""The verdict on a plan for a ball that was not on the table."""
WELL = ("as planned", "made")
"""Verdicts that leave nothing to explain."""
MOSTLY = 0.6
"""Share of the landing error that a difference of the ways' lengths must explain to be called short or long."""


def compare(
    shot: SeenShot,
    table: Table,
    plan: Plan,
    intent: Intent,
    stroke: StrokeEstimate | None = None,
    laws: Laws = DEFAULT,
) -> Comparison:
    """Hold a plan against a shot; stroke: as fitted to the shot, laws: of the table, for what made the difference.

    Landing error: planned rest (the stated point if in figures, else the planned way's end) to the cue ball's last place,
    None on a scratch. Path distance: mean over both ways gone through at an even pace. Rails: the cue ball's cushions
    after its first ball contact. What could not be measured is None. A plan for a ball that neither lay on the table nor dropped
    is not compared at all.
    """
    if not_there(shot, plan) and plan.ball is not None:
        said = words.not_there_sentence(plan.ball)
        return Comparison(None, None, None, plan.rails, rails_actual(shot), NOT_COMPARED, said)
    made = called_made(shot, plan)
    actual = _rest(shot)
    wanted = wanted_place(plan, intent)
    error = hypot(actual[0] - wanted[0], actual[1] - wanted[1]) if actual and wanted else None
    both = len(plan.cue_path) > 1 and len(shot.cue_path) > 1
    distance = mean_distance_mm(plan.cue_path, shot.cue_path[:, 1:]) if both else None
    rails = rails_actual(shot)
    verdict, figure = _verdict(shot, plan, intent, made, error)
    held = meant(shot, table, plan, intent, stroke, wanted, laws) if stroke is not None else None
    sure = held.strike if held is not None and held.done else None
    met, bears = find_meeting(shot, table, plan, intent, actual, error, made, laws)
    told = met if bears and verdict not in WELL else None
    sentence = _sentence(shot, table, plan, verdict, made, rails, figure, _met_name(told, table))
    found = measured(shot, table, plan, intent, stroke, held)
    causes = find_causes(shot, table, plan, held, found, stroke, made, verdict in WELL, laws)
    causes = _past_meeting(causes, shot, table, held, stroke, told, laws)
    return Comparison(
        made,
        None if error is None else round(error, 1),
        None if distance is None else round(distance, 1),
        plan.rails,
        rails,
        verdict,
        _caused(sentence, plan, causes),
        causes.differences,
        causes.cause,
        None if causes.unexplained_mm is None else round(causes.unexplained_mm, 1),
        detail_of(
            causes.differences, causes.cause, _to_explain(verdict), held is not None and not held.done,
            None if met is None else (_met_name(met, table) or "", met.event.t_s - shot.strike_s), bears,
        ),
        sure,
        None if met is None else met.event,
        causes.cause is not None and causes.firm,
    )  # fmt: skip


def _met_name(met: Meeting | None, table: Table) -> str | None:
    return None if met is None else words.met_name(met.ball, met.event.cushion, met.place, table)


def _past_meeting(
    causes: Causes,
    shot: SeenShot,
    table: Table,
    held: Meant | None,
    stroke: StrokeEstimate | None,
    met: Meeting | None,
    laws: Laws,
) -> Causes:
    """The causes without one that a meeting which was not planned gives the lie.

    Where the cue ball ran into a ball, that decided where it stopped, and how it would have stopped without is not seen. A
    cushion may be what a difference of the stroke led to: then that stays the cause if, played through, it leads there.
    """
    best = next((d for d in causes.differences if d.account == causes.cause), None)
    if met is None or best is None or held is None or best.actual is None:
        return causes
    aim = stroke.aim_deg if stroke is not None and stroke.aim_deg is not None else held.strike.aim_deg
    played = with_account(held.strike, best.account, best.actual, aim)
    if met.ball is None and brings_about(shot, table, played, met, laws):
        return causes
    return replace(causes, cause=None)


def not_there(shot: SeenShot, plan: Plan) -> bool:
    """Whether the called ball was not on the table before the shot."""
    return (
        plan.ball is not None
        and plan.ball not in shot.layout_before
        and all(p.ball != plan.ball for p in shot.pocketed)
    )


def _to_explain(verdict: str | None) -> str | None:
    """What a cause is sought for; None where all went as planned."""
    if verdict is None or verdict in WELL:
        return None
    return {"missed": "the miss", "scratch": "the scratch"}.get(verdict, LANDING)


def _caused(sentence: str | None, plan: Plan, causes: Causes) -> str | None:
    """The sentence with the cause, if there is one beyond doubt."""
    best = next((d for d in causes.differences if d.account == causes.cause), None)
    if sentence is None or best is None or best.words is None or best.actual is None:
        return sentence
    first = plan.via[0] if plan.via else plan.ball
    ball = words.ball_name(first) if first is not None and first != plan.ball else None
    return words.with_cause(
        sentence, clause(best.account, best.words, best.planned, best.actual, ball), causes.firm
    )


def called_made(shot: SeenShot, plan: Plan) -> bool | None:
    """Whether the called ball dropped in the called pocket; None where no ball is called."""
    if plan.ball is None:
        return None
    return any(p.ball == plan.ball and plan.pocket in (None, p.pocket) for p in shot.pocketed)


def wanted_place(plan: Plan, intent: Intent) -> Point | None:
    """Where the cue ball was to stop: a place in figures, else the end of the planned way, else the named place."""
    place = intent.landing
    if place is not None and place.explicit and place.point is not None:
        return place.point
    return plan.cue_path[-1] if plan.cue_path else plan.landing


def rails_actual(shot: SeenShot) -> int | None:
    """The cue ball's cushions after its first ball contact; None where it met no ball."""
    met = False
    rails = 0
    for event in shot.events:
        if CUE_BALL not in event.balls:
            continue
        if event.kind == "ball":
            met = True
        elif event.kind == "cushion" and met:
            rails += 1
    return rails if met else None


def _rest(shot: SeenShot) -> Point | None:
    """The cue ball's last place; None on a scratch or where it was not seen."""
    if shot.scratch:
        return None
    if CUE_BALL in shot.layout_after:
        return shot.layout_after[CUE_BALL]
    return (float(shot.cue_path[-1, 1]), float(shot.cue_path[-1, 2])) if len(shot.cue_path) else None


def _verdict(
    shot: SeenShot, plan: Plan, intent: Intent, made: bool | None, error: float | None
) -> tuple[str | None, float | None]:
    """A word or two, and the length (mm) that goes with it."""
    if shot.scratch:
        return "scratch", None
    if made is False:
        return "missed", None
    if error is None:
        return ("made" if made else None), None
    place = intent.landing
    # a named place has its own bounds, below; where the words cannot be put on the table its usual size is all there is
    unplaced = place is not None and not place.explicit and place.point is None
    near = max(NEAR_MM, place.radius_mm) if unplaced and place is not None else NEAR_MM
    if error <= near or _in_named_place(shot, place):
        return "as planned", error
    if len(plan.cue_path) > 1 and len(shot.cue_path) > 1:
        more = _run_mm(shot) - _planned_run_mm(plan)
        if abs(more) >= MOSTLY * error:
            return ("long" if more > 0 else "short"), error
    return "wide", error


def _in_named_place(shot: SeenShot, place: Landing | None) -> bool:
    """Whether the cue ball lies in the place that the words name, wherever in it the planned way ends."""
    rest = _rest(shot)
    if place is None or place.explicit or place.point is None or rest is None:
        return False
    return hypot(rest[0] - place.point[0], rest[1] - place.point[1]) <= place.radius_mm


def _run_mm(shot: SeenShot) -> float:
    """Length of the cue ball's way after its first ball contact (of all of it where it met none)."""
    first = next((e.t_s for e in shot.events if e.kind == "ball" and CUE_BALL in e.balls), shot.strike_s)
    after = shot.cue_path[shot.cue_path[:, 0] >= first - 1e-6]
    return length_mm(after[:, 1:])


def _planned_run_mm(plan: Plan) -> float:
    """Length of the planned way after the ghost ball."""
    path = list(plan.cue_path)
    return length_mm(from_nearest(path, plan.ghost) if plan.ghost is not None else path)


def _sentence(
    shot: SeenShot,
    table: Table,
    plan: Plan,
    verdict: str | None,
    made: bool | None,
    rails: int | None,
    figure: float | None,
    met: str | None,
) -> str | None:
    if verdict == "scratch":
        drop = next(p for p in shot.pocketed if p.ball == CUE_BALL)
        return words.scratch_sentence(plan.ball, made, drop.pocket, rails, drop.t_s - shot.strike_s, met)
    if verdict == "missed" and plan.ball is not None:
        went = next((p for p in shot.pocketed if p.ball == plan.ball), None)
        if went is not None and plan.pocket is not None:
            return words.elsewhere_sentence(
                plan.ball, went.pocket, plan.pocket, went.t_s - shot.strike_s, met
            )
        hit = plan.ball in shot.paths
        left = _rattled_mm(shot, table, plan)
        if left is not None and plan.pocket is not None:
            return words.rattled_sentence(plan.ball, plan.pocket, left, met)
        return words.missed_sentence(plan.ball, plan.pocket, _miss_mm(shot, table, plan, hit), hit, met)
    if verdict is None or figure is None:
        return None
    if plan.ball is None:
        return words.cue_ball_sentence(verdict, figure, met)
    return words.made_sentence(plan.ball, verdict, figure, met)


def _rattled_mm(shot: SeenShot, table: Table, plan: Plan) -> float | None:
    """How far from its pocket a called ball lies that was in the mouth; None if it was not in the mouth."""
    after = shot.layout_after.get(plan.ball) if plan.ball is not None else None
    if after is None or plan.ball not in shot.paths or plan.pocket is None:
        return None
    mouth = pocket_target(plan.pocket, table, (table.length_mm / 2, table.width_mm / 2))
    nearest = _nearest_mm(shot.paths[plan.ball][:, 1:], mouth)
    if nearest is None or nearest > table.radius_mm:
        return None
    return hypot(after[0] - mouth[0], after[1] - mouth[1])


def _miss_mm(shot: SeenShot, table: Table, plan: Plan, met: bool) -> float | None:
    """How near the called ball came to the middle of its pocket's mouth, or the cue ball's edge to the called ball's."""
    start = shot.layout_before.get(plan.ball) if plan.ball is not None else None
    if start is None or plan.ball is None:
        return None
    if met:
        if plan.pocket is None:
            return None
        place = pocket_target(plan.pocket, table, start)
        return _nearest_mm(shot.paths[plan.ball][:, 1:], place)
    if len(shot.cue_path) == 0:
        return None
    nearest = _nearest_mm(shot.cue_path[:, 1:], start)
    return None if nearest is None else max(0.0, nearest - table.ball_diameter_mm)


def _nearest_mm(path: NDArray[np.float64], place: Point) -> float | None:
    """Least distance of a path's stretches from a place."""
    if len(path) == 0:
        return None
    points = [(float(x), float(y)) for x, y in path]
    if len(points) == 1:
        return off_line(points[0], points[0], place)
    return min(off_line(a, b, place) for a, b in itertools.pairwise(points))
