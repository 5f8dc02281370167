"""The possible shots of a layout, ranked by the chance to pot times the chance to have a next shot."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import (
    CUE_BALL,
    STEADY,
    Cushion,
    Event,
    Execution,
    Layout,
    Pocket,
    Point,
    Side,
    Speed,
    Spread,
    Strike,
    Stroke,
    Table,
)
from lessonkit.physics.cushions import cushions_of
from lessonkit.physics.impacts import MISCUE_LIMIT
from lessonkit.physics.laws import DEFAULT, Laws
from lessonkit.physics.many import simulate_many
from lessonkit.planning import aim
from lessonkit.planning.plan import contacts_of
from lessonkit.planning.spread import LEAST_LANDINGS, Played, ellipse_of, play_strayed
from lessonkit.planning.thin import thin_path
from lessonkit.planning.words import SPEEDS_MPS, TIPS_UP, dead_tip, distance
from lessonkit.tactics.calls import Call, calls
from lessonkit.tactics.openings import best_of

SPEEDS: tuple[Speed, ...] = ("soft", "medium", "firm")
STROKES: tuple[Stroke, ...] = ("draw", "stun", "follow")
SIDES_UP: tuple[tuple[Side, float], ...] = (("none", 0.0), ("left", 0.3), ("right", -0.3))
"""Side of the strokes tried, tip offsets to the left in radii."""
PLAINER = 0.02
"""So much has side to gain, and half as much each harder speed, before it is preferred. Ours."""
LOOK, CLOSE_LOOK = 40, 300
"""Times that each stroke is played with its errors: all of them, then the best of each call."""


@dataclass(frozen=True)
class Option:
    """One possible shot with the stroke that serves it best."""

    ball: int
    pocket: Pocket
    kind: str
    """'straight', 'bank' or 'combination'."""
    bank: tuple[Cushion, ...]
    via: tuple[int, ...]
    stroke: Stroke
    speed: Speed
    side: Side
    strike: Strike
    score: float
    """Share of the strokes that pot the ball times the chance of the next shot from where they leave the cue ball."""
    pot_chance: float
    """Share that pot the ball and leave the cue ball on the table."""
    scratch_chance: float
    next_chance: float | None
    """Chance of the best shot from where the strokes that pot leave the cue ball; None: no ball is left."""
    next_ball: int | None
    """The ball of that shot, most often."""
    next_pocket: Pocket | None
    cue_path: tuple[Point, ...]
    ball_path: tuple[Point, ...]
    contacts: tuple[Event, ...]
    landing_spread: Spread | None


@dataclass(frozen=True)
class _Try:
    """A stroke in words and figures."""

    stroke: Stroke
    speed: Speed
    side: Side
    strike: Strike


@dataclass(frozen=True, eq=False)
class _Outcome:
    """What strokes with errors come to, a row for each stroke, a column for each time that it was played."""

    made: NDArray[np.bool_]
    """The called ball drops and the cue ball stays."""
    scratched: NDArray[np.bool_]
    following: NDArray[np.float64]
    """Chance of the best next shot; 1 where no ball is left."""
    ball: NDArray[np.int64]
    pocket: NDArray[np.int64]
    rests: NDArray[np.float64]
    numbers: tuple[int, ...]

    def scores(self) -> NDArray[np.float64]:
        """Of each stroke."""
        return np.asarray((self.made * self.following).mean(axis=1))


def rank(
    layout: Layout, table: Table, laws: Laws = DEFAULT, execution: Execution = STEADY
) -> tuple[Option, ...]:
    """The possible shots of a layout, the best first; none without a cue ball or where nothing can be potted.

    Straight shots, banks off one cushion and combinations of two balls; each is played soft, medium and firm with draw,
    stun and follow, without side and (straight shots) with side, every stroke many times with the player's errors.
    """
    if CUE_BALL not in layout:
        return ()
    found = (_option(call, layout, table, laws, execution) for call in calls(layout, table, execution))
    return tuple(sorted((o for o in found if o is not None), key=lambda o: (-o.score, -o.pot_chance)))


def _option(call: Call, layout: Layout, table: Table, laws: Laws, execution: Execution) -> Option | None:
    """A call with its best stroke; None if no stroke pots it."""
    tries = _tries(call, layout, table, laws)
    if not tries:
        return None
    outcome = _play(call, [t.strike for t in tries], layout, table, laws, execution, LOOK)
    scores = outcome.scores()
    if scores.max() <= 0.0:
        scores = outcome.made.mean(axis=1)
    if scores.max() <= 0.0:
        return None
    plain = np.array([PLAINER * (t.side != "none") + 0.5 * PLAINER * SPEEDS.index(t.speed) for t in tries])
    best = tries[int((scores - plain).argmax())]
    close = _play(call, [best.strike], layout, table, laws, execution, CLOSE_LOOK)
    if not close.made.any():
        return None
    return _described(call, best, close, layout, table, laws)


def _tries(call: Call, layout: Layout, table: Table, laws: Laws) -> list[_Try]:
    """The strokes that pot the called ball if nothing goes wrong."""
    task = call.task(layout, table, laws)
    reach = distance(layout[CUE_BALL], task.ghost)
    tries: list[_Try] = []
    guess: float | None = None
    for side, left in SIDES_UP if call.kind == "straight" else SIDES_UP[:1]:
        for speed in SPEEDS:
            low, high = SPEEDS_MPS[speed]
            v = (low * high) ** 0.5
            for stroke in STROKES:
                tip = dead_tip(v, reach, laws) if stroke == "stun" else TIPS_UP[stroke][1]
                if stroke == "stun" and tip <= -MISCUE_LIMIT:
                    continue
                direction = aim.find_aim(task, aim.Stroke(v, tip, left), guess)
                if direction is None:
                    continue
                guess = direction
                tries.append(_Try(stroke, speed, side, Strike(direction, v, tip, left)))
    if not tries:
        return []
    flawless = _strokes(tries)
    many = simulate_many(layout, flawless, table, laws)
    good = many.dropped(call.ball, call.pocket) & (many.pocket[:, many.column(CUE_BALL)] < 0)
    return [t for t, ok in zip(tries, good.tolist(), strict=True) if ok]


def _strokes(tries: Sequence[_Try]) -> NDArray[np.float64]:
    return np.array(
        [(t.strike.aim_deg, t.strike.speed_mps, t.strike.tip_up, t.strike.tip_left) for t in tries]
    )


def _play(
    call: Call,
    strikes: Sequence[Strike],
    layout: Layout,
    table: Table,
    laws: Laws,
    execution: Execution,
    times: int,
) -> _Outcome:
    """Play each stroke so many times with the player's errors, and look at what is left."""
    played = play_strayed(layout, strikes, table, laws, execution, times, bool(call.bank))
    made = played.dropped(call.ball, call.pocket) & played.stays
    following, ball, pocket = _following(played, made, table, execution)
    return _Outcome(made, ~played.stays, following, ball, pocket, played.rest[:, :, 0], played.numbers)


def _following(
    played: Played, made: NDArray[np.bool_], table: Table, execution: Execution
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]:
    """Chance, ball (its column) and pocket of the best next shot after each stroke that pots the ball."""
    chance, ball, pocket = np.zeros(made.shape), np.full(made.shape, -1), np.full(made.shape, -1)
    if made.any():
        best = best_of(played.rest[made], table, execution)
        bare = (played.pocket[made][:, 1:] >= 0).all(axis=1)
        chance[made] = np.where(bare, 1.0, best.chance)
        ball[made], pocket[made] = best.ball, best.pocket
    return chance, ball, pocket


def _described(call: Call, best: _Try, o: _Outcome, layout: Layout, table: Table, laws: Laws) -> Option:
    """The option with its figures and its path."""
    made = o.made[0]
    left = len(layout) > 2
    named = Counter(
        (b, p) for b, p in zip(o.ball[0][made].tolist(), o.pocket[0][made].tolist(), strict=True) if b >= 0
    )
    following = named.most_common(1)[0][0] if named else None
    task = call.task(layout, table, laws)
    s = best.strike
    run = aim.play(task, aim.Stroke(s.speed_mps, s.tip_up, s.tip_left), s.aim_deg)
    ball_path = thin_path([(float(x), float(y)) for _, x, y in run.path(call.ball)])
    return Option(
        ball=call.ball, pocket=call.pocket, kind=call.kind, bank=call.bank, via=call.via,
        stroke=best.stroke, speed=best.speed, side=best.side, strike=s,
        score=float(o.scores()[0]), pot_chance=float(made.mean()), scratch_chance=float(o.scratched[0].mean()),
        next_chance=float(o.following[0][made].mean()) if left else None,
        next_ball=None if following is None else o.numbers[following[0]],
        next_pocket=None if following is None else cushions_of(table).drops[following[1]].pocket,
        cue_path=thin_path([(float(x), float(y)) for _, x, y in run.path(CUE_BALL)]),
        ball_path=(*ball_path[:-1], table.pockets[call.pocket]),
        contacts=contacts_of(run, {CUE_BALL, call.ball, *call.via}),
        landing_spread=ellipse_of(o.rests[0][made]) if made.sum() >= LEAST_LANDINGS else None,
    )  # fmt: skip
