"""Drops dated where the hole's edge lies, and no cushion named where a pocket's mouth is."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.model import Pocket, Table
from lessonkit.seeing.contacts import cushion_contacts, touch_mm
from lessonkit.seeing.drops import depth_mm, drop_time, in_mouth
from lessonkit.seeing.runs import Run

TABLE = Table("9ft", 2540.0, 1270.0)
POCKETS: tuple[Pocket, ...] = tuple(TABLE.pockets)
INCH = 25.4


@pytest.mark.parametrize("pocket", POCKETS)
def test_the_edge_lies_a_shelf_behind_the_mouth(pocket: Pocket) -> None:
    """Corner: 1 to 2 1/4 inch behind the line between the tips; side: up to 3/8 inch (WPA's figures, from memory)."""
    px, py = TABLE.pockets[pocket]
    middle = np.array([TABLE.length_mm / 2, TABLE.width_mm / 2])
    if pocket.startswith("side"):
        mouth, axis = np.array([px, py]), np.array([0.0, 1.0 if py else -1.0])
        low, high = 0.0, 3 / 8 * INCH
    else:
        axis = np.sign(np.array([px, py]) - middle) / np.sqrt(2)
        mouth = np.array([px, py]) - axis * TABLE.corner_mouth_mm / 2
        low, high = INCH, 2.25 * INCH
    shelf = -float(depth_mm(mouth[None], pocket, TABLE)[0])
    assert low <= shelf <= high
    on = depth_mm((mouth + 10 * axis)[None], pocket, TABLE)[0] - depth_mm(mouth[None], pocket, TABLE)[0]
    assert on == pytest.approx(10.0)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(POCKETS), st.floats(200, 3000), st.floats(0, 1), st.floats(-25, 25), st.integers(0, 6))
def test_a_drop_between_frames(pocket: Pocket, speed: float, phase: float, turn: float, lost: int) -> None:
    """Dated within two milliseconds at any speed and angle, seen over the edge or lost from sight just before it."""
    p = np.asarray(TABLE.pockets[pocket])
    middle = np.array([p[0] if pocket.startswith("side") else TABLE.length_mm / 2, TABLE.width_mm / 2])
    inward = (middle - p) / np.hypot(*(middle - p)) if pocket.startswith("side") else np.sign(middle - p)
    a = np.radians(turn)
    way = -np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]) @ (inward / np.hypot(*inward))
    d0 = float(depth_mm(p[None], pocket, TABLE)[0])
    rate = float(depth_mm((p + way)[None], pocket, TABLE)[0]) - d0
    edge = p - way * d0 / rate
    true, t = 1.0 + phase / 60, np.arange(40, 70 - lost) / 60
    track = np.c_[t, edge + (t - true)[:, None] * speed * way]
    if track[-1, 0] < true - 0.14:
        return
    assert drop_time(track, pocket, 9.0, TABLE) == pytest.approx(true, abs=2e-3)


def test_a_ball_lost_far_from_the_pocket_drops_when_the_tracker_says() -> None:
    """It may have been hidden by somebody on its way: no time is made up."""
    track = np.c_[np.arange(10) / 60, 500.0 - np.arange(10), np.full(10, 600.0)]
    assert drop_time(track, "head-left", 4.2, TABLE) == 4.2


@pytest.mark.parametrize(("y", "named"), [(40.0, False), (70.0, False), (90.0, True), (400.0, True)])
def test_a_jaw_is_no_cushion(y: float, named: bool) -> None:
    """What turns at the head nose line within a corner's mouth touched a jaw; beyond the tip it met the cushion."""
    line = touch_mm(TABLE)
    assert in_mouth((line, y), TABLE) is not named
    t = np.arange(0.0, 0.6, 1 / 60)
    x = line + np.where(t < 0.3, 900.0 * (0.3 - t), 600.0 * (t - 0.3))
    run = Run(0, (float(x[0]), y), np.c_[t, x, np.full(len(t), y)], 0.0)
    assert [e.cushion for e in cushion_contacts(run, TABLE, [])] == (["head"] if named else [])


def test_sides_have_mouths_on_the_long_rails_only() -> None:
    """The middle of a long rail is a side pocket; the middle of a short one is cushion."""
    assert in_mouth((1270.0, 28.0), TABLE) and in_mouth((1310.0, 1242.0), TABLE)
    assert not in_mouth((1345.0, 28.0), TABLE) and not in_mouth((28.0, 635.0), TABLE)
