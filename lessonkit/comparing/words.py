"""One sentence that says how a shot went, with one measured figure."""

from __future__ import annotations

from math import hypot

from lessonkit.model import Cushion, Pocket, Point, Table

BALL_NAMES = (
    "cue ball", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen",
)  # fmt: skip


def ball_name(number: int) -> str:
    """'nine' for 9; a number that is no pool ball's as figures."""
    return BALL_NAMES[number] if 0 <= number < len(BALL_NAMES) else f"ball {number}"


def pocket_name(pocket: Pocket) -> str:
    """'foot-left corner', 'right side pocket'."""
    if pocket.startswith("side-"):
        return f"{pocket.removeprefix('side-')} side pocket"
    return f"{pocket} corner"


IN_MOUTH = 0.8
"""A ball's centre nearer to a pocket than so many mouth widths touches its jaws, not the cushion."""


def jaws_of(place: Point, table: Table) -> Pocket | None:
    """The pocket whose jaws a ball touches that meets a cushion at a place; None: the cushion itself."""
    for pocket, (x, y) in table.pockets.items():
        mouth = table.side_mouth_mm if pocket.startswith("side-") else table.corner_mouth_mm
        if hypot(place[0] - x, place[1] - y) < IN_MOUTH * mouth:
            return pocket
    return None


def met_name(ball: int | None, cushion: Cushion | None, place: Point, table: Table) -> str:
    """'the six', 'the foot cushion', 'the jaws of the foot-left corner'."""
    if ball is not None:
        return f"the {ball_name(ball)}"
    jaws = jaws_of(place, table)
    return f"the jaws of the {pocket_name(jaws)}" if jaws is not None else f"the {cushion} cushion"


def length(mm: float) -> str:
    """A length as one says it: '1 mm', '42 mm', '18 cm', '1.3 m'."""
    if mm < 99.5:
        return f"{mm:.0f} mm"
    if mm < 995.0:
        return f"{mm / 10:.0f} cm"
    return f"{mm / 1000:.1f} m"


def count(n: int, one: str) -> str:
    """'1 rail', '2 rails'."""
    return f"{n} {one}" if n == 1 else f"{n} {one}s"


LONGEST = 130
"""Characters of a sentence that still makes three short captions; a longer one goes without its cause."""


MOSTLY, PROBABLY = ", mostly from ", ", probably from "


def with_cause(sentence: str, cause: str, firm: bool = True) -> str:
    """The sentence with what it comes from, if it stays short enough to read; not firm: 'probably'."""
    said = f"{sentence.removesuffix('.')}{MOSTLY if firm else PROBABLY}{cause}."
    return said if len(said) <= LONGEST else sentence


def without_cause(sentence: str) -> str:
    """The same without what it comes from, for where there is little room."""
    for joint in (MOSTLY, PROBABLY):
        if joint in sentence:
            return sentence[: sentence.index(joint)] + "."
    return sentence


def not_there_sentence(ball: int) -> str:
    """For a plan whose called ball was not on the table."""
    return (
        f"The {ball_name(ball)} was not on the table before this shot, so it is not compared with its note."
    )


def made_sentence(ball: int, verdict: str, error_mm: float | None, met: str | None = None) -> str | None:
    """For a called ball that dropped while the cue ball stayed up; None where nothing was measured.

    met, here and below: what the cue ball ran into against the plan, as of `met_name`.
    """
    if error_mm is None:
        return None
    joined = "and" if verdict == "as planned" else "but"
    return f"The {ball_name(ball)} dropped, {joined} the cue ball {_ran_into(met)}{_away(verdict, error_mm)}."


def _ran_into(met: str | None) -> str:
    return f"ran into {met} and " if met else ""


def _away(verdict: str, error_mm: float) -> str:
    said = {"as planned": "from", "short": "short of", "long": "past"}.get(verdict, "wide of")
    return f"stopped {length(error_mm)} {said} its planned place"


def cue_ball_sentence(verdict: str, error_mm: float, met: str | None = None) -> str:
    """For a plan with no called ball."""
    return f"The cue ball {_ran_into(met)}{_away(verdict, error_mm)}."


def scratch_sentence(
    ball: int | None,
    made: bool | None,
    pocket: Pocket | None,
    rails: int | None,
    t_s: float,
    met: str | None = None,
) -> str:
    """For a cue ball that dropped; the figure is its rails, or the time that it ran."""
    where = f" in the {pocket_name(pocket)}" if pocket is not None else ""
    when = f"after {count(rails, 'rail')}" if rails else f"{t_s:.1f} seconds after the strike"
    if ball is not None and made:
        if met:
            return f"The {ball_name(ball)} dropped, but the cue ball ran into {met} and dropped too{where}, {when}."
        return f"The {ball_name(ball)} dropped, but so did the cue ball{where}, {when}."
    if ball is not None and made is False:
        return f"The {ball_name(ball)} stayed up and the cue ball {_ran_into(met)}dropped{where}, {when}."
    return f"The cue ball {_ran_into(met)}dropped{where}, {when}."


def _before(ball: int, met: str | None) -> str:
    return f"The cue ball met {met} before the {ball_name(ball)}, which" if met else f"The {ball_name(ball)}"


def missed_sentence(
    ball: int, pocket: Pocket | None, miss_mm: float | None, hit: bool, met: str | None = None
) -> str | None:
    """For a called ball that stayed up; the figure is how near it came to its pocket, or the cue ball to it."""
    if miss_mm is None:
        return None
    if not hit:
        return f"The cue ball {_ran_into(met)}passed {length(miss_mm)} from the {ball_name(ball)} without touching it."
    if pocket is None:
        return None
    return f"{_before(ball, met)} missed the middle of the {pocket_name(pocket)} by {length(miss_mm)}."


def rattled_sentence(ball: int, pocket: Pocket, left_mm: float, met: str | None = None) -> str:
    """For a called ball that was in its pocket's mouth and did not drop; the figure is where it came to rest."""
    return f"{_before(ball, met)} rattled in the {pocket_name(pocket)} and came to rest {length(left_mm)} from it."


def elsewhere_sentence(ball: int, went: Pocket, called: Pocket, t_s: float, met: str | None = None) -> str:
    """For a called ball that dropped, but not where it was called."""
    if met:
        return (
            f"{_before(ball, met)} dropped in the {pocket_name(went)} instead of the {pocket_name(called)}."
        )
    return (
        f"The {ball_name(ball)} dropped in the {pocket_name(went)} instead of the {pocket_name(called)}, "
        f"{t_s:.1f} seconds after the strike."
    )
