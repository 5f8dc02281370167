"""One ball keeps its number: places that one ball took in turn are strung together, and each string is named once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from lessonkit.model import CUE_BALL
from lessonkit.seeing.looks import Look
from lessonkit.seeing.numbers import Fits, Named, assign_toned, costs, fits_together, pair_costs
from lessonkit.seeing.paints import TONES
from lessonkit.seeing.residences import Residence

NOT_CUE = 60.0
REACHED_MM = 22.0
MOST_TONES, WORTH = 24, 12.0
"""So many tones of the camera are followed up, none that is less likely than the likeliest by more than exp(-WORTH)."""
MOST_TABLES = 40
"""A tracked ball and a thing newly at rest this near are the same."""


@dataclass
class Strings:
    """Which residences are one ball, by index."""

    next_of: dict[int, int] = field(default_factory=dict)

    def link(self, earlier: int, later: int) -> None:
        """Say that the ball at residence `earlier` went to residence `later`."""
        self.next_of[earlier] = later

    def heads(self, count: int) -> list[int]:
        """For each residence the index of the first one of its string."""
        head = list(range(count))
        for earlier, later in sorted(self.next_of.items()):
            head[later] = head[earlier]
        return head


def match_arrivals(
    ends: Mapping[int, tuple[float, float]], arrivals: Sequence[int], residences: Sequence[Residence]
) -> dict[int, int]:
    """Which arrival each tracked ball became: by place, each arrival once; balls without one are left out."""
    from scipy.optimize import linear_sum_assignment

    balls = list(ends)
    if not balls or not arrivals:
        return {}
    cost = np.array([[np.hypot(*np.subtract(ends[b], residences[a].place)) for a in arrivals] for b in balls])
    rows, columns = linear_sum_assignment(np.minimum(cost, 3 * REACHED_MM))
    return {balls[i]: arrivals[j] for i, j in zip(rows, columns, strict=True) if cost[i, j] < REACHED_MM}


def match_leftovers(
    lost: Sequence[int], arrivals: Sequence[int], looks: Mapping[int, Look | None]
) -> dict[int, int]:
    """Which arrival each ball that was lost on its way became: by what they look like."""
    from scipy.optimize import linear_sum_assignment

    if not lost or not arrivals:
        return {}
    c = np.empty((len(lost), len(arrivals)))
    for i, b in enumerate(lost):
        for j, a in enumerate(arrivals):
            lb, la = looks.get(b), looks.get(a)
            both = costs([k for k in (lb, la) if k is not None])
            c[i, j] = float(both.min())
    rows, columns = linear_sum_assignment(c)
    return {lost[i]: arrivals[j] for i, j in zip(rows, columns, strict=True) if c[i, j] < 8.0}


def name_strings(
    heads: Sequence[int],
    looks: Mapping[int, Look | None],
    rests: Sequence[Sequence[int]],
    cue_heads: set[int],
) -> dict[int, Named]:
    """A number for each string, keyed by the index of its first residence.

    `rests`: residences that lay on the table together; `cue_heads`: strings that were struck with the cue.
    Every sight of a ball counts, from whatever time; a number exists once on the table at any time.
    """
    sights: dict[int, list[Look]] = {}
    for i, h in enumerate(heads):
        k = looks.get(i)
        if k is not None:
            sights.setdefault(h, []).append(k)
    fits_of = {h: fits_together(sights.get(h, [])) for h in set(heads)}
    for h in _beside_cue(heads, rests, cue_heads):
        fits_of[h].costs[:, CUE_BALL] += NOT_CUE
    burnt = [k.burnt for k in looks.values() if k is not None]
    tables = [list(dict.fromkeys(heads[i] for i in rest)) for rest in rests]
    tones = _tone_costs(tables, fits_of, bool(burnt) and sum(burnt) > 0.5 * len(burnt))
    kept = np.argsort(tones)[:MOST_TONES]
    kept = kept[tones[kept] - tones[kept[0]] < WORTH]
    named: dict[int, list[Named]] = {}
    for together in tables:
        held = {j: 0 for j, h in enumerate(together) if h in cue_heads}
        if len(held) > 1:
            held = {}
        if not together:
            continue
        seen = [fits_of[h].of(kept) for h in together]
        costs_of = np.stack([f.costs for f in seen], 1)
        for h, n in zip(together, assign_toned(costs_of, tones[kept], held, pair_costs(seen)), strict=True):
            named.setdefault(h, []).append(n)
    return {h: _settled(votes) for h, votes in named.items()}


def _beside_cue(heads: Sequence[int], rests: Sequence[Sequence[int]], cue_heads: set[int]) -> set[int]:
    """Strings that at some time lay on the table together with the one that was struck: none of them is the cue ball.

    After a scratch there is none, and a striped ball seen along its axis is white all over.
    """
    out: set[int] = set()
    for rest in rests:
        together = {heads[i] for i in rest}
        if len(together & cue_heads) == 1:
            out |= together - cue_heads
    return out


def _tone_costs(tables: Sequence[Sequence[int]], fits_of: Mapping[int, Fits], burnt: bool) -> np.ndarray:
    """How unlikely each tone is by itself and by all tables of the footage together, shape (tones,).

    The tables of one footage share most of their balls, so together they tell little more than their mean, and a few
    of them as much as all.
    """
    from scipy.optimize import linear_sum_assignment

    own = np.array([tone.cost(burnt) for tone in TONES])
    told = []
    for together in tables[:: -(-len(tables) // MOST_TABLES) or 1]:
        seen = np.array([fits_of[h].costs for h in together]).reshape(-1, len(TONES), 16)
        told.append([seen[:, k][linear_sum_assignment(seen[:, k])].sum() for k in range(len(TONES))])
    return own + np.mean(told, axis=0) if told else own


def _settled(votes: Sequence[Named]) -> Named:
    """The number that most rests gave, and the middle confidence of those."""
    count: dict[int, float] = {}
    for v in votes:
        count[v.number] = count.get(v.number, 0.0) + v.confidence + 0.01
    best = max(count, key=lambda n: count[n])
    agreeing = [v.confidence for v in votes if v.number == best]
    return Named(best, float(np.median(agreeing)) * len(agreeing) / len(votes))
