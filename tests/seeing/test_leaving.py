"""When a tracked ball has left its place, and when it has fallen: drawn bed views and drawn sights."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from lessonkit.seeing.bedview import Window
from lessonkit.seeing.tracking import Moving, Tracker
from tests.scenes.look import BALLS, CLOTHS
from tests.seeing.test_cloth import SPOT, VIEW, bare, film

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
