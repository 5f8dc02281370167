"""The one video encoder: each piece of the lesson becomes an H.264 file of its own, made so that they can be joined.

with Encoder(form) as encoder:
    encoder.begin(path)
    encoder.picture(picture, 3)
    encoder.end({"what": "it was made from"})

Every piece begins with a key frame and has the same settings, so that joining copies what was encoded. A picture that
stands for long is encoded once: a run of its frames, from key frame to last, is repeated as it is.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from queue import Queue
from threading import Thread
from types import TracebackType
from typing import Any

import av

from lessonkit.errors import FolderError
from lessonkit.folder import beside_of, write_text
from lessonkit.lesson.picture import Picture

KEYFRAME_EVERY_S = 2.0
"""So that players seek quickly."""
HELD_S = 1.0
"""Longest run of a still that is encoded before it is repeated: shorter costs bytes, longer costs time."""
AHEAD = 6
"""Pictures that may wait for encoding while the next ones are decoded and drawn; bounds memory."""
_BT709 = 1  # FFmpeg's number for primaries, transfer and matrix alike
_STUDIO_RANGE = 1


@dataclass(frozen=True)
class Form:
    """What all pieces of one lesson have in common."""

    size: tuple[int, int]
    """Width and height, even."""
    rate: Fraction
    crf: str = "20"
    preset: str = "veryfast"
    """Quality at which x264's losses are hard to see, at a speed that keeps up with decoding (docs/decisions.md)."""

    @property
    def key_frames(self) -> int:
        """Most frames from one key frame to the next."""
        return max(1, round(KEYFRAME_EVERY_S * self.rate))


class Encoder:
    """Writes pieces one after the other; leave the `with` block to make the last of them whole.

    Encoding goes on beside the caller, who must not change a picture once it is handed over; what goes wrong there is
    raised from a later call. A piece that was not ended leaves no file.
    """

    def __init__(self, form: Form) -> None:
        self.form = form
        self.frames = 0
        """Frames of the present piece handed over so far."""
        self._pattern = _pattern(form)
        self._piece: _Piece | None = None
        self._run: tuple[Picture, int] | None = None
        self._failed: BaseException | None = None
        self._waiting: Queue[Callable[[], None] | None] = Queue(AHEAD)
        self._worker = Thread(target=self._work, name="encoder", daemon=True)
        self._worker.start()

    def begin(self, path: Path) -> None:
        """Begin a piece, which gets under its name when it is whole. Raises FolderError when it cannot be written."""
        self.frames = 0
        self._piece = _Piece(path, self.form, self._pattern.streams.video[0])

    def picture(self, picture: Picture, repeat: int = 1) -> None:
        """Append a picture, shown for `repeat` frames."""
        self.frames += repeat
        if self._run is not None and self._run[0] is picture:
            self._run = (picture, self._run[1] + repeat)
            return
        self._hand_over()
        self._run = (picture, repeat)

    def end(self, about: dict[str, Any]) -> None:
        """The piece is complete; `about` is kept in it (see `read_about`)."""
        self._hand_over()
        piece, about = self._piece, about | {"frames": self.frames}
        if piece is not None:
            self._do(lambda: piece.finish(about))
        self._piece = None

    def _hand_over(self) -> None:
        piece, run, self._run = self._piece, self._run, None
        if piece is not None and run is not None:
            self._do(lambda: piece.add(*run))

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

    def close(self) -> None:
        """Wait until all is written."""
        if self._worker.is_alive():
            self._waiting.put(None)
            self._worker.join()
        if self._failed is not None:
            raise self._failed

    def __enter__(self) -> Encoder:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.close()
            return
        self._failed = self._failed or error  # what still waits is dropped
        self._waiting.put(None)
        self._worker.join()
        if self._piece is not None:
            self._piece.drop()


def _pattern(form: Form) -> Any:
    """An open file of one black picture: what the pieces' streams are like."""
    content = io.BytesIO()
    frame = av.VideoFrame(*form.size, "yuv420p")
    for k, plane in enumerate(frame.planes):
        plane.update(bytes([128 if k else 16]) * plane.buffer_size)
    # bare H.264, for there the stream's headers have the form that the codec gives them, which is not an MP4's
    with av.open(content, "w", format="h264") as container:
        stream = container.add_stream("libx264", rate=form.rate)
        _settle(stream.codec_context, form)
        stream.codec_context.flags &= ~int(av.codec.context.Flags.global_header)
        frame.pts, frame.time_base = 0, 1 / form.rate
        container.mux([*stream.encode(frame), *stream.encode(None)])
    content.seek(0)
    return av.open(content, format="h264")


def codec(form: Form) -> Any:
    """An H.264 encoder for the form; equal forms give equal stream headers."""
    context = av.CodecContext.create("libx264", "w")
    _settle(context, form)
    return context


def _settle(context: Any, form: Form) -> None:
    context.width, context.height = form.size
    context.pix_fmt = "yuv420p"
    context.time_base = 1 / form.rate
    context.framerate = form.rate
    context.options = {"crf": form.crf, "preset": form.preset, "g": str(form.key_frames)}
    context.color_primaries = context.color_trc = context.colorspace = _BT709
    context.color_range = _STUDIO_RANGE
    context.thread_type = "AUTO"
    context.flags |= av.codec.context.Flags.global_header


class _Piece:
    """One file in the making; used by the encoder's worker only, but for its beginning and dropping."""

    def __init__(self, path: Path, form: Form, pattern: Any) -> None:
        self._path, self._form = path, form
        self._part = beside_of(path)
        try:
            self._container = av.open(str(self._part), "w", format="mp4")
        except av.error.FFmpegError as e:
            raise FolderError(f"{path.name} cannot be written to {path.parent}: {e.strerror}.") from e
        self._stream = self._container.add_stream_from_template(pattern)
        self._stream.time_base = 1 / form.rate
        # Each codec holds many pictures, so it is made when it is needed, and there is one at a time.
        self._codec: Any = None
        self._begins = 0
        """Frame of the piece with which the present codec began."""
        self._given = 0
        self._muxed = 0
        self._closed = False

    def add(self, picture: Picture, count: int) -> None:
        """Append `count` frames of one picture."""
        frame = av.VideoFrame.from_numpy_buffer(picture.i420, format="yuv420p")
        frame.time_base = 1 / self._form.rate
        frame.color_primaries = frame.color_trc = frame.colorspace = _BT709
        frame.color_range = _STUDIO_RANGE
        times = -(-count // max(1, round(HELD_S * self._form.rate)))
        if times < 2:
            self._encode(frame, count)
            return
        run = count // times
        self._encode(frame, count - times * run)
        self._flush()
        self._encode_once(frame, run, times)

    def _encode(self, frame: Any, count: int) -> None:
        for _ in range(count):
            frame.pts = self._given - self._begins
            frame.pict_type = 0
            self._mux(self._coded(frame), self._begins)
            self._given += 1

    def _encode_once(self, frame: Any, run: int, times: int) -> None:
        """A closed run of frames, encoded once and written `times` times."""
        packets: list[Any] = []
        for k in range(run):
            frame.pts, frame.pict_type = k, 0
            packets += self._coded(frame)
        packets += self._codec.encode(None)
        for n in range(times):
            copies = [_copy(p) for p in packets] if n < times - 1 else packets
            self._mux(copies, self._given)
            self._given += run
        self._codec, self._begins = None, self._given

    def _flush(self) -> None:
        if self._given > self._begins:
            self._mux(self._codec.encode(None), self._begins)
            self._codec, self._begins = None, self._given

    def _coded(self, frame: Any) -> Any:
        """Packets that are ready after one more frame."""
        if self._codec is None:
            self._codec = codec(self._form)
        return self._codec.encode(frame)

    def _mux(self, packets: Sequence[Any], offset: int) -> None:
        for packet in packets:
            packet.stream = self._stream
            packet.time_base = 1 / self._form.rate
            packet.pts += offset
            packet.dts = self._muxed - REORDERED
            packet.duration = 1
            self._muxed += 1
            self._container.mux(packet)

    def finish(self, about: dict[str, Any]) -> None:
        """Write what is left, and give the file its name."""
        try:
            self._flush()
            self._container.close()
            self._closed = True
            self._part.replace(self._path)
            write_text(self._path.with_suffix(".json"), json.dumps(about))
        except OSError as e:
            self.drop()
            raise FolderError(f"{self._path.name} could not be written to {self._path.parent} ({e.strerror or e}); "
                              "free some space or give --out another folder.") from e  # fmt: skip
        except BaseException:
            self.drop()
            raise

    def drop(self) -> None:
        """Leave no file."""
        if not self._closed:
            self._closed = True
            with suppress(av.error.FFmpegError, OSError):  # the file goes anyway
                self._container.close()
        self._part.unlink(missing_ok=True)


REORDERED = 2
"""Frames by which decoding runs ahead of showing, at most: x264's default of three B frames in a pyramid."""


def _copy(packet: Any) -> Any:
    other = av.Packet(bytes(packet))
    other.pts, other.is_keyframe = packet.pts, packet.is_keyframe
    return other


def read_about(path: Path) -> dict[str, Any] | None:
    """What was kept beside a piece when it was ended; None where there is no whole piece."""
    try:
        about = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return about if isinstance(about, dict) and path.is_file() else None
