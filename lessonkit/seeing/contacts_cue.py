"""What the cue ball met, told from its own way: the first ball on it, and each later kick by a ball that was there.

In a cluster the ball that was met may hardly move while others run off, so who set off first does not tell who was met.
The cue ball's way does: a contact of equal balls changes its velocity along the line of centres, away from the other
ball, and at that time the centres lie one diameter apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import CUE_BALL, Event, Point, Table, Track
from lessonkit.seeing.onsets import frame_s
from lessonkit.seeing.pieces import Motion, place_at, scatter_mm
from lessonkit.seeing.runs import Run

Floats = NDArray[np.float64]

OFF_WAY_MM = 5.0
"""A sight this far off where the sights before it led lies after a hit."""
OFF_WAY_SHARE = 0.06
"""The same, as a share of the step from sight to sight: fast balls' sights scatter."""
SOON_FRAMES = 2.5
"""What was met is seen to move within this many frames."""
GRAZE_MM = 2.0
"""A first ball that the cue ball's way passes this closely may have been met."""
NEAR_MM = 12.0
"""Two balls whose sights come this near may have met between them."""
PUSH_SHARE = 0.05
"""How far off the common law of impact the cue ball's speed along the line of centres may come out: restitution of 0.92
to 0.98 (shared/physics.toml) leaves it 0.01 to 0.04 of what it had, and neighbours of the ball push back."""
JOIN_MM = 8.0
"""Where a predicted and a seen way should be one."""
CROWDED_MM = 15.0
PRESSED_MM = 2.0
"""Two balls that are met at once, the second may seem to be met by this much too early."""
LEAST_KICK_MMPS = 40.0
SIGNIFICANT = 3.5
"""A change of velocity counts if it is so many of its standard errors."""
BENT_ERRORS, BENT_SHARE = 4.0, 0.03
"""A sight is off a smooth way by so many standard errors and this share of the step from sight to sight."""
SAME_FRAMES = 0.5
CLOSING_SHARE = 0.7
"""Two balls that met had closed on each other with at least this share of the kick, as far as sights tell it."""
WITHIN_S = 0.12
"""Sights this near a contact tell the velocity before and after it."""
TOGETHER_S = 0.0015
"""Contacts nearer in time than this cannot be told apart."""
AWAY_MM, AWAY_SCATTERS = 1.0, 4.0
"""Two balls have parted when they were this far apart, and so many times what their sights scatter by."""
AGAIN_S = 0.03
"""Contacts of one pair nearer in time than this are one."""


def first_contact(cue: Run, rests: Mapping[int, Point], set_off_s: float, table: Table) -> Event | None:
    """The first ball on the cue ball's way; None where the way is not seen or leads to no ball in time.

    `rests`: where the others lay, moved or not; `set_off_s`: when the first of them was seen to move.
    """
    step = frame_s(cue.track)
    start = np.array([[cue.onset_s, *cue.start]])
    # a sight in the strike's own frame adds nothing to where the ball lay
    sights = cue.track[(cue.track[:, 0] > cue.onset_s + 0.3 * step) & (cue.track[:, 0] < set_off_s + step)]
    seen = np.r_[start, sights]
    piece = _clean(seen, set_off_s, table)
    way = Motion.through(piece[-5:], float(piece[-1, 0])) if len(piece) >= 2 else None
    if way is None:
        return None
    ts = np.linspace(piece[-1, 0], max(set_off_s, piece[-1, 0]) + 1.5 * step, 160)
    places = np.array([way.place(float(t)) for t in ts])
    met: list[tuple[float, int]] = []
    passed: list[tuple[float, float, int]] = []
    for ball, rest in rests.items():
        gaps = np.hypot(*(places - np.asarray(rest)).T) - table.ball_diameter_mm
        inside = np.nonzero(gaps <= 0)[0]
        i = int(inside[0]) if len(inside) else int(gaps.argmin())
        if len(inside):
            met.append((float(ts[i]), ball))
        elif gaps[i] < GRAZE_MM:
            passed.append((float(gaps[i]), float(ts[i]), ball))
    if met:
        t, ball = min(met)
    elif passed:
        _, t, ball = min(passed)
    else:
        return None
    return Event(t, "ball", (CUE_BALL, ball))


def _clean(seen: Track, set_off_s: float, table: Table) -> Track:
    """The last stretch of one smooth way before others set off: begins anew after a cushion or where nothing was met."""
    begin, k, step = 0, 2, frame_s(seen)
    while k < len(seen) and seen[k, 0] < set_off_s:
        part = seen[max(begin, k - 5) : k]
        way = Motion.through(part, float(seen[k, 0])) if len(part) >= 2 else None
        if way is not None and _leaves(way, seen[k - 1 :]):
            gone = float(np.hypot(*(seen[k, 1:] - seen[k - 1, 1:])))
            if set_off_s - seen[k, 0] < SOON_FRAMES * step and not _at_cushion(
                seen[k - 1 : k + 1], gone, table
            ):
                break
            begin = k
        k += 1
    return seen[begin : max(k, begin + 1)]


def _leaves(way: Motion, sights: Track) -> bool:
    """Whether the second sight is off a way that the first still lay on, and the third still more."""
    off = [float(np.hypot(*(way.place(float(s[0])) - s[1:]))) for s in sights[1:3]]
    gone = float(np.hypot(*(sights[1, 1:] - sights[0, 1:])))
    return off[0] > OFF_WAY_MM + OFF_WAY_SHARE * gone and (len(off) < 2 or off[1] > 1.5 * off[0])


def _at_cushion(two: Track, gone_mm: float, table: Table) -> bool:
    """Whether a cushion lies within the step between two sights."""
    x, y = two[:, 1], two[:, 2]
    edge = np.minimum.reduce([x, table.length_mm - x, y, table.width_mm - y])
    return bool(edge.min() < table.radius_mm + 0.6 * gone_mm + 4.0)


@dataclass(frozen=True, eq=False)
class _Velocity:
    """A ball's velocity beside a contact."""

    v: Floats
    error_mmps: float
    way: Motion
    since_s: float = -np.inf
    """Time of a contact with which the way begins."""


def later_contacts(
    runs: Mapping[int, Run],
    known: list[Event],
    table: Table,
    turned_s: Mapping[int, Sequence[float]] | None = None,
) -> list[Event]:
    """Contacts of the cue ball that its kicks tell, beyond those that are known.

    `turned_s`: when each ball met cushions, for its way is another one from there.
    """
    cue = runs.get(CUE_BALL)
    if cue is None or len(cue.track) < 4:
        return []
    found: list[Event] = []
    for t, other in _near(cue, runs, table):
        events = [*known, *found]
        if any(abs(e.t_s - t) < AGAIN_S and {CUE_BALL, other.ball} == set(e.balls) for e in events):
            continue
        args = (runs, other, t, events, table, turned_s or {})
        # few sights tell a velocity worse than more do, so only where no one motion goes through more of them
        at = _kicked(*args, bent=False) or _kicked(*args, bent=True)
        if at is not None and not any(
            abs(e.t_s - at) < AGAIN_S and {CUE_BALL, other.ball} == set(e.balls) for e in events
        ):
            found.append(Event(at, "ball", (CUE_BALL, other.ball)))
    return found


def joined(known: Sequence[Event], found: Sequence[Event], runs: Mapping[int, Run]) -> list[Event]:
    """Known contacts and those found by their kicks; two of one pair that did not part between them are one, and the kick
    tells its time, for the other was told from where scattered sights of slow balls seemed to lead."""
    out = list(known)
    for event in found:
        same = [e for e in out if set(e.balls) == set(event.balls) and not _parted(e, event, runs)]
        for e in same:
            out.remove(e)
        out.append(replace(event, balls=same[0].balls) if same else event)
    return out


def _parted(one: Event, other: Event, runs: Mapping[int, Run]) -> bool:
    """Whether two balls were farther apart between two times than at both, by more than their sights scatter."""
    a, b = (runs[n].track for n in one.balls)
    between = np.linspace(one.t_s, other.t_s, 9)
    gaps = [float(np.hypot(*(place_at(a, float(t)) - place_at(b, float(t))))) for t in between]
    away = AWAY_MM + AWAY_SCATTERS * max(scatter_mm(a), scatter_mm(b))
    return max(gaps) > max(gaps[0], gaps[-1]) + away


def _turns(
    run: Run, met_s: Iterable[float], turned_s: Mapping[int, Sequence[float]], t_s: float, bent: bool
) -> list[float]:
    """Times at which a ball's way changed; what seems a cushion at the very time looked at may be the contact itself."""
    step = frame_s(run.track)
    turns = [*met_s, *(c for c in turned_s.get(run.ball, ()) if abs(c - t_s) > SAME_FRAMES * step)]
    if bent:
        turns += [b for after in (False, True) if (b := _bend(run, t_s, turns, step, after)) is not None]
    return sorted(turns)


def _near(cue: Run, runs: Mapping[int, Run], table: Table) -> list[tuple[float, Run]]:
    """(time, other) wherever another ball's way comes near the cue ball's, in order of time."""
    out: list[tuple[float, Run]] = []
    step = frame_s(cue.track)
    fine = np.arange(cue.track[1, 0], cue.track[-1, 0], step / 5)
    a = np.c_[
        np.interp(fine, cue.track[:, 0], cue.track[:, 1]), np.interp(fine, cue.track[:, 0], cue.track[:, 2])
    ]
    for other in runs.values():
        if other is cue:
            continue
        t = other.track
        b = np.c_[np.interp(fine, t[:, 0], t[:, 1]), np.interp(fine, t[:, 0], t[:, 2])]
        gaps = np.hypot(*(a - b).T) - table.ball_diameter_mm
        gaps[fine > t[-1, 0] + step] = np.inf
        # between two sights a straight line cuts off the corner of a kick
        cut = 0.3 * np.hypot(*(np.gradient(a - b, axis=0) * 5).T)
        for i in range(2, len(fine) - 2):
            if gaps[i] < NEAR_MM + cut[i] and gaps[i] == gaps[max(0, i - 5) : i + 6].min():
                out.append((float(fine[i]), other))
    return sorted(out, key=lambda pair: pair[0])


def _kicked(
    runs: Mapping[int, Run], other: Run, t_s: float, known: list[Event], table: Table,
    turned_s: Mapping[int, Sequence[float]], bent: bool,
) -> float | None:  # fmt: skip
    """When the two met about a time, told by both their kicks; None where they did not.

    `bent`: their ways are taken to end wherever they bend, whatever bent them.
    """
    cue = runs[CUE_BALL]
    step = frame_s(cue.track)
    hit = {e.t_s: e.balls[1] for e in known if e.kind == "ball" and e.balls[0] == CUE_BALL}
    mine = _turns(cue, hit, turned_s, t_s, bent)
    theirs = [e.t_s for e in known if e.kind == "ball" and other.ball in e.balls]
    theirs = _turns(other, theirs, turned_s, t_s, bent)
    t: float | None = t_s
    went = came = None
    for _ in range(2):  # which sights lie before and after is known once the time is
        if t is None:
            return None
        went = _beside(cue, t, mine, step, after=True)
        came = _beside(cue, t, mine, step, after=False) or _glanced(runs, t, mine, hit, step)
        if went is None or came is None:
            return None
        t = _touch(came, _led(other, t, theirs, step), t, step, table)
    if t is None or went is None or came is None:
        return None
    n = _led(other, t, theirs, step).place(t) - came.way.place(t)
    n /= max(float(np.hypot(*n)), 1e-9)
    turn = went.way.velocity(t) - came.way.velocity(t)
    error = float(np.hypot(went.error_mmps, came.error_mmps))
    kick = -float(turn @ n)
    across = abs(float(turn[0] * n[1] - turn[1] * n[0]))
    if kick < max(LEAST_KICK_MMPS, SIGNIFICANT * error) or across > 0.6 * kick + 3.0 * error:
        return None
    apart = float(np.hypot(*(went.way.place(t) - came.way.place(t))))
    if apart > JOIN_MM + 0.3 * step * float(np.hypot(*turn)):
        return None
    lawful = _closed(runs, other, t, theirs, came, n, kick, bent, table)
    return t if lawful and _gave(runs, other, t, theirs, n, kick, table) else None


def _glanced(
    runs: Mapping[int, Run], t_s: float, mine: list[float], hit: Mapping[float, int], step: float
) -> _Velocity | None:
    """The way from a contact so shortly before that no sights show it, by the law of impact.

    Equal balls exchange their velocities along the line of centres, but for what restitution takes; what the cue ball
    had across it stays (textbook mechanics; friction between balls, a few hundredths, is left out).
    """
    since = max([c for c in mine if c < t_s - TOGETHER_S], default=None)
    met = runs.get(hit[since]) if since is not None and since in hit else None
    if since is None or met is None or t_s - since > 2.5 * step:
        return None
    arrived = _arrived(runs[CUE_BALL], since, mine, step)
    if arrived is None:
        return None
    n = np.asarray(met.start, float) - arrived.way.place(since)
    n /= max(float(np.hypot(*n)), 1e-9)
    along = float(arrived.v @ n)
    left = arrived.v - (1 - PUSH_SHARE / 2) * along * n
    way = Motion(since, arrived.way.place(since), left, np.zeros(2))
    return _Velocity(left, float(np.hypot(arrived.error_mmps, PUSH_SHARE * along)), way, since)


def _arrived(cue: Run, t_s: float, mine: list[float], step: float) -> _Velocity | None:
    """How the cue ball came to a known contact: by its sights, or by the place of the contact before."""
    seen = _beside(cue, t_s, mine, step, after=False)
    since = max([c for c in mine if c < t_s - TOGETHER_S], default=None)
    if seen is not None or since is None:
        return seen
    corner = _beside(cue, since, mine, step, after=False)
    here, gone_s = place_at(cue.track, t_s), t_s - since
    if corner is None or gone_s < 0.7 * step:
        return None
    v = (here - corner.way.place(since)) / gone_s
    return _Velocity(v, 3.0 / gone_s, Motion(t_s, here, v, np.zeros(2)))


def _led(run: Run, t_s: float, contacts_s: list[float], step: float) -> Motion:
    """A ball's way up to a time, carried on; where it lay if it had not moved, between its sights where few are left."""
    if t_s < run.onset_s:
        return Motion(t_s, np.asarray(run.start, float), np.zeros(2), np.zeros(2))
    came = _beside(run, t_s, contacts_s, step, after=False)
    if came is not None:
        return came.way
    v = (place_at(run.track, t_s + 0.3 * step) - place_at(run.track, t_s - 0.3 * step)) / (0.6 * step)
    return Motion(t_s, place_at(run.track, t_s), v, np.zeros(2))


def _closed(
    runs: Mapping[int, Run], other: Run, t_s: float, theirs: list[float], came: _Velocity, n: Floats, kick: float,
    bent: bool, table: Table,
) -> bool:  # fmt: skip
    """Whether the two closed on each other as fast as the kick asks: no impact gives equal balls more than that.

    It is (1 + e) / 2 of it, restitution e at most 1, unless a third ball holds the other one up.
    """
    mate = _beside(other, t_s, theirs, frame_s(other.track), after=False)
    if mate is None:
        return not bent
    closing = float((came.way.velocity(t_s) - mate.way.velocity(t_s)) @ n)
    return closing > CLOSING_SHARE * kick or _crowded(runs, other, t_s, table)


def _gave(
    runs: Mapping[int, Run], other: Run, t_s: float, theirs: list[float], n: Floats, kick: float, table: Table
) -> bool:
    """Whether the other ball was pushed as the cue ball was kicked: a cushion or a third ball kicks the cue ball alone.

    What lies among others may pass on at once all that it is given.
    """
    step = frame_s(other.track)
    if t_s < other.onset_s + 2.0 * step or _crowded(runs, other, t_s, table):
        return True
    went = _beside(other, t_s, theirs, step, after=True, points=3)
    came = _beside(other, t_s, theirs, step, after=False, points=3)
    if went is None or came is None:
        return True
    pushed, error = float((went.v - came.v) @ n), float(np.hypot(went.error_mmps, came.error_mmps))
    return pushed > max(0.0, 0.25 * kick - error)


def _crowded(runs: Mapping[int, Run], ball: Run, t_s: float, table: Table) -> bool:
    """Whether a third ball, neither the cue ball, lies so near that it may have been met in the same frame."""
    place = place_at(ball.track, t_s)
    return any(
        np.hypot(*(place_at(r.track, t_s) - place)) < table.ball_diameter_mm + CROWDED_MM
        for r in runs.values()
        if r is not ball and r.ball != CUE_BALL
    )


def _beside(
    run: Run, t_s: float, contacts_s: list[float], step: float, after: bool, points: int = 5
) -> _Velocity | None:
    """The velocity on one side of a time, from sights between it and the next known contact."""
    use = _sights(run, t_s, contacts_s, step, after, points)
    if len(use) < 2:
        return None if after else _lay(run, t_s, step)
    way = Motion.through(use, t_s)
    if way is None:
        return None
    d = use[:, 0] - use[:, 0].mean()
    # a bend that is fitted as well doubles the error at the end of the piece
    error = scatter_mm(run.track) / float(np.sqrt((d**2).sum())) * (2.0 if len(use) >= 4 else 1.0)
    return _Velocity(way.velocity(t_s), error, way)


def _sights(
    run: Run, t_s: float, contacts_s: list[float], step: float, after: bool, points: int = 5
) -> Track:
    """The sights nearest to a time on one side of it, none beyond the next known contact."""
    t = run.track[:, 0]
    if after:
        until = min([c for c in contacts_s if c > t_s + TOGETHER_S], default=np.inf)
        return run.track[(t > t_s + 0.35 * step) & (t < min(until, t_s + WITHIN_S))][:points]
    since = max([c for c in contacts_s if c < t_s - TOGETHER_S], default=-np.inf)
    return run.track[(t < t_s - 0.35 * step) & (t > max(since, t_s - WITHIN_S))][-points:]


def _bend(run: Run, t_s: float, contacts_s: list[float], step: float, after: bool) -> float | None:
    """On one side of a time the nearest one at which a ball's way bends: a cushion or a third ball turned it there.

    What lies beyond tells nothing of the velocity here. None where one motion goes through all sights.
    """
    sights, scatter = _sights(run, t_s, contacts_s, step, after), scatter_mm(run.track)
    sights = sights if after else sights[::-1]
    for k in range(2, len(sights)):
        way = Motion.through(sights[:k], float(sights[k, 0]))
        gone = float(np.hypot(*(sights[k, 1:] - sights[k - 1, 1:])))
        # the standard error of a line through k sights, carried on by a step, and of the sight there
        unsure = scatter * float(np.sqrt(1 + 2 * (2 * k + 1) / (k * (k - 1))))
        if way is None or np.hypot(*(way.p - sights[k, 1:])) > BENT_ERRORS * unsure + BENT_SHARE * gone:
            return float(sights[k - 1 : k + 1, 0].mean())
    return None


def _lay(run: Run, t_s: float, step: float) -> _Velocity | None:
    """A ball that had come to rest: of a ball at rest sights are not kept."""
    rows = run.track[run.track[:, 0] < t_s + 1.2 * step]
    rows = rows[max(0, len(rows) - 3) :]
    gaps = np.nonzero(np.diff(rows[:, 0]) > 3 * step)[0]
    rows = rows[gaps[-1] : gaps[-1] + 2] if len(gaps) else rows[:0]
    if len(rows) < 2 or np.hypot(*(rows[1, 1:] - rows[0, 1:])) > NEAR_MM:
        return None
    return _Velocity(
        np.zeros(2), LEAST_KICK_MMPS / SIGNIFICANT, Motion(t_s, rows[1, 1:], np.zeros(2), np.zeros(2))
    )


def _touch(mine: _Velocity, other: Motion, t_s: float, step: float, table: Table) -> float | None:
    """When the ways come one diameter near to each other, about a time."""
    ts = np.linspace(max(t_s - 1.2 * step, mine.since_s), t_s + 1.2 * step, 97)
    gaps = np.array([np.hypot(*(mine.way.place(float(t)) - other.place(float(t)))) for t in ts])
    gaps -= table.ball_diameter_mm
    if ts[0] == mine.since_s and -PRESSED_MM < gaps[0] <= 0 and gaps[1] < gaps[0]:
        return float(ts[0])
    turns = np.nonzero(np.diff(np.sign(gaps)) == -2)[0]
    if len(turns):
        i = int(turns[np.abs(ts[turns] - t_s).argmin()])
        return float(ts[i] + gaps[i] / (gaps[i] - gaps[i + 1]) * (ts[i + 1] - ts[i]))
    i = int(np.abs(gaps).argmin())
    return float(ts[i]) if abs(gaps[i]) < NEAR_MM / 2 else None
