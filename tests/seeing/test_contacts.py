"""Contacts dated on drawn ways of known times, at any phase between two frames, from any side."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from lessonkit.model import Event, Pocketed, Table
from lessonkit.seeing.contacts import (
    ball_contacts,
    cushion_contacts,
    fullness,
    pocket_events,
    touch_mm,
    with_contacts,
)
from lessonkit.seeing.contacts_cue import joined, later_contacts
from lessonkit.seeing.moving import Moving
from lessonkit.seeing.onsets import onset, strike
from lessonkit.seeing.pieces import Motion, smoothed, without_outliers
from lessonkit.seeing.runs import Run
from lessonkit.seeing.shots import rest_time, was_struck

Floats = NDArray[np.float64]
TABLE = Table("9ft", 2540.0, 1270.0)
D = TABLE.ball_diameter_mm
FPS = 60.0


def sights(
    way: list[tuple[float, float, float]], end_s: float, noise_mm: float = 0.0, seed: int = 0
) -> Floats:
    """Sights at frame times along straight pieces from corner (t, x, y) to corner."""
    w = np.array(way)
    t = np.arange(np.ceil(w[0, 0] * FPS), end_s * FPS) / FPS
    rng = np.random.default_rng(seed)
    xy = np.c_[np.interp(t, w[:, 0], w[:, 1]), np.interp(t, w[:, 0], w[:, 2])]
    return np.c_[t, xy + rng.normal(0, noise_mm, xy.shape)]


def from_rest(
    way: list[tuple[float, float, float]], end_s: float, noise_mm: float = 0.0, seed: int = 0
) -> Run:
    """A run that begins with the last sight at rest."""
    moving = sights(way, end_s, noise_mm, seed)
    start = (way[0][1], way[0][2])
    track = np.r_[[[moving[0, 0] - 1 / FPS, *start]], moving]
    return Run(0, start, track, onset(track))


def numbered(run: Run, ball: int) -> Run:
    """The same run of another ball."""
    return Run(ball, run.start, run.track, run.onset_s)


@settings(max_examples=60, deadline=None)
@given(st.floats(0, 1), st.floats(300, 4000), st.floats(0, 2 * np.pi))
def test_the_strike_between_frames(phase: float, speed: float, angle: float) -> None:
    """A ball struck at any moment between two frames, in any direction: dated within three milliseconds, though sights
    are off by a third of a millimetre."""
    t0 = 1.0 + phase / FPS
    v = speed * np.array([np.cos(angle), np.sin(angle)])
    run = from_rest([(t0, 1270.0, 635.0), (t0 + 0.3, *(np.array([1270.0, 635.0]) + 0.3 * v))], t0 + 0.3, 0.3)
    assert run.onset_s == pytest.approx(t0, abs=3e-3)


@settings(max_examples=60, deadline=None)
@given(st.floats(0, 1), st.floats(600, 5000), st.floats(0, 2 * np.pi), st.floats(0, 2500))
def test_the_strike_of_a_sliding_ball(phase: float, speed: float, angle: float, slowing: float) -> None:
    """A ball that slows by up to what cloth can do was struck when it was, to two milliseconds at 30 frames a second."""
    t0 = 1.0 + phase / 30
    t = np.arange(np.ceil(30 * t0), 30 * (t0 + 0.25)) / 30
    gone = speed * (t - t0) - slowing * (t - t0) ** 2 / 2
    moving = np.c_[t, 1270 + gone * np.cos(angle), 635 + gone * np.sin(angle)]
    assert onset(np.r_[[[t[0] - 1 / 30, 1270.0, 635.0]], moving]) == pytest.approx(t0, abs=2e-3)


@pytest.mark.parametrize("cut_deg", [0.0, 25.0, 50.0])
@pytest.mark.parametrize(
    ("speed", "gap_mm", "phase"),
    [(4900.0, 200.0, 0.0), (4900.0, 91.0, 0.5), (2000.0, 60.0, 0.5), (4900.0, 18.0, 0.5), (1000.0, 3.0, 0.2),
     (3000.0, 40.0, 0.9), (6000.0, 140.0, 0.7)],
)  # fmt: skip
def test_the_strike_before_a_near_hit(speed: float, gap_mm: float, phase: float, cut_deg: float) -> None:
    """A ball that meets another a frame or two after it was struck, or within the first, and runs on more slowly, was
    struck when it was: no sight after the hit is taken for free running."""
    t0 = 1.0 + phase / FPS
    hit, c = t0 + gap_mm / speed, np.radians(cut_deg)
    ghost = np.array([1000.0 + gap_mm, 600.0])
    n = np.array([np.cos(c), np.sin(c)])
    struck = 0.96 * speed * np.cos(c) * n
    after = np.array([speed, 0.0]) - struck
    way = [(t0, 1000.0, 600.0), (hit, *ghost), (hit + 0.3, *(ghost + 0.3 * after))]
    ball = ghost + D * n
    other = from_rest([(hit, *ball), (hit + 0.3, *(ball + 0.3 * struck))], hit + 0.3)
    cue = from_rest(way, hit + 0.3)
    assert strike(cue.track, [other.track], D) == pytest.approx(t0, abs=3e-3)


@pytest.mark.parametrize("gap_mm", [0.0, 0.6])
@pytest.mark.parametrize(("cut_deg", "phase"), [(0.0, 0.3), (3.0, 0.7), (20.0, 0.0), (45.0, 0.5)])
def test_a_ball_that_lay_against_the_cue_ball(cut_deg: float, phase: float, gap_mm: float) -> None:
    """Strike and hit are one, though the cue ball hardly moves for some frames; which way it was sent, and so how full it
    was, the momenta of the two tell."""
    speed, c, t0 = 2200.0, np.radians(cut_deg), 1.0 + phase / FPS
    n = np.array([np.cos(c), np.sin(c)])
    start = np.array([1000.0, 600.0])
    lay = start + (D + gap_mm) * n
    struck = 0.96 * speed * np.cos(c) * n
    after = np.array([speed, 0.0]) - struck
    other = numbered(from_rest([(t0, *lay), (t0 + 0.4, *(lay + 0.4 * struck))], t0 + 0.4), 6)
    cue = from_rest([(t0, *start), (t0 + 0.4, *(start + 0.4 * after))], t0 + 0.4)
    at_s = strike(cue.track, [other.track], D)
    assert at_s == pytest.approx(t0, abs=3e-3)
    runs = {0: replace(cue, onset_s=at_s), 6: other}
    met = ball_contacts(runs, {0: cue.start, 6: other.start}, TABLE)
    assert [e.balls for e in met] == [(0, 6)] and met[0].t_s == pytest.approx(t0, abs=5e-3)
    assert fullness(runs[0], met[0], runs, TABLE) == pytest.approx(1 - np.sin(c), abs=0.02)


def test_a_ball_that_only_stirs_tells_nothing_of_the_strike() -> None:
    """A ball whose place is read otherwise for some frames, somebody's sleeve over it, dates no strike."""
    cue = from_rest([(1.005, 1000.0, 600.0), (1.3, 2000.0, 600.0)], 1.3)
    t = np.arange(20) / FPS + 0.8
    stirred = np.c_[t, np.where(np.arange(20) > 0, 1006.0, 1000.0) + (np.arange(20) % 2), np.full(20, 670.0)]
    assert strike(cue.track, [stirred], D) == pytest.approx(1.005, abs=2e-3)


@settings(max_examples=80, deadline=None)
@given(
    st.sampled_from(["head", "foot", "right", "left"]),
    st.floats(0, 1),
    st.floats(300, 2500),
    st.floats(-60, 60),
)
def test_cushions_from_every_side(name: str, phase: float, speed: float, angle_deg: float) -> None:
    """One meeting, with that cushion, dated within four milliseconds, whatever the angle."""
    hit = 0.4 + phase / FPS
    touch = touch_mm(TABLE)
    line = {"head": touch, "foot": 2540 - touch, "right": touch, "left": 1270 - touch}[name]
    axis = 0 if name in ("head", "foot") else 1
    inward = 1.0 if name in ("head", "right") else -1.0
    at = np.array([line, 635.0]) if axis == 0 else np.array([800.0, line])
    a = np.radians(angle_deg)
    v_in = speed * (
        np.array([-inward * np.cos(a), np.sin(a)])
        if axis == 0
        else np.array([np.sin(a), -inward * np.cos(a)])
    )
    v_out = 0.75 * v_in * (np.array([-1, 1]) if axis == 0 else np.array([1, -1]))
    back, on = at - v_in * 0.2, at + v_out * 0.25
    run = from_rest([(hit - 0.2, *back), (hit, *at), (hit + 0.25, *on)], hit + 0.25)
    events = cushion_contacts(run, TABLE, [])
    assert [e.cushion for e in events] == [name]
    assert events[0].t_s == pytest.approx(hit, abs=4e-3)
    # the corner of the way, which no frame shows, is put back where the ball touched the nose
    row = next(r for r in with_contacts(run.track, events, 0) if abs(r[0] - hit) < 5e-3)
    assert np.hypot(*(row[1:] - at)) < 4.0 + 4e-3 * speed


def test_two_cushions_into_and_out_of_a_corner() -> None:
    """Foot cushion, then left cushion, in that order and at their times."""
    touch = touch_mm(TABLE)
    way = [
        (0.0, 2000.0, 900.0),
        (0.36, 2540 - touch, 1060.0),
        (0.7137, 2200.0, 1270 - touch),
        (1.2, 1800.0, 1010.0),
    ]
    events = cushion_contacts(from_rest(way, 1.2), TABLE, [])
    assert [e.cushion for e in events] == ["foot", "left"]
    assert [e.t_s for e in events] == pytest.approx([0.36, 0.7137], abs=4e-3)


@settings(max_examples=30, deadline=None)
@given(st.floats(0, 5), st.floats(400, 1500))
def test_rolling_along_a_cushion_is_no_meeting(gap: float, speed: float) -> None:
    """A ball that rolls along the rail a few millimetres off it meets nothing."""
    y = touch_mm(TABLE) + 1.0 + gap
    run = from_rest([(0.0, 400.0, y), (1.0, 400.0 + speed, y)], 1.0, 0.2)
    assert cushion_contacts(run, TABLE, []) == []


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_a_soft_meeting_is_one(seed: int) -> None:
    """A ball that comes to the foot cushion at 0.15 m/s and creeps away, its sights off by 0.4 mm: met once."""
    line = 2540 - touch_mm(TABLE)
    way = [(0.0, line - 75.0, 500.0), (0.5, line, 540.0), (1.3, line - 40.0, 590.0)]
    run = from_rest(way, 1.3, 0.4, seed)
    events = cushion_contacts(run, TABLE, [])
    assert [e.cushion for e in events] == ["foot"]
    assert events[0].t_s == pytest.approx(0.5, abs=0.04)


def cut(cut_deg: float, phase: float, speed: float, turn: float) -> tuple[dict[int, Run], float]:
    """The cue ball (0) hits the 7 at 0.3 s and `phase` frames; both go on as without friction (common law of impact:
    the struck ball along the line of centres, the cue ball across it). Gives the runs and the time."""
    c = np.radians(cut_deg)
    hit = 0.3 + phase / FPS
    u = np.array([np.cos(turn), np.sin(turn)])
    out = np.array([np.cos(turn + c), np.sin(turn + c)])
    ball = np.array([1270.0, 635.0])
    ghost = ball - D * out
    across = speed * (u - out * np.cos(c))
    way = [(hit - 0.25, *(ghost - 0.25 * speed * u)), (hit, *ghost), (hit + 0.3, *(ghost + 0.3 * across))]
    struck = [(hit, *ball), (hit + 0.3, *(ball + 0.3 * speed * np.cos(c) * out))]
    return {0: from_rest(way, hit + 0.3), 7: numbered(from_rest(struck, hit + 0.3), 7)}, hit


@settings(max_examples=60, deadline=None)
@given(st.floats(-80, 80), st.floats(0, 1), st.floats(500, 3000), st.floats(0, 2 * np.pi))
def test_any_cut_from_any_side(cut_deg: float, phase: float, speed: float, turn: float) -> None:
    """Who hit whom, and when to six milliseconds, at any phase between two frames."""
    runs, hit = cut(cut_deg, phase, speed, turn)
    events = ball_contacts(runs, {n: r.start for n, r in runs.items()}, TABLE)
    assert [e.balls for e in events] == [(0, 7)]
    assert events[0].t_s == pytest.approx(hit, abs=6e-3)


@pytest.mark.parametrize("phase", [0.05, 0.2, 0.4, 0.6, 0.8125, 0.78])
@pytest.mark.parametrize("cut_deg", [12.0, -30.0, 55.0])
def test_fullness_at_any_phase(cut_deg: float, phase: float) -> None:
    """1 - sin(cut), to two hundredths, wherever between two frames the hit falls."""
    runs, hit = cut(cut_deg, phase, 2500.0, 0.7)
    event = ball_contacts(runs, {n: r.start for n, r in runs.items()}, TABLE)[0]
    assert fullness(runs[0], event, runs, TABLE) == pytest.approx(
        1 - np.sin(np.radians(abs(cut_deg))), abs=0.02
    )
    assert event.t_s == pytest.approx(hit, abs=1e-3 if phase < 0.7 else 2e-3)


def test_a_chain_of_hits_names_each_hitter() -> None:
    """The cue ball hits the 4, the 4 hits the 11: the cue ball is not said to have hit the 11."""
    four, eleven = np.array([1000.0, 600.0]), np.array([1400.0, 600.0])
    cue = from_rest([(0.0, 500.0, 600.0), (0.2, 1000.0 - D, 600.0), (0.8, 1000.0 - D + 30, 600.0)], 0.8)
    t2 = 0.2 + (400 - D) / 2000
    b4 = numbered(from_rest([(0.2, *four), (t2, 1400.0 - D, 600.0), (0.8, 1400.0 - D + 40, 600.0)], 0.8), 4)
    b11 = numbered(from_rest([(t2, *eleven), (0.8, 1400.0 + 1800 * (0.8 - t2), 600.0)], 0.8), 11)
    runs = {0: cue, 4: b4, 11: b11}
    events = ball_contacts(runs, {n: r.start for n, r in runs.items()}, TABLE)
    assert [e.balls for e in events] == [(0, 4), (4, 11)]
    assert [e.t_s for e in events] == pytest.approx([0.2, t2], abs=4e-3)


def test_a_ball_met_again_while_it_rolls() -> None:
    """The cue ball catches the 6 up, which rolls already: one more contact, at the time at which both turn. Along the
    line of centres, which lies across the table, they exchange their velocities (common law of impact)."""
    hit = 0.5
    cue = from_rest([(0.0, 900.0, 850.0), (hit, 1200.0, 600.0), (1.0, 1500.0, 700.0)], 1.0)
    six = numbered(
        from_rest([(0.05, 1065.0, 510.0 - D), (hit, 1200.0, 600 - D), (1.0, 1350.0, 350 - D)], 1.0), 6
    )
    found = later_contacts({0: cue, 6: six}, [], TABLE)
    assert [e.balls for e in found] == [(0, 6)]
    assert found[0].t_s == pytest.approx(hit, abs=3e-3)
    assert later_contacts({0: cue, 6: six}, found, TABLE) == []


@pytest.mark.parametrize(("apart_mm", "contacts"), [(0.3, 1), (60.0, 2)])
def test_two_contacts_of_one_pair_have_a_gap_between_them(apart_mm: float, contacts: int) -> None:
    """A slow cue ball seems to reach the 6 a tenth of a second before both are seen to be pushed: one contact, dated by the
    push. Where they come apart between the two, and meet again, there are two."""
    cue = from_rest([(0.0, 900.0, 850.0), (0.4, 1000.0, 600.0), (1.0, 1000.0, 599.0)], 1.0)
    six = numbered(
        from_rest(
            [
                (0.4, 1000.0, 600 - D),
                (0.46, 1000.0, 600 - D - apart_mm),
                (0.5, 1000.0, 600 - D),
                (1.0, 1000.0, 400 - D),
            ],
            1.0,
        ),
        6,
    )
    known = [Event(0.4, "ball", (0, 6))]
    all_of_them = joined(known, [Event(0.5, "ball", (0, 6))], {0: cue, 6: six})
    assert len(all_of_them) == contacts
    assert all_of_them[-1].t_s == 0.5


def test_balls_that_pass_at_a_distance_do_not_touch() -> None:
    """Two straight ways that come within 30 mm of touching: no contact."""
    cue = from_rest([(0.0, 500.0, 600.0), (1.0, 1700.0, 600.0)], 1.0)
    other = numbered(from_rest([(0.1, 1700.0, 600.0 + D + 30), (1.0, 600.0, 600.0 + D + 30)], 1.0), 6)
    assert later_contacts({0: cue, 6: other}, [], TABLE) == []


def test_drops_are_events() -> None:
    """One for each, with ball, pocket and time."""
    assert pocket_events([Pocketed(9, "foot-left", 2.5)]) == [Event(2.5, "pocket", (9,), pocket="foot-left")]


# pieces


@settings(max_examples=40, deadline=None)
@given(st.floats(-800, 800), st.floats(-800, 800), st.floats(-1500, 1500), st.floats(-1500, 1500))
def test_a_piece_is_a_parabola(vx: float, vy: float, ax: float, ay: float) -> None:
    """Constant acceleration, as sliding and rolling have it, is found again from eight sights, to 2 mm in the places
    (the bend is held back a little)."""
    t = np.arange(8) / FPS
    track = np.c_[t, 1000 + vx * t + ax * t * t / 2, 600 + vy * t + ay * t * t / 2]
    motion = Motion.through(track, 0.0)
    assert motion is not None
    assert np.hypot(*(motion.place(float(t[4])) - track[4, 1:])) < 2.0
    assert Motion.through(track[:1], 0.0) is None


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 1000))
def test_smoothing_helps_and_keeps_corners(seed: int) -> None:
    """Scattered sights about a way with a corner: nearer to the truth after smoothing, the corner not rounded off."""
    way = [(0.0, 500.0, 600.0), (0.5, 1000.0, 600.0), (1.0, 1000.0, 1100.0)]
    truth, seen = sights(way, 1.0), sights(way, 1.0, 1.5, seed)
    out = smoothed(seen, [0.5])
    before, after = (np.hypot(*(t[:, 1:] - truth[:, 1:]).T) for t in (seen, out))
    assert np.median(after) < np.median(before)
    corner = np.abs(truth[:, 0] - 0.5) < 2.5 / FPS
    assert after[corner].max() < 7.0
    assert np.array_equal(out[:, 0], seen[:, 0])


@settings(max_examples=40, deadline=None)
@given(st.integers(3, 25), st.floats(30, 200), st.floats(0, 2 * np.pi))
def test_one_false_sight_goes(k: int, jump: float, angle: float) -> None:
    """A sight that jumps by half a ball and more, away and back, is taken out, and no other."""
    good = sights([(0.0, 500.0, 600.0), (0.5, 700.0, 640.0)], 0.5)
    spoilt = good.copy()
    spoilt[k, 1:] += jump * np.array([np.cos(angle), np.sin(angle)])
    assert np.array_equal(without_outliers(spoilt), np.delete(good, k, 0))
    assert np.array_equal(without_outliers(good), good)


@pytest.mark.parametrize(
    ("phase", "speed", "angle", "share"),
    [(0.1, 2000.0, 0.05, 0.7), (0.5, 900.0, 0.5, 0.8), (0.855, 3084.0, 0.088, 0.74),
     (0.824, 1973.0, 0.017, 0.68)],
)  # fmt: skip
def test_a_bounce_is_no_false_sight(phase: float, speed: float, angle: float, share: float) -> None:
    """The foot cushion is still met once, at its time, after false sights were taken out."""
    hit, at = 0.4 + phase / FPS, np.array([2540 - touch_mm(TABLE), 635.0])
    v = speed * np.array([np.cos(angle), np.sin(angle)])
    out = share * v * np.array([-1.0, 1.0])
    run = from_rest([(hit - 0.2, *(at - 0.2 * v)), (hit, *at), (hit + 0.25, *(at + 0.25 * out))], hit + 0.25)
    events = cushion_contacts(replace(run, track=without_outliers(run.track)), TABLE, [])
    assert [e.cushion for e in events] == ["foot"]
    assert events[0].t_s == pytest.approx(hit, abs=4e-3)


# shots


def moving(track: Floats, clear: float) -> Moving:
    """A tracked ball about which this share of bare table was seen."""
    ball = Moving(
        0,
        (float(track[0, 1]), float(track[0, 2])),
        np.ones(3),
        [(*map(float, row), 1.0) for row in track],
        True,
    )  # type: ignore[misc]
    ball.clear = [clear] * (len(track) - 1)
    return ball


@settings(max_examples=40, deadline=None)
@given(st.floats(150, 3400), st.floats(0, 2 * np.pi), st.floats(0.8, 1.0), st.floats(0.0, 0.5))
def test_struck_or_carried(speed: float, angle: float, alone: float, covered: float) -> None:
    """Whatever the speed and the direction: what runs with bare table about it was struck, what moves under a hand was
    carried."""
    v = speed * np.array([np.cos(angle), np.sin(angle)])
    run = from_rest([(0.0, 1270.0, 635.0), (0.6, *(np.array([1270.0, 635.0]) + 0.6 * v))], 0.6)
    assert was_struck(moving(run.track, alone))
    assert not was_struck(moving(run.track, covered))


def test_a_nudge_of_the_table_is_no_shot() -> None:
    """A ball that is seen two millimetres aside and stays was not struck; nor was one that nothing is known of."""
    track = np.c_[np.arange(20) / FPS, np.full(20, 500.0) + np.r_[0, np.full(19, 2.0)], np.full(20, 600.0)]
    assert not was_struck(moving(track, 1.0))
    assert not was_struck(Moving(0, (0.0, 0.0), np.ones(3)))


@pytest.mark.parametrize(("mps", "struck"), [(6.0, True), (1.5, False)])
def test_no_hand_carries_a_ball_as_fast_as_a_hard_shot(mps: float, struck: bool) -> None:
    """Where a streak, or a hand, covers half of what lies about the ball all along, its speed tells the two apart."""
    t = np.arange(9) / 30
    track = np.c_[t, 300 + 1000 * mps * np.maximum(t - 1 / 30, 0), np.full(9, 600.0)]
    assert was_struck(moving(track, 0.55)) is struck


def test_a_ball_that_is_read_otherwise_has_not_run() -> None:
    """A ball that stands out little is found some millimetres beside its place for some frames, later again, and then there: it
    has not moved and ends no shot; one that lies elsewhere in the end, if by as little, has."""
    beside = [
        (0.4, 0.0),
        (0.42, 5.6),
        (0.44, -3.0),
        (0.46, 5.4),
        (0.5, 2.0),
        (0.52, 1.0),
        (9.0, 0.0),
        (9.02, 5.5),
    ]
    for end_mm, stirred in ((1.0, True), (5.0, False)):
        way = [*beside, *((9.04 + 0.02 * k, end_mm) for k in range(5))]
        ball = moving(np.array([(t, 900.0 + x, 400.0) for t, x in way]), 1.0)
        assert ball.stirred() is stirred
        assert rest_time([ball], 0.4) == (0.4 if stirred else ball.seen[-1][0])
    assert not Moving(3, (0.0, 0.0), np.ones(3)).stirred()


def test_the_last_ball_ends_the_shot() -> None:
    """Rest is when the last ball stopped or dropped, and the strike itself where nothing moved."""
    a, b = (
        moving(np.array([[0.0, 1, 1], [1.0, 2, 2]]), 1.0),
        moving(np.array([[0.0, 1, 1], [1.0, 2, 2]]), 1.0),
    )
    a.rest_s, b.dropped = 3.2, (4.1, "foot-left")
    assert rest_time([a, b], 0.5) == 4.1
    assert rest_time([], 0.5) == 0.5


def test_a_contact_soon_followed_by_another_turn() -> None:
    """The cue ball meets the 6, and 40 ms later something turns both: the sights beyond say nothing of the contact."""
    hit, turn = 0.5, 0.54
    cue = from_rest(
        [(0.0, 900.0, 850.0), (hit, 1200.0, 600.0), (turn, 1224.0, 608.0), (1.0, 1638.0, 148.0)], 1.0
    )
    way = [(0.05, 1065.0, 510.0 - D), (hit, 1200.0, 600 - D), (turn, 1212.0, 580 - D), (1.0, 752.0, 902 - D)]
    six = numbered(from_rest(way, 1.0), 6)
    found = later_contacts({0: cue, 6: six}, [], TABLE)
    assert [e.balls for e in found] == [(0, 6)]
    assert found[0].t_s == pytest.approx(hit, abs=3e-3)


def test_how_full_a_near_ball_was_hit_from_where_it_went() -> None:
    """Strike and hit lie between two frames: no sight shows the cue ball's way, the struck ball's does."""
    n = np.array([np.cos(0.5), np.sin(0.5)])
    lay, hit_s = np.array([1000.0, 600.0]), 0.105
    met = lay - D * n
    start = met - [20.0, 0.0]
    away = 1500 * np.array([np.sin(0.5) ** 2, -np.sin(0.5) * np.cos(0.5)])
    cue = from_rest([(0.102, *start), (hit_s, *met), (0.6, *(met + away * (0.6 - hit_s)))], 0.6)
    eight = numbered(
        from_rest([(hit_s, *lay), (0.6, *(lay + 1500 * np.cos(0.5) * n * (0.6 - hit_s)))], 0.6), 8
    )
    cue = replace(cue, onset_s=0.102)
    found = fullness(cue, Event(0.11, "ball", (0, 8)), {0: cue, 8: eight}, TABLE)
    assert found == pytest.approx(1 - np.sin(0.5), abs=0.02)


@pytest.mark.parametrize("gone_s", [0.012, 0.06])
def test_how_full_a_ball_was_hit_off_a_cushion(gone_s: float) -> None:
    """The cue ball comes off a cushion and hits a ball soon after: the way from the cushion counts, not the one to it, though
    it may be shorter than a frame; without the time of the cushion the answer is far off."""
    touch, turn_s, speed = touch_mm(TABLE), 0.31, 1200.0
    at, off = np.array([1000.0, touch]), speed * np.array([0.6, 0.8])
    met, hit_s = at + off * gone_s, turn_s + gone_s
    n = np.array([np.cos(0.4), np.sin(0.4)])
    sine = abs(off[0] * n[1] - off[1] * n[0]) / speed
    start, lay = at - speed * np.array([0.6, -0.8]) * (turn_s - 0.1), met + D * n
    given = float(off @ n) * n
    cue = from_rest(
        [(0.1, *start), (turn_s, *at), (hit_s, *met), (0.8, *(met + (off - given) * (0.8 - hit_s)))], 0.8
    )
    cue = replace(cue, onset_s=0.1)
    eight = numbered(from_rest([(hit_s, *lay), (0.8, *(lay + given * (0.8 - hit_s)))], 0.8), 8)
    event = Event(hit_s, "ball", (0, 8))
    runs = {0: cue, 8: eight}
    assert fullness(cue, event, runs, TABLE, [turn_s]) == pytest.approx(1 - sine, abs=0.03)
    assert gone_s > 0.02 or fullness(cue, event, runs, TABLE) != pytest.approx(1 - sine, abs=0.2)


def exposed(way: list[tuple[float, float, float]], end_s: float, noise_mm: float = 0.0) -> Run:
    """A run whose every sight is the middle of what an exposure of a whole frame, about the frame's time, gathers."""
    w = np.array(way)
    t = np.arange(np.floor(w[0, 0] * FPS) - 1, end_s * FPS) / FPS
    moments = t[:, None] + np.linspace(-0.5, 0.5, 41) / FPS
    xy = np.stack([np.interp(moments, w[:, 0], w[:, c]).mean(1) for c in (1, 2)], 1)
    xy += np.random.default_rng(5).normal(0, noise_mm, xy.shape)
    start = (way[0][1], way[0][2])
    track = np.c_[t, xy]
    track[0, 1:] = start
    return Run(0, start, track, way[0][0])


@pytest.mark.parametrize(("gone_mm", "noise_mm"), [(18.0, 0.5), (55.0, 0.3), (70.0, 0.3)])
@pytest.mark.parametrize("phase", [0.1, 0.45, 0.8])
def test_how_full_a_near_ball_was_hit_under_a_long_exposure(
    gone_mm: float, noise_mm: float, phase: float
) -> None:
    """Sights that are drawn out over rest or over the hit tell no direction; the struck ball's way does, and where the cue ball
    hardly went any way, the momenta of both."""
    c, speed, t0 = np.radians(38.0), 2300.0, 1.0 + phase / FPS
    n = np.array([np.cos(c), np.sin(c)])
    start, hit_s = np.array([1000.0, 600.0]), t0 + gone_mm / speed
    ghost = start + np.array([gone_mm, 0.0])
    struck = 0.96 * speed * np.cos(c) * n
    after = np.array([speed, 0.0]) - struck
    end_s = hit_s + 0.3
    cue = exposed([(t0, *start), (hit_s, *ghost), (end_s, *(ghost + 0.3 * after))], end_s, noise_mm)
    lay = ghost + D * n
    eight = numbered(exposed([(hit_s, *lay), (end_s, *(lay + 0.3 * struck))], end_s, noise_mm), 8)
    found = fullness(cue, Event(hit_s, "ball", (0, 8)), {0: cue, 8: eight}, TABLE)
    assert found == pytest.approx(1 - np.sin(c), abs=0.07)
