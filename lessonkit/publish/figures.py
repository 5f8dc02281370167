"""The figures of a shot as words with units, for pages and descriptions; 'not measured' and 'not said' where unknown."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import dist, isfinite
from statistics import median

from lessonkit.lesson.captions import plain
from lessonkit.lesson.cutlist import CutList
from lessonkit.lesson.landing import measured_place
from lessonkit.lesson.phrases import (
    ball_name,
    ball_word,
    by_custom,
    counted,
    cushion_name,
    fullness_words,
    listed,
    pocket_name,
    settled,
    side_words,
    target,
)
from lessonkit.model import CUE_BALL, Analysis, Event, Point, Shot, StrokeEstimate, Table

NOT_MEASURED = "not measured"
NOT_SAID = "not said"


@dataclass(frozen=True)
class Pair:
    """One row of planned beside happened."""

    what: str
    planned: str
    happened: str


def capital(text: str) -> str:
    """With its first letter large."""
    return text[:1].upper() + text[1:]


def lines_of(text: str) -> str:
    """A text's lines without what a page cannot hold (controls, lone surrogates), empty ones left out."""
    return "\n".join(line for line in map(plain, text.splitlines()) if line)


def number(value: float | None, unit: str, digits: int = 0, unknown: str = NOT_MEASURED) -> str:
    """'180 mm', '2.1 m/s'; no-break space before the unit; `unknown` for None and for what is no number."""
    if value is None or not isfinite(value):
        return unknown
    text = f"{value:.{digits}f}"
    return f"{text.removeprefix('-') if float(text) == 0 else text}\u00a0{unit}"


def place(point: Point | None, unknown: str = NOT_MEASURED) -> str:
    """'1852, 498 mm' (along the table, across it)."""
    return unknown if point is None else f"{point[0]:.0f}, {point[1]:.0f}\u00a0mm"


def yes_no(value: bool | None) -> str:
    """'Yes', 'No' or 'not measured'."""
    return NOT_MEASURED if value is None else "Yes" if value else "No"


def track_length_mm(shot: Shot) -> float | None:
    """How far the cue ball went, by its tracked path; None for fewer than two points."""
    path = shot.seen.cue_path
    if len(path) < 2:
        return None
    return float(sum(dist(a, b) for a, b in zip(path[:-1, 1:], path[1:, 1:], strict=True)))


# --- the plan and what happened -----------------------------------------------------------------------------------


def planned_pairs(shot: Shot, table: Table) -> list[Pair]:
    """Ball, pocket, stroke, side, speed, rails and landing place: as planned and as measured."""
    said = settled(shot)
    ball, pocket = target(shot)
    c, e = shot.comparison, shot.stroke or StrokeEstimate(None, None, None)
    return [
        Pair("Ball", NOT_SAID if ball is None else capital(ball_word(ball)), _ball_fate(shot, ball)),
        Pair("Pocket", NOT_SAID if pocket is None else capital(pocket_name(pocket)), _pocket_fate(shot, ball)),
        Pair("Stroke", _word(said.stroke if said else None), _tip(e.tip_up, "above", "below")),
        Pair("Side", _side_planned(shot), _tip(e.tip_left, "left of", "right of")),
        Pair("Speed", _word(said.speed if said else None), number(e.speed_mps, "m/s at the start", 1)),
        Pair("Cushions", _rails_planned(shot), _rails(c.rails_actual if c else None)),
        Pair("Cue ball stops at", _landing_planned(shot, table), _landing(shot, table)),
    ]  # fmt: skip


def _word(said: str | None) -> str:
    return capital(said) if said else NOT_SAID


def _ball_fate(shot: Shot, ball: int | None) -> str:
    if ball is not None:
        if any(p.ball == ball for p in shot.seen.pocketed):
            return f"{capital(ball_word(ball))} dropped"
        return f"{capital(ball_word(ball))} stayed up" if ball in shot.seen.layout_after else NOT_MEASURED
    drops = [ball_word(p.ball) for p in shot.seen.pocketed if p.ball != CUE_BALL]
    return capital(f"{listed(drops)} dropped") if drops else "No ball dropped"


def _pocket_fate(shot: Shot, ball: int | None) -> str:
    drops = [p for p in shot.seen.pocketed if p.ball != CUE_BALL and (ball is None or p.ball == ball)]
    if not drops:
        return "No pocket"
    return capital(listed([pocket_name(p.pocket) for p in drops]))


def _tip(offset: float | None, plus: str, minus: str) -> str:
    """Where the tip met the cue ball, as a share of the ball's radius."""
    if offset is None or not isfinite(offset):
        return NOT_MEASURED
    if abs(offset) < 0.05:
        return "Tip at the centre"
    return f"Tip {abs(offset):.2f} radius {plus if offset > 0 else minus} centre"


def _side_planned(shot: Shot) -> str:
    said = settled(shot)
    words = side_words(said.side) if said else None
    tips = shot.note.intent.side_tips if shot.note else None
    relative = shot.note.intent.side_relative if shot.note else None
    if relative:
        words = f"{words} ({relative})" if words else f"{relative} side"
    if words is None:
        return NOT_SAID
    if by_custom(shot, "side"):
        return f"{capital(words)} ({NOT_SAID})"
    return capital(words) + (f", {tips:g}\u00a0tip{'s' if tips > 1 else ''}" if tips else "")


def _rails(n: int | None, unknown: str = NOT_MEASURED) -> str:
    return unknown if n is None else capital(counted(n, "cushion"))


def _rails_planned(shot: Shot) -> str:
    said = settled(shot)
    words = _rails(said.rails if said else None, NOT_SAID)
    return f"{words} ({NOT_SAID})" if words != NOT_SAID and by_custom(shot, "rails") else words


def _landing_planned(shot: Shot, table: Table) -> str:
    """The note's words, and in figures the place from which the landing error is measured."""
    point = measured_place(shot)
    landing = shot.note.intent.landing if shot.note else None
    words = plain(landing.words) if landing else ""
    if point is None:
        return capital(words) if words else NOT_SAID
    return capital(f"{words} (planned place: {place(point)})") if words else place(point)


def _landing(shot: Shot, table: Table) -> str:
    end = shot.seen.layout_after.get(CUE_BALL)
    drop = next((p for p in shot.seen.pocketed if p.ball == CUE_BALL), None)
    return f"Dropped in the {pocket_name(drop.pocket)}" if drop else place(end)


# --- figures and events -------------------------------------------------------------------------------------------


def figures(shot: Shot, table: Table) -> list[tuple[str, str]]:
    """Name and value of each measured figure of a shot."""
    c, e = shot.comparison, shot.seen
    error = c.landing_error_mm if c else None
    balls = "" if error is None else f" ({error / table.ball_diameter_mm:.1f} balls)"
    full = NOT_MEASURED if e.fullness is None else f"{e.fullness:.2f} ({fullness_words(e.fullness)})"
    return [
        ("From the planned place", number(error, "mm") + balls),
        ("Off the planned way (mean)", number(c.path_distance_mm if c else None, "mm")),
        ("Fullness of the first contact", full),
        ("Cue ball travelled", number(_metres(track_length_mm(shot)), "m", 2)),
        ("Strike to rest", number(e.rest_s - e.strike_s, "s", 1)),
        *_chances(shot),
    ]


def _chances(shot: Shot) -> list[tuple[str, str]]:
    """What could be expected of the plan, and of the fallback on the table that was left; nothing where none is known."""
    rows: list[tuple[str, str]] = []
    plan, later = shot.plan, shot.plan_b_after
    if plan is not None and plan.pot_chance is not None:
        rows.append(("Chance of the planned pot", share(plan.pot_chance)))
    if plan is not None and plan.scratch_chance:
        rows.append(("Chance of a scratch with it", share(plan.scratch_chance)))
    if later is not None and later.ball is not None and later.pot_chance is not None:
        to = f" in the {pocket_name(later.pocket)}" if later.pocket else ""
        rows.append(("Plan B from there", f"{ball_name(later.ball)}{to}: {share(later.pot_chance)}"))
    return rows


def share(value: float) -> str:
    """'83 of 100'."""
    return f"{round(100 * value)} of 100"


def _metres(mm: float | None) -> float | None:
    return None if mm is None else mm / 1000


def event_words(e: Event) -> str:
    """'The cue ball meets the nine', 'The nine drops in the foot-left corner'."""
    first = capital(ball_name(e.balls[0]))
    if e.kind == "ball":
        return f"{first} meets {ball_name(e.balls[1])}" if len(e.balls) > 1 else f"{first} meets a ball"
    if e.kind == "cushion":
        return f"{first} meets the {cushion_name(e.cushion) if e.cushion else 'cushion'}"
    return f"{first} drops" + (f" in the {pocket_name(e.pocket)}" if e.pocket else "")


def events(shot: Shot) -> list[tuple[str, str]]:
    """Seconds after the strike, and what happened."""
    return [(f"{e.t_s - shot.seen.strike_s:.2f}\u00a0s", event_words(e)) for e in shot.seen.events]


def doubt(shot: Shot) -> str | None:
    """One sentence where a person should check balls of this shot."""
    balls = [ball_name(n) for n in shot.seen.doubtful]
    if not balls:
        return None
    return f"Check by eye: the number or place of {listed(balls)} is doubtful, and figures that rest on it may be wrong."


# --- the lesson as a whole ----------------------------------------------------------------------------------------


def lesson_title(a: Analysis) -> str:
    """The title in the notes' head, else one from the footage's name."""
    title = plain(a.head.title or "")
    return title or f"Lesson from {plain(a.footage.name) or 'a rack'}"


def byline(a: Analysis) -> str:
    """'Working through a rack · number 12 · M.', empty where the head says none of it."""
    head = a.head
    parts = [head.series, head.number and f"number {head.number}", head.player]
    return " · ".join(plain(p) for p in parts if p and plain(p))


def summary(a: Analysis) -> str:
    """One or two sentences: shots, called balls made, typical landing error."""
    shots = a.shots
    if not shots:
        return "The footage showed no shot."
    text = capital(counted(len(shots), "shot"))
    called = [
        s.comparison.called_made for s in shots if s.comparison and s.comparison.called_made is not None
    ]
    if called:
        text += f"; {_of(sum(called), len(called))} called {'balls' if len(called) > 1 else 'ball'} made"
    scratches = sum(s.seen.scratch for s in shots)
    text += f"; {counted(scratches, 'scratch', 'scratches')}." if scratches else "."
    errors = list(_errors(shots))
    if errors:
        text += (
            f" The cue ball stopped {median(errors):.0f} mm from the planned place"
            + (f" (median of {len(errors)} shots)." if len(errors) > 1 else ".")
        )  # fmt: skip
    return text


def _of(part: int, whole: int) -> str:
    return f"{part} of {whole}"


def _errors(shots: Iterable[Shot]) -> Iterable[float]:
    for s in shots:
        if (
            s.comparison
            and s.comparison.landing_error_mm is not None
            and isfinite(s.comparison.landing_error_mm)
        ):
            yield s.comparison.landing_error_mm


def lesson_start_s(cuts: CutList, shot_number: int) -> float | None:
    """Lesson time at which a shot begins, None if it is not in the lesson."""
    return next((p.start_s for p in cuts.pieces if p.shot == shot_number), None)
