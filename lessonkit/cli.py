"""The commands: `lessonkit check`, `make`, `render`, `analyse`, `options`, `notes` and `settings`.

Results go to standard output, all talk to standard error. Exit status: 0 when all that was asked for was written, 1
when it was not (one sentence says why), 2 for a wrong command line, 130 when stopped by the person. Nothing heavy is
imported before a command needs it, so that --help answers at once.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from lessonkit import __version__
from lessonkit.errors import LessonkitError

if TYPE_CHECKING:
    from lessonkit.model import Execution
    from lessonkit.publishing import Wishes
    from lessonkit.stages import Result

F = TypeVar("F", bound=Callable[..., Any])
Corners = tuple[tuple[float, float], ...]

_FARTHEST_PX = 1e5
STOPPED = 130
"""Exit status of a job that the person stopped (128 and the number of SIGINT, as shells give it)."""


def _table_size(ctx: click.Context, param: click.Parameter, value: str) -> str:
    """The size as the rooms take it."""
    text = value.strip().lower()
    if text == "auto":
        return text
    from lessonkit.errors import TableError
    from lessonkit.table.sizes import table_of_size

    try:
        return table_of_size(text).size
    except TableError as e:
        raise click.BadParameter(f"{e} Or leave it at auto.", ctx, param) from e


def _four_corners(ctx: click.Context, param: click.Parameter, value: str | None) -> Corners | None:
    """Four (x, y) pairs of pixels."""
    if value is None:
        return None
    points: Corners = ()
    with suppress(ValueError):
        points = tuple((float(x), float(y)) for x, y in (pair.split(",") for pair in value.split()))
    if len(points) != 4 or not all(abs(v) < _FARTHEST_PX for p in points for v in p):
        raise click.BadParameter(
            f'{value!r} is not four places in the picture; give four pairs of pixels, as "112,95 1810,100 1822,990 '
            '101,985".',
            ctx,
            param,
        )
    return points


def _table_options(command: F) -> F:
    """The options that every command with footage takes."""
    for option in (
        click.option(
            "--corners",
            callback=_four_corners,
            metavar='"X,Y X,Y X,Y X,Y"',
            help="Where the four corners of the playing surface lie in the picture, in pixels, in any order; for "
            "footage in which they are not found.",
        ),
        click.option(
            "--head",
            type=click.Choice(["left", "right", "top", "bottom"]),
            default="left",
            show_default=True,
            help="The side of the picture on which the head of the table lies.",
        ),
        click.option(
            "--table",
            callback=_table_size,
            default="auto",
            show_default=True,
            metavar="SIZE",
            help="auto tells the size from the balls; or 9ft, 8ft, 7ft, or LENGTHxWIDTH of the playing surface "
            "in millimetres.",
        ),
    ):
        command = option(command)
    return command


def _execution(ctx: click.Context, param: click.Parameter, value: str) -> Execution:
    """The player's errors of aim, speed and tip."""
    from lessonkit.model import Execution

    figures: list[float] = []
    with suppress(ValueError):
        figures = [float(v) for v in value.split(",")]
    if len(figures) == 3 and all(0.0 <= v <= m for v, m in zip(figures, (5.0, 50.0, 0.3), strict=True)):
        return Execution(figures[0], figures[1] / 100.0, figures[2])
    raise click.BadParameter(
        f"{value!r} is not three errors; give degrees (0 to 5), percent (0 to 50) and ball radii (0 to 0.3), as "
        '"0.1,5,0.04".',
        ctx,
        param,
    )


def _errors_option(command: F) -> F:
    """The option that says how far the player's strokes stray."""
    return click.option(
        "--errors",
        "execution",
        callback=_execution,
        default="0.1,5,0.04",
        show_default=True,
        metavar="DEG,PERCENT,RADII",
        help="How far the player's strokes stray from what was meant, as standard deviations: of the aim in degrees, of "
        "the speed in percent, of the tip's place in ball radii. Chances and spreads are reckoned with them.",
    )(command)


def _footage_options(command: F) -> F:
    """Those, the folder that a lesson goes into, and whether another film's lesson there may go."""
    anew = click.option(
        "--replace",
        is_flag=True,
        help="If DIR holds the lesson of another film, remove that lesson first; your lesson.toml stays.",
    )
    out = click.option(
        "--out",
        type=click.Path(path_type=Path),
        required=True,
        metavar="DIR",
        help="The folder to write into: new, empty, or one that lessonkit made.",
    )
    return out(anew(_table_options(command)))


def _clock_time(ctx: click.Context, param: click.Parameter, value: str | None) -> float | None:
    """Seconds, from seconds or a clock time."""
    if value is None:
        return None
    with suppress(ValueError):
        parts = [float(p) for p in value.split(":")]
        if len(parts) <= 3 and all(0 <= p < _FARTHEST_PX for p in parts):
            return float(sum(p * 60.0**k for k, p in enumerate(reversed(parts))))
    raise click.BadParameter(f"{value!r} is no time; give seconds, m:ss or h:mm:ss.", ctx, param)


def _png(ctx: click.Context, param: click.Parameter, value: Path | None) -> Path | None:
    """A name that ends in .png."""
    if value is not None and value.suffix.lower() != ".png":
        raise click.BadParameter(f"'{value}' must end in .png.", ctx, param)
    return value


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="lessonkit", message="%(prog)s %(version)s")
def commands() -> None:
    """From overhead pool-table footage and a page of notes to a captioned, chaptered straight-pool lesson."""


@commands.command()
@click.argument("footage", type=click.Path(path_type=Path))
@click.option(
    "--notes", type=click.Path(path_type=Path), metavar="NOTES", help="The page of notes to the footage."
)
@_errors_option
@_footage_options
def analyse(
    footage: Path,
    notes: Path | None,
    out: Path,
    table: str,
    head: str,
    corners: Corners | None,
    execution: Execution,
    replace: bool,
) -> None:
    """Work out every shot of FOOTAGE and write DIR/analysis.json."""
    from lessonkit import stages
    from lessonkit.progress import talk

    job = stages.Job(footage, out, notes, table, head, corners, execution, replace)
    result = stages.analyse(job, talk())
    _tell(result)
    click.echo(f"Analysis: {out / stages.ANALYSIS}")


def _lesson_options(command: F) -> F:
    """The options of the commands that make a lesson; they arrive as the fields of publishing.Wishes."""
    for option in (
        click.option(
            "--export", is_flag=True, help="Also write lesson.otio, for an editor (OpenTimelineIO)."
        ),
        click.option(
            "--clips", is_flag=True, help="Also write every shot as a video of its own, in DIR/clips."
        ),
        click.option(
            "--burn-captions",
            is_flag=True,
            help="Draw the captions into the picture, where they cannot be turned off.",
        ),
        click.option(
            "--voice",
            metavar="RECORDING|FOLDER|footage",
            help="The talk: one recording with the times of the notes; a folder with a file for each shot, its number in "
            "the name; or the word footage, where its own sound is the talk.",
        ),
        click.option(
            "--shape",
            type=click.Choice(["footage", "wide", "tall", "square"]),
            help="The picture's shape: the footage's own, 16:9, 9:16 or square, the table turned to fill it; otherwise "
            "as the settings say.",
        ),
        click.option(
            "--draft",
            is_flag=True,
            help="Only a small, coarse draft.mp4 to look at, soon made, and the report to it.",
        ),
        click.option(
            "--settings",
            type=click.Path(path_type=Path),
            metavar="FILE",
            help="Settings of the lesson; without it DIR/lesson.toml, if there is one. `lessonkit settings` prints "
            "one to begin with.",
        ),
    ):
        command = option(command)
    return command


@commands.command()
@click.argument("footage", type=click.Path(path_type=Path))
@click.option(
    "--notes",
    type=click.Path(path_type=Path),
    required=True,
    metavar="NOTES",
    help="The page of notes to it.",
)
@_lesson_options
@_errors_option
@_footage_options
def make(
    footage: Path,
    notes: Path,
    out: Path,
    table: str,
    head: str,
    corners: Corners | None,
    execution: Execution,
    replace: bool,
    **wishes: Any,
) -> None:
    """Make the whole lesson of FOOTAGE: video, captions, chapters, report, stills and analysis."""
    from lessonkit import publishing, stages
    from lessonkit.progress import talk

    job = stages.Job(footage, out, notes, table, head, corners, execution, replace)
    wanted = publishing.Wishes(**wishes)
    result = stages.make(job, talk(), wanted)
    _tell(result)
    _where_to_look(job.out, wanted)


@commands.command()
@click.argument("footage", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    metavar="DIR",
    help="The lesson's folder, from `make`.",
)
@_lesson_options
def render(footage: Path, out: Path, **wishes: Any) -> None:
    """Make the lesson in DIR anew from its analysis.json and cuts.toml, as changed by you."""
    from lessonkit import publishing, stages
    from lessonkit.progress import talk

    wanted = publishing.Wishes(**wishes)
    result = stages.render(footage, out, talk(), wanted)
    _tell(result)
    _where_to_look(out, wanted)


@commands.command()
def settings() -> None:
    """Print a settings file to begin with: save it as lesson.toml, and change what you want."""
    from lessonkit.lesson.settings import template

    click.echo(template())


def _tell(result: Result) -> None:
    """What was found, and what a person should check."""
    from lessonkit.stages import doubts

    shots = result.analysis.shots
    for warning in result.warnings:
        click.echo(f"Note: {warning}", err=True)
    click.echo(f"{len(shots)} shot{'' if len(shots) == 1 else 's'} found in {result.analysis.footage.name}.")
    for line in doubts(result.analysis):
        click.echo(line)


def _where_to_look(out: Path, wishes: Wishes) -> None:
    if wishes.draft:
        click.echo(f"Draft:    {out / 'draft.mp4'}   (pieces in order: {out / 'cuts.toml'})")
        click.echo(f"Report:   {out / 'report.html'}   (figures: {out / 'shots.csv'})")
        return
    click.echo(
        f"Lesson:   {out / 'lesson.mp4'}   (captions: lesson.srt, lesson.vtt; chapters: chapters.vtt, chapters.txt)"
    )
    click.echo(f"Report:   {out / 'report.html'}   (stills of every shot: {out / 'stills'})")
    click.echo(f"Figures:  {out / 'analysis.json'}, {out / 'shots.csv'}, {out / 'top-view.png'}")
    click.echo(f"To paste: {out / 'description.md'}   (thumbnails: {out / 'thumbnails'})")
    pdf = ", the same as sheet.pdf" if (out / "sheet.pdf").exists() else ""
    click.echo(f"Students: {out / 'sheet.html'}   (one page to print{pdf})")
    click.echo(f"Cut list: {out / 'cuts.toml'}   (change it, then `lessonkit render`)")
    if wishes.clips:
        click.echo(f"Clips:    {out / 'clips'}")
    if wishes.export:
        click.echo(f"Timeline: {out / 'lesson.otio'}")


@commands.command()
@click.argument("footage", type=click.Path(path_type=Path))
@click.option(
    "--at",
    callback=_clock_time,
    metavar="TIME",
    help="The time of the footage to look at, in seconds, m:ss or h:mm:ss; without it the middle of the footage.",
)
@click.option(
    "--out",
    callback=_png,
    type=click.Path(path_type=Path),
    metavar="FILE.png",
    help="The picture to write; without it NAME-check.png in the current folder, NAME being the footage's.",
)
@click.option("--json", "as_json", is_flag=True, help="Print what was measured as JSON.")
@_table_options
def check(
    footage: Path,
    at: float | None,
    out: Path | None,
    as_json: bool,
    table: str,
    head: str,
    corners: Corners | None,
) -> None:
    """Tell whether FOOTAGE, ten seconds of a trial for instance, will be usable, and draw what is seen of it.

    The exit status is 0 when the check was made, whatever it came to; 1 when the footage cannot be read.
    """
    from lessonkit import stages
    from lessonkit.progress import talk

    picture = out or Path(f"{footage.stem}-check.png")
    report = stages.check(footage, picture, talk(), at_s=at, size=table, head=head, corners=corners)
    if as_json:
        import json

        from lessonkit.checking.verdict import as_json as plain

        click.echo(json.dumps({**plain(report), "picture": str(picture)}, ensure_ascii=False, indent=1))
        return
    from lessonkit.checking.verdict import lines

    for line in lines(report):
        click.echo(line)
    click.echo(f"Picture: {picture}")


@commands.command()
@click.argument("lesson", type=click.Path(path_type=Path), metavar="FOLDER|analysis.json")
@click.option(
    "--shot", type=click.IntRange(1), metavar="N", help="Only the layout of shot N; else of every shot."
)
@click.option("--after", is_flag=True, help="The layout that the shot left, instead of the one before it.")
@click.option("--json", "as_json", is_flag=True, help="Print the options as JSON, each with its path.")
@_errors_option
def options(lesson: Path, shot: int | None, after: bool, as_json: bool, execution: Execution) -> None:
    """List the possible shots of an analysed layout, ranked by the chance to pot times that of a next shot."""
    import json

    from lessonkit.tactics.listing import list_options

    found = list_options(lesson, shot, after, execution)
    if as_json:
        click.echo(json.dumps([f.json for f in found], ensure_ascii=False, indent=1, allow_nan=False))
        return
    click.echo("\n\n".join(f.text for f in found))


@commands.command()
@click.argument("notes", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print what was understood as JSON.")
def notes(notes: Path, as_json: bool) -> None:
    """Print what is understood of each note in NOTES; no footage is needed."""
    import json

    from lessonkit.analysis_file import note_json
    from lessonkit.notes.reading import read_notes

    page = read_notes(notes, times_required=False)
    if as_json:
        click.echo(json.dumps([note_json(n) for n in page.notes], ensure_ascii=False, indent=1))
        return
    from lessonkit.notes.report import describe

    click.echo(describe(page))


def _complain(line: str) -> None:
    click.echo(f"lessonkit: {line}", err=True)


def _unexpected(error: Exception) -> int:
    where = type(error).__name__
    text = " ".join(str(error).split()) or "no reason given"
    _complain(
        f"something went wrong that lessonkit did not foresee ({where}: {text}); nothing half-made was left under a "
        "final name. Run it again with LESSONKIT_DEBUG=1 set and report what it prints."
    )
    return 1


def run(args: Sequence[str] | None = None) -> int:
    """Run one command line; returns the exit status and raises nothing, unless LESSONKIT_DEBUG=1 is set."""
    debug = os.environ.get("LESSONKIT_DEBUG") == "1"
    try:
        status = commands.main(
            args=None if args is None else list(args), prog_name="lessonkit", standalone_mode=False
        )
    except click.ClickException as e:
        e.show()
        return e.exit_code
    except (click.Abort, KeyboardInterrupt):
        _complain("stopped; what was whole so far is kept, and the same command goes on from there.")
        return STOPPED
    except LessonkitError as e:
        if debug:
            raise
        _complain(str(e))
        return 1
    except BrokenPipeError:
        # The reader of our output has gone (`lessonkit notes ... | head`): keep Python from complaining at exit.
        sys.stdout = open(os.devnull, "w")  # noqa: PTH123, SIM115
        return 1
    except ImportError as e:
        if debug:
            raise
        from lessonkit.needs import explain

        _complain(explain(e))
        return 1
    except Exception as e:
        if debug:
            raise
        return _unexpected(e)
    return status if isinstance(status, int) else 0


def main() -> None:
    """The installed script."""
    sys.exit(run())


if __name__ == "__main__":
    main()
