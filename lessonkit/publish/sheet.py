"""One page for students: every shot's drawing with what was called and what came of it, and room to write.

sheet.html is ready to print on A4 or Letter; where a Chromium is installed the same becomes sheet.pdf.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from lessonkit.comparing.words import without_cause
from lessonkit.folder import whole, write_text
from lessonkit.lesson.captions import plain
from lessonkit.lesson.diagram import diagram_svg
from lessonkit.lesson.phrases import said_stroke, target_words
from lessonkit.model import Analysis, Shot
from lessonkit.publish import figures as words

HTML_NAME = "sheet.html"
PDF_NAME = "sheet.pdf"
MOST_DRAWN = 9
"""Drawings that can be read on one page; of further shots there is a line each."""
MOST_LINES = 8
_LONGEST = 110
_BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
_SECONDS = 60


@dataclass(frozen=True)
class _Cell:
    number: int
    heading: str
    stroke: str
    outcome: str
    drawing: Markup


def _cell(shot: Shot, a: Analysis) -> _Cell:
    c = shot.comparison
    outcome = plain(c.sentence) if c and c.sentence else ""
    if not outcome and c is not None and c.landing_error_mm is not None:
        outcome = f"The cue ball stopped {words.number(c.landing_error_mm, 'mm')} from the planned place."
    return _Cell(
        shot.seen.number,
        _short(words.capital(target_words(shot) or "no call in the notes")),
        words.capital(said_stroke(shot)) or words.capital(words.NOT_SAID),
        _short(
            (outcome if len(outcome) <= _LONGEST else without_cause(outcome))
            or words.capital(words.NOT_MEASURED)
        ),
        Markup(diagram_svg(shot, a.table)),
    )


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1].rstrip() + "…"


def _telling(shot: Shot) -> float:
    """Shots that went further from their plan are drawn first where not all can be."""
    c = shot.comparison
    if c is None:
        return -1.0
    return (c.landing_error_mm or 0.0) + (1e6 if c.called_made is False or shot.seen.scratch else 0.0)


def sheet_html(a: Analysis) -> str:
    """The whole page."""
    most = sorted(a.shots, key=_telling, reverse=True)[:MOST_DRAWN]
    drawn = [s for s in a.shots if s in most]
    rest = [s for s in a.shots if s not in most]
    env = Environment(
        loader=PackageLoader("lessonkit.publish", "templates"),
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    return env.get_template("sheet.html.j2").render(
        title=_short(words.lesson_title(a)), byline=_short(words.byline(a)), summary=words.summary(a),
        cells=[_cell(s, a) for s in drawn], rest=[_cell(s, a) for s in rest[:MOST_LINES]],
        left_out=max(0, len(rest) - MOST_LINES), columns=1 if len(drawn) == 1 else 2 if len(drawn) <= 6 else 3,
        writing=5 if len(drawn) <= 4 else 2 if len(drawn) <= 6 else 1,
    )  # fmt: skip


def write(a: Analysis, out: Path) -> str | None:
    """Write sheet.html and, where there is a Chromium, sheet.pdf; returns one sentence where there is no PDF.

    Raises FolderError where a file cannot be written.
    """
    write_text(out / HTML_NAME, sheet_html(a))
    if write_pdf(out / HTML_NAME, out / PDF_NAME):
        return None
    (out / PDF_NAME).unlink(missing_ok=True)  # of an earlier run, and no longer the same
    return f"no Chromium was found to make {PDF_NAME}; open {HTML_NAME} in any browser and print it."


def write_pdf(page: Path, pdf: Path) -> bool:
    """Print a page with headless Chromium; whether it could be done."""
    browser = next((b for name in _BROWSERS if (b := shutil.which(name))), None)
    if browser is None:
        return False
    with tempfile.TemporaryDirectory(prefix="lessonkit-", ignore_cleanup_errors=True) as profile:
        made = Path(profile) / pdf.name
        command = [
            browser, "--headless", "--disable-gpu", "--no-first-run", "--disable-background-networking",
            f"--user-data-dir={profile}", "--no-pdf-header-footer", f"--print-to-pdf={made}", page.resolve().as_uri(),
        ]  # fmt: skip
        for more in ([], ["--no-sandbox"]):  # the sandbox is refused to root and in many containers
            try:
                subprocess.run(
                    [*command[:1], *more, *command[1:]], capture_output=True, timeout=_SECONDS, check=False
                )
            except (OSError, subprocess.TimeoutExpired):
                continue
            if made.exists() and made.stat().st_size:
                with whole(pdf) as part:
                    shutil.copyfile(made, part)
                return True
    return False
