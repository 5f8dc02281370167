"""One tracked shot put into the project's terms: layouts, paths, events, pockets, by ball number."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from lessonkit.model import CUE_BALL, Event, Layout, Pocketed, SeenShot, Table, Track
from lessonkit.seeing.contacts import (
    contacts,
    fullness,
    pocket_events,
    with_contacts,
)
from lessonkit.seeing.drops import drop_time
from lessonkit.seeing.moving import Moving
from lessonkit.seeing.onsets import onset
from lessonkit.seeing.pieces import place_at, smoothed, without_outliers
from lessonkit.seeing.runs import Run


def describe_shot(
    number: int, balls: Mapping[int, Moving], strike_s: float, rest_s: float, *, before: Layout, after: Layout,
    linked: Mapping[int, int], numbers: Mapping[int, int], doubtful: set[int], table: Table,
    clear_before_s: float | None, clear_after_s: float | None,
) -> SeenShot:  # fmt: skip
    """A SeenShot; `balls`, `before`, `after`, `linked` and `numbers` are keyed by residence index."""
    runs = _runs(balls, numbers, strike_s)
    layout = {numbers[i]: p for i, p in before.items()}
    events = contacts(runs, layout, table)
    dropped = [
        Pocketed(numbers[i], b.dropped[1], drop_time(b.track(), b.dropped[1], b.dropped[0], table))
        for i, b in balls.items()
        if b.dropped is not None and i in numbers and i not in linked
    ]
    events = sorted(events + pocket_events(dropped), key=lambda e: e.t_s)
    drop_s = {p.ball: p.t_s for p in dropped}
    ends = {numbers[i]: after[linked[i]] for i in balls if i in numbers and linked.get(i) in after}
    paths = {
        n: _path(r, events, ends.get(n), drop_s.get(n), rest_s, strike_s if n == CUE_BALL else None)
        for n, r in runs.items()
    }
    first = next((e for e in events if e.kind == "ball" and e.balls[0] == CUE_BALL), None)
    cue = runs.get(CUE_BALL)
    turned_s = [e.t_s for e in events if e.kind == "cushion" and e.balls == (CUE_BALL,)]
    full = fullness(cue, first, runs, table, turned_s) if cue is not None and first is not None else None
    return SeenShot(
        number=number, strike_s=strike_s, rest_s=rest_s,
        layout_before=layout, layout_after={numbers[i]: p for i, p in after.items()},
        doubtful=tuple(sorted(doubtful)),
        cue_path=paths.pop(CUE_BALL, np.zeros((0, 3))), paths=paths, events=tuple(events),
        pocketed=tuple(sorted(dropped, key=lambda p: p.t_s)),
        fullness=full,
        clear_before_s=clear_before_s, clear_after_s=clear_after_s,
    )  # fmt: skip


def _runs(balls: Mapping[int, Moving], numbers: Mapping[int, int], strike_s: float) -> dict[int, Run]:
    runs: dict[int, Run] = {}
    for i, b in balls.items():
        if i in numbers and len(b.seen) > 1 and (numbers[i] == CUE_BALL or not b.stirred()):
            track = without_outliers(b.track())
            onset_s = strike_s if numbers[i] == CUE_BALL else onset(track)
            runs[numbers[i]] = Run(numbers[i], b.start, track, onset_s)
    return runs


def _path(
    run: Run, events: list[Event], end: tuple[float, float] | None, drop_s: float | None, rest_s: float, strike_s: float | None
) -> Track:  # fmt: skip
    """From where the ball lay, through its contacts, to where it came to rest or dropped."""
    onset_s = run.onset_s if strike_s is None else strike_s
    moving = run.track[run.track[:, 0] > onset_s + 1e-4]
    if drop_s is not None:
        moving = moving[moving[:, 0] <= drop_s + 1e-6]
    rows = [np.array([onset_s, *run.start]), *moving]
    if drop_s is None:
        last = np.array(end if end is not None else run.track[-1, 1:], float)
        if rest_s > rows[-1][0] + 1e-3:
            rows.append(np.array([rest_s, *last]))
    elif drop_s > rows[-1][0] + 2e-3:
        rows.append(np.array([drop_s, *place_at(run.track, drop_s)]))
    way = np.array(rows, float).reshape(-1, 3)
    if run.ball != CUE_BALL:
        way = smoothed(way, [e.t_s for e in events if run.ball in e.balls])
    return with_contacts(way, events, run.ball)
