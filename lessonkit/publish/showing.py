"""The pictures of each piece, in their order: footage as it runs, slowly or fast, stills that grow, cards, clips."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import cast

from lessonkit.footage.reader import OpenFootage, open_footage
from lessonkit.lesson.badge import speed_badge
from lessonkit.lesson.burning import Burner
from lessonkit.lesson.cards import (
    ANIMATED_FPS,
    SHINE,
    Words,
    background,
    card_pictures,
    card_words,
    table_pages,
    title_words,
)
from lessonkit.lesson.cursor import Cursor
from lessonkit.lesson.cutlist import CutList, Piece
from lessonkit.lesson.drawn_table import DrawnTable
from lessonkit.lesson.logo import logo_overlay
from lessonkit.lesson.picture import Box, Picture
from lessonkit.lesson.plan_scene import plan_still
from lessonkit.lesson.play_scene import Play
from lessonkit.lesson.result_scene import result_still
from lessonkit.lesson.scene import Set, pen_for, set_up
from lessonkit.lesson.settings import Settings
from lessonkit.lesson.stills import Stills
from lessonkit.lesson.style import own_inks
from lessonkit.lesson.view import Diagram, Shape, make_view
from lessonkit.model import Analysis, Shot
from lessonkit.publish.encoder import Form
from lessonkit.publish.stills import Beside

CARDS = ("title", "table", "next")
Pictures = Iterator[tuple[Picture, int]]
"""Pictures, each with the number of frames that it stands."""


class Showing:
    """Makes the pictures of pieces; best asked in the lesson's order, for the footage is then read once."""

    def __init__(
        self, source: OpenFootage, analysis: Analysis, cuts: CutList, settings: Settings, form: Form,
        beside: Beside | None,
    ) -> None:  # fmt: skip
        self.began_s: float | None = None
        """Footage time of the first frame of the piece shown last, if footage runs in it."""
        self._source, self._analysis, self._cuts = source, analysis, cuts
        self._settings, self._form, self._beside = settings, form, beside
        self._cursor = Cursor(source)
        look = settings.look
        self._view = make_view(analysis, form.size, cast(Shape, look.shape), cast(Diagram, look.diagram))
        self._stills = Stills(source, analysis, self._cursor, self._view)
        self._drawn = DrawnTable(self._view, analysis) if look.diagram == "alone" else None
        self._logo = logo_overlay(settings.logo, form.size)
        self._burner = Burner(cuts.cues, form.size, form.rate) if settings.captions.burn else None
        self._shots = {s.seen.number: s for s in analysis.shots}
        self._set: Set | None = None
        self._base = Picture(2, 2)
        self._ground: Picture | None = None

    def also_depends(self, piece: Piece) -> str:
        """What a piece depends on beside itself: the shot's headlines, and stills that the lesson does not show."""
        words = sorted(self._headlines(piece.shot).items()) if piece.shot is not None else []
        burnt = self._burner.words(piece) if self._burner is not None else []
        return str((words, self._missing(piece) if self._beside is not None else [], burnt))

    def _headlines(self, shot: int | None) -> dict[str, str]:
        return {str(p.kind): p.headline for p in self._cuts.pieces if p.shot == shot and p.headline}

    def pictures(self, piece: Piece, frames: int) -> Pictures:
        """The pictures of one piece, `frames` frames in all. Raises FootageError where the footage cannot be read."""
        made = self._marked(piece, frames)
        if self._burner is None:
            return made
        return self._burner.over(made, round(piece.start_s * self._form.rate))

    def _marked(self, piece: Piece, frames: int) -> Pictures:
        """The pictures with the person's logo where it is wanted."""
        self.began_s = None
        made = {
            "play": self._moving, "replay": self._moving, "skip": self._moving, "plan": self._still,
            "result": self._still, "clip": self._clip,
        }.get(piece.kind, self._card)(piece, frames)  # fmt: skip
        logo = self._logo
        plain = piece.kind == "clip" or (piece.kind not in CARDS and not self._logo_box())
        if logo is None or plain:
            yield from made
            return
        last: tuple[Picture, Picture] | None = None
        for picture, repeat in made:
            if last is None or last[0] is not picture:
                last = (picture, picture.copy())
                last[1].lay(logo)
            yield last[1], repeat

    def _scene(self, shot: Shot) -> Set:
        """The shot's set, made on its first piece and kept while its pieces last."""
        if self._set is None or self._set.shot is not shot:
            self._base = self._stills.before(shot.seen)
            pen = pen_for(self._analysis, self._base, self._view)
            own = self._settings.colours
            pen = replace(pen, inks=own_inks(pen.inks, own.planned, own.actual, own.aim))
            self._set = set_up(
                self._analysis, shot, pen, self._headlines(shot.seen.number), self._logo_box(), view=self._view,
                max_routes=self._settings.look.routes,
            )  # fmt: skip
        if self._beside is not None:
            self._beside.layout(self._base, self._view.camera)
        return self._set

    def _logo_box(self) -> list[Box]:
        """Where the logo lies on the pictures of shots."""
        return [self._logo.box] if self._logo is not None and self._settings.logo.show_on == "all" else []

    def _still(self, piece: Piece, frames: int) -> Pictures:
        shot = self._shots[piece.shot or 0]
        scene = self._scene(shot)
        still = (
            plan_still(scene, self._base, piece.steps)
            if piece.kind == "plan"
            else result_still(scene, self._stills.after(shot.seen), piece.steps)
        )
        each = max(1, round(self._form.rate / ANIMATED_FPS))
        for k in range(0, frames, each):
            yield still.at(k / frames), min(each, frames - k)
        if self._beside is not None:
            self._beside.still(shot.seen.number, piece.kind, still.at(1.0))

    def _moving(self, piece: Piece, frames: int) -> Pictures:
        """Footage as it runs: at every output frame the footage frame nearest in time; slowly, two frames blended."""
        shot = self._shots.get(piece.shot or 0)
        play = Play(self._scene(shot), self._base) if shot is not None else None
        if shot is not None and piece.kind == "play":
            self._stills.expect(shot.seen)
        badge = speed_badge(piece.speed, self._set if shot is not None else None, self._form.size)
        # sound begins at the time of the first frame shown, so that both stay together
        start_s = self.began_s = self._cursor.at(piece.source_start_s or 0.0).t_s
        step = Fraction(piece.speed).limit_denominator(1000) / self._form.rate
        drawn: tuple[float, Picture] | None = None
        for k in range(frames):
            now_s = start_s + float(k * step)
            if self._drawn is not None:
                t_s, picture = now_s, self._drawn.at(shot.seen if shot else None, now_s).copy()
            else:
                t_s, picture = self._at(now_s, piece.speed < 1, drawn)
            if drawn is None or drawn[1] is not picture:
                if play is not None:
                    play.draw(picture, t_s)
                if badge is not None:
                    picture.lay(badge)
                drawn = (t_s, picture)
            yield picture, 1
        self._keep_missing(piece)

    def _at(self, t_s: float, slow: bool, drawn: tuple[float, Picture] | None) -> tuple[float, Picture]:
        """The picture for a footage time, and its own time; that of `drawn` where it is the same again."""
        view = self._view
        if not slow:
            frame = self._cursor.at(t_s)
            if drawn is not None and drawn[0] == frame.t_s:
                return drawn
            return frame.t_s, view.picture(frame)
        a, b = self._cursor.around(t_s)
        share = (t_s - a.t_s) / (b.t_s - a.t_s) if b.t_s > a.t_s else 0.0
        share = min(max(share, 0.0), 1.0)
        if share < 0.02 or b is a:
            if drawn is not None and drawn[0] == a.t_s:
                return drawn
            return a.t_s, view.picture(a)
        return t_s, view.picture(a).mixed(view.picture(b), share)

    def _missing(self, piece: Piece) -> list[str]:
        """After a shot's first play, the stills that the lesson does not show."""
        plays = [p for p in self._cuts.pieces if p.shot == piece.shot and p.kind == "play"]
        if piece.shot is None or not plays or plays[0] is not piece:
            return []
        shown = {p.kind for p in self._cuts.pieces if p.shot == piece.shot}
        return [kind for kind in ("plan", "result") if kind not in shown]

    def _keep_missing(self, piece: Piece) -> None:
        if self._beside is None:
            return
        for kind in self._missing(piece):
            shot = self._shots[piece.shot or 0]
            scene = self._scene(shot)
            still = (
                plan_still(scene, self._base)
                if kind == "plan"
                else result_still(scene, self._stills.after(shot.seen))
            )
            self._beside.still(shot.seen.number, kind, still.at(1.0))

    def _clip(self, piece: Piece, frames: int) -> Pictures:
        """The person's own clip, fitted into the picture."""
        with ExitStack() as stack:
            clip = stack.enter_context(open_footage(Path(piece.file or "")))
            cursor = Cursor(clip)
            start_s = self.began_s = cursor.at(piece.source_start_s or 0.0).t_s
            last: tuple[float, Picture] | None = None
            for k in range(frames):
                frame = cursor.at(start_s + float(k / self._form.rate) * piece.speed)
                if last is None or last[0] != frame.t_s:
                    last = (frame.t_s, Picture.fitted(frame, *self._form.size))
                yield last[1], 1

    def _card(self, piece: Piece, frames: int) -> Pictures:
        if self._ground is None:
            first = self._analysis.shots[0].seen if self._analysis.shots else None
            self._ground = self._stills.before(first) if first is not None else self._stills.first()
        ground = background(self._ground, SHINE if piece.kind == "title" else SHINE / 2)
        pages = self._pages(piece)
        shown = 0
        for i, words in enumerate(pages):
            count = frames * (i + 1) // len(pages) - shown
            shown += count
            if count > 0:
                yield from card_pictures(ground, words, float(self._form.rate), count)

    def _pages(self, piece: Piece) -> list[list[Words]]:
        size, own = self._form.size, piece.text
        if piece.kind == "table":
            heading = own[0] if own and own[0] else "The shots"
            return table_pages(self._analysis, *size, heading)
        if piece.kind == "next":
            return [card_words(own or (), *size)]
        return [title_words(self._analysis, *size, own)]
