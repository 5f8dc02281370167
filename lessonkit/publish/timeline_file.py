"""The cut list as OpenTimelineIO (an open interchange format of the Academy Software Foundation), to finish elsewhere.

One picture track and one sound track. Footage comes as clips with the ranges used and, where it does not run at its own
speed, a time warp; stills as freeze frames of the footage. Cards and drawings do not exist outside the lesson: they
are named by generator references, so that an editor shows where they belong.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Any

from lessonkit.errors import LessonkitError
from lessonkit.folder import write_text
from lessonkit.lesson.cutlist import CutList, Piece, output_rate
from lessonkit.lesson.phrases import ball_name, cushion_name, headline, pocket_name
from lessonkit.model import Analysis, Event, Shot

SPACE = "lessonkit"
"""Our own place in the objects' metadata."""


def check_installed() -> None:
    """Raises LessonkitError where the package is missing."""
    if importlib.util.find_spec("opentimelineio") is None:
        raise LessonkitError(
            "--export needs the package opentimelineio; install it with `pip install opentimelineio`."
        )


def write_timeline(cuts: CutList, analysis: Analysis, footage: Path, path: Path) -> None:
    """Write an .otio file. Raises FolderError where it cannot be written, LessonkitError without the package."""
    check_installed()
    write_text(path, timeline(cuts, analysis, footage).to_json_string(indent=1) + "\n")


def timeline(cuts: CutList, analysis: Analysis, footage: Path) -> Any:
    """The opentimelineio Timeline of a cut list; all times at the lesson's frame rate."""
    import opentimelineio as otio

    maker = _Maker(analysis, footage)
    line = otio.schema.Timeline(name=analysis.head.title or "Straight pool")
    line.global_start_time = maker.time(0.0)
    pictures = otio.schema.Track(name="pictures", kind=otio.schema.TrackKind.Video)
    sounds = otio.schema.Track(name="sound", kind=otio.schema.TrackKind.Audio)
    for piece in cuts.pieces:
        pictures.append(maker.picture(piece))
        sounds.append(maker.sound(piece))
    line.tracks.append(pictures)
    line.tracks.append(sounds)
    marks: list[tuple[float, float, str, str, dict[str, Any]]] = [
        (c.start_s, c.end_s, c.title, "chapter", {}) for c in cuts.chapters
    ]
    marks += [(c.start_s, c.end_s, c.text.replace("\n", " "), "caption", {}) for c in cuts.cues]
    marks += [
        (x.at_s, x.at_s, f"{x.source_end_s - x.source_start_s:.1f} s left out", "left out",
         {"from_s": x.source_start_s, "to_s": x.source_end_s})
        for x in cuts.left_out
    ]  # fmt: skip
    line.tracks.markers.extend(maker.marker(*m) for m in marks)
    return line


def _happened(event: Event) -> str:
    if event.kind == "pocket":
        return f"{ball_name(event.balls[0])} drops" + (
            f", {pocket_name(event.pocket)}" if event.pocket else ""
        )
    if event.kind == "cushion":
        where = cushion_name(event.cushion) if event.cushion else "a cushion"
        return (
            f"{ball_name(event.balls[0])} meets the {where}"
            if event.cushion
            else f"{ball_name(event.balls[0])} meets {where}"
        )
    return " meets ".join(ball_name(b) for b in event.balls)


class _Maker:
    """Makes the parts of one timeline."""

    def __init__(self, analysis: Analysis, footage: Path) -> None:
        import opentimelineio as otio

        self._otio = otio
        self._rate = float(output_rate(analysis.footage))
        self._shots = {s.seen.number: s for s in analysis.shots}
        self._target = footage.resolve().as_uri()
        self._length_s = analysis.footage.duration_s

    def time(self, t_s: float) -> Any:
        """A time in frames of the lesson, to the thousandth of a frame."""
        return self._otio.opentime.RationalTime(round(t_s * self._rate, 3), self._rate)

    def span(self, start_s: float, length_s: float) -> Any:
        """A range of time."""
        return self._otio.opentime.TimeRange(self.time(start_s), self.time(length_s))

    def marker(self, start_s: float, end_s: float, name: str, what: str, more: dict[str, Any]) -> Any:
        """A named place."""
        return self._otio.schema.Marker(
            name=name,
            marked_range=self.span(start_s, end_s - start_s),
            metadata={SPACE: {"what": what, **more}},
        )

    def _file(self, target: str, length_s: float) -> Any:
        return self._otio.schema.ExternalReference(target, self.span(0.0, length_s))

    def picture(self, piece: Piece) -> Any:
        """The picture of one piece."""
        o = self._otio.schema
        shot = self._shots.get(piece.shot or 0)
        name = piece.headline or (f"{headline(shot)} ({piece.kind})" if shot else piece.kind)
        about: dict[str, Any] = {"kind": piece.kind, "shot": piece.shot, "say": piece.say}
        if piece.steps is not None:
            about["draw"] = {s.what: s.at for s in piece.steps}
        if piece.source_start_s is None:
            reference = o.GeneratorReference(
                name=piece.kind, generator_kind="card", available_range=self.span(0.0, piece.duration_s),
                parameters={"text": list(piece.text or ())},
            )  # fmt: skip
            return o.Clip(
                name=name,
                media_reference=reference,
                source_range=self.span(0.0, piece.duration_s),
                metadata={SPACE: about},
            )
        if piece.kind == "clip":
            reference = self._file(Path(piece.file or "").resolve().as_uri(), piece.source_end_s or 0.0)
        else:
            reference = self._file(self._target, self._length_s)
        clip = o.Clip(
            name=name, media_reference=reference, source_range=self.span(piece.source_start_s, piece.duration_s),
            metadata={SPACE: about},
        )  # fmt: skip
        if piece.source_end_s is None:
            clip.effects.append(o.FreezeFrame())
        elif piece.speed != 1.0:
            # the range of a warped clip is what it fills; the scalar says how fast its media runs
            clip.effects.append(o.LinearTimeWarp(name=f"x {piece.speed:g}", time_scalar=piece.speed))
        if shot is not None and piece.source_end_s is not None:
            clip.markers.extend(self._happenings(shot, piece))
        return clip

    def _happenings(self, shot: Shot, piece: Piece) -> list[Any]:
        """Strike, contacts and drops that the piece shows, in footage time."""
        all_of = [(shot.seen.strike_s, "strike"), *((e.t_s, _happened(e)) for e in shot.seen.events)]
        start_s, end_s = piece.source_start_s or 0.0, piece.source_end_s or 0.0
        return [self.marker(t, t, words, "event", {}) for t, words in all_of if start_s <= t <= end_s]

    def sound(self, piece: Piece) -> Any:
        """The sound of one piece: the footage's own while it runs at its speed, else nothing."""
        o = self._otio.schema
        if piece.source_end_s is None or piece.speed != 1.0 or piece.source_start_s is None:
            return o.Gap(source_range=self.span(0.0, piece.duration_s))
        own = piece.kind == "clip"
        target = Path(piece.file or "").resolve().as_uri() if own else self._target
        reference = self._file(target, piece.source_end_s if own else self._length_s)
        return o.Clip(
            name=piece.kind,
            media_reference=reference,
            source_range=self.span(piece.source_start_s, piece.duration_s),
        )
