"""A text to publish beside the video: title, summary, chapters to paste, what to check and a caution."""

from __future__ import annotations

from pathlib import Path

from lessonkit.folder import write_text
from lessonkit.lesson.captions import plain
from lessonkit.lesson.chapters import platform_caution
from lessonkit.lesson.cutlist import CutList
from lessonkit.lesson.phrases import chapter_title, listed
from lessonkit.model import Analysis
from lessonkit.publish.chapter_files import chapter_lines
from lessonkit.publish.figures import NOT_MEASURED, byline, lesson_title, number, summary

NAME = "description.md"
CAUTION = (
    "Before publishing: have the leave of everybody who can be recognised, a parent's or guardian's for minors; "
    "local law decides. Delete this section."
)


def description(analysis: Analysis, cuts: CutList) -> str:
    """The whole text, Markdown."""
    parts = [f"# {lesson_title(analysis)}", byline(analysis), summary(analysis)]
    # Two spaces keep the lines apart where Markdown is shown, and are not seen where it is pasted.
    parts.append("## Chapters\n\n" + "  \n".join(chapter_lines(cuts.chapters).splitlines()))
    parts.append("## Figures\n\n" + "\n".join(_figures(analysis)) if analysis.shots else "")
    own = [f"- {line}" for line in _for_you(analysis, cuts)]
    parts.append("## For you, not for the viewers\n\n" + "\n".join(own))
    return "\n\n".join(p for p in parts if p) + "\n"


def _figures(analysis: Analysis) -> list[str]:
    """A line for each shot: how far from the planned place, how hard, how full; what was not measured is left out."""
    lines = []
    for s in analysis.shots:
        c, stroke = s.comparison, s.stroke
        known = [
            (number(c.landing_error_mm if c else None, "mm"), "from the planned place"),
            (number(stroke.speed_mps if stroke else None, "m/s", 1), "at the start"),
            (number(s.seen.fullness, "full", 2), "on the first ball"),
        ]
        told = [f"{value} {what}".strip() for value, what in known if value != NOT_MEASURED]
        title = plain(chapter_title(s))
        lines.append(f"- {title}" + (f": {', '.join(told)}" if told else ""))
    return lines


def _for_you(analysis: Analysis, cuts: CutList) -> list[str]:
    doubtful = [str(s.seen.number) for s in analysis.shots if s.seen.doubtful]
    lines = []
    if doubtful:
        which = f"{'shot' if len(doubtful) == 1 else 'shots'} {listed(doubtful)}"
        lines.append(f"Check by eye: some balls could not be told for sure in {which}.")
    caution = platform_caution(cuts.chapters)
    if caution:
        lines.append(caution)
    return [*lines, CAUTION]


def write_description(analysis: Analysis, cuts: CutList, path: Path) -> None:
    """Write the text. Raises FolderError where it cannot be written."""
    write_text(path, description(analysis, cuts))


def write(analysis: Analysis, cuts: CutList, folder: Path) -> None:
    """Write description.md into a lesson folder."""
    write_description(analysis, cuts, folder / NAME)
