"""The one encoder: H.264, AAC, captions and chapters into one MP4 that plays while it loads.

with Encoder(path, size, rate, cuts=cuts, title="…") as encoder:
    encoder.picture(picture, 3)
    encoder.sound(samples)
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Sequence
from fractions import Fraction
from pathlib import Path
from queue import Queue
from threading import Thread
from types import TracebackType
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import FolderError
from lessonkit.lesson.cutlist import Chapter, Cue, CutList
from lessonkit.lesson.picture import Picture

SAMPLE_RATE_HZ = 48000
CRF, PRESET = "20", "veryfast"
"""Quality at which x264's losses are hard to see, at a speed that keeps up with decoding (docs/decisions.md)."""
KEYFRAME_EVERY_S = 2.0
"""So that players seek quickly."""
AHEAD = 6
"""Pictures that may wait for encoding while the next ones are decoded and drawn; bounds memory."""
_MS = Fraction(1, 1000)
_BT709 = 1  # FFmpeg's number for primaries, transfer and matrix alike
_STUDIO_RANGE = 1


class Encoder:
    """Writes the lesson's file; close it (or leave the `with` block) to make it whole.

    Encoding goes on beside the caller, who must not change a picture once it is handed over; what goes wrong there is
    raised from the next call.
    """

    def __init__(
        self, path: Path, size: tuple[int, int], rate: Fraction, *, cuts: CutList, title: str
    ) -> None:
        self.rate = rate
        self._frames = 0
        self._samples = 0
        self._last: tuple[Picture, Any] | None = None
        self._chapter_frames = {round(c.start_s * rate) for c in cuts.chapters}
        try:
            self._container = av.open(str(path), "w", format="mp4", options=_mux_options())
        except av.error.FFmpegError as e:
            raise FolderError(f"{path.name} cannot be written to {path.parent}: {e.strerror}.") from e
        self._container.metadata["title"] = title
        self._video = self._video_stream(size)
        self._audio = self._container.add_stream(
            "aac", rate=SAMPLE_RATE_HZ, layout="stereo", bit_rate=160_000
        )
        self._cues = _cue_stream(self._container) if cuts.cues else None
        self._pending = list(cuts.cues)
        self._container.set_chapters(_chapters(cuts.chapters))
        self._written_samples = 0
        self._failed: BaseException | None = None
        self._waiting: Queue[Callable[[], None] | None] = Queue(AHEAD)
        self._worker = Thread(target=self._work, name="encoder", daemon=True)
        self._worker.start()

    def _video_stream(self, size: tuple[int, int]) -> Any:
        stream = self._container.add_stream(
            "libx264",
            rate=self.rate,
            options={"crf": CRF, "preset": PRESET, "g": str(round(KEYFRAME_EVERY_S * self.rate))},
        )
        stream.width, stream.height = size
        stream.pix_fmt = "yuv420p"
        context = stream.codec_context
        context.time_base = 1 / self.rate
        context.color_primaries = context.color_trc = context.colorspace = _BT709
        context.color_range = _STUDIO_RANGE
        context.thread_type = "AUTO"
        return stream

    @property
    def frames(self) -> int:
        """Frames written so far."""
        return self._frames

    @property
    def time_s(self) -> float:
        """Lesson time of the next frame."""
        return float(self._frames / self.rate)

    def picture(self, picture: Picture, repeat: int = 1) -> None:
        """Append a picture, shown for `repeat` frames."""
        if self._last is None or self._last[0] is not picture:
            frame = av.VideoFrame.from_numpy_buffer(picture.i420, format="yuv420p")
            frame.time_base = 1 / self.rate
            frame.color_primaries = frame.color_trc = frame.colorspace = _BT709
            frame.color_range = _STUDIO_RANGE
            self._last = (picture, frame)
        frame, first = self._last[1], self._frames
        self._frames += repeat
        self._do(lambda: self._encode(frame, first, repeat))

    def _encode(self, frame: Any, first: int, repeat: int) -> None:
        for k in range(first, first + repeat):
            frame.pts = k
            # a chapter begins with a key frame, so that a player jumps to exactly there
            frame.pict_type = 1 if k in self._chapter_frames else 0
            self._mux(self._video.encode(frame))

    def sound(self, samples: NDArray[np.float32]) -> None:
        """Append stereo samples at 48 kHz, shape (N, 2), -1 to 1."""
        if len(samples):
            self._samples += len(samples)
            self._do(lambda: self._encode_sound(samples))

    def _encode_sound(self, samples: NDArray[np.float32]) -> None:
        frame = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(samples.T, np.float32), format="fltp", layout="stereo"
        )
        frame.sample_rate = SAMPLE_RATE_HZ
        frame.time_base = Fraction(1, SAMPLE_RATE_HZ)
        frame.pts = self._written_samples
        self._written_samples += len(samples)
        self._mux(self._audio.encode(frame))
        self._captions_until(self._written_samples / SAMPLE_RATE_HZ)

    def _do(self, job: Callable[[], None]) -> None:
        """Hand a job to the worker."""
        if self._failed is not None:
            raise self._failed
        self._waiting.put(job)

    def _work(self) -> None:
        """Do the jobs in their order; after a failure the rest is dropped, so that nobody waits for room."""
        while (job := self._waiting.get()) is not None:
            if self._failed is None:
                try:
                    job()
                except BaseException as e:
                    self._failed = e
            self._waiting.task_done()

    def _stop(self) -> None:
        if self._worker.is_alive():
            self._waiting.put(None)
            self._worker.join()

    @property
    def samples_due(self) -> int:
        """How many samples are missing until the sound is as long as the pictures."""
        return round(Fraction(self._frames) / self.rate * SAMPLE_RATE_HZ) - self._samples

    def _captions_until(self, t_s: float) -> None:
        while self._cues is not None and self._pending and self._pending[0].start_s <= t_s:
            self._container.mux(_cue_packet(self._pending.pop(0), self._cues))

    def _mux(self, packets: Sequence[Any]) -> None:
        for packet in packets:
            self._container.mux(packet)

    def close(self) -> None:
        """Write what is left and the index, which goes to the front of the file."""
        self._stop()
        if self._failed is not None:
            self._container.close()
            raise self._failed
        self._captions_until(float("inf"))
        self._mux(self._video.encode(None))
        self._mux(self._audio.encode(None))
        self._container.close()

    def __enter__(self) -> Encoder:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.close()
        else:
            self._failed = error  # what still waits is dropped
            self._stop()
            self._container.close()


def _mux_options() -> dict[str, str]:
    # Pictures of a piece come before its sound, and captions are far apart: let the muxer wait up to a minute (in
    # microseconds) before it writes without them, which bounds what it holds back.
    return {"movflags": "+faststart", "max_interleave_delta": "60000000"}


def _cue_stream(container: Any) -> Any:
    stream = container.add_mux_stream("mov_text")
    stream.time_base = _MS
    stream.metadata["language"] = "eng"
    return stream


def _cue_packet(cue: Cue, stream: Any) -> Any:
    """One caption as 3GPP timed text: length (16 bits, big-endian), then UTF-8 (ETSI TS 126 245, section 5.17)."""
    text = cue.text.encode("utf-8")[:0xFFFF]
    packet = av.Packet(struct.pack(">H", len(text)) + text)
    packet.stream = stream
    packet.time_base = _MS
    packet.pts = packet.dts = round(cue.start_s * 1000)
    packet.duration = max(1, round(cue.end_s * 1000) - packet.pts)
    return packet


def _chapters(chapters: Sequence[Chapter]) -> Any:
    return [
        {
            "id": k,
            "start": round(c.start_s * 1000),
            "end": round(c.end_s * 1000),
            "time_base": _MS,
            "metadata": {"title": c.title},
        }
        for k, c in enumerate(chapters)
    ]
