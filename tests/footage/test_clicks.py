"""Clicks of known times in noise, talk-like and music-like sound; the picture's times sharpened or left alone."""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.footage.clicks import Click, clicks, sharpen, sound_offset_s, stream

RATE = 48000
TIMES = [0.7, 1.31, 1.9, 2.45, 3.2]


def sound(kind: str) -> np.ndarray:
    rng = np.random.default_rng(3)
    t = np.arange(4 * RATE) / RATE
    out = 0.002 * rng.standard_normal(len(t))
    if kind == "talk":
        out += 0.05 * np.sin(2 * np.pi * 140 * t) * np.clip(np.sin(2 * np.pi * 2.5 * t), 0, 1)
    if kind == "music":
        out += sum(0.03 * np.sin(2 * np.pi * f * t) for f in (220, 277, 330))
    for at in TIMES:
        c = np.arange(int(0.03 * RATE)) / RATE
        k = round(at * RATE)
        out[k : k + len(c)] += 0.3 * np.exp(-c / 0.004) * np.cos(2 * np.pi * 2900 * c)
    return out


@pytest.mark.parametrize("kind", ["noise", "talk", "music"])
def test_clicks_are_found_to_a_millisecond(kind: str) -> None:
    got = [c.t_s for c in clicks(sound(kind), RATE)]
    assert len(got) == len(TIMES)
    assert np.allclose(got, TIMES, atol=0.001)


def test_a_stream_gives_the_same() -> None:
    samples = sound("noise")
    whole = [c.t_s for c in clicks(samples, RATE)]
    parts = [c.t_s for c in stream(np.split(samples, 8), RATE)]
    assert np.allclose(parts, whole, atol=1e-9)


def test_silence_and_steady_noise_have_none() -> None:
    assert clicks(np.zeros(RATE), RATE) == []
    assert clicks(0.1 * np.random.default_rng(1).standard_normal(2 * RATE), RATE) == []


def test_the_picture_wins_where_sound_is_missing_or_in_doubt() -> None:
    heard = [Click(1.004, 9), Click(2.0, 9), Click(2.01, 9)]
    assert sharpen([1.0, 2.005, 3.0], heard, 0.02) == [1.004, 2.005, 3.0]
    assert sharpen([1.0], [], 0.02) == [1.0]


def test_the_sounds_delay_is_told_by_most_events() -> None:
    times = [0.5, 1.4, 2.2, 3.1, 4.7, 5.9]
    heard = [Click(t + 0.041, 9) for t in times[:5]] + [Click(0.55, 9), Click(3.15, 9)]
    assert sound_offset_s(times, heard, 0.1) == pytest.approx(0.041, abs=0.003)
    assert sound_offset_s(times, heard[:2], 0.1) is None
