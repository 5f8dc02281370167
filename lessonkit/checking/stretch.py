"""The stretch of footage that is checked: a few whole pictures, and every frame small and in grey."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import FootageError
from lessonkit.footage.reader import Frame, OpenFootage, open_footage
from lessonkit.model import Footage

Grey = NDArray[np.uint8]
Array = NDArray[np.float64]

LONGEST_S = 10.0
"""Long enough for a stroke and for somebody to step back; short enough to be checked while they wait."""
MOST_FRAMES = 600
"""Of which each is kept small: 10 s at 60 frames a second, some 140 MB."""
PICTURES = 13
"""Whole pictures kept; as many as the table is looked for in."""
SMALL_WIDTH_PX = 640
_FULL_RANGE = 2


@dataclass(frozen=True, eq=False)
class Stretch:
    """What is kept of the checked stretch."""

    footage: Footage
    from_s: float
    to_s: float
    frames: tuple[Frame, ...]
    """About PICTURES of them, evenly spread."""
    pair: tuple[Grey, Grey]
    """Two frames one after the other, grey (height, width), as `levels` has them."""
    times_s: Array
    """Of every frame of the stretch, shape (N,)."""
    small: tuple[Grey, ...]
    """Every frame, grey, at most SMALL_WIDTH_PX wide (or high, if it stands on end)."""
    bits_per_px: float | None
    """Bits that the file spends on a pixel of one frame, over the stretch; None where packets bear no times."""
    codec: str
    """The library's name of the coding: 'h264', 'hevc' and so on."""

    @property
    def small_scale(self) -> float:
        """Pixels of the footage that one pixel of a small picture stands for."""
        return float(max(self.footage.width, self.footage.height) / max(self.small[0].shape))


def levels(frame: Frame) -> Grey:
    """The frame's luma, shape (height, width), stretched so that 0 is black and 255 white."""
    luma = frame.luma()
    if frame.raw.color_range == _FULL_RANGE:
        return np.ascontiguousarray(luma)
    return np.asarray(cv2.convertScaleAbs(np.clip(luma, 16, 235) - 16, alpha=255 / 219), np.uint8)


def read_stretch(path: Path, at_s: float | None = None, longest_s: float = LONGEST_S) -> Stretch:
    """The `longest_s` of footage about `at_s`, or about its middle where that is None; all of it if it is shorter.

    Raises FootageError for a file that cannot be read, and for a time past its end.
    """
    with open_footage(path) as footage:
        whole_s = footage.info.duration_s
        if at_s is not None and at_s > whole_s:
            raise FootageError(
                f"{path} is {whole_s:.1f} s long, so it has no picture at {at_s:g} s; give --at an earlier time."
            )
        longest_s = min(longest_s, MOST_FRAMES / max(footage.info.fps, 1.0))
        middle_s = whole_s / 2 if at_s is None else at_s
        from_s = max(0.0, min(middle_s - longest_s / 2, whole_s - longest_s))
        to_s = min(whole_s, from_s + longest_s)
        return _read(footage, from_s, to_s)


def _read(footage: OpenFootage, from_s: float, to_s: float) -> Stretch:
    wanted = list(np.linspace(from_s, to_s, PICTURES, endpoint=False) + 0.5 * (to_s - from_s) / PICTURES)
    frames: list[Frame] = []
    times: list[float] = []
    small: list[Grey] = []
    previous: Frame | None = None
    pair: tuple[Grey, Grey] | None = None
    for frame in footage.frames(from_s, to_s + 1e-6):
        if len(small) >= MOST_FRAMES:
            break
        small.append(_shrunk(frame))
        times.append(frame.t_s)
        if len(frames) < PICTURES and frame.t_s >= wanted[len(frames)] - 1e-9:
            frames.append(frame)
        if previous is not None and (
            pair is None or abs(frame.t_s - (from_s + to_s) / 2) < 0.5 / footage.info.fps
        ):
            pair = (levels(previous), levels(frame))
        previous = frame
    if previous is None:
        if footage.info.frames <= 1:
            raise FootageError(
                f"{footage.path} is a single picture, not a film; film ten seconds and give that file."
            )
        raise FootageError(f"{footage.path} holds no picture there; give --at another time.")
    frames = frames or [previous]
    pair = pair or (levels(previous), levels(previous))
    bits, codec = _coding(footage, from_s, to_s)
    return Stretch(
        footage.info, from_s, to_s, tuple(frames), pair, np.array(times), tuple(small), bits, codec
    )


def _shrunk(frame: Frame) -> Grey:
    # as the camera coded it first: shrinking before stretching the range costs a ninth
    luma = np.ascontiguousarray(frame.luma())
    scale = min(1.0, SMALL_WIDTH_PX / max(luma.shape))
    size = (round(luma.shape[1] * scale), round(luma.shape[0] * scale))
    little = cv2.resize(luma, size, interpolation=cv2.INTER_AREA) if scale < 1 else luma
    if frame.raw.color_range == _FULL_RANGE:
        return np.asarray(little, np.uint8).copy()
    return np.asarray(cv2.convertScaleAbs(np.clip(little, 16, 235) - 16, alpha=255 / 219), np.uint8)


def _coding(footage: OpenFootage, from_s: float, to_s: float) -> tuple[float | None, str]:
    """Bits a pixel and frame over the stretch, and the coding's name."""
    with av.open(str(footage.path)) as container:
        stream: Any = container.streams.video[0]
        zero_s = float((stream.start_time or 0) * stream.time_base)
        container.seek(int((zero_s + from_s) / stream.time_base), stream=stream, backward=True)
        sizes = list(_sizes(container, stream, zero_s, to_s))
        pixels = footage.info.width * footage.info.height
        bits = 8 * sum(sizes) / len(sizes) / pixels if sizes else None
        return bits, str(stream.codec_context.name)


def _sizes(container: Any, stream: Any, zero_s: float, to_s: float) -> Iterator[int]:
    for packet in container.demux(stream):
        if packet.dts is None:
            continue
        if float(packet.dts * stream.time_base) - zero_s > to_s:
            return
        yield packet.size
