"""The report: one page with every shot, its drawing and its figures, that opens without a network."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from lessonkit import __version__
from lessonkit.comparing.compare import NOT_COMPARED
from lessonkit.folder import write_text
from lessonkit.lesson.captions import plain
from lessonkit.lesson.cutlist import CutList
from lessonkit.lesson.cutting import build_cuts
from lessonkit.lesson.diagram import diagram_svg
from lessonkit.lesson.phrases import ball_word, pocket_name, target, target_words
from lessonkit.model import Analysis, Shot
from lessonkit.publish import figures as words
from lessonkit.publish import measured
from lessonkit.publish.chapter_files import clock

NAME = "report.html"
GOOD = frozenset({"as planned"})
"""Verdicts that are shown as a success."""


@dataclass(frozen=True)
class _ShotView:
    """One shot as the page shows it: strings only, and the drawing."""

    number: int
    heading: str
    footage_time: str
    lesson_time: str | None
    drawing: Markup
    drawing_upright: Markup
    """For narrow screens: the head at the bottom."""
    note: str | None
    more_notes: list[str]
    has_plan: bool
    plan_remark: str | None
    pairs: list[words.Pair]
    figures: list[tuple[str, str]]
    events: list[tuple[str, str]]
    doubt: str | None
    sentence: str | None
    detail: str | None
    differences: list[measured.Row]
    verdict: str
    mark: str
    """How the verdict is shown: good, off or open."""
    called: str
    made: str
    landing: str
    way: str
    rails: str


def _view(shot: Shot, a: Analysis, cuts: CutList) -> _ShotView:
    e, c = shot.seen, shot.comparison
    lesson_s = words.lesson_start_s(cuts, e.number)
    ball, pocket = target(shot)
    call = ", ".join(
        w for w in (ball_word(ball) if ball is not None else "", pocket_name(pocket) if pocket else "") if w
    )
    return _ShotView(
        number=e.number,
        heading=words.capital(target_words(shot) or "no call in the notes"),
        footage_time=clock(e.strike_s),
        lesson_time=None if lesson_s is None else clock(lesson_s),
        drawing=Markup(diagram_svg(shot, a.table)),
        drawing_upright=Markup(diagram_svg(shot, a.table, turn=1)),
        note=(words.lines_of(shot.note.text) or None) if shot.note else None,
        more_notes=[text for n in shot.more_notes if (text := words.lines_of(n.text))],
        has_plan=shot.plan is not None or shot.note is not None,
        plan_remark=(plain(shot.plan.note) or None) if shot.plan and shot.plan.note else None,
        pairs=words.planned_pairs(shot, a.table),
        figures=words.figures(shot, a.table),
        events=words.events(shot),
        doubt=words.doubt(shot),
        sentence=(plain(c.sentence) or None) if c and c.sentence else None,
        detail=(plain(c.detail) or None) if c and c.detail else None,
        differences=measured.difference_rows(c),
        verdict=words.capital(c.verdict) if c and c.verdict else "Not compared",
        mark="open"
        if not (c and c.verdict) or c.verdict == NOT_COMPARED
        else "good"
        if c.verdict in GOOD
        else "off",
        called=words.capital(call) or words.NOT_SAID,
        made=words.yes_no(c.called_made if c else None),
        landing=words.number(c.landing_error_mm if c else None, "mm"),
        way=words.number(c.path_distance_mm if c else None, "mm"),
        rails=f"{_count(c.rails_planned if c else None)} / {_count(c.rails_actual if c else None)}",
    )


def _count(n: int | None) -> str:
    return "–" if n is None else str(n)


def report_html(a: Analysis, cuts: CutList) -> str:
    """The whole page."""
    env = Environment(
        loader=PackageLoader("lessonkit.publish", "templates"),
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    error = a.camera.error_px
    return env.get_template("report.html.j2").render(
        title=words.lesson_title(a),
        byline=words.byline(a),
        summary=words.summary(a),
        shots=[_view(s, a, cuts) for s in a.shots],
        doubts=[s.seen.number for s in a.shots if s.seen.doubtful],
        facts=[
            ("Footage", plain(a.footage.name)),
            ("Length", clock(a.footage.duration_s)),
            ("Picture", f"{a.footage.width} × {a.footage.height}, {a.footage.fps:.3g} frames a second"),
            ("Table", f"{plain(a.table.size)}, {a.table.length_mm:.0f} × {a.table.width_mm:.0f} mm between the noses"),
            ("Camera fit", words.number(error, "pixels (root mean square)", 2, "from the corners given, not measured")),
            ("Places, from the camera alone", words.number(a.camera.error_mm, "mm (root mean square, expected)", 1)),
            *measured.table_facts(a.figures, a.table),
        ],
        unknown=(words.NOT_MEASURED, words.NOT_SAID),
        version=__version__,
    )  # fmt: skip


def write_report(analysis: Analysis, cuts: CutList, path: Path) -> None:
    """Write the page. Raises FolderError where the file cannot be written."""
    write_text(path, report_html(analysis, cuts))


def write(analysis: Analysis, folder: Path, cuts: CutList | None = None) -> None:
    """Write report.html into a lesson folder."""
    write_report(analysis, cuts or build_cuts(analysis), folder / NAME)
