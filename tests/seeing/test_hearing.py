"""Strikes moved to their clicks: only where the sound and the picture agree."""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.footage.clicks import Click, clicks
from lessonkit.model import Event, SeenShot
from lessonkit.seeing.hearing import retimed

HALF_FRAME_S = 1 / 60


def shot(strike_s: float, contact_s: float) -> SeenShot:
    """A shot that hits one ball."""
    path = np.array([[strike_s, 0.0, 0.0], [strike_s + 0.03, 40.0, 0.0], [contact_s, 300.0, 0.0]])
    return SeenShot(
        1, strike_s, contact_s + 2, {0: (0.0, 0.0), 1: (357.0, 0.0)}, {0: (300.0, 0.0)}, (), path, {},
        (Event(contact_s, "ball", (0, 1)),), (), 1.0,
    )  # fmt: skip


@pytest.mark.parametrize("off_s", [-0.012, -0.004, 0.003, 0.011])
@pytest.mark.parametrize("delay_s", [0.0, 0.009])
def test_a_strike_moves_to_its_click(off_s: float, delay_s: float) -> None:
    """A click within half a frame of the strike, less the sound's delay, dates the strike, and the way begins there; it is
    heard to a millisecond in made-up sound."""
    real_s = 1.0
    seen = shot(real_s + off_s, 1.4)
    rate = 24000
    sound = np.random.default_rng(4).normal(0, 1e-3, 2 * rate)
    at = round((real_s + delay_s) * rate)
    sound[at : at + 120] += np.exp(-np.arange(120) / 25) * np.sin(np.arange(120) * 1.3)
    got = retimed(seen, clicks(sound, rate), delay_s, HALF_FRAME_S)
    assert got.strike_s == pytest.approx(real_s, abs=0.0015)
    assert got.cue_path[0, 0] == got.strike_s
    assert got.events == seen.events


@pytest.mark.parametrize("heard_s", [(), (1.05,), (0.99, 1.01), (0.95,)])
def test_the_picture_wins(heard_s: tuple[float, ...]) -> None:
    """No click, one too far away, or two that may both be meant: the strike stays where the picture put it."""
    seen = shot(1.0, 1.4)
    assert retimed(seen, [Click(t, 20.0) for t in heard_s], 0.0, HALF_FRAME_S) is seen or (
        retimed(seen, [Click(t, 20.0) for t in heard_s], 0.0, HALF_FRAME_S).strike_s == 1.0
    )


def test_a_strike_never_comes_after_its_first_hit() -> None:
    """A click at the hit, with the strike close before it, leaves the strike alone."""
    seen = shot(1.0, 1.012)
    assert retimed(seen, [Click(1.013, 30.0)], 0.0, HALF_FRAME_S).strike_s == 1.0
