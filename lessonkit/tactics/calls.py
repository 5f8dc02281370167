"""What could be called from a layout: straight shots, one-cushion banks, combinations of two balls."""

from __future__ import annotations

from dataclasses import dataclass

from lessonkit.model import CUE_BALL, Cushion, Execution, Layout, Pocket, Table
from lessonkit.physics.cushions import cushions_of, pocket_target
from lessonkit.physics.laws import Laws
from lessonkit.planning.aim import Task
from lessonkit.planning.geometry import blocked_mm, cut_deg, ghost_ball, mirror, off_line
from lessonkit.planning.words import distance
from lessonkit.tactics.openings import openings

STRAIGHT, BANKS, COMBINATIONS = 14, 4, 4
"""So many calls of each kind are looked at closely, the likeliest by geometry."""
BANK_CUT_DEG, COMBINATION_CUT_DEG = 50.0, 30.0
"""Thinner hits are left out: hardly ever played (common practice, no source)."""
COMBINATION_WAY_MM = 700.0
"""The first ball of a combination runs no farther than this (ours)."""


@dataclass(frozen=True)
class Call:
    """A ball and a pocket, and the way there."""

    ball: int
    pocket: Pocket
    bank: tuple[Cushion, ...] = ()
    via: tuple[int, ...] = ()

    @property
    def kind(self) -> str:
        """'straight', 'bank' or 'combination'."""
        return "bank" if self.bank else "combination" if self.via else "straight"

    def task(self, layout: Layout, table: Table, laws: Laws) -> Task:
        """What an aim has to bring about."""
        target = pocket_target(self.pocket, table, layout[self.ball])
        return Task(layout, table, self.ball, self.pocket, target, self.bank, (), laws, via=self.via)


def calls(layout: Layout, table: Table, execution: Execution) -> list[Call]:
    """The calls that are worth a closer look, straight shots first."""
    straight = [Call(o.ball, o.pocket) for o in openings(layout, table, execution)]
    return [
        *straight[:STRAIGHT],
        *_banks(layout, table)[:BANKS],
        *_combinations(layout, table)[:COMBINATIONS],
    ]


def _banks(layout: Layout, table: Table) -> list[Call]:
    """Banks off one cushion with clear ways, the shortest first."""
    D, cue, touch = table.ball_diameter_mm, layout[CUE_BALL], cushions_of(table).touch_mm
    found: list[tuple[float, Call]] = []
    for ball, place in layout.items():
        for pocket in table.pockets if ball != CUE_BALL else ():
            target = pocket_target(pocket, table, place)
            for cushion in _opposite(pocket):
                image = mirror(target, cushion, table, touch)
                ghost = ghost_ball(place, image, D)
                if abs(cut_deg(cue, place, image, D)) > BANK_CUT_DEG:
                    continue
                turn = _turning_point(place, image, cushion, table, touch)
                ways = ((cue, ghost), (place, turn), (turn, target))
                if any(blocked_mm(a, b, layout, (ball, CUE_BALL), D) > 0.0 for a, b in ways):
                    continue
                length = sum(distance(a, b) for a, b in ways)
                found.append((length, Call(ball, pocket, bank=(cushion,))))
    return [call for _, call in sorted(found, key=lambda pair: pair[0])]


def _opposite(pocket: Pocket) -> tuple[Cushion, ...]:
    """The cushions that a ball can be banked off into a pocket: those that do not end there."""
    end, side = pocket.split("-")
    across: Cushion = "left" if side == "right" else "right"
    if end == "side":
        return (across,)
    return (across, "foot" if end == "head" else "head")


def _turning_point(
    place: tuple[float, float], image: tuple[float, float], cushion: Cushion, table: Table, touch_mm: float
) -> tuple[float, float]:
    """Where the centre meets the cushion on its way to the target's mirror image."""
    axis = 0 if cushion in ("head", "foot") else 1
    far = table.length_mm if axis == 0 else table.width_mm
    line = touch_mm if cushion in ("head", "right") else far - touch_mm
    span = image[axis] - place[axis]
    k = (line - place[axis]) / span if span else 0.0
    return place[0] + k * (image[0] - place[0]), place[1] + k * (image[1] - place[1])


def _combinations(layout: Layout, table: Table) -> list[Call]:
    """Combinations of two balls with clear ways, the fullest first."""
    D, cue = table.ball_diameter_mm, layout[CUE_BALL]
    found: list[tuple[float, Call]] = []
    balls = [n for n in layout if n != CUE_BALL]
    for last in balls:
        for pocket in table.pockets:
            target = pocket_target(pocket, table, layout[last])
            if blocked_mm(layout[last], target, layout, (last, CUE_BALL), D) > 0.0:
                continue
            ghost = ghost_ball(layout[last], target, D)
            for first in balls:
                hit = _combination(layout, cue, first, last, ghost, target, D)
                if hit is not None:
                    found.append((hit, Call(last, pocket, via=(first,))))
    return [call for _, call in sorted(found, key=lambda pair: pair[0])]


def _combination(
    layout: Layout,
    cue: tuple[float, float],
    first: int,
    last: int,
    ghost: tuple[float, float],
    target: tuple[float, float],
    D: float,
) -> float | None:
    """How hard a combination is, in degrees of cut and the length of its ways; None: it cannot be played."""
    if first == last or off_line(layout[last], target, layout[first]) < D:
        return None
    place = layout[first]
    way = distance(place, ghost)
    before = ghost_ball(place, ghost, D)
    cuts = (abs(cut_deg(cue, place, ghost, D)), abs(cut_deg(place, layout[last], target, D)))
    if way > COMBINATION_WAY_MM or max(cuts) > COMBINATION_CUT_DEG:
        return None
    out = (first, last, CUE_BALL)
    if blocked_mm(place, ghost, layout, out, D) > 0.0 or blocked_mm(cue, before, layout, out, D) > 0.0:
        return None
    reach = distance(cue, before)
    return sum(cuts) + (way * 3.0 + reach) / 100.0
