"""Contacts, residences and shots, on drawn ways of known truth."""

from __future__ import annotations

import zlib

import numpy as np
import pytest

from lessonkit.model import Event, Table
from lessonkit.seeing.bedview import BedView
from lessonkit.seeing.cloth import BareTable
from lessonkit.seeing.contacts import (
    ball_contacts,
    cushion_contacts,
    fullness,
    touch_mm,
    with_contacts,
)
from lessonkit.seeing.discs import Disc
from lessonkit.seeing.following import end_fallen, keep_lying
from lessonkit.seeing.moving import Moving
from lessonkit.seeing.onsets import onset
from lessonkit.seeing.patches import Patcher
from lessonkit.seeing.pieces import without_outliers
from lessonkit.seeing.residences import Residence, residences
from lessonkit.seeing.runs import Run
from lessonkit.seeing.sampling import Sample, Sampler, Sighting
from lessonkit.seeing.shots import next_departure, next_stay_ends, was_struck
from tests.seeing.test_balls import FACTS, overhead

TABLE = Table("9ft", 2540.0, 1270.0)
D = TABLE.ball_diameter_mm


def straight(
    start: tuple[float, float], v: tuple[float, float], t0: float, until: float, fps: float = 60
) -> np.ndarray:
    """Rest until t0, then even motion: rows t, x, y at frame times, the last sight at rest first."""
    t = np.arange(np.ceil(t0 * fps) / fps, until, 1 / fps)
    d = (t - t0)[:, None] * np.array([v])
    return np.r_[[[t[0] - 1 / fps, *start]], np.c_[t, np.array(start) + d]]


def test_touching_the_nose() -> None:
    """The nose at 63.5 % of the ball touches it 15.66 degrees above its centre (shared/seeing.toml [nose])."""
    up = np.radians(FACTS["nose"]["elevation_deg"])
    assert touch_mm(TABLE) == pytest.approx(TABLE.radius_mm * np.cos(up), abs=0.01)


def test_the_strike_is_carried_back_between_frames() -> None:
    """Even motion from a known time between two frames: the onset comes out within two milliseconds."""
    track = straight((500.0, 600.0), (1500.0, 200.0), 1.0073, 1.4)
    assert onset(track) == pytest.approx(1.0073, abs=2e-3)


def test_a_cushion_contact_falls_between_frames() -> None:
    """A ball that runs into the foot cushion and back: the contact is dated within two milliseconds, and named."""
    line = TABLE.length_mm - touch_mm(TABLE)
    t = np.arange(0.0, 0.8, 1 / 60)
    hit = 0.4071
    x = np.where(t < hit, line - 1200 * (hit - t), line - 800 * (t - hit))
    run = Run(0, (float(x[0]), 600.0), np.c_[t, x, 600 + 100 * t], 0.0)
    events = cushion_contacts(run, TABLE, [])
    assert [e.cushion for e in events] == ["foot"]
    assert events[0].t_s == pytest.approx(hit, abs=2e-3)
    track = with_contacts(run.track, events, 0)
    assert track[:, 1].max() == pytest.approx(line, abs=2.0)


@pytest.mark.parametrize(("share", "cut_deg"), FACTS["fullness"]["pairs"])
def test_fullness_is_one_minus_the_sine_of_the_cut(share: float, cut_deg: float) -> None:
    """Hit fractions and cut angles as published (Alciatore, fractional-ball aiming; shared/seeing.toml [fullness])."""
    target = (1500.0, 600.0)
    c = np.radians(cut_deg)
    ghost = (target[0] - D * np.cos(c), target[1] + D * np.sin(c))
    cue = straight((ghost[0] - 400.0, ghost[1]), (1000.0, 0.0), 0.0, 0.4)
    away = straight(target, (800 * np.cos(c), -800 * np.sin(c)), 0.4, 0.8)
    runs = {0: Run(0, (ghost[0] - 400.0, ghost[1]), cue, 0.0), 5: Run(5, target, away, onset(away))}
    events = ball_contacts(runs, {0: runs[0].start, 5: target}, TABLE)
    assert [e.balls for e in events] == [(0, 5)]
    assert events[0].t_s == pytest.approx(0.4, abs=4e-3)
    assert fullness(runs[0], events[0], runs, TABLE) == pytest.approx(share, abs=0.01)


def test_a_false_sight_is_left_out() -> None:
    """One sight that jumps 60 mm aside and back is taken out, the others stay."""
    track = straight((500.0, 600.0), (600.0, 0.0), 0.0, 0.5)
    spoilt = track.copy()
    spoilt[12, 2] += 60
    assert np.array_equal(without_outliers(spoilt), np.delete(track, 12, 0))


def test_carried_by_hand_is_no_shot() -> None:
    """A ball covered while it moves was carried; one that runs alone was struck."""
    track = straight((500.0, 600.0), (700.0, 0.0), 0.0, 0.6)
    for clear, struck in ((1.0, True), (0.1, False)):
        ball = Moving(0, (500.0, 600.0), np.ones(3), [(*row, 1.0) for row in track], True)
        ball.clear = [clear] * (len(track) - 1)
        assert was_struck(ball) is struck


def sample(t_s: float, view: BedView, there: bool, hidden: bool) -> Sample:
    """One ball at (1000, 500), or somebody's arm over it, or bare cloth."""
    foreign = np.zeros((view.rows, view.columns), bool)
    x, y = view.to_view([(1000.0, 500.0)])[0]
    if there or hidden:
        n = 30 if hidden else 8
        foreign[int(y) - n : int(y) + n, int(x) - n : int(x) + n] = True
    seen = (Sighting((1000.0, 500.0), 1.5, 1.0, 1.0, None),) if there and not hidden else ()
    return Sample(t_s, seen, 0.1 * hidden, zlib.compress(np.packbits(foreign).tobytes()), foreign.shape)


def test_hidden_is_not_gone_and_gone_is_gone() -> None:
    """An arm over a ball for three seconds ends nothing; bare cloth at its place does, when it first shows."""
    view = BedView.of(overhead(), TABLE, 6.4)
    states = [(True, False)] * 10 + [(True, True)] * 30 + [(True, False)] * 10 + [(False, False)] * 5
    found = residences([sample(0.1 * k, view, *s) for k, s in enumerate(states)], view)
    assert len(found) == 1
    assert (found[0].first_s, found[0].last_s, found[0].gone_s) == pytest.approx((0.0, 4.9, 5.0))


def creeping(t_s: float, view: BedView, x: float) -> Sample:
    """One ball at (x, 500) in free view."""
    foreign = np.zeros((view.rows, view.columns), bool)
    at = view.to_view([(x, 500.0)])[0]
    foreign[int(at[1]) - 4 : int(at[1]) + 5, int(at[0]) - 4 : int(at[0]) + 5] = True
    seen = (Sighting((x, 500.0), 1.5, 1.0, 1.0, None),)
    return Sample(t_s, seen, 0.0, zlib.compress(np.packbits(foreign).tobytes()), foreign.shape)


@pytest.mark.parametrize(("to_mm", "stays"), [(8.0, 2), (2.0, 1)])
def test_a_ball_that_was_hardly_pushed_lay_at_two_places(to_mm: float, stays: int) -> None:
    """A ball that lies for two seconds, creeps on by a third of its radius and lies again had two places, the first up to
    when it began to creep; one that is only read otherwise by two millimetres had one."""
    view = BedView.of(overhead(), TABLE, 6.4)
    way = [*[0.0] * 20, *np.linspace(0.0, to_mm, 11), *[to_mm] * 15]
    found = residences([creeping(0.1 * k, view, 1000.0 + x) for k, x in enumerate(way)], view)
    assert len(found) == stays
    assert found[0].first_s == 0.0 and found[-1].gone_s is None
    if stays == 2:
        assert found[0].place[0] == pytest.approx(1000.0, abs=1.0)
        assert found[1].place[0] == pytest.approx(1008.0, abs=1.0)
        gone_s = found[0].gone_s
        assert gone_s is not None and 2.0 < gone_s <= found[1].first_s < 3.1


def test_what_fell_into_a_pocket_lies_there_no_more() -> None:
    """A ball that was tracked into a pocket and not seen at its place since has gone from there when it fell; one that was
    seen there later (another ball had fallen) has not."""
    for last_s, gone_s in ((4.0, 5.2), (9.0, None)):
        found = [Residence((45.0, 9.0), 0.0, last_s, None, 40, 40, 1.3, 1.0, ())]
        ball = Moving(0, (45.0, 9.0), np.ones(3), dropped=(5.2, "head-right"))
        end_fallen(found, {0: ball})
        assert found[0].gone_s == gone_s


@pytest.mark.parametrize(
    ("last_s", "to", "dropped", "lay"),
    [
        (9.0, 500.0, True, True),
        (9.0, 500.0, False, True),
        (9.0, 1003.0, False, False),
        (4.0, 500.0, True, False),
    ],
)
def test_a_ball_seen_at_its_place_all_the_while_has_not_run(
    last_s: float, to: float, dropped: bool, lay: bool
) -> None:
    """What passed for its run was something else; a nudge of millimetres, and a ball not seen there since, are believed. The
    cue ball was seen to leave."""
    found = [Residence((1000.0, 300.0), 0.0, last_s, None, 40, 40, 1.3, 1.0, ())] * 2
    seen = [(5.0, 1000.0, 300.0, 1.0), (5.1, 999.0, 300.0, 1.0), (5.2, to, 300.0, 1.0)]
    balls = {
        i: Moving(i, (1000.0, 300.0), np.ones(3), list(seen), dropped=(5.2, "side-left") if dropped else None)
        for i in (0, 1)
    }
    keep_lying(found, balls, cue=0)
    assert len(balls[0].seen) == 3
    assert (balls[1].seen == [] and balls[1].dropped is None) is lay


def test_a_faint_disc_in_a_pocket_mouth_is_no_ball() -> None:
    """Where a ball that touches a cushion cannot lie, nearer to the nose than its radius, only a whole outline counts."""
    view = BedView.of(overhead(), TABLE, 6.4)
    cloth = np.full((view.rows, view.columns, 3), (90, 120, 30), np.uint8)
    sampler = Sampler(view, BareTable.of(view, [cloth] * 3), Patcher(view.camera, TABLE))

    def believed(x: float, y: float, votes: float) -> bool:
        at = view.to_view([(x, y)])[0]
        return sampler.believed(Disc(float(at[0]), float(at[1]), votes, 0.6))

    assert believed(1000.0, touch_mm(TABLE), 0.35)
    assert not believed(48.0, 6.0, 0.35) and believed(48.0, 6.0, 1.2)


def test_events_keep_their_order() -> None:
    """Contacts put into a track keep its times ascending."""
    track = straight((500.0, 600.0), (600.0, 0.0), 0.0, 0.5)
    events = [Event(0.2031, "ball", (0, 3)), Event(0.31, "cushion", (0,), cushion="left")]
    assert (np.diff(with_contacts(track, events, 0)[:, 0]) > 0).all()


def test_what_lay_white_before_the_cue_ball_left_is_not_its_next_rest() -> None:
    """Somebody's cuff lies there from 7 to 9.8 s, the cue ball leaves after 10 s and rests elsewhere from 15 to 20 s."""

    def stay(x_mm: float, first_s: float, last_s: float, gone_s: float) -> Residence:
        return Residence((x_mm, 600.0), first_s, last_s, gone_s, 20, 20, 1.5, 1.0, ())

    found = [stay(600, 0.0, 10.0, 10.1), stay(1800, 7.0, 9.8, 10.3), stay(1200, 15.0, 20.0, 20.1)]
    white = [0.0, 0.5, 0.0]
    d = next_departure(found, white, -1.0)
    assert d is not None and d.cue == 0
    assert next_stay_ends(found, white, d) == 20.0
