"""Many strokes on one layout at once, for whoever searches or spreads strokes (docs/physics.md, "Many strokes")."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lessonkit.model import CUE_BALL, Cushion, Layout, Pocket, Table
from lessonkit.physics.apart import apart
from lessonkit.physics.cushions import cushions_of
from lessonkit.physics.impacts import struck
from lessonkit.physics.kernels.state import COLUMNS, ENDED, ENDLESS, ENDS, INF, Floats, Ints
from lessonkit.physics.laws import DEFAULT, Laws
from lessonkit.physics.prepared import constants_of, edges_of, faces_of
from lessonkit.physics.simulate import MAX_EVENTS

if TYPE_CHECKING:
    from lessonkit.physics.kernels.batch import Answers

CUSHIONS_KEPT = 8
"""So many of a ball's cushions are kept in their order; all are counted."""


@dataclass(frozen=True, eq=False)
class Many:
    """What came of N strokes on a layout of n balls; `None`-like entries are NaN or -1."""

    balls: tuple[int, ...]
    """Ball numbers in the order of the columns below; the cue ball first."""
    pockets: tuple[Pocket, ...]
    """Names of the numbers in `pocket`."""
    rest: Floats
    """(N, n, 2): where each ball lies at the end, mm; NaN: it dropped."""
    pocket: Ints
    """(N, n): the pocket a ball dropped into, as an index of `pockets`; -1: none."""
    moved: NDArray[np.bool_]
    """(N, n): whether a ball moved at all."""
    first_ball: Ints
    """(N,): number of the ball that the cue ball met first; -1: none."""
    contact_s: Floats
    """(N,): when, from the strike; NaN: it met none."""
    contact: Floats
    """(N, 2, 4): of the cue ball (0) and that first ball (1), x, y mm and vx, vy mm/s just after their contact."""
    cue_cushions: Ints
    """(N,): nose contacts of the cue ball, jaws left out."""
    cushions_before: Ints
    """(N,): those before its first ball contact (all, if it met no ball)."""
    ball_cushions: Ints
    """(N,): nose contacts of the first ball."""
    end_s: Floats
    """(N,): when all lay still, or `until_s`, or the contact."""
    stopped: NDArray[np.bool_]
    """(N,): ended before all lay still, after MAX_EVENTS or at the contact."""
    samples: Floats
    """(N, S, B, 2): places of the balls `of` at `times_s`, mm; (N, 0, 0, 2) if none were wanted."""
    cushion_order: Ints
    """(N, 2, CUSHIONS_KEPT): noses of cue ball and first ball in their order, as numbers of `faces`; -1 after the last."""
    faces: tuple[Cushion, ...]

    def column(self, ball: int) -> int:
        """The column of a ball. Raises ValueError if it was not on the table."""
        return self.balls.index(ball)

    def dropped(self, ball: int, pocket: Pocket) -> NDArray[np.bool_]:
        """(N,): whether a ball went down a pocket."""
        return np.asarray(self.pocket[:, self.column(ball)] == self.pockets.index(pocket))

    def cushions(self, stroke: int, first_ball: bool = False) -> tuple[Cushion, ...]:
        """The cushions that the cue ball, or the first ball, met in one stroke, in their order."""
        return tuple(self.faces[f] for f in self.cushion_order[stroke, int(first_ball)] if f >= 0)


def simulate_many(
    layout: Layout,
    strokes: ArrayLike,
    table: Table,
    laws: Laws = DEFAULT,
    *,
    until_s: float = 60.0,
    to_contact: bool = False,
    times_s: ArrayLike = (),
    of: Sequence[int] = (CUE_BALL,),
) -> Many:
    """Play N strokes, each on the same layout.

    layout: balls at rest, the cue ball among them, mm; balls that overlap by an error of measuring are first moved apart.
    strokes: shape (N, 4) or (N, 5): aim_deg, speed_mps, tip_up, tip_left, and if wanted elevation_deg, as of `strike`.
    until_s: a stroke is played to there if not all lie still before. to_contact: only to the cue ball's first ball.
    times_s, of: the balls `of` are sampled at these times, seconds from the strike, ascending.

    The interpreter's lock is let go while it runs, so callers may share a batch out to threads.
    Raises ValueError for strokes of another shape, an elevation outside 0 to 89, or a layout without a cue ball.
    """
    from lessonkit.physics.kernels import batch

    if CUE_BALL not in layout:
        raise ValueError("the layout has no cue ball")
    places = apart(layout, table)
    numbers = (CUE_BALL, *(b for b in places if b != CUE_BALL))
    balls = np.zeros((len(numbers), COLUMNS))
    balls[:, :2] = [places[b] for b in numbers]
    balls[:, ENDS] = INF
    cues = struck(np.asarray(strokes, dtype=np.float64), table.radius_mm)
    times = np.ascontiguousarray(times_s, dtype=np.float64).reshape(-1)
    wanted = np.array([numbers.index(b) for b in of] if len(times) else [], dtype=np.int64)
    a = _answers(len(cues), len(numbers), len(times), len(wanted))
    batch.play_many(
        balls, cues, edges_of(table), constants_of(laws, table), until_s, to_contact, MAX_EVENTS, times, wanted, a
    )  # fmt: skip
    met = a.first >= 0
    return Many(
        balls=numbers,
        pockets=tuple(d.pocket for d in cushions_of(table).drops),
        rest=a.rest,
        pocket=a.pocket,
        moved=a.moved != 0,
        first_ball=np.where(met, np.array(numbers)[a.first], -1),
        contact_s=a.contact_s,
        contact=a.contact,
        cue_cushions=a.counts[:, 1],
        cushions_before=a.counts[:, 0],
        ball_cushions=a.counts[:, 2],
        end_s=a.end_s,
        stopped=(a.ended == ENDLESS) | (to_contact & met & (a.ended != ENDED)),
        samples=a.samples,
        cushion_order=a.cushions,
        faces=tuple(f.cushion for f in faces_of(table)),
    )


def _answers(strokes: int, balls: int, times: int, of: int) -> Answers:
    """Empty answers for so many strokes."""
    from lessonkit.physics.kernels.batch import Answers

    return Answers(
        rest=np.full((strokes, balls, 2), np.nan),
        pocket=np.full((strokes, balls), -1),
        moved=np.zeros((strokes, balls), np.int64),
        first=np.full(strokes, -1),
        contact_s=np.full(strokes, np.nan),
        contact=np.full((strokes, 2, 4), np.nan),
        cushions=np.full((strokes, 2, CUSHIONS_KEPT), -1),
        counts=np.zeros((strokes, 3), np.int64),
        end_s=np.zeros(strokes),
        ended=np.zeros(strokes, np.int64),
        samples=np.full((strokes, times, of, 2), np.nan),
    )
