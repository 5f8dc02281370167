"""lesson.mp4: the cut list's pieces, each drawn and encoded once, then joined with sound, captions and chapters.

Frames go from the decoder through the drawing to the encoder, which works beside them, a few at a time, so memory does
not grow with the footage; a still is drawn once however long it stands, and the footage is read once, in its order.
Finished pieces are kept under the name of what they were made from: a rendering that was stopped goes on after them.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import cast

import av

from lessonkit.errors import FolderError
from lessonkit.footage.reader import OpenFootage, open_footage
from lessonkit.lesson.cutlist import CutList, Piece, output_rate
from lessonkit.lesson.laying import of_shot
from lessonkit.lesson.phrases import headline
from lessonkit.lesson.settings import Settings
from lessonkit.lesson.text import use_fonts
from lessonkit.lesson.view import Shape, picture_size
from lessonkit.model import Analysis
from lessonkit.publish.caption_files import write_srt, write_vtt
from lessonkit.publish.encoder import Encoder, Form, read_about
from lessonkit.publish.joining import Samples, join
from lessonkit.publish.piece_keys import PieceKeys
from lessonkit.publish.showing import Showing
from lessonkit.publish.sound import footage_sound
from lessonkit.publish.stills import Beside

Progress = Callable[[float], None]
"""Called now and then with the share done, 0-1."""
SoundOf = Callable[[OpenFootage, CutList], Iterator[Samples]]
"""The lesson's sound: stereo samples at 48 kHz, parts of shape (n, 2). The pieces it gets begin with frames' own times."""

PIECES = ".pieces"
"""Folder, within the lesson's, of the pieces made so far."""
DRAFT_LONG_PX, DRAFT_SHORT_PX = 640, 360
_JOINING = 0.04
"""Share of the work that joining takes, about."""
_CLIP = re.compile(r"shot-\d{2,}\.(mp4|srt|vtt)")
_KEPT = re.compile(r"\d+x\d+-\d+-[0-9a-f]{32}\.(mp4|json)")


@dataclass(frozen=True)
class Rendered:
    """The pieces of a lesson, encoded and not yet joined."""

    form: Form
    cuts: CutList
    """As rendered: what moves begins with the time of the frame shown first."""
    files: tuple[Path, ...]
    """One for each piece of `cuts`."""


def form_of(analysis: Analysis, *, draft: bool = False, shape: str = "footage") -> Form:
    """Size, rate and quality of a lesson of a shape (see lesson.view); a draft is small and coarse, so that it is made
    soon."""
    rate = output_rate(analysis.footage)
    wanted = cast(Shape, shape)
    if not draft:
        return Form(picture_size(analysis, wanted), rate)
    small = picture_size(analysis, wanted, longest=DRAFT_LONG_PX, shortest=DRAFT_SHORT_PX)
    return Form(small, rate, "28", "ultrafast")


def render(
    footage: Path, analysis: Analysis, cuts: CutList, out: Path, *, progress: Progress | None = None,
    beside: Beside | None = None, settings: Settings | None = None, draft: bool = False, keep: Path | None = None,
    sound: SoundOf = footage_sound, clips: Path | None = None,
) -> None:  # fmt: skip
    """Write the lesson's video to `out`, whole or not at all; `beside` gets the stills of every shot in passing.

    `keep` is the folder in which finished pieces stay for the next time; None: they do not. `clips` is a folder that
    gets every shot as a video of its own with its captions.
    Raises FootageError when the footage cannot be read, FolderError when `out` cannot be written.
    """
    with ExitStack() as stack:
        source = stack.enter_context(open_footage(footage))
        if not out.parent.is_dir():
            raise FolderError(f"{out.name} cannot be written to {out.parent}: there is no such folder.")
        home = keep or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="lessonkit-")))
        tell = progress or (lambda _: None)
        done = render_pieces(
            source, analysis, cuts, home, progress=lambda p: tell(p * (1 - _JOINING)), beside=beside,
            settings=settings, draft=draft,
        )  # fmt: skip
        join(
            done.files, done.cuts, out, form=done.form, title=analysis.head.title or "Straight pool",
            sound=sound(source, done.cuts), progress=lambda p: tell(1 - _JOINING + p * _JOINING),
        )  # fmt: skip
        if clips is not None:
            write_clips(source, analysis, done, clips, sound)
        tell(1.0)


def write_clips(
    source: OpenFootage, analysis: Analysis, done: Rendered, folder: Path, sound: SoundOf
) -> list[Path]:
    """shot-01.mp4 and so on, each with .srt and .vtt of its captions, joined from the lesson's own pieces."""
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    for shot in analysis.shots:
        cuts, which = of_shot(done.cuts, shot)
        if not which:
            continue
        path = folder / f"shot-{shot.seen.number:02d}.mp4"
        files = [done.files[k] for k in which]
        join(files, cuts, path, form=done.form, title=headline(shot), sound=sound(source, cuts))
        write_srt(cuts.cues, path.with_suffix(".srt"))
        write_vtt(cuts.cues, path.with_suffix(".vtt"))
        written.append(path)
    for old in folder.iterdir():
        if _CLIP.fullmatch(old.name) and old.with_suffix(".mp4") not in written:
            old.unlink()
    return written


def render_pieces(
    source: OpenFootage, analysis: Analysis, cuts: CutList, home: Path, *, progress: Progress | None = None,
    beside: Beside | None = None, settings: Settings | None = None, draft: bool = False,
) -> Rendered:  # fmt: skip
    """Make all pieces that are not in the folder `home` from an earlier time; pieces no longer needed there go.

    Raises FootageError when the footage cannot be read, FolderError when the folder cannot be written.
    """
    s = settings or Settings()
    use_fonts(s.fonts.bold, s.fonts.regular)
    form = form_of(analysis, draft=draft, shape=s.look.shape)
    try:
        home.mkdir(parents=True, exist_ok=True)
        with Encoder(form) as encoder:
            work = _Work(source, analysis, cuts, s, home, encoder, progress or (lambda _: None), beside)
            files = [work.piece(p) for p in cuts.pieces]
    except av.error.OSError as e:
        raise FolderError(f"The lesson could not be written to {home.parent} ({e.strerror}); free some space "
                          "or give --out another folder.") from e  # fmt: skip
    shown = [(read_about(f) or {}).get("source_start_s") for f in files]
    pieces = tuple(_begins(p, start_s) for p, start_s in zip(cuts.pieces, shown, strict=True))
    _clear(home, files)
    return Rendered(form, replace(cuts, pieces=pieces), tuple(files))


def _begins(piece: Piece, start_s: float | None) -> Piece:
    """The piece with the time of the frame that it really begins with."""
    if start_s is None or piece.source_start_s is None or piece.source_end_s is None:
        return piece
    return replace(
        piece, source_start_s=start_s, source_end_s=piece.source_end_s + start_s - piece.source_start_s
    )


def _clear(home: Path, files: list[Path]) -> None:
    """Drop pieces of this size and quality that the lesson no longer has, and what a killed run left half done."""
    needed = {n for f in files for n in (f.name, f.with_suffix(".json").name)}
    prefix = files[0].name.rpartition("-")[0] if files else ""
    for old in home.iterdir():
        stale = _KEPT.fullmatch(old.name) and old.name.rpartition("-")[0] == prefix and old.name not in needed
        if stale or (old.name.startswith(".") and ".part." in old.name):
            old.unlink(missing_ok=True)


class _Work:
    """One rendering in progress."""

    def __init__(
        self, source: OpenFootage, analysis: Analysis, cuts: CutList, settings: Settings, home: Path, encoder: Encoder,
        progress: Progress, beside: Beside | None,
    ) -> None:  # fmt: skip
        self._encoder, self._home, self._progress, self._beside = encoder, home, progress, beside
        form = encoder.form
        self._showing = Showing(source, analysis, cuts, settings, form, beside)
        self._keys = PieceKeys(source.path, analysis, settings, form, str(beside is not None))
        self._rate = form.rate
        self._prefix = f"{form.size[0]}x{form.size[1]}-{form.crf}-"
        self._paths = {id(p): self._path(p) for p in cuts.pieces}
        self._kept = {
            path: about for path in set(self._paths.values()) if (about := read_about(path)) is not None
        }
        self._total = max(
            1, sum(self._frames(p) for p in cuts.pieces if self._paths[id(p)] not in self._kept)
        )
        self._done = 0

    def _path(self, piece: Piece) -> Path:
        key = self._keys.key(piece, self._showing.also_depends(piece))
        return self._home / f"{self._prefix}{key}.mp4"

    def _frames(self, piece: Piece) -> int:
        return max(1, round(piece.end_s * self._rate) - round(piece.start_s * self._rate))

    def piece(self, piece: Piece) -> Path:
        """The file of a piece: from an earlier time, or made now."""
        path, frames = self._paths[id(piece)], self._frames(piece)
        about = self._kept.get(path)
        if about is not None and (self._beside is None or self._beside.has(about.get("stills", {}))):
            return path
        if self._beside is not None:
            self._beside.fresh = {}
        self._encoder.begin(path)
        told = 0
        for picture, repeat in self._showing.pictures(piece, frames):
            self._encoder.picture(picture, repeat)
            if self._encoder.frames - told >= self._rate / 2:
                told = self._encoder.frames
                self._progress(min(1.0, (self._done + told) / self._total))
        stills = dict(self._beside.fresh) if self._beside is not None else {}
        about = {"source_start_s": self._showing.began_s, "stills": stills}
        self._encoder.end(about)
        self._kept[path] = about
        self._done += frames
        self._progress(min(1.0, self._done / self._total))
        return path
