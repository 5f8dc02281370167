"""When a tracked ball has left its place, and when it has fallen: drawn bed views and drawn sights."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from lessonkit.seeing.bedview import BedView, Window
from lessonkit.seeing.blurs import blurs
from lessonkit.seeing.cloth import BareTable
from lessonkit.seeing.moving import Moving
from lessonkit.seeing.sampling import shows_both_sides
from lessonkit.seeing.tracking import BLUR_QUALITY, Find, Tracker
from tests.scenes.look import BALLS, CLOTHS
from tests.seeing.test_balls import TABLE, overhead
from tests.seeing.test_cloth import SPOT, VIEW, bare, coded, film, linear_of

FPS = 30
WHITE = np.full(3, 0.8)


@dataclass(frozen=True, eq=False)
class Drawn:
    """A bed view of one time."""

    t_s: float
    picture: NDArray[np.uint8]

    def bed(self, part: Window | None = None) -> NDArray[np.uint8]:
        """All of it or a part."""
        return self.picture if part is None else np.ascontiguousarray(self.picture[part.area])


def with_cue(picture: NDArray[np.uint8], width_mm: float) -> NDArray[np.uint8]:
    """A cue laid over SPOT."""
    a, b = (VIEW.to_view([(SPOT[0] + x, SPOT[1])])[0] for x in (-700.0, 150.0))
    width = max(1, round(width_mm / VIEW.mm_per_px))
    cv2.line(picture, (round(a[0]), round(a[1])), (round(b[0]), round(b[1])), (120, 170, 210), width)
    return picture


@pytest.mark.parametrize("lies", [True, False])
def test_a_cue_over_its_place_does_not_hold_a_ball_there(lies: bool) -> None:
    """After the stroke the cue lies where the cue ball lay: cloth to both sides of it says that the ball has run. Where the
    cue lies over the ball, the ball is still there."""
    tracker = Tracker(VIEW, bare("green"), {0: SPOT}, {0: WHITE})
    views = [film(CLOTHS["green"], 30 + k, ball=BALLS[0] if lies or k < 2 else None) for k in range(4)]
    tracker.follow(
        (Drawn(k / FPS, with_cue(v, 19.0) if k > 1 else v) for k, v in enumerate(views)), from_ball=0
    )
    assert tracker.balls[0].moving is not lies


@pytest.mark.parametrize("uneven", [True, False])
def test_a_ball_that_runs_into_the_dark_stays_the_same(uneven: bool) -> None:
    """Under a lamp that lights one end of the table four times as much as the other, a white ball seen at the dark end is a
    quarter as bright and still the cue ball; in even light such a thing is not white."""
    table = bare("green")
    fall = np.geomspace(2.0, 0.5, table.linear.shape[1], dtype=np.float32)[None, :, None] if uneven else 1.0
    table = replace(table, linear=np.asarray(table.linear * fall, np.float32))
    x = table.view.table.length_mm
    bright, dark = (0.12 * x, SPOT[1]), (0.88 * x, SPOT[1])
    tracker = Tracker(VIEW, table, {0: bright}, {0: WHITE})
    seen = tuple(0.3 * c for c in WHITE)
    unlike = tracker._unlike(tracker.balls[0], Find(dark, (seen[0], seen[1], seen[2]), 1.0, 1.0))
    assert (unlike < 0.2) if uneven else (unlike > 0.45)


def falling(to: list[tuple[float, float]]) -> Moving:
    """A ball seen at these places, frame by frame, since it moved."""
    b = Moving(9, (300.0, 40.0), WHITE, moving=True)
    b.seen = [(k / FPS, x, y, 1.0) for k, (x, y) in enumerate([(300.0, 40.0), *to])]
    return b


@pytest.mark.parametrize(
    ("last", "pocket"),
    [((13.0, 7.0), "head-right"), ((60.0, 50.0), None), ((1270.0, -12.0), "side-right")],
)
def test_what_was_over_a_hole_and_is_seen_no_more_has_fallen(
    last: tuple[float, float], pocket: str | None
) -> None:
    """A ball last seen past the edge of a hole, from which it cannot come back, has fallen as soon as it is out of sight;
    one hidden before the edge is still looked for."""
    b = falling([(200.0, 40.0), (100.0, 30.0), last])
    tracker = Tracker(VIEW, bare("green"), {9: b.start}, {9: WHITE})
    tracker.balls[9] = b
    at_s = b.last[0]
    for k in (1, 2, 3):
        tracker._missed(at_s + k / FPS, b)
    assert (b.dropped[1] if b.dropped else None) == pocket
    if b.dropped:
        assert b.dropped[0] == at_s


@pytest.mark.parametrize(("quality", "fell"), [(BLUR_QUALITY, True), (1.0, False)])
def test_a_smear_on_the_cloth_is_no_ball_that_fell(quality: float, fell: bool) -> None:
    """Some faint patch lies by the mouth of the pocket in all pictures: a ball that was over the hole is not taken for it, but
    for a whole disc, for it may have come out of the jaws."""
    b = falling([(200.0, 40.0), (100.0, 30.0), (13.0, 7.0)])
    tracker = Tracker(VIEW, bare("green"), {9: b.start}, {9: WHITE})
    tracker.balls[9] = b
    patch = Find((60.0, 60.0), (0.8, 0.8, 0.8), quality, 1.0)
    at_s = b.last[0]
    for k in range(1, 5):
        tracker._assign(at_s + k / FPS, 1 / FPS, [b], [patch])
    assert (b.dropped is not None) is fell


@pytest.mark.parametrize("bared", [True, False])
@pytest.mark.parametrize(
    ("last", "pocket"),
    [
        ((28.0, 22.0), "head-right"),
        ((1255.0, 8.0), "side-right"),
        ((90.0, 29.0), None),
        ((1215.0, 20.0), None),
    ],
)
def test_what_runs_over_the_edge_between_two_pictures_has_fallen(
    last: tuple[float, float], pocket: str | None, bared: bool
) -> None:
    """A ball last seen some millimetres before a hole's edge, and running over it by the next picture, has fallen when it is
    out of sight and its last place is bare; behind somebody's arm, or on a way that leads to a jaw, it is looked for."""
    b = falling([(last[0] + 60.0, last[1] + 30.0), (last[0] + 20.0, last[1] + 10.0), last])
    tracker = Tracker(VIEW, bare("green"), {9: b.start}, {9: WHITE})
    tracker.balls[9] = b
    tracker._left[9] = bared
    for k in (1, 2, 3):
        tracker._missed(b.last[0] + k / FPS, b)
    assert (b.dropped[1] if b.dropped else None) == (pocket if bared else None)


@pytest.mark.parametrize(
    ("bared", "both"),
    [(np.s_[:, :3], False), (np.s_[[0, 1, 11, 12], :], True), (np.s_[:2, :], False), (np.s_[:5, :], False)],
)
def test_cloth_to_both_sides(bared: Any, both: bool) -> None:
    """Cloth on one side shows of a ball that was moved by a little; a little of it on both sides of a wide cue is enough."""
    covered = np.ones((13, 13), bool)
    covered[bared] = False
    assert shows_both_sides(covered) is both


@pytest.mark.parametrize("larger", [1.0, 1.1, 1.18])
def test_a_streak_of_a_soft_picture_is_one(larger: float) -> None:
    """What is cut out of a soft picture is larger than the ball all round; so is its streak, and its middle stays."""
    radius, free = 9.0, np.zeros((120, 160), np.float32)
    ends = (54, 50), (84, 62)
    cv2.line(free, *ends, 1.0, round(2 * radius * larger))
    found, _ = blurs(free, radius)
    assert [b.streak for b in found] == [True]
    assert (found[0].x_px, found[0].y_px) == pytest.approx((69, 56), abs=0.5)
    assert found[0].ran(np.array([40.0, 16.0])) and not found[0].ran(np.array([16.0, -40.0]))


@pytest.mark.parametrize("there_before", [True, False])
def test_a_ball_did_not_run_to_where_something_was(there_before: bool) -> None:
    """When the cue ball has left, a streak not quite of its colour is it rather than a hand that lay by in the picture before."""
    tracker = Tracker(VIEW, bare("green"), {0: SPOT}, {0: WHITE})
    tracker._first, tracker._left = 0, {0: True}
    hand = Find((SPOT[0] - 200.0, SPOT[1]), (0.7, 0.7, 0.7), 0.65, 0.3)
    streak = Find((SPOT[0] + 170.0, SPOT[1]), (0.4, 0.4, 0.4), 0.77, 0.74)
    tracker._earlier = [hand.place] if there_before else []
    tracker._assign(1.0, 1 / FPS, [tracker.balls[0]], [hand, streak])
    assert tracker.balls[0].last[1] == (streak if there_before else hand).place


def test_a_guessed_speed_does_not_grow_from_ball_to_ball() -> None:
    """Of a rack that bursts in one picture no ball may run much faster than the cue ball did: how fast each may be is guessed
    from what is known, not from another guess."""
    layout = {n: (800.0 + 60.0 * n, 600.0) for n in range(11)}
    tracker = Tracker(VIEW, bare("green"), layout, dict.fromkeys(layout, WHITE))
    cue = tracker.balls[0]
    cue.moving, cue.seen = True, [(k / FPS, 400.0 + 150.0 * k, 600.0, 1.0) for k in range(5)]
    for n in range(1, 11):
        tracker._start(tracker.balls[n], 5 / FPS)
    assert cue.speed() == pytest.approx(150.0 * FPS)
    guessed = [b.guess_mmps for n, b in tracker.balls.items() if n]
    assert guessed == pytest.approx([1.3 * 150.0 * FPS] * 10)


FINE = BedView.of(overhead(), TABLE, 3.2)


def streak(at_mm: float, long_mm: float, seed: int) -> NDArray[np.uint8]:
    """A white ball drawn out by its motion along the table, its middle `at_mm` beyond SPOT, in light (linear) as a camera
    gathers it over an exposure."""
    light = np.broadcast_to(linear_of(CLOTHS["green"]), (FINE.rows, FINE.columns, 3))
    yy, xx = np.mgrid[0 : FINE.rows, 0 : FINE.columns]
    cover = np.zeros((FINE.rows, FINE.columns, 1))
    for step in np.linspace(-0.5, 0.5, 25):
        x, y = FINE.to_view([(SPOT[0] + at_mm + step * long_mm, SPOT[1])])[0]
        cover[..., 0] += np.clip(FINE.radius_px + 0.5 - np.hypot(xx - x, yy - y), 0, 1) / 25
    noise = np.random.default_rng(seed).normal(0, 1.0, light.shape)
    seen = coded(light * (1 - cover) + linear_of(BALLS[0]) * cover) + noise
    return np.ascontiguousarray(np.clip(seen, 0, 255).astype(np.uint8)[..., ::-1])


@pytest.mark.parametrize(("speed_mps", "exposure_s"), [(5.0, 0.010), (3.5, 0.016), (1.5, 0.004)])
def test_a_fast_ball_is_in_the_middle_of_its_streak(speed_mps: float, exposure_s: float) -> None:
    """The half circles at both ends of a streak vote for a disc; the ball was in the middle, by half the exposure's way."""
    step, long = 1000 * speed_mps / FPS, 1000 * speed_mps * exposure_s
    table = BareTable.of(FINE, [streak(-5000.0, 1.0, k) for k in range(5)])
    tracker = Tracker(FINE, table, {0: SPOT}, {0: WHITE})
    views = [streak(step * max(0, k - 1), long * (k > 1), 60 + k) for k in range(6)]
    tracker.follow((Drawn(k / FPS, v) for k, v in enumerate(views)), from_ball=0)
    seen = [s[1] - SPOT[0] for s in tracker.balls[0].seen[1:]]
    assert seen == pytest.approx([step * k for k in range(1, 5)], abs=FINE.mm_per_px)


@pytest.mark.parametrize("lies", [True, False])
def test_a_cue_that_its_shadow_widens_does_not_hold_a_ball_there(lies: bool) -> None:
    """Askew over the place, and half a ball wide with its shadow, a cue covers seven tenths of it."""
    table = BareTable.of(FINE, [streak(-5000.0, 1.0, k) for k in range(5)])
    tracker = Tracker(FINE, table, {0: SPOT}, {0: WHITE})
    views = [streak(0.0 if lies or k < 2 else -5000.0, 1.0, 40 + k) for k in range(4)]
    a, b = (FINE.to_view([(SPOT[0] + x, SPOT[1] + x)])[0] for x in (-300.0, 150.0))
    for v in views[2:]:
        cv2.line(v, (round(a[0]), round(a[1])), (round(b[0]), round(b[1])), (120, 170, 210), 9)
    tracker.follow((Drawn(k / FPS, v) for k, v in enumerate(views)), from_ball=0)
    assert tracker.balls[0].moving is not lies
