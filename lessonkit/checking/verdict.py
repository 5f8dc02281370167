"""From measures to a verdict in plain words with advice; and the same as JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from lessonkit.checking.balls import SeenBall
from lessonkit.checking.limits import LIMITS, Grade
from lessonkit.model import Camera, Footage, Table
from lessonkit.seeing.calibration import UNSURE_SIZE

SURE = 0.8
"""A ball's number is doubted below this."""
_SUMS = {
    "good": "Usable: nothing was found that an evening's film would suffer from.",
    "care": "Usable with care: lessonkit will work, better so after mending what follows.",
    "bad": "Not usable as it is: mend what is marked first.",
}


@dataclass(frozen=True)
class Finding:
    """One thing that was judged."""

    key: str
    label: str
    value: float | None
    """In the unit of the measure; None where it could not be measured."""
    shown: str
    """The value for people."""
    grade: Grade
    trouble: str
    """Empty where all is well or nothing was measured."""
    advice: str


@dataclass(frozen=True)
class Verdict:
    """All findings and what they come to."""

    grade: Grade
    findings: tuple[Finding, ...]

    @property
    def sentence(self) -> str:
        """The whole in one sentence."""
        return _SUMS[self.grade]

    @property
    def troubles(self) -> tuple[Finding, ...]:
        """What should be mended, the worst first."""
        wrong = [f for f in self.findings if f.grade in ("bad", "care")]
        return tuple(sorted(wrong, key=lambda f: f.grade != "bad"))


@dataclass(frozen=True, eq=False)
class Report:
    """What one check of footage came to."""

    footage: Footage
    from_s: float
    to_s: float
    shown_s: float
    """Time of the picture that is drawn."""
    table: Table | None
    """None where no table was recognised."""
    camera: Camera | None
    sights: int
    pockets: int
    balls: tuple[SeenBall, ...]
    verdict: Verdict


def judge(measured: Mapping[str, float | None], others: Sequence[Finding] = ()) -> Verdict:
    """The verdict on measures keyed as `LIMITS` are, and on what was found besides. A key left out was not measured."""
    findings = list(others)
    for limit in LIMITS:
        value = measured.get(limit.key)
        grade = limit.grade(value)
        wrong = grade in ("care", "bad")
        findings.append(
            Finding(
                limit.key, limit.label, value, limit.shown(value), grade,
                limit.trouble if wrong else "", limit.advice if wrong else "",
            )
        )  # fmt: skip
    worst: Grade = "good"
    for f in findings:
        if f.grade == "bad" or (f.grade == "care" and worst == "good"):
            worst = f.grade
    return Verdict(worst, tuple(findings))


def table_findings(
    table: Table | None, size_sure: bool, sights: int, pockets: int, cut: bool, balls: Sequence[SeenBall]
) -> list[Finding]:
    """What was found of the table and its balls, judged. `cut`: the cloth runs on to the picture's border."""
    if table is None:
        why = "no pool table was recognised"
        if cut:
            why += ": the cloth seems to run on beyond the picture"
        advice = (
            "Have the whole table in the picture, rails and pockets too, and light on it; or give the corners with "
            "--corners."
        )
        return [Finding("table", "table", None, "not found", "bad", why, advice)]
    size = Finding(
        "size", "size of the table", table.length_mm, table.size, "good" if size_sure else "care",
        "" if size_sure else f"the size of the table is unsure ({table.size} was taken)",
        "" if size_sure else "Lay a few balls apart from each other on the table, or give its size with --table.",
    )  # fmt: skip
    few = pockets < 5 or sights < 12
    marks = Finding(
        "marks", "sights and pockets", float(sights + pockets), f"{sights} of 18 and {pockets} of 6", "care" if few else "good",
        "few of the table's sights and pockets were recognised, so places may be off" if few else "",
        "See whether the outline drawn in the picture runs along the cushions; if not, give --corners, and another --table if one "
        "was given. A table without sights is none the worse."
        if few
        else "",
    )  # fmt: skip
    # the doubt about the size is a finding of its own
    sure = SURE if size_sure else SURE * UNSURE_SIZE
    doubtful = [b for b in balls if b.number is None or b.confidence < sure]
    doubt = bool(balls) and len(doubtful) > 0.25 * len(balls)
    numbers = Finding(
        "numbers", "balls whose number is doubted", float(len(doubtful)) if balls else None,
        f"{len(doubtful)} of {len(balls)}", "care" if doubt else "good" if balls else "unknown",
        "many balls' numbers are doubted" if doubt else "",
        "Check the numbers in the picture; mend light and focus first, then set the camera's white balance." if doubt else "",
    )  # fmt: skip
    return [size, marks, numbers]


def lines(report: Report) -> list[str]:
    """The verdict as lines of text for a terminal."""
    v = report.verdict
    out = [f"{report.footage.name}, {report.from_s:.1f} to {report.to_s:.1f} s: {v.sentence}"]
    for f in v.troubles:
        mark = "Mend" if f.grade == "bad" else "Better"
        out.append(f"{mark}: {f.trouble} ({f.label}: {f.shown}). {f.advice}")
    unknown = [f.label for f in v.findings if f.grade == "unknown"]
    if unknown:
        out.append(f"Not measured: {', '.join(unknown)}.")
        if (
            any(f.key == "exposure_s" and f.grade == "unknown" for f in v.findings)
            and report.table is not None
        ):
            out.append("To have the shutter measured, roll a ball across the table while filming.")
    good = [f"{f.label} {f.shown}" for f in v.findings if f.grade == "good"]
    if good:
        out.append(f"In order: {'; '.join(good)}.")
    return out


def as_json(report: Report) -> dict[str, Any]:
    """The report for programs: plain values, units in the names, None for what was not measured."""
    camera = report.camera
    return {
        "footage": report.footage.name,
        "from_s": round(report.from_s, 3),
        "to_s": round(report.to_s, 3),
        "picture_s": round(report.shown_s, 3),
        "verdict": {"good": "usable", "care": "usable with care", "bad": "not usable"}[report.verdict.grade],
        "sentence": report.verdict.sentence,
        "table": report.table.size if report.table else None,
        "camera_error_px": None if camera is None or camera.error_px is None else round(camera.error_px, 3),
        "camera_error_mm": None if camera is None or camera.error_mm is None else round(camera.error_mm, 2),
        "sights": report.sights,
        "pockets": report.pockets,
        "balls": [
            {
                "number": b.number, "x_mm": round(b.place[0], 1), "y_mm": round(b.place[1], 1),
                "confidence": round(b.confidence, 3), "error_mm": None if b.error_mm is None else round(b.error_mm, 2),
            }
            for b in report.balls
        ],
        "findings": [
            {
                "key": f.key, "label": f.label, "value": None if f.value is None else round(f.value, 5), "shown": f.shown,
                "grade": f.grade, "trouble": f.trouble or None, "advice": f.advice or None,
            }
            for f in report.verdict.findings
        ],
    }  # fmt: skip
