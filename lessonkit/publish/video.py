"""lesson.mp4: the cut list's pieces, one after the other, through one encoder.

Frames go from the decoder through the drawing to the encoder, which works beside them, a few at a time, so memory does
not grow with the footage; a still is drawn once however long it stands, and the footage is read once, in its order.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

import av

from lessonkit import folder
from lessonkit.errors import FolderError
from lessonkit.footage.reader import OpenFootage, open_footage
from lessonkit.lesson.cards import ANIMATED_FPS, SHINE, background, card_pictures, table_pages, title_words
from lessonkit.lesson.cursor import Cursor
from lessonkit.lesson.cutlist import CutList, Piece, output_rate
from lessonkit.lesson.picture import Picture
from lessonkit.lesson.plan_scene import plan_still
from lessonkit.lesson.play_scene import Play
from lessonkit.lesson.result_scene import result_still
from lessonkit.lesson.scene import Set, pen_for, set_up
from lessonkit.lesson.stills import Stills
from lessonkit.model import Analysis, Shot
from lessonkit.publish.encoder import Encoder
from lessonkit.publish.sound import played, silence
from lessonkit.publish.stills import Beside

Progress = Callable[[float], None]
"""Called now and then with the share done, 0-1."""


def render(
    footage: Path, analysis: Analysis, cuts: CutList, out: Path, *, progress: Progress | None = None,
    beside: Beside | None = None,
) -> None:  # fmt: skip
    """Write the lesson's video to `out`, whole or not at all; `beside` gets the stills of every shot in passing.

    Raises FootageError when the footage cannot be read, FolderError when `out` cannot be written.
    """
    with ExitStack() as stack:
        source = stack.enter_context(open_footage(footage))
        part = stack.enter_context(folder.whole(out))
        rate = output_rate(analysis.footage)
        cursor = Cursor(source)
        stills = Stills(source, analysis, cursor)
        title = analysis.head.title or "Straight pool"
        try:
            with Encoder(part, stills.size, rate, cuts=cuts, title=title) as encoder:
                rendering = _Render(source, cursor, analysis, cuts, stills, encoder)
                rendering.run(progress or (lambda _: None), beside)
        except av.error.OSError as e:
            raise FolderError(f"{out.name} could not be written to {out.parent} ({e.strerror}); free some space "
                              "or give --out another folder.") from e  # fmt: skip


class _Render:
    """One rendering in progress."""

    def __init__(
        self, source: OpenFootage, cursor: Cursor, analysis: Analysis, cuts: CutList, stills: Stills, encoder: Encoder
    ) -> None:  # fmt: skip
        self._source, self._cursor = source, cursor
        self._analysis, self._cuts = analysis, cuts
        self._stills, self._encoder = stills, encoder
        self._progress: Progress = lambda _: None
        self._beside: Beside | None = None
        self._shots = {s.seen.number: s for s in analysis.shots}
        self._set: Set | None = None
        self._base = Picture(2, 2)
        self._ground: Picture | None = None

    def run(self, progress: Progress, beside: Beside | None) -> None:
        """Write every piece."""
        self._progress, self._beside = progress, beside
        for piece in self._cuts.pieces:
            if piece.kind == "play":
                self._play(piece)
            elif piece.kind in ("plan", "result"):
                self._still(piece)
            else:
                self._card(piece)
            for part in silence(self._encoder.samples_due):
                self._encoder.sound(part)
            self._keep_missing(piece)
        self._progress(1.0)

    def _keep_missing(self, piece: Piece) -> None:
        """After a play, the stills that the lesson does not show."""
        if self._beside is None or piece.kind != "play":
            return
        shot = self._shots[piece.shot or 0]
        shown = {p.kind for p in self._cuts.pieces if p.shot == piece.shot}
        if "plan" not in shown:
            self._beside.still(shot.seen.number, "plan", plan_still(self._scene(shot), self._base).at(1.0))
        if "result" not in shown:
            still = result_still(self._scene(shot), self._stills.after(shot.seen))
            self._beside.still(shot.seen.number, "result", still.at(1.0))

    def _end_frame(self, piece: Piece) -> int:
        return round(piece.end_s * self._encoder.rate)

    def _tell(self) -> None:
        self._progress(min(1.0, self._encoder.time_s / max(1e-9, self._cuts.duration_s)))

    def _scene(self, shot: Shot) -> Set:
        """The shot's set, made on its first piece and kept while its pieces last."""
        if self._set is None or self._set.shot is not shot:
            self._base = self._stills.before(shot.seen)
            if self._beside is not None:
                self._beside.layout(self._base)
            self._set = set_up(self._analysis, shot, pen_for(self._analysis, self._base))
        return self._set

    def _still(self, piece: Piece) -> None:
        shot = self._shots[piece.shot or 0]
        scene = self._scene(shot)
        still = (
            plan_still(scene, self._base)
            if piece.kind == "plan"
            else result_still(scene, self._stills.after(shot.seen))
        )
        first, end = self._encoder.frames, self._end_frame(piece)
        each = max(1, round(self._encoder.rate / ANIMATED_FPS))
        for k in range(first, end, each):
            self._encoder.picture(still.at((k - first) / max(1, end - first)), min(each, end - k))
        if self._beside is not None:
            self._beside.still(shot.seen.number, piece.kind, still.at(1.0))
        self._tell()

    def _play(self, piece: Piece) -> None:
        """The shot at full speed: at every output frame the footage frame nearest in time."""
        shot = self._shots[piece.shot or 0]
        scene = self._scene(shot)
        play = Play(scene, self._base)
        self._stills.expect(shot.seen)
        first, end = self._encoder.frames, self._end_frame(piece)
        rate = self._encoder.rate
        # the piece's first output frame may lie a part of a frame after its stated start
        wanted = (piece.source_start_s or 0.0) + float(first / rate) - piece.start_s
        # sound begins at the time of the first frame shown, so that both stay together
        start_s = self._cursor.at(wanted).t_s
        drawn: tuple[float, Picture] | None = None
        for k in range(first, end):
            frame = self._cursor.at(start_s + float((k - first) / rate))
            if drawn is None or drawn[0] != frame.t_s:
                picture = Picture.from_frame(frame, *self._stills.size)
                play.draw(picture, frame.t_s)
                drawn = (frame.t_s, picture)
            self._encoder.picture(drawn[1])
            if k % 30 == 0:
                self._tell()
        for part in played(self._source, start_s, self._encoder.samples_due):
            self._encoder.sound(part)

    def _card(self, piece: Piece) -> None:
        if self._ground is None:
            first = self._analysis.shots[0].seen if self._analysis.shots else None
            self._ground = self._stills.before(first) if first is not None else self._stills.first()
        ground = background(self._ground, SHINE if piece.kind == "title" else SHINE / 2)
        size = self._stills.size
        pages = (
            [title_words(self._analysis, *size)]
            if piece.kind == "title"
            else table_pages(self._analysis, *size)
        )
        fps = float(self._encoder.rate)
        start, end = self._encoder.frames, self._end_frame(piece)
        for i, words in enumerate(pages):
            until = start + (end - start) * (i + 1) // len(pages)
            count = until - self._encoder.frames
            if count > 0:
                for picture, repeat in card_pictures(ground, words, fps, count):
                    self._encoder.picture(picture, repeat)
        self._tell()
