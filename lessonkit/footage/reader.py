"""One reader of camera footage for every room: frames by their own time, the right way up, and the sound.

    with open_footage(path) as footage:
        for frame in footage.frames(12.0, 15.0):
            frame.t_s, frame.bgr()

Times are presentation times from the first frame's, so variable frame rates and offset starts come out right; frame
counts are never turned into times. A rotation flag in the file is obeyed.
"""

from __future__ import annotations

import logging
from bisect import bisect_right
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import FootageError
from lessonkit.model import Footage

Picture = NDArray[np.uint8]

MAX_BAD_FRAMES = 30
"""A file with more undecodable frames than this in one reading is called damaged."""
MISSING_TAIL_S = 1.5
"""A file whose pictures end this much before the length that it states was cut short."""
_QUARTER_TURNS = {0: 0, 90: 1, 180: 2, 270: 3}
_BT709_FROM_HEIGHT_PX = 720
_BT601 = 5
_BT709 = 1
_UNSPECIFIED = (2, None)
_LUMA_WEIGHTS = {
    _BT709: (0.2126, 0.0722), 4: (0.30, 0.11), _BT601: (0.299, 0.114), 6: (0.299, 0.114),
    7: (0.212, 0.087), 9: (0.2627, 0.0593), 10: (0.2627, 0.0593),
}  # fmt: skip
"""Shares of red and blue in luma by number of the colour matrix (ITU-T H.273, table 4, numbered as in
FFmpeg, against whose own conversion the tests hold them)."""


def _turned(plane: NDArray[Any], degrees: int) -> NDArray[Any]:
    """The plane the right way up; FFmpeg gives the turn counter-clockwise, as numpy does."""
    turns = _QUARTER_TURNS.get(degrees % 360, 0)
    return np.rot90(plane, turns) if turns else plane


@dataclass(frozen=True, eq=False)
class Frame:
    """One frame of the footage."""

    t_s: float
    """Presentation time from the first frame's."""
    raw: Any
    """PyAV's VideoFrame, yuv420p, not turned."""
    rotation: int
    """Degrees, counter-clockwise, by which the raw picture must be turned to stand upright."""

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels, upright."""
        w, h = self.raw.width, self.raw.height
        return (h, w) if self.rotation % 180 else (w, h)

    def luma(self) -> Picture:
        """The Y plane, shape (height, width): a view, not a copy, valid as long as this frame is."""
        return _turned(self._plane(0), self.rotation)

    def planes(self) -> tuple[Picture, Picture, Picture]:
        """Y, U and V (half size each way), upright views."""
        y, u, v = (_turned(self._plane(k), self.rotation) for k in range(3))
        return y, u, v

    def _plane(self, k: int) -> Picture:
        p = self.raw.planes[k]
        flat = np.frombuffer(p, np.uint8)
        return flat[: p.height * p.line_size].reshape(p.height, p.line_size)[:, : p.width]

    def bgr(self) -> Picture:
        """The whole picture, upright, shape (height, width, 3), blue-green-red."""
        # left to itself the library takes BT.601 where the file does not say
        unsaid = {"src_colorspace": colour_matrix(self.raw)} if self.raw.colorspace in _UNSPECIFIED else {}
        picture = self.raw.to_ndarray(format="bgr24", **unsaid)
        return np.ascontiguousarray(_turned(picture, self.rotation))

    def crop_bgr(self, x0: int, y0: int, x1: int, y1: int) -> Picture:
        """The part [y0:y1, x0:x1] of `bgr()` at the cost of that part only; bounds are clipped to the picture."""
        import cv2

        w, h = self.size
        left, top, right, bottom = max(0, x0), max(0, y0), min(w, x1), min(h, y1)
        # colour samples are shared by 2 x 2 pixels, so whole pairs are converted
        x0, y0 = left & ~1, top & ~1
        x1, y1 = min(w, right + (right & 1)), min(h, bottom + (bottom & 1))
        if right <= left or bottom <= top:
            return np.zeros((max(0, bottom - top), max(0, right - left), 3), np.uint8)
        y, u, v = self.planes()
        luma = np.ascontiguousarray(y[y0:y1, x0:x1])
        half = (slice(y0 // 2, (y1 + 1) // 2), slice(x0 // 2, (x1 + 1) // 2))
        wide = (luma.shape[1], luma.shape[0])
        chroma = [
            cv2.resize(np.ascontiguousarray(p[half]), wide, interpolation=cv2.INTER_LINEAR) for p in (u, v)
        ]
        yuv = cv2.merge([luma, *chroma])
        whole = np.asarray(cv2.transform(yuv, yuv_to_bgr(self.raw)), np.uint8)
        return np.ascontiguousarray(whole[top - y0 : bottom - y0, left - x0 : right - x0])


def colour_matrix(raw: Any) -> int:
    """FFmpeg's number of the frame's colour matrix; where the file does not say, BT.709 for high definition."""
    space = raw.colorspace
    if space in _UNSPECIFIED:
        return _BT709 if min(raw.height, raw.width) >= _BT709_FROM_HEIGHT_PX else _BT601
    return int(space)


def yuv_to_bgr(raw: Any) -> NDArray[np.float64]:
    """The affine matrix, shape (3, 4), from 8-bit Y, U, V to B, G, R (the matrices of ITU-T H.273, both ranges)."""
    kr, kb = _LUMA_WEIGHTS.get(colour_matrix(raw), _LUMA_WEIGHTS[_BT709])
    kg = 1 - kr - kb
    full = raw.color_range == 2
    sy, sc, oy = (1.0, 1.0, 0.0) if full else (255 / 219, 255 / 224, 16.0)
    b_u, r_v = 2 * (1 - kb) * sc, 2 * (1 - kr) * sc
    g_u, g_v = -2 * (1 - kb) * kb / kg * sc, -2 * (1 - kr) * kr / kg * sc
    m = np.array([[sy, b_u, 0.0], [sy, g_u, g_v], [sy, 0.0, r_v]])
    return np.asarray(np.c_[m, -m @ np.array([oy, 128.0, 128.0])], float)


@dataclass(frozen=True)
class Reading:
    """What opening found out of a file, so that another process need not find it out again."""

    info: Footage
    first_pts: int
    rotation: int
    key_pts: tuple[int, ...]
    """Of the key frames, in stream ticks, ascending."""


class OpenFootage:
    """Footage that is open for reading; made by `open_footage`."""

    def __init__(self, path: Path, container: Any, reading: Reading) -> None:
        self.path = path
        self.info = reading.info
        self.reading = reading
        self._container = container
        self._stream = container.streams.video[0]
        self._first_pts = reading.first_pts
        self._rotation = reading.rotation
        self._fresh = True

    @property
    def rotation(self) -> int:
        """Degrees, counter-clockwise, by which the stored pictures are turned to stand upright."""
        return self._rotation

    @property
    def has_sound(self) -> bool:
        """Whether there is a sound track."""
        return bool(self._container.streams.audio)

    @property
    def zero_s(self) -> float:
        """Presentation time in the file of footage time 0, seconds."""
        return float(self._first_pts * self._stream.time_base)

    def frames(
        self, start_s: float = 0.0, end_s: float | None = None, *, every: bool = True
    ) -> Iterator[Frame]:
        """Frames with start_s <= t_s < end_s, in order; each is valid until the consumer lets it go.

        Without `every`, frames on which no other is built may be left out, which is quicker. Raises FootageError when too many frames are damaged.
        """
        base = self._stream.time_base
        if start_s > 0 or not self._fresh:
            self._container.seek(
                self._key_before(start_s), stream=self._stream, backward=True, any_frame=False
            )
        self._fresh = False
        for raw in self._decoded(self._first_pts + start_s / base, every):
            t_s = float((raw.pts - self._first_pts) * base)
            if t_s < start_s - 1e-9:
                continue
            if end_s is not None and t_s >= end_s:
                return
            yield self._frame(raw, t_s)

    def key_frame(self, key_s: float) -> Frame | None:
        """The frame at one of `key_times`: it alone is decoded, where decoding on from it goes some frames further."""
        base = self._stream.time_base
        key_pts = self._key_before(key_s + 0.5 * float(base))
        self._container.seek(key_pts, stream=self._stream, backward=True, any_frame=False)
        self._fresh = False
        with suppress(av.error.FFmpegError):
            packet = next((p for p in self._container.demux(self._stream) if p.pts == key_pts), None)
            if packet is not None and packet.is_keyframe:
                codec = self._stream.codec_context
                codec.skip_frame = "DEFAULT"
                for raw in (*packet.decode(), *codec.decode(None)):
                    if raw.pts == key_pts:
                        return self._frame(raw, float((raw.pts - self._first_pts) * base))
        return next(self.frames(key_s), None)

    def _frame(self, raw: Any, t_s: float) -> Frame:
        if raw.format.name not in ("yuv420p", "yuvj420p"):
            pts = raw.pts
            raw = raw.reformat(format="yuv420p")
            raw.pts = pts
        return Frame(t_s, raw, self._rotation)

    def _key_before(self, start_s: float) -> int:
        """The pts of the last key frame not after a time, in stream ticks; exactly that, or the one before is read."""
        target = self._first_pts + round(max(0.0, start_s) / self._stream.time_base)
        keys = self.reading.key_pts
        at = bisect_right(keys, target)
        return keys[at - 1] if at else max(0, target - 1)

    def spread(self, count: int, enough: int | None = None) -> list[Frame]:
        """About `count` frames spread evenly over the footage, cheaply: key frames where there are enough of them.

        `enough` key frames (by default `count`) will do; with fewer, everything is decoded once, which costs no more
        than seeking back and forth.
        """
        wanted = [self.info.duration_s * (i + 0.5) / count for i in range(count)]
        keys = self.key_times()
        if len(keys) >= (count if enough is None else enough):
            chosen = sorted({min(keys, key=lambda k: abs(k - w)) for w in wanted})
            return [f for k in chosen if (f := self.key_frame(k)) is not None]
        frames: list[Frame] = []
        for frame in self.frames():
            if len(frames) < count and frame.t_s >= wanted[len(frames)] - 1e-9:
                frames.append(frame)
        return frames or list(self.frames(0.0, 1.0))[:1]

    def key_times(self) -> list[float]:
        """Presentation times of the key frames, ascending."""
        base = self._stream.time_base
        first = self.reading.first_pts
        return [float((p - first) * base) for p in self.reading.key_pts if p >= first]

    def _decoded(self, wanted_pts: float, every: bool) -> Iterator[Any]:
        bad = 0
        codec = self._stream.codec_context
        for packet in self._container.demux(self._stream):
            # on the way from the key frame to what is wanted only frames on which others are built matter
            needed = every or packet.pts is None or packet.is_keyframe
            leading = packet.pts is not None and packet.pts < wanted_pts
            codec.skip_frame = "DEFAULT" if needed and not leading else "NONREF"
            try:
                frames = packet.decode()
            except av.error.InvalidDataError as e:
                bad += 1
                if bad > MAX_BAD_FRAMES:
                    raise FootageError(f"{self.path} is damaged: more than {MAX_BAD_FRAMES} frames cannot be decoded; copy it from the camera again.") from e  # fmt: skip
                continue
            yield from (f for f in frames if f.pts is not None)

    def sound(self, start_s: float, end_s: float, rate_hz: int = 48000) -> NDArray[np.float32]:
        """Stereo samples, shape (N, 2), of exactly this stretch of footage time; silence where there is none."""
        n = max(0, round((end_s - start_s) * rate_hz))
        out = np.zeros((n, 2), np.float32)
        if not self.has_sound or n == 0:
            return out
        with av.open(str(self.path)) as container:
            stream = container.streams.audio[0]
            zero_s = self.zero_s
            want = max(0.0, zero_s + start_s - 0.2)
            container.seek(int(want * rate_of(stream)), stream=stream, backward=True)
            resampler = av.AudioResampler(format="fltp", layout="stereo", rate=rate_hz)
            at: int | None = None
            for frame in container.decode(stream):
                if frame.pts is None:
                    continue
                if at is None:
                    at = round((float(frame.pts / rate_of(frame)) - zero_s - start_s) * rate_hz)
                for piece in resampler.resample(frame):
                    samples = np.asarray(piece.to_ndarray().T, np.float32)
                    at = _place(out, samples, at)
                if at >= n:
                    break
        return out


def rate_of(timed: Any) -> Fraction:
    """Ticks a second of a stream or frame."""
    return 1 / Fraction(timed.time_base)


def _place(out: NDArray[np.float32], samples: NDArray[np.float32], at: int) -> int:
    """Lay samples into `out` from index `at` (may be negative); return the index after them."""
    lo, hi = max(0, at), min(len(out), at + len(samples))
    if hi > lo:
        out[lo:hi] = samples[lo - at : hi - at]
    return at + len(samples)


@contextmanager
def open_footage(path: Path) -> Iterator[OpenFootage]:
    """Open footage for reading.

    Raises FootageError when the file is missing, empty, cut short, no video, or sound only.
    """
    logging.getLogger("libav").setLevel(logging.CRITICAL)
    if not path.exists():
        raise FootageError(f"There is no file {path}; check the name.")
    if path.is_dir():
        raise FootageError(f"{path} is a folder; give the video file itself.")
    if path.stat().st_size == 0:
        raise FootageError(f"{path} is empty; copy it from the camera again.")
    try:
        container = av.open(str(path))
    except (av.error.FFmpegError, ValueError) as e:
        raise FootageError(
            f"{path} cannot be read as a video (it may be cut short or of another kind); copy it from the camera "
            "again, or convert it to MP4."
        ) from e
    with container:
        if not container.streams.video:
            raise FootageError(
                f"{path} holds no picture, only sound or data; give the video file of the session."
            )
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        yield OpenFootage(path, container, _probe(path, container, stream))


@contextmanager
def reopened(path: Path, reading: Reading, threads: int = 0) -> Iterator[OpenFootage]:
    """Footage that was opened before, without looking through it again; 0 threads: as many as there are processors."""
    logging.getLogger("libav").setLevel(logging.CRITICAL)
    try:
        container = av.open(str(path))
    except (av.error.FFmpegError, ValueError, OSError) as e:
        raise FootageError(f"{path} can no longer be read; was it moved while it was watched?") from e
    with container:
        container.streams.video[0].thread_type = "AUTO"
        container.streams.video[0].codec_context.thread_count = threads
        yield OpenFootage(path, container, reading)


def probe(path: Path) -> Footage:
    """What the file says of itself. Raises FootageError like `open_footage`."""
    with open_footage(path) as footage:
        return footage.info


def _probe(path: Path, container: Any, stream: Any) -> Reading:
    pts, ends, keys = _packet_times(path)
    if not pts:
        raise FootageError(f"{path} holds no pictures that can be read; copy it from the camera again.")
    first = _first_frame(path, container, stream)
    base = stream.time_base
    shown = [p for p in pts if p >= first.pts]
    rate = Fraction(stream.average_rate or stream.guessed_rate or 30)
    last_s = float((max(shown) - first.pts) * base)
    step_s = last_s / (len(shown) - 1) if len(shown) > 1 else float(1 / rate)
    duration_s = last_s + (float(ends * base) or step_s)
    stated_s = float(stream.duration * base) if stream.duration else 0.0
    if stated_s - duration_s > MISSING_TAIL_S:
        raise FootageError(
            f"{path} was cut short: it states {stated_s:.0f} s of pictures and holds {duration_s:.0f} s; "
            "copy it from the camera again."
        )
    rotation = int(first.rotation or 0)
    w, h = (first.height, first.width) if rotation % 180 else (first.width, first.height)
    fps = 1 / step_s if len(shown) > 1 else float(rate)
    container.seek(0, stream=stream)
    info = Footage(path.name, w, h, round(fps, 4), len(shown), duration_s)
    return Reading(info, first.pts, rotation, tuple(sorted(keys)))


def _packet_times(path: Path) -> tuple[list[int], int, list[int]]:
    """Every picture packet's pts, the duration of the last one shown (0 if not given), and the key frames' pts."""
    pts: list[int] = []
    keys: list[int] = []
    last, last_duration = -1, 0
    try:
        with av.open(str(path)) as container:
            for packet in container.demux(container.streams.video[0]):
                if packet.pts is None:
                    continue
                pts.append(packet.pts)
                if packet.is_keyframe:
                    keys.append(packet.pts)
                if packet.pts > last:
                    last, last_duration = packet.pts, packet.duration or 0
    except av.error.FFmpegError:
        pass  # what could be read is judged against the stated length by the caller
    return pts, last_duration, keys


def _first_frame(path: Path, container: Any, stream: Any) -> Any:
    try:
        for frame in container.decode(stream):
            if frame.pts is not None:
                return frame
    except av.error.FFmpegError as e:
        raise FootageError(
            f"The pictures of {path} cannot be decoded; convert it to MP4 (H.264) and try again."
        ) from e
    raise FootageError(f"{path} holds no pictures that can be read; copy it from the camera again.")
