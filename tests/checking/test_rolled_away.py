"""A check just after a break: what has rolled away is not thought to lie where it lay; what is hidden still is."""

from __future__ import annotations

import zlib

import numpy as np
import pytest

from lessonkit.checking.balls import _lies_there
from lessonkit.model import Point
from lessonkit.seeing.bedview import BedView
from lessonkit.seeing.sampling import Sample, Sighting
from tests.seeing.test_balls import TABLE, overhead

VIEW = BedView.of(overhead(), TABLE, 6.4)
PLACE: Point = (1900.0, 635.0)


def sample(covered_mm: float, balls: list[Point]) -> Sample:
    """A look in which everything within `covered_mm` of PLACE is covered, with discs at `balls`."""
    x, y = VIEW.to_view([PLACE])[0]
    yy, xx = np.mgrid[0 : VIEW.rows, 0 : VIEW.columns]
    foreign = np.hypot(xx - x, yy - y) * VIEW.mm_per_px < covered_mm
    packed = zlib.compress(np.packbits(foreign).tobytes(), 1)
    return Sample(7.5, tuple(Sighting(b, 1.0, 1.0, 1.0, None) for b in balls), 0.0, packed, foreign.shape)


@pytest.mark.parametrize(
    ("covered_mm", "balls", "there"),
    [
        (0.0, [], False),  # bare cloth
        (300.0, [], True),  # somebody leans over it
        (30.0, [(1902.0, 637.0)], True),  # in sight
        (30.0, [(1935.0, 635.0)], False),  # another ball lies half in it, so it cannot
        (30.0, [(1958.0, 635.0)], True),  # a neighbour touches it
    ],
)
def test_what_can_still_lie_there(covered_mm: float, balls: list[Point], there: bool) -> None:
    assert _lies_there(PLACE, sample(covered_mm, balls), VIEW) is there
