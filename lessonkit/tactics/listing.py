"""The options of the layouts of an analysis, for the command line."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from lessonkit.analysis_file import read_analysis
from lessonkit.errors import LessonkitError
from lessonkit.gauging.figures import laws_of
from lessonkit.model import CUE_BALL, STEADY, Analysis, Execution, SeenShot, Table
from lessonkit.physics.laws import DEFAULT, Laws
from lessonkit.tactics.options import rank
from lessonkit.tactics.report import as_json, layout_json, table

ANALYSIS = "analysis.json"


@dataclass(frozen=True)
class Listed:
    """The options of one layout, as text and as JSON values."""

    text: str
    json: dict[str, Any]


def list_options(
    lesson: Path, number: int | None = None, after: bool = False, execution: Execution = STEADY
) -> list[Listed]:
    """The options of the layout before (or after) each shot of a lesson folder or analysis.json, or of one shot.

    Raises LessonkitError where the file is missing or no analysis, or has no such shot.
    """
    analysis = read_analysis(lesson / ANALYSIS if lesson.is_dir() else lesson)
    laws = DEFAULT if analysis.figures is None else laws_of(analysis.figures)
    return [_listed(s, after, analysis.table, laws, execution) for s in _shots(analysis, number, lesson)]


def _shots(analysis: Analysis, number: int | None, lesson: Path) -> list[SeenShot]:
    seen = [s.seen for s in analysis.shots]
    if not seen:
        raise LessonkitError(f"{lesson} holds no shot, so there is no layout to look at.")
    if number is None:
        return seen
    wanted = [s for s in seen if s.number == number]
    if not wanted:
        raise LessonkitError(
            f"{lesson} has no shot {number}; its shots are {seen[0].number} to {seen[-1].number}."
        )
    return wanted


def _listed(shot: SeenShot, after: bool, on: Table, laws: Laws, execution: Execution) -> Listed:
    layout = shot.layout_after if after else shot.layout_before
    title = f"Shot {shot.number}, {'after' if after else 'before'} the stroke"
    entry: dict[str, Any] = {
        "shot": shot.number, "after": after, "layout": layout_json(layout), "execution": asdict(execution), "remark": None,
    }  # fmt: skip
    if CUE_BALL not in layout:
        remark = "The cue ball is not on the table, so it is in hand; shots from hand are not ranked."
        return Listed(f"{title}\n{remark}", {**entry, "remark": remark, "options": []})
    found = rank(layout, on, laws, execution)
    return Listed(table(found, title), {**entry, "options": as_json(found)})
