"""From an analysis to the files of a lesson: settings, cut list, captions, chapters, report, video, clips, timeline.

A cut list that a person has changed is followed and left as it is; otherwise it is made from the analysis and written.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import cast

from lessonkit.errors import FootageError
from lessonkit.lesson.cutlist import CutList, Draft
from lessonkit.lesson.settings import Settings
from lessonkit.model import Analysis
from lessonkit.progress import Talk

VIDEO = "lesson.mp4"
DRAFT_VIDEO = "draft.mp4"
TIMELINE = "lesson.otio"
CLIPS = "clips"
_STILL = re.compile(r"shot-\d{2,}-(plan|result)\.png")


@dataclass(frozen=True)
class Wishes:
    """What a person asked for of the lesson's making."""

    settings: Path | None = None
    """A settings file; None: lesson.toml in the lesson folder, if there is one."""
    shape: str | None = None
    """'wide', 'tall' or 'square'; None: as the settings say."""
    draft: bool = False
    """Only a small, coarse video to look at, soon made."""
    clips: bool = False
    """Each shot as a video of its own, too."""
    export: bool = False
    """The cut list as an OpenTimelineIO file, too."""
    voice: str | None = None
    """The talk: a recording, a folder with one for each shot, or 'footage'; None: that of the last time, if any."""
    burn_captions: bool = False
    """Captions drawn into the picture, whatever the settings say."""


def settings_for(out: Path, wishes: Wishes) -> Settings:
    """The settings asked for, else those in the lesson folder, else the usual ones. Raises SettingsError."""
    from lessonkit.lesson.settings import NAME, read_settings

    path = wishes.settings or out / NAME
    settings = read_settings(path) if wishes.settings is not None or path.exists() else Settings()
    if wishes.shape is not None:
        settings = replace(settings, look=replace(settings.look, shape=wishes.shape))
    if wishes.burn_captions:
        settings = replace(settings, captions=replace(settings.captions, burn=True))
    return settings


def check(out: Path, wishes: Wishes) -> None:
    """Refuse before the long work what would be refused after it. Raises SettingsError or VoiceError."""
    settings_for(out, wishes)
    if wishes.voice is not None:
        from lessonkit import talking

        talking.check(wishes.voice)
    if wishes.export:
        from lessonkit.publish import timeline_file

        timeline_file.check_installed()


def with_clip_lengths(drafts: Sequence[Draft]) -> list[Draft]:
    """The pieces, clips of the person's own with the end that their file has. Raises FootageError."""
    from lessonkit.footage.reader import probe

    done = []
    for d in drafts:
        if d.kind == "clip" and d.file is not None:
            length_s = probe(Path(d.file)).duration_s
            start_s = min(d.source_start_s or 0.0, length_s)
            d = replace(d, source_start_s=start_s, source_end_s=min(d.source_end_s or length_s, length_s))
        done.append(d)
    return done


def lay_out_lesson(
    footage: Path, out: Path, analysis: Analysis, settings: Settings, talk: Talk, voice: str | None = None
) -> tuple[CutList, tuple[str, ...]]:
    """The cut list of the lesson folder, as a person changed it, else made anew and written there; and what to tell.

    Raises SettingsError where a changed list cannot be understood; it stays as it is. Raises VoiceError where the talk
    cannot be used.
    """
    from lessonkit import cuts_file, talking
    from lessonkit.lesson.caption_places import placed
    from lessonkit.lesson.cutlist import output_rate
    from lessonkit.lesson.cutting import draft_lesson
    from lessonkit.lesson.laying import lay_out, left_unsaid
    from lessonkit.lesson.view import Diagram, Shape, make_view, picture_size

    rate, path = output_rate(analysis.footage), out / cuts_file.NAME
    warnings: tuple[str, ...] = ()
    if cuts_file.edited(out):
        also = " The talk that it names is heard, and no other." if voice is not None else ""
        talk.say(f"{path} was changed by hand and is followed; delete it to have it made anew.{also}")
    else:
        spoken, warnings = talking.talk_for(footage, analysis, settings, voice, talk)
        if voice == talking.FOOTAGE:
            settings = talking.at_its_speed(settings)
        drafts = with_clip_lengths(talking.narrated(draft_lesson(analysis, settings), spoken))
        cuts_file.write_cuts(out, drafts, lay_out(drafts, rate, analysis.shots))
    # read back even where it was just written, so that this run and later ones give the same lesson
    read = with_clip_lengths(cuts_file.read_cuts(path, analysis))
    cuts = lay_out(read, rate, analysis.shots)
    if cuts_file.edited(out):
        warnings += tuple(
            f"piece {n} of {path.name} is too short for all that is said on it; some of its captions are left out."
            for n in left_unsaid(read, cuts)
        )
    look = settings.look
    shape, diagram = cast(Shape, look.shape), cast(Diagram, look.diagram)
    view = make_view(analysis, picture_size(analysis, shape), shape, diagram)
    return placed(cuts, analysis, view.camera, view.size), warnings


def publish(footage: Path, out: Path, analysis: Analysis, wishes: Wishes, talk: Talk) -> tuple[str, ...]:
    """Write all files that are made from the analysis; returns what a person should hear of them.

    A draft is written with the report and the table of shots, which say what it shows; all other files of a lesson made before
    stay as they are, and that is told.
    """
    from lessonkit import talking
    from lessonkit.publish import sheet, stills, thumbnails, video
    from lessonkit.publish.sound import LessonSound

    settings = settings_for(out, wishes)
    voice = talking.remembered(out, wishes.voice)
    cuts, unheard = lay_out_lesson(footage, out, analysis, settings, talk, voice)
    sound = LessonSound(out, talking.level_of(settings))
    if wishes.draft:
        with talk.step("Rendering a draft") as progress:
            video.render(
                footage, analysis, cuts, out / DRAFT_VIDEO, progress=progress, settings=settings, draft=True,
                keep=out / video.PIECES, sound=sound,
            )  # fmt: skip
        _write_report(out, analysis, cuts)
        return (*unheard, *_left_behind(out))
    talk.say("Writing captions, chapters and report.")
    cautions = _write_texts(out, analysis, cuts)
    if wishes.export:
        from lessonkit.publish import timeline_file

        timeline_file.write_timeline(cuts, analysis, footage, out / TIMELINE)
    beside = stills.Beside(out, analysis)
    with talk.step("Rendering the lesson") as progress:
        video.render(
            footage, analysis, cuts, out / VIDEO, progress=progress, beside=beside, settings=settings,
            keep=out / video.PIECES, clips=out / CLIPS if wishes.clips else None, sound=sound,
        )  # fmt: skip
    _drop_old(out / "stills", _STILL, beside.written)
    talk.say("Making thumbnails and the sheet for students.")
    thumbnails.write(footage, analysis, out)
    also = (sheet.write(analysis, out), sound.caution, _undrawn(analysis, cuts, settings), _old_draft(out))
    return (*unheard, *cautions, *(c for c in also if c))


def _undrawn(analysis: Analysis, cuts: CutList, settings: Settings) -> str | None:
    """One sentence where words in the pictures have signs that no font at hand has."""
    from lessonkit.lesson.glyphs import caution
    from lessonkit.lesson.text import font_files

    head = analysis.head
    words = [w for w in (head.title, head.series, head.number, head.player) if w]
    words += [w for p in cuts.pieces for w in (p.headline or "", *(p.text or ()))]
    words += [c.text for c in cuts.cues] if settings.captions.burn else []
    return caution(words, (*font_files(bold=True), *font_files(bold=False)))


def _write_texts(out: Path, analysis: Analysis, cuts: CutList) -> tuple[str, ...]:
    from lessonkit.publish import caption_files, chapter_files, description

    caption_files.write_srt(cuts.cues, out / "lesson.srt")
    caption_files.write_vtt(cuts.cues, out / "lesson.vtt")
    chapter_files.write_chapter_vtt(cuts.chapters, out / "chapters.vtt")
    caution = chapter_files.write_chapter_lines(cuts.chapters, out / "chapters.txt")
    description.write(analysis, cuts, out)
    _write_report(out, analysis, cuts)
    return (caution,) if caution else ()


def _write_report(out: Path, analysis: Analysis, cuts: CutList) -> None:
    from lessonkit.publish import report, shots_csv

    shots_csv.write(analysis, out)
    report.write(analysis, out, cuts)


def _left_behind(out: Path) -> tuple[str, ...]:
    """What to tell of a lesson that lies beside a new draft."""
    if not (out / VIDEO).exists():
        return ()
    return (
        f"{VIDEO} and its captions, chapters, stills, description, thumbnails and sheet are those of an earlier run; the "
        "report and the table of shots go with the draft. Without --draft all are made anew.",
    )


def _old_draft(out: Path) -> str | None:
    """What to tell of a draft that lies beside a new lesson."""
    if not (out / DRAFT_VIDEO).exists():
        return None
    return f"{DRAFT_VIDEO} is that of an earlier run; delete it once you no longer need it."


def _drop_old(folder: Path, names: re.Pattern[str], written: Sequence[Path]) -> None:
    """Remove what an earlier run wrote for shots that this one did not find."""
    for old in set(folder.glob("shot-*")) - set(written):
        if names.fullmatch(old.name):
            old.unlink()


def check_same_footage(footage: Path, out: Path, analysis: Analysis) -> None:
    """Refuse footage that the analysis does not belong to. Raises FootageError."""
    from lessonkit.footage.reader import probe

    info, known = probe(footage), analysis.footage
    same = (info.width, info.height) == (known.width, known.height)
    if not same or abs(info.duration_s - known.duration_s) > 0.1:
        raise FootageError(
            f"{footage} is not the footage that {out} was made from ({known.name}, {known.width} x {known.height}, "
            f"{known.duration_s:.1f} s); give that file."
        )
