"""Voice over play: the hum makes way, the clicks come through."""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.sound.mixing import FALL_S, ducking, mixed
from lessonkit.sound.speech import Span
from tests.sound import made_sound

DEPTH_DB = 12.0


def stereo(samples: np.ndarray) -> np.ndarray:
    """Both channels alike."""
    return np.repeat(samples[:, None], 2, axis=1)


def test_hum_makes_way_and_clicks_stay() -> None:
    """Under a (silent) voice the hum is 12 dB softer and a click within 1 dB of its own level."""
    play = stereo(made_sound.clicks((1.0, 4.0, 4.6), 7.0, 0.02))
    out = np.concatenate(list(mixed([play], [np.zeros_like(play)], [Span(3.0, 5.5)], depth_db=DEPTH_DB)))
    assert out.shape == play.shape
    assert np.array_equal(out[: 48000 * 2], play[: 48000 * 2])
    hum = slice(round(3.4 * 48000), round(3.9 * 48000))
    drop = 20 * np.log10(np.abs(out[hum]).max() / np.abs(play[hum]).max())
    assert drop == pytest.approx(-DEPTH_DB, abs=0.5)
    for at in (4.0, 4.6):
        click = slice(round(at * 48000), round((at + 0.002) * 48000))
        assert np.abs(out[click]).mean() >= 0.89 * np.abs(play[click]).mean()


def test_it_fades_and_never_jumps() -> None:
    """Full before the fall, down when the voice sets in, and no step between two samples louder than 0.01 dB."""
    gain = ducking([Span(1.0, 2.0)], 0, 48000 * 3, DEPTH_DB)
    assert gain[0] == 1.0
    assert gain[48000] == pytest.approx(10 ** (-DEPTH_DB / 20), abs=1e-3)
    assert gain[round((1 - FALL_S) * 48000) - 1] == pytest.approx(1.0, abs=1e-6)
    assert np.abs(np.diff(20 * np.log10(gain))).max() < 0.01
