"""What the cue ball met, on the ways of simulated breaks and clusters seen at a camera's rate with a camera's errors."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from lessonkit.model import Event, Layout, Table
from lessonkit.seeing.contacts import ball_contacts
from lessonkit.seeing.contacts import contacts as all_contacts
from lessonkit.seeing.contacts_cue import first_contact, later_contacts
from lessonkit.seeing.onsets import onset
from lessonkit.seeing.pieces import without_outliers
from lessonkit.seeing.runs import Run
from tests.scenes.layouts import rack
from tests.scenes.motion import Motion, simulate

Floats = NDArray[np.float64]
TABLE = Table("9ft", 2540.0, 1270.0)
D = TABLE.ball_diameter_mm
MOVED_MM = 5.0
"""So far the tracker lets a ball stir before it takes it for moving."""


def seen(motion: Motion, fps: float, rng: np.random.Generator) -> dict[int, Run]:
    """The ways as tracked: at frame times, over 1/120 s of exposure, each sight off by about 0.6 mm, fast ones by more."""
    runs = {}
    phase = float(rng.uniform(0, 1 / fps))
    for ball, way in motion.paths.items():
        t = np.arange(phase - 3 / fps, way[-1, 0] + (0.0 if ball in motion.drops else 0.5), 1 / fps)
        open_s = np.linspace(-1 / 240, 1 / 240, 9)
        xy = np.mean([[np.interp(t + o, way[:, 0], way[:, c]) for c in (1, 2)] for o in open_s], axis=0).T
        moved = np.nonzero(np.hypot(*(xy - way[0, 1:]).T) > MOVED_MM)[0]
        if not len(moved) or len(xy) < 2:
            continue
        speed = np.hypot(*(np.gradient(xy, axis=0) * fps).T)
        off = 0.6 * (np.clip(speed / 150, 0.1, 1.0) + speed / 3000)
        k = max(1, int(moved[0]))
        track = np.c_[t, xy + rng.normal(0, 1, xy.shape) * off[:, None]][k - 1 :]
        start = (float(way[0, 1]), float(way[0, 2]))
        track[0, 1:] = start
        track = without_outliers(track)
        runs[ball] = Run(ball, start, track, 0.0 if ball == 0 else onset(track))
    return runs


def contacts(motion: Motion, runs: dict[int, Run]) -> list[Event]:
    """The cue ball's contacts with balls."""
    events = all_contacts(runs, motion.before, TABLE)
    return [e for e in events if e.kind == "ball" and 0 in e.balls]


@cache
def broken(seed: int) -> Motion:
    """A break shot: a whole rack or one without its apex, met at 2.5 to 6.5 m/s about full."""
    rng = np.random.default_rng(seed)
    layout = rack(rng, TABLE, apex=bool(rng.random() < 0.5))
    layout[0] = (float(rng.uniform(300, 900)), float(rng.uniform(200, 1070)))
    return _played(rng, layout, float(rng.uniform(2.5, 6.5)))


@cache
def clustered(seed: int) -> Motion:
    """A shot of 1 to 4.5 m/s at three to seven balls that touch or lie up to 15 mm apart."""
    rng = np.random.default_rng(seed)
    layout: Layout = {0: (float(rng.uniform(200, 700)), float(rng.uniform(150, 1100)))}
    layout[1] = (float(rng.uniform(900, 2000)), float(rng.uniform(300, 970)))
    wanted = int(rng.integers(3, 8))
    for _ in range(400):
        if len(layout) > wanted:
            break
        by, turn = layout[int(rng.integers(1, len(layout)))], float(rng.uniform(0, 2 * np.pi))
        gap = D + (0.02 if rng.random() < 0.67 else float(rng.uniform(0, 15)))
        at = (by[0] + gap * float(np.cos(turn)), by[1] + gap * float(np.sin(turn)))
        if all(np.hypot(at[0] - p[0], at[1] - p[1]) >= D for p in layout.values()):
            layout[len(layout)] = at
    return _played(rng, layout, float(rng.uniform(1.0, 4.5)))


def _played(rng: np.random.Generator, layout: Layout, speed_mps: float) -> Motion:
    near = min((n for n in layout if n), key=lambda n: float(np.hypot(*np.subtract(layout[n], layout[0]))))
    way = np.subtract(layout[near], layout[0])
    aim = float(np.degrees(np.arctan2(way[1], way[0])) + rng.normal(0, 1.2))
    return simulate(TABLE, layout, aim, speed_mps, float(rng.uniform(-0.4, 0.4)), longest_s=3.0)


def truly(motion: Motion, least_mps: float) -> list[tuple[float, int]]:
    """(time, ball) of the cue ball's true contacts that are harder than this."""
    return [
        (e["t"], next(b for b in e["balls"] if b))
        for e in motion.events
        if e["kind"] == "ball" and 0 in e["balls"] and e["speed_mps"] >= least_mps
    ]


def matched(true: list[tuple[float, int]], found: list[tuple[float, int]]) -> int:
    """How many have a partner of the same ball within 0.06 s, each used once."""
    left, n = list(found), 0
    for t, ball in true:
        partner = min((f for f in left if f[1] == ball), key=lambda f: abs(f[0] - t), default=None)
        if partner is not None and abs(partner[0] - t) < 0.06:
            left.remove(partner)
            n += 1
    return n


@pytest.mark.parametrize("fps", [60.0, 30.0])
@pytest.mark.parametrize("played", [broken, clustered])
def test_the_cue_balls_contacts_in_a_crowd(played: Callable[[int], Motion], fps: float) -> None:
    """Of twelve shots into a rack or a cluster: the first ball named in all but one, of the contacts harder than 0.1 m/s
    four in five are found, and hardly any that was none. (Of thirty of each, 85 to 90 % were found.)"""
    first = true_n = found_n = hits = real = 0
    for seed in range(500, 512):
        motion = played(seed)
        runs = seen(motion, fps, np.random.default_rng(seed + 1000))
        found = [(e.t_s, next(b for b in e.balls if b)) for e in contacts(motion, runs)]
        true = truly(motion, 0.1)
        if not true:
            continue
        first += bool(found and min(found)[1] == min(true)[1])
        true_n, found_n = true_n + len(true), found_n + len(found)
        hits, real = hits + matched(true, found), real + matched(truly(motion, 0.0), found)
    assert first >= 11
    assert hits >= 0.78 * true_n
    assert real >= 0.93 * found_n


def test_a_second_ball_of_a_cluster_met_in_the_same_frame() -> None:
    """The cue ball glances off one ball into another, 8 ms apart, with no sight between: both are named, in order."""
    hit, n = 0.3, np.array([np.cos(0.9), np.sin(0.9)])
    speed, first = 2000.0, np.array([1270.0, 635.0])
    c1 = first - D * n
    # equal balls, common law of impact: what lay along the line of centres is handed over
    left = np.array([speed, 0.0]) - speed * n[0] * n
    t2 = hit + 0.008
    c2 = c1 + 0.008 * left
    m = np.array([np.cos(-0.3), np.sin(-0.3)])
    second = c2 + D * m
    after = left - float(left @ m) * m
    t = np.arange(0.0, 0.7, 1 / 60)

    def at(now: float) -> Floats:
        if now < hit:
            return np.asarray(c1 - (hit - now) * np.array([speed, 0.0]), float)
        return np.asarray(c1 + (now - hit) * left if now < t2 else c2 + (now - t2) * after, float)

    cue = np.array([[s, *at(float(s))] for s in t])
    go = lambda s, p, v, t0: [s, *(p + max(0.0, s - t0) * v)]  # noqa: E731
    a = np.array([go(s, first, speed * n[0] * n, hit) for s in t if s > hit - 1 / 60])
    b = np.array([go(s, second, float(left @ m) * m, t2) for s in t if s > t2 - 1 / 60])
    runs = {0: Run(0, (float(cue[0, 1]), float(cue[0, 2])), cue, 0.0)}
    for ball, track in ((3, a), (5, b)):
        runs[ball] = Run(ball, (float(track[0, 1]), float(track[0, 2])), track, onset(track))
    events = ball_contacts(runs, {k: r.start for k, r in runs.items()}, TABLE)
    events += later_contacts(runs, events, TABLE)
    events.sort(key=lambda e: e.t_s)
    assert [e.balls for e in events] == [(0, 3), (0, 5)]
    assert [e.t_s for e in events] == pytest.approx([hit, t2], abs=3e-3)


def test_the_first_ball_on_the_way_not_the_first_to_leave() -> None:
    """The ball that was met lies frozen and hardly moves, the one behind it flies off: the first is named."""
    front, back = np.array([1270.0, 635.0]), np.array([1270.0 + D, 635.0])
    hit, t = 0.25, np.arange(0, 0.6, 1 / 60)
    x = np.where(t < hit, front[0] - D - (hit - t) * 3000.0, front[0] - D)
    cue = Run(0, (float(x[0]), 635.0), np.c_[t, x, np.full(len(t), 635.0)], 0.0)
    s = t[t > hit - 1 / 60]
    fled = np.c_[s, back[0] + np.maximum(0, s - hit) * 2800.0, np.full(len(s), 635.0)]
    runs = {0: cue, 9: Run(9, (float(back[0]), 635.0), fled, onset(fled))}
    rests = {4: (float(front[0]), 635.0), 9: (float(back[0]), 635.0)}
    first = first_contact(cue, rests, runs[9].onset_s, TABLE)
    assert first is not None and first.balls == (0, 4)
    assert first.t_s == pytest.approx(hit, abs=2e-3)
    events = ball_contacts(runs, rests, TABLE)
    assert [e.balls for e in events] == [(0, 4), (4, 9)]


def test_a_ball_that_seems_to_stir_before_the_cue_ball_can_be_there() -> None:
    """One ball of a rack is read otherwise for some frames, far too soon: the first ball is told all the same."""
    front, back, aside = np.array([1270.0, 635.0]), (1270.0 + D, 635.0), (1270.0 + 3 * D, 700.0)
    hit, t = 0.25, np.arange(0, 0.6, 1 / 60)
    x = np.where(t < hit, front[0] - D - (hit - t) * 3000.0, front[0] - D)
    cue = Run(0, (float(x[0]), 635.0), np.c_[t, x, np.full(len(t), 635.0)], 0.0)
    s = t[t > hit - 1 / 60]
    fled = np.c_[s, back[0] + np.maximum(0, s - hit) * 2800.0, np.full(len(s), 635.0)]
    early = t[t > 0.1]
    stirs = np.c_[early, aside[0] + np.minimum(30.0, 300 * (early - early[0])), np.full(len(early), aside[1])]
    runs = {0: cue, 9: Run(9, back, fled, onset(fled)), 2: Run(2, aside, stirs, onset(stirs))}
    rests = {4: (float(front[0]), 635.0), 9: back, 2: aside}
    events = [e for e in ball_contacts(runs, rests, TABLE) if 0 in e.balls]
    assert [e.balls for e in events] == [(0, 4)]
    assert events[0].t_s == pytest.approx(hit, abs=2e-3)
