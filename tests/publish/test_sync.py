"""Sound and picture stay together at every cut: the flash and the click of the same strike, shown again and again."""

from __future__ import annotations

import tomllib
from pathlib import Path

import av
import numpy as np
import pytest

from lessonkit.lesson.cutlist import CutList, Piece
from lessonkit.publish.video import render
from lessonkit.table.camera import project
from tests.publish import filmed
from tests.running import ROOT

LATE_S = tomllib.loads((ROOT / "shared" / "sound.toml").read_text(encoding="utf-8"))["sync"]["ours_s"]
STARTS_S = (0.5, 0.713, 1.0, 1.291, 0.05)
"""Footage times at which the plays begin: on frames and between them."""


def cut_list(speed: float = 1.0) -> CutList:
    """A still before each play, so that every play stands after a cut to silence."""
    pieces: list[Piece] = []
    at = 0.0
    for start_s in STARTS_S:
        pieces.append(Piece("plan", at, 0.5, 1, 1.0))
        at += 0.5
        frames = round((2.2 - start_s) / speed * 30)
        kind = "play" if speed == 1.0 else "replay"
        pieces.append(Piece(kind, at, frames / 30, 1, start_s, start_s + frames / 30 * speed, speed))
        at += frames / 30
    return CutList(tuple(pieces), (), ())


def flashes(path: Path, cam: object, cuts: CutList) -> list[float]:
    """In each moving piece the time of the first frame on which the square is at least half lit."""
    x, y = np.round(project(cam, [filmed.FLASH_MM])[0]).astype(int)  # type: ignore[arg-type]
    with av.open(str(path)) as container:
        lit = [
            (float(f.time), float(f.to_ndarray(format="gray")[y - 4 : y + 4, x - 4 : x + 4].mean()))
            for f in container.decode(video=0)
        ]
    dark = min(v for _, v in lit)
    half = (dark + max(v for _, v in lit)) / 2
    moving = [p for p in cuts.pieces if p.source_end_s is not None]
    return [next(t for t, v in lit if t >= p.start_s - 1e-6 and v > half) for p in moving]


def clicks(path: Path, cuts: CutList) -> list[float]:
    """In each moving piece the time at which the sound first comes near its highest."""
    with av.open(str(path)) as container:
        frames = list(container.decode(audio=0))
    start_s = float(frames[0].time)
    samples = np.concatenate([np.abs(f.to_ndarray()).mean(0) for f in frames])
    out = []
    for p in cuts.pieces:
        if p.source_end_s is not None:
            a, b = (round((t - start_s) * 48000) for t in (p.start_s, p.end_s))
            part = samples[max(0, a) : b]
            out.append(start_s + (max(0, a) + int(np.argmax(part > 0.5 * part.max()))) / 48000)
    return out


@pytest.mark.parametrize(
    "clip",
    [filmed.Clip(), filmed.Clip(times_s=filmed.VARIABLE_TIMES_S), filmed.Clip(start_s=0.7)],
    ids=["even", "variable", "late start"],
)
@pytest.mark.parametrize("speed", [1.0, 0.5])
def test_flash_and_click_are_within_20_ms_after_every_cut(
    tmp_path: Path, clip: filmed.Clip, speed: float
) -> None:
    """Of every play and slow replay, wherever it begins and however the footage's frames are spaced.

    The flash is first seen on the first frame after the strike, up to a frame of the footage later than the click; that
    delay is the camera's own and is taken off.
    """
    info, cam = filmed.film(tmp_path / "clip.mp4", clip)
    cuts = cut_list(speed)
    render(tmp_path / "clip.mp4", filmed.analysis(info, cam), cuts, tmp_path / "lesson.mp4")
    seen_s = min(t for t in clip.times_s if t >= filmed.STRIKE_S - 1e-9)
    camera_s = (seen_s - filmed.STRIKE_S) / speed
    off = [
        f - c - camera_s
        for f, c in zip(
            flashes(tmp_path / "lesson.mp4", cam, cuts), clicks(tmp_path / "lesson.mp4", cuts), strict=True
        )
    ]
    assert len(off) == len(STARTS_S)
    assert max(abs(o) for o in off) <= LATE_S, off
