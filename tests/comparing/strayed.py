"""Made-up plans whose stroke strayed in a known way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lessonkit.model import Figure, Intent, Landing, Layout, Plan, Strike, TableFigures
from lessonkit.physics.laws import DEFAULT, Laws
from tests.comparing.made import TABLE, played

WELL_KNOWN = TableFigures(
    rolling=Figure(DEFAULT.mu_roll, 1e-4, 9, True),
    sliding=Figure(DEFAULT.mu_slide, 0.006, 9, True),
    rebound=Figure(DEFAULT.e_cushion, 0.02, 9, True),
    cushion_grip=Figure(DEFAULT.mu_cushion, 0.02, 9, True),
)
"""A table measured about as well as the development clips."""


@dataclass(frozen=True, eq=False)
class Planned:
    """A stroke that pots a ball, and the note that asks for just that."""

    layout: Layout
    strike: Strike
    plan: Plan
    intent: Intent


def planned(seed: int, laws: Laws = DEFAULT, balls: int = 5) -> Planned:
    """A random layout with a random stroke on it that pots the first ball it meets and leaves the cue ball on the table."""
    rng = np.random.default_rng(seed)
    while True:
        layout: Layout = {}
        while len(layout) < balls:
            p = (float(rng.uniform(60, 2480)), float(rng.uniform(60, 1210)))
            if all(np.hypot(p[0] - q[0], p[1] - q[1]) > 130 for q in layout.values()):
                layout[len(layout)] = p
        ball, cue = np.array(layout[1]), np.array(layout[0])
        way = float(np.hypot(*(ball - cue)))
        pocket = list(TABLE.pockets)[int(rng.integers(6))]
        line = np.array(TABLE.pockets[pocket]) - ball
        ghost = ball - TABLE.ball_diameter_mm * line / np.hypot(*line)
        aim = float(np.degrees(np.arctan2(*(ghost - cue)[::-1])))
        if way > 1500 or (ball - cue) @ line < 0.4 * way * np.hypot(*line):
            continue
        up = float(rng.uniform(-0.35, 0.35))
        for turn in np.linspace(-0.6, 0.6, 13):
            strike = Strike((aim + float(turn)) % 360.0, float(rng.uniform(1.0, 2.4)), up, 0.0)
            run = played(layout, strike, laws)
            if run.dropped.get(1) == pocket and 0 in run.rest and run.hits[0].balls == (0, 1):
                path = tuple((float(x), float(y)) for _, x, y in run.path(0))
                rails = sum(h.kind == "cushion" and h.balls == (0,) and not h.jaw for h in run.hits)
                plan = Plan(
                    1, pocket, None, "none", None, rails, run.rest[0], path, "predicted", strike=strike
                )
                intent = Intent(
                    ball=1, pocket=pocket, side="none", landing=Landing(run.rest[0], "there", True)
                )
                return Planned(layout, strike, plan, intent)
