"""One line a shot for a spreadsheet: RFC 4180 (CRLF, quotes doubled), UTF-8, units in the head, empty where unknown."""

from __future__ import annotations

import csv
import io
from math import isfinite
from pathlib import Path

from lessonkit.folder import write_text
from lessonkit.lesson.captions import plain
from lessonkit.lesson.landing import measured_place
from lessonkit.lesson.phrases import settled, target
from lessonkit.model import CUE_BALL, Analysis, Comparison, Point, Shot, StrokeEstimate

NAME = "shots.csv"
_FORMULA = "=+-@＝＋－＠"
Cell = str | int | float | None


def safe(text: str) -> str:
    """Text as one line that no spreadsheet takes for a formula (OWASP, CSV Injection: a quote goes before it)."""
    line = plain(text)
    return "'" + line if line.startswith(tuple(_FORMULA)) else line


def _text(text: str | None) -> str:
    return "" if text is None else safe(text)


def _number(value: float | None, digits: int) -> Cell:
    return None if value is None or not isfinite(value) else round(float(value), digits)


def _yes(value: bool | None) -> str:
    return "" if value is None else "yes" if value else "no"


def _xy(name: str, point: Point | None) -> dict[str, Cell]:
    x, y = point if point is not None else (None, None)
    return {f"{name} x (mm)": _number(x, 1), f"{name} y (mm)": _number(y, 1)}


def row(shot: Shot) -> dict[str, Cell]:
    """All cells of a shot by their heads."""
    e, said = shot.seen, settled(shot)
    c = shot.comparison or Comparison(None, None, None, None, None, None)
    stroke = shot.stroke or StrokeEstimate(None, None, None)
    ball, pocket = target(shot)
    return {
        "shot": e.number,
        "strike (s)": _number(e.strike_s, 3),
        "rest (s)": _number(e.rest_s, 3),
        "called ball": ball,
        "called pocket": pocket,
        "planned stroke": said.stroke if said else None,
        "planned side": said.side if said else None,
        "planned speed": said.speed if said else None,
        "planned cushions": said.rails if said else None,
        **_xy("planned landing", measured_place(shot)),
        "chance of the pot (0-1)": _number(shot.plan.pot_chance if shot.plan else None, 2),
        "chance of a scratch (0-1)": _number(shot.plan.scratch_chance if shot.plan else None, 2),
        "called ball made": _yes(c.called_made),
        "pocketed": "; ".join(f"{p.ball} {p.pocket}" for p in e.pocketed),
        "scratch": _yes(e.scratch),
        **_xy("landing", e.layout_after.get(CUE_BALL)),
        "landing error (mm)": _number(c.landing_error_mm, 1),
        "path distance (mm)": _number(c.path_distance_mm, 1),
        "cushions met": c.rails_actual,
        "fullness (0-1)": _number(e.fullness, 3),
        "cue ball speed (m/s)": _number(stroke.speed_mps, 2),
        "tip up (ball radii)": _number(stroke.tip_up, 2),
        "tip left (ball radii)": _number(stroke.tip_left, 2),
        "differences": "; ".join(d.words for d in c.differences if d.words),
        "main cause": _text(c.cause.replace("_", " ") if c.cause else None),
        "verdict": _text(c.verdict),
        "sentence": _text(c.sentence),
        "doubtful balls": "; ".join(str(n) for n in e.doubtful),
        "note (s)": _number(shot.note.t_s if shot.note else None, 3),
        "note": _text(shot.note.text if shot.note else None),
        "more notes": safe(" | ".join(plain(n.text) for n in shot.more_notes)),
    }


HEADS = (
    "shot", "strike (s)", "rest (s)", "called ball", "called pocket", "planned stroke", "planned side", "planned speed",
    "planned cushions", "planned landing x (mm)", "planned landing y (mm)",
    "chance of the pot (0-1)", "chance of a scratch (0-1)", "called ball made", "pocketed", "scratch",
    "landing x (mm)", "landing y (mm)", "landing error (mm)", "path distance (mm)", "cushions met", "fullness (0-1)",
    "cue ball speed (m/s)", "tip up (ball radii)", "tip left (ball radii)", "differences", "main cause", "verdict", "sentence", "doubtful balls",
    "note (s)", "note", "more notes",
)  # fmt: skip
"""The first line; there even where there is no shot."""


def csv_text(analysis: Analysis) -> str:
    """The whole file."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, HEADS, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(row(s) for s in analysis.shots)
    return out.getvalue()


def write_csv(analysis: Analysis, path: Path) -> None:
    """Write the file. Raises FolderError where it cannot be written."""
    write_text(path, csv_text(analysis))


def write(analysis: Analysis, folder: Path) -> None:
    """Write shots.csv into a lesson folder."""
    write_csv(analysis, folder / NAME)
