"""The way through the house: watch the footage, read the notes, plan, compare, and write the lesson.

What can be refused is refused before the long work begins. What the footage told is kept in the lesson folder, so a
second run with changed notes starts where they come in.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from lessonkit.errors import FolderError, FootageError, LessonkitError
from lessonkit.folder import open_folder, remember, remembered
from lessonkit.model import (
    STEADY,
    Analysis,
    Execution,
    Footage,
    Head,
    Note,
    Notes,
    Point,
    Seen,
    SeenShot,
    Shot,
    Table,
    TableFigures,
)
from lessonkit.progress import Talk

if TYPE_CHECKING:
    from lessonkit.checking.verdict import Report
    from lessonkit.publishing import Wishes

ANALYSIS = "analysis.json"
WRITTEN = (
    "lesson.mp4", "lesson.srt", "lesson.vtt", "chapters.vtt", "chapters.txt", "report.html", "shots.csv", ANALYSIS,
    "top-view.png", "description.md", "stills",
    "cuts.toml", "draft.mp4", "lesson.otio", "clips", "thumbnails", "sheet.html", "sheet.pdf",
)  # fmt: skip
"""All that a lesson may consist of: what is refused as footage or notes."""
ON_REQUEST = ("draft.mp4", "lesson.otio", "clips")
"""What of it is written only when asked for."""
SAME_LENGTH_S = 0.1
"""Lengths of one film, read twice, differ by less."""
NOTE_SLACK_S = 1.0
"""People round the time of a note up to the next second; beyond that it lies past the end."""


@dataclass(frozen=True)
class Job:
    """What a person asked for."""

    footage: Path
    out: Path
    notes: Path | None = None
    table: str = "auto"
    head: str = "left"
    corners: tuple[Point, ...] | None = None
    """Four pixel places given by hand, or None to find them."""
    execution: Execution = STEADY
    """How far the player's strokes stray."""
    replace: bool = False
    """Whether the lesson of another film in the folder may go."""


@dataclass(frozen=True, eq=False)
class Result:
    """An analysis with what a person should hear of it."""

    analysis: Analysis
    warnings: tuple[str, ...]


def analyse(job: Job, talk: Talk) -> Result:
    """Write the lesson folder's analysis.json.

    Raises FootageError, TableError, NotesError or FolderError, each with a sentence for the person.
    """
    from lessonkit.analysis_file import write_analysis
    from lessonkit.stage_file import film_print

    page = _check(job)
    seen = watch(job, page.head if page else Head(), talk)
    if job.notes:
        page = _read(job.notes, seen.table)
    talk.say("Settling plans and comparing.")
    result = understand(seen, page, job.execution)
    write_analysis(job.out / ANALYSIS, result.analysis)
    remember(job.out, film=film_print(job.footage))
    return result


def make(job: Job, talk: Talk, wishes: Wishes | None = None) -> Result:
    """Write the whole lesson: the analysis and all the files of WRITTEN. Raises as `analyse` does."""
    from lessonkit import publishing

    wishes = wishes or publishing.Wishes()
    _check_not_overwritten(job)
    publishing.check(job.out, wishes)
    result = analyse(job, talk)
    if not result.analysis.shots:
        raise FootageError(
            f"No shot was found in {job.footage}, so there is no lesson to make; it should show the whole table, at "
            "rest before and after each shot."
        )
    if wishes.voice is None:
        from lessonkit import talking

        talking.forget(job.out)
    cautions = publishing.publish(job.footage, job.out, result.analysis, wishes, talk)
    return replace(result, warnings=(*result.warnings, *cautions))


def render(footage: Path, out: Path, talk: Talk, wishes: Wishes | None = None) -> Result:
    """Write the lesson of a folder anew, from its analysis and its cut list, without watching or reading notes.

    Raises FolderError where the folder holds no analysis, else as `analyse` does.
    """
    from lessonkit import publishing
    from lessonkit.analysis_file import read_analysis

    wishes = wishes or publishing.Wishes()
    if not (out / ANALYSIS).is_file():
        raise FolderError(f"{out} holds no {ANALYSIS}; run `lessonkit make` with this folder first.")
    analysis = read_analysis(out / ANALYSIS)
    publishing.check_same_footage(footage, out, analysis)
    _check_not_overwritten(Job(footage, out))
    open_folder(out)
    return Result(analysis, publishing.publish(footage, out, analysis, wishes, talk))


def check(
    footage: Path,
    picture: Path,
    talk: Talk,
    *,
    at_s: float | None = None,
    size: str = "auto",
    head: str = "left",
    corners: tuple[Point, ...] | None = None,
) -> Report:
    """Judge footage and draw the picture of the check into a PNG file; `at_s` and the rest as in `checking.check`.

    Raises FootageError, TableError or FolderError, each with a sentence for the person.
    """
    from lessonkit.checking.check import check as look
    from lessonkit.checking.picture import refuse_foreign, write_picture

    refuse_foreign(picture)
    talk.say(f"Checking {footage.name}.")
    checked = look(footage, at_s=at_s, size=size, head=head, corners=corners)
    write_picture(checked, picture)
    return checked.report


def _check(job: Job) -> Notes | None:
    """Refuse early what cannot become a lesson; returns the notes as far as they are clear without the table."""
    from lessonkit.footage.reader import probe

    info = probe(job.footage)
    page = _read(job.notes, None) if job.notes else None
    if page and job.notes:
        _check_times(page, info, job.notes)
    _check_not_overwritten(job)
    _check_same_film(job, info)
    open_folder(job.out)
    return page


def _read(notes: Path, table: Table | None) -> Notes:
    from lessonkit.notes.reading import read_notes

    return read_notes(notes, table=table)


def _check_times(page: Notes, info: Footage, path: Path) -> None:
    from lessonkit.notes.reading import check_within

    last_s = info.duration_s + NOTE_SLACK_S
    late = tuple(n for n in page.notes if n.t_s is not None and n.t_s > last_s)
    check_within(replace(page, notes=late), info.duration_s, path.name)


def _check_not_overwritten(job: Job) -> None:
    ours = {(job.out / name).resolve() for name in WRITTEN}
    for path in (job.footage, job.notes):
        if path is not None and not ours.isdisjoint({path.resolve(), path.resolve().parent}):
            raise FolderError(f"{path} would be overwritten by the lesson; give --out another folder.")


def _check_same_film(job: Job, info: Footage) -> None:
    """Refuse a folder that holds the analysis of another film, which would be lost.

    Films are told apart by their content; in a folder that does not remember it, by size, length and count of pictures.
    """
    from lessonkit.analysis_file import read_analysis
    from lessonkit.stage_file import film_print

    if not (job.out / ANALYSIS).is_file():
        return
    known = None
    with suppress(LessonkitError):
        known = read_analysis(job.out / ANALYSIS).footage
    film = remembered(job.out).get("film")
    if film is not None:
        same = film == film_print(job.footage)
    else:
        same = known is None or (
            (info.width, info.height, info.frames) == (known.width, known.height, known.frames)
            and abs(info.duration_s - known.duration_s) < SAME_LENGTH_S
        )
    if not same and job.replace:
        from lessonkit.clearing import clear

        # a folder without our mark is refused before anything in it is touched
        open_folder(job.out)
        clear(job.out, (*(name for name in WRITTEN if name != ANALYSIS), ANALYSIS))
    elif not same:
        of = f" ({known.name})" if known is not None else ""
        raise FolderError(
            f"{job.out} holds the analysis of another film{of}, which would be lost; give --out another folder, or "
            "--replace if you no longer need what is there."
        )


def watch(job: Job, head: Head, talk: Talk) -> Seen:
    """What the footage shows: from the lesson folder if it was watched before under the same options, else watched."""
    from lessonkit import stage_file

    size = _table_size(job.table, head)
    options: dict[str, object] = {"table": size, "head": job.head, "corners": job.corners}
    key = stage_file.footage_key(job.footage, options)
    kept = stage_file.kept_seen(job.out, key)
    if kept is not None:
        talk.say("This footage was watched before; using what was seen then.")
        return kept
    from lessonkit.checking.cautions import cautions
    from lessonkit.checking.check import refuse_small
    from lessonkit.footage.reader import probe
    from lessonkit.seeing.watch import watch as see

    refuse_small(job.footage, probe(job.footage))

    with talk.step("Watching the footage") as progress:
        seen = see(job.footage, table=size, head=job.head, corners=job.corners, progress=progress)
    seen = replace(seen, doubts=(*seen.doubts, *cautions(job.footage, seen)))
    stage_file.keep_seen(job.out, key, seen)
    # Read back, so that this run and later ones work from the same rounded numbers.
    return stage_file.kept_seen(job.out, key) or seen


def _table_size(asked: str, head: Head) -> str:
    """The size asked for; where it is left to be found out and the notes' head states one, that one."""
    if asked != "auto":
        return asked
    from lessonkit.notes.reading import table_of

    stated = table_of(head.table)
    return stated.size if stated else asked


def understand(seen: Seen, page: Notes | None, execution: Execution = STEADY) -> Result:
    """Plan and compare every shot by the notes that belong to it; without notes, measure only."""
    from lessonkit.gauging.figures import measure_table
    from lessonkit.notes.belonging import assign, left_over, strays

    figures = measure_table(seen.shots, seen.table)
    notes = page.notes if page else ()
    belonging = assign(notes, seen.shots, table=seen.table)
    done = tuple(
        _understand_shot(s, seen.table, of_shot, figures, execution)
        for s, of_shot in zip(seen.shots, belonging, strict=True)
    )
    warnings = list(seen.doubts)
    warnings += [
        f"the note at {clock(n.t_s or 0.0)} (line {n.line} of the notes) belongs to no shot that was seen, and was "
        "left out."
        for n in left_over(notes, seen.shots)
    ]
    warnings += [
        f"the note at {clock(n.t_s or 0.0)} (line {n.line} of the notes) plays the {n.intent.ball}, which did not lie on the "
        f"table before shot {s.number}: the two are not compared. See whether it means another ball, or a shot that was not seen."
        for s, of_shot in zip(seen.shots, belonging, strict=True)
        for n in strays(of_shot, s.layout_before)
    ]
    if not seen.shots:
        warnings.append(
            "no shot was found in the footage; it should show the whole table, at rest before and after each."
        )
    head = page.head if page else Head()
    analysis = Analysis(seen.footage, seen.table, seen.camera, done, head, figures, seen.cameras)
    return Result(analysis, tuple(warnings))


def _understand_shot(
    seen: SeenShot, table: Table, notes: tuple[Note, ...], figures: TableFigures, execution: Execution
) -> Shot:
    from lessonkit.comparing.compare import compare
    from lessonkit.comparing.stroke import estimate_stroke
    from lessonkit.gauging.figures import laws_of
    from lessonkit.notes.belonging import primary
    from lessonkit.planning.plan import make_plan, plan_after

    laws = laws_of(figures)
    stroke = estimate_stroke(seen, table, laws, figures)
    chosen, fallback, others = primary(notes, seen.layout_before)
    if chosen is None:
        return Shot(seen, more_notes=others, stroke=stroke)
    plan = make_plan(seen, table, chosen.intent, laws, execution)
    return Shot(
        seen,
        note=chosen,
        more_notes=(fallback, *others) if fallback else others,
        plan=plan,
        plan_b=make_plan(seen, table, fallback.intent, laws, execution) if fallback else None,
        plan_b_after=plan_after(seen, table, fallback.intent, laws, execution) if fallback else None,
        comparison=compare(seen, table, plan, chosen.intent, stroke, laws),
        stroke=stroke,
    )


def doubts(analysis: Analysis) -> tuple[str, ...]:
    """One line for each shot with balls that a person should check."""
    lines = []
    for s in analysis.shots:
        balls = ["the cue ball" if n == 0 else f"the {n}" for n in s.seen.doubtful]
        if balls:
            lines.append(f"Check shot {s.seen.number}: number or place of {', '.join(balls)} is doubtful.")
    return tuple(lines)


def clock(t_s: float) -> str:
    """A time as people write it in notes: m:ss, or h:mm:ss from an hour on."""
    whole = int(t_s)
    h, m, s = whole // 3600, whole // 60 % 60, whole % 60
    return f"{h}:{m:02}:{s:02}" if h else f"{m}:{s:02}"
