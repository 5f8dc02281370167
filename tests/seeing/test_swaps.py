"""Two balls mistaken for each other where they ran close by; drawn ways and looks."""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.seeing.following import Followed, mistaken_cue
from lessonkit.seeing.looks import Look
from lessonkit.seeing.moving import Moving
from lessonkit.seeing.paints import COLOURS
from lessonkit.seeing.shots import Departure
from lessonkit.seeing.swaps import unlike, untangle

D = 57.15
STRIPE_10, STRIPE_11 = (Look(0.5, 0.6, COLOURS[n], 2.8) for n in (2, 3))
SOLID_3 = Look(0.02, 0.0, COLOURS[3], 2.8)


def way(ball: int, places: list[tuple[float, float]]) -> Moving:
    """A ball at these places, ten a second, that then lies still."""
    seen = [(0.1 * k, x, y, 1.0) for k, (x, y) in enumerate(places)]
    return Moving(ball, places[0], np.ones(3), seen, rest_s=seen[-1][0], clear=[1.0] * (len(seen) - 1))


def crossing(apart_mm: float) -> dict[int, Moving]:
    """Two balls that run side by side, `apart_mm` from each other in the middle; the second then falls into a pocket."""
    bend = [400.0, 200.0, 0.0, 200.0, 400.0]
    balls = {
        1: way(1, [(100.0 * k, 500.0 + b) for k, b in enumerate(bend)]),
        2: way(2, [(100.0 * k, 500.0 - apart_mm - b) for k, b in enumerate(bend)]),
    }
    balls[2].dropped, balls[2].rest_s = (0.4, "head-right"), None
    return balls


def test_looks_of_one_ball_are_not_unlike() -> None:
    """A ball seen twice from different sides may be one; a red stripe is neither a blue one nor the red solid."""
    assert unlike(STRIPE_11, Look(0.7, 0.7, COLOURS[3], 2.8)) == pytest.approx(0.0, abs=1.0)
    assert unlike(STRIPE_11, STRIPE_10) > 8.0
    assert unlike(STRIPE_11, SOLID_3) > 8.0
    assert unlike(STRIPE_11, None) == 0.0


def test_ways_are_exchanged_where_they_met() -> None:
    """What came to rest where the red stripe was followed to is the blue stripe, which seemed to fall: each gets the
    other's way from where they ran close by, so the red one fell."""
    balls = crossing(60.0)
    last = {i: b.last for i, b in balls.items()}
    assert untangle(balls, {1: 7}, {1: STRIPE_11, 2: STRIPE_10, 7: STRIPE_10}, D)
    assert balls[1].last == last[2] and balls[2].last == last[1]
    assert balls[1].dropped == (0.4, "head-right") and balls[2].dropped is None
    assert [s[2] for s in balls[1].seen] == [900.0, 700.0, 500.0, 240.0, 40.0]
    assert balls[2].rest_s == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("struck_next", "apart_mm", "exchanged"),
    [(8, 60.0, True), (7, 60.0, False), (9, 60.0, False), (8, 900.0, False)],
)
def test_what_is_struck_next_was_the_cue_ball(struck_next: int, apart_mm: float, exchanged: bool) -> None:
    """The cue ball 1 was followed to 7 and the 2 to 8; 8 is struck in the next shot, so the cue ball came to rest there. Not where
    its own end is struck, one that nobody was followed to (put there by hand), or where the two never were near each other."""
    balls = crossing(apart_mm)
    balls[2].dropped = None
    last = {i: b.last for i, b in balls.items()}
    before = Followed(Departure(1, 0.0, 0.1), balls, 0.0, 1.0, [1, 2], [7, 8], {1: 7, 2: 8})
    assert mistaken_cue(before, Departure(struck_next, 5.0, 5.2), D) is exchanged
    assert (balls[1].last == last[2]) is exchanged


def test_two_doubtful_ends_together_are_sure() -> None:
    """A stripe whose colour hardly shows may be the cue ball and the cue ball it; both ends together leave no doubt."""
    cue, pale = Look(0.99, 0.99, None, 2.8), Look(0.9, 0.88, COLOURS[3], 2.8)
    assert 4.0 < unlike(cue, pale) < 8.0
    balls = crossing(60.0)
    balls[2].dropped = None
    last = {i: b.last for i, b in balls.items()}
    assert untangle(balls, {1: 7, 2: 8}, {1: cue, 2: pale, 7: pale, 8: cue}, D)
    assert balls[1].last == last[2] and balls[2].last == last[1]


@pytest.mark.parametrize(
    ("apart_mm", "end"),
    [(60.0, STRIPE_11), (60.0, SOLID_3), (400.0, STRIPE_10), (60.0, None)],
)
def test_other_ways_are_left(apart_mm: float, end: Look | None) -> None:
    """Nothing is exchanged where the ends fit, where neither way fits, between balls that never were near each other, and
    where nothing was seen of the end."""
    balls = crossing(apart_mm)
    seen = {i: list(b.seen) for i, b in balls.items()}
    assert not untangle(balls, {1: 7}, {1: STRIPE_11, 2: STRIPE_10, 7: end}, D)
    assert {i: b.seen for i, b in balls.items()} == seen


@pytest.mark.parametrize(("seen", "exchanged"), [((0.8, 0.8, 0.75), False), ((0.1, 0.1, 0.5), True)])
def test_what_fell_in_its_own_colour_is_itself(seen: tuple[float, float, float], exchanged: bool) -> None:
    """The cue ball ran white into a pocket, so nothing else fell there, though the other ball came to rest as a third one:
    those two are the ones to exchange. What ran red may be the red ball."""
    bend = [400.0, 200.0, 0.0, 0.0, 100.0, 200.0, 300.0, 400.0]
    balls = {
        1: way(1, [(100.0 * k, 500.0 + b) for k, b in enumerate(bend)]),
        2: way(2, [(100.0 * k, 440.0 - b) for k, b in enumerate(bend)]),
    }
    balls[1].colour, balls[2].colour = np.array([0.1, 0.1, 0.5]), np.array([0.8, 0.8, 0.8])
    balls[2].colours = [seen] * 7
    balls[2].dropped, balls[2].rest_s = (0.7, "head-right"), None
    cue = Look(0.99, 0.99, None, 2.8)
    assert untangle(balls, {1: 7}, {1: STRIPE_11, 2: cue, 7: STRIPE_10}, D) is exchanged
