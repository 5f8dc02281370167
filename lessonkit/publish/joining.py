"""lesson.mp4 from its pieces: encoded pictures copied, sound encoded as it comes, captions and chapters beside them.

Nothing is held whole: pictures are copied packet by packet, and sound is asked for as far as the pictures have come.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import FolderError
from lessonkit.folder import whole
from lessonkit.lesson.cutlist import Chapter, Cue, CutList
from lessonkit.publish.encoder import REORDERED, Form

SAMPLE_RATE_HZ = 48000
SOUND_BITS_PER_S = 160_000
_MS = Fraction(1, 1000)

Samples = NDArray[np.float32]


def join(
    pieces: Sequence[Path], cuts: CutList, out: Path, *, form: Form, title: str, sound: Iterator[Samples],
    progress: Callable[[float], None] | None = None,
) -> None:  # fmt: skip
    """Write one MP4 of the pieces, in their order, which plays while it loads.

    Args:
        pieces: files made by `Encoder` with this form, one for each piece of `cuts`.
        sound: stereo samples at SAMPLE_RATE_HZ, parts of shape (n, 2), -1 to 1; cut, or filled with silence, to the
            pictures' length.
        progress: called now and then with the share done, 0-1.
    Raises FolderError when `out` cannot be written; an earlier file then stays as it was.
    """
    with whole(out) as part:
        try:
            with av.open(str(part), "w", format="mp4", options=_mux_options()) as container:
                _Joined(container, cuts, form, title, pieces[0]).write(pieces, sound, progress)
        except av.error.OSError as e:
            raise FolderError(f"{out.name} could not be written to {out.parent} ({e.strerror}); free some space "
                              "or give --out another folder.") from e  # fmt: skip


class _Joined:
    """One file in the making."""

    def __init__(self, container: Any, cuts: CutList, form: Form, title: str, first: Path) -> None:
        self._container, self._form, self._cuts = container, form, cuts
        container.metadata["title"] = title
        with av.open(str(first)) as piece:
            self._video = container.add_stream_from_template(piece.streams.video[0])
        self._video.time_base = 1 / form.rate
        self._audio = container.add_stream(
            "aac", rate=SAMPLE_RATE_HZ, layout="stereo", bit_rate=SOUND_BITS_PER_S
        )
        self._cues = _cue_stream(container) if cuts.cues else None
        self._pending = list(cuts.cues)
        container.set_chapters(_chapters(cuts.chapters))
        self._samples = 0

    def write(
        self, pieces: Sequence[Path], sound: Iterator[Samples], progress: Callable[[float], None] | None
    ) -> None:
        """Everything, in the order of time."""
        sound = _fitted(sound, round(Fraction(self._cuts.duration_s) * SAMPLE_RATE_HZ))
        muxed = begins = 0
        for path in pieces:
            with av.open(str(path)) as piece:
                stream = piece.streams.video[0]
                base = Fraction(stream.time_base or 1) * self._form.rate
                count = 0
                for packet in piece.demux(stream):
                    if packet.pts is None:
                        continue
                    packet.pts = begins + round(packet.pts * base)
                    packet.dts, packet.duration = muxed - REORDERED, 1
                    packet.time_base, packet.stream = 1 / self._form.rate, self._video
                    self._container.mux(packet)
                    muxed += 1
                    count += 1
                    self._until(float(muxed / self._form.rate), sound)
                begins += count
            if progress is not None:
                progress(min(1.0, float(begins / self._form.rate) / max(1e-9, self._cuts.duration_s)))
        self._until(float("inf"), sound)
        self._mux(self._audio.encode(None))

    def _until(self, t_s: float, sound: Iterator[Samples]) -> None:
        """Sound and captions up to a lesson time."""
        while self._samples < t_s * SAMPLE_RATE_HZ and (part := next(sound, None)) is not None:
            self._sound(part)
        while self._cues is not None and self._pending and self._pending[0].start_s <= t_s:
            self._container.mux(_cue_packet(self._pending.pop(0), self._cues))

    def _sound(self, samples: Samples) -> None:
        frame = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(samples.T, np.float32), format="fltp", layout="stereo"
        )
        frame.sample_rate = SAMPLE_RATE_HZ
        frame.time_base = Fraction(1, SAMPLE_RATE_HZ)
        frame.pts = self._samples
        self._samples += len(samples)
        self._mux(self._audio.encode(frame))

    def _mux(self, packets: Sequence[Any]) -> None:
        for packet in packets:
            self._container.mux(packet)


def _fitted(sound: Iterator[Samples], count: int) -> Iterator[Samples]:
    """Exactly `count` samples, in parts of a second at most."""
    given = 0
    for part in sound:
        for at in range(0, len(part), SAMPLE_RATE_HZ):
            here = part[at : at + SAMPLE_RATE_HZ][: count - given]
            given += len(here)
            if len(here):
                yield here
    while given < count:
        here = np.zeros((min(SAMPLE_RATE_HZ, count - given), 2), np.float32)
        given += len(here)
        yield here


def _mux_options() -> dict[str, str]:
    # Captions are far apart: let the muxer wait up to a minute (in microseconds) for one before it writes without,
    # which bounds what it holds back.
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
