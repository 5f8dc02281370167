"""Plain words for what the analysis holds: balls, pockets, strokes, and one line that heads a shot."""

from __future__ import annotations

from dataclasses import dataclass

from lessonkit.model import CUE_BALL, Cushion, Intent, Plan, Pocket, SeenShot, Shot, Side, Speed, Stroke

_NUMBERS = (
    "cue ball", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
    "twelve", "thirteen", "fourteen", "fifteen",
)  # fmt: skip
_SMALL = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")

POCKETS: dict[Pocket, str] = {
    "head-right": "head-right corner", "side-right": "right side pocket", "foot-right": "foot-right corner",
    "head-left": "head-left corner", "side-left": "left side pocket", "foot-left": "foot-left corner",
}  # fmt: skip
CUSHIONS: dict[Cushion, str] = {
    "head": "head cushion", "foot": "foot cushion", "right": "right cushion", "left": "left cushion",
}  # fmt: skip


def ball_word(ball: int) -> str:
    """'nine', 'cue ball'; a number outside 0..15 as figures."""
    return _NUMBERS[ball] if 0 <= ball < len(_NUMBERS) else str(ball)


def ball_name(ball: int) -> str:
    """'the nine', 'the cue ball'."""
    return f"the {ball_word(ball)}"


def pocket_name(pocket: Pocket) -> str:
    """'foot-left corner', 'right side pocket'."""
    return POCKETS[pocket]


def cushion_name(cushion: Cushion) -> str:
    """'foot cushion'."""
    return CUSHIONS[cushion]


def listed(words: list[str]) -> str:
    """'a', 'a and b', 'a, b and c'."""
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1] if words else ""


def counted(n: int, one: str, many: str | None = None) -> str:
    """'no cushions', 'one cushion', 'two cushions', '12 cushions'."""
    number = _SMALL[n] if 0 <= n < len(_SMALL) else str(n)
    return f"{number} {one if n == 1 else many or one + 's'}"


def side_words(side: Side | None) -> str | None:
    """'left side', 'no side', None where the note does not say."""
    return None if side is None else "no side" if side == "none" else f"{side} side"


def stroke_words(stroke: Stroke | None, speed: Speed | None, side: Side | None) -> str:
    """'draw, firm, left side'; what is not said is left out, so this may be empty."""
    return ", ".join(w for w in (stroke, speed, side_words(side)) if w)


def settled(shot: Shot) -> Plan | Intent | None:
    """Where ball, pocket and stroke of this shot stand: the plan, else what the note says, else nothing."""
    return shot.plan or (shot.note.intent if shot.note else None)


def by_custom(shot: Shot, field: str) -> bool:
    """Whether this field of the plan ('side', 'rails') is filled by custom, no word of the note having told it."""
    return shot.note is not None and field in shot.note.intent.by_custom


def said_stroke(shot: Shot) -> str:
    """Stroke, speed and side of the settled plan as far as they were said: 'draw, firm, left side', or ''."""
    plan = settled(shot)
    if plan is None:
        return ""
    side = None if by_custom(shot, "side") else plan.side
    relative = shot.note.intent.side_relative if shot.note else None
    words = stroke_words(plan.stroke, plan.speed, side)
    return ", ".join(w for w in (words, f"{relative} side" if relative and side is None else "") if w)


def target(shot: Shot) -> tuple[int | None, Pocket | None]:
    """The called ball and pocket, each None where nobody called one."""
    said = settled(shot)
    return (said.ball, said.pocket) if said else (None, None)


def target_words(shot: Shot) -> str | None:
    """'nine, foot-left corner' as called; without a call what dropped ('nine drops, foot-left corner'), or None."""
    ball, pocket = target(shot)
    if ball is not None and pocket is not None:
        return f"{ball_word(ball)}, {pocket_name(pocket)}"
    if ball is not None:
        return ball_word(ball)
    if pocket is not None:
        return pocket_name(pocket)
    drops = [p for p in shot.seen.pocketed if p.ball != CUE_BALL]
    if len(drops) == 1:
        return f"{ball_word(drops[0].ball)} drops, {pocket_name(drops[0].pocket)}"
    if drops:
        return f"{listed([ball_word(p.ball) for p in drops])} drop"
    return "scratch" if shot.seen.scratch else None


def headline(shot: Shot) -> str:
    """One line that heads a shot: 'Shot 3 · nine, foot-left corner · draw, firm, left side'."""
    return " · ".join(w for w in (f"Shot {shot.seen.number}", target_words(shot), said_stroke(shot)) if w)


def chapter_title(shot: Shot) -> str:
    """'Shot 3: nine, foot-left'; without a call what dropped; else 'Shot 3'."""
    ball, pocket = target(shot)
    called = ", ".join(w for w in (None if ball is None else ball_word(ball), pocket) if w)
    words = called or target_words(shot)
    return f"Shot {shot.seen.number}" + (f": {words}" if words else "")


def plan_sentences(shot: Shot) -> str:
    """The settled plan as sentences for a viewer: 'The nine, foot-left corner. Draw, firm, left side.' or ''."""
    ball, pocket = target(shot)
    called = ", ".join(
        w
        for w in (None if ball is None else ball_name(ball), None if pocket is None else pocket_name(pocket))
        if w
    )
    return " ".join(w[0].upper() + w[1:] + "." for w in (called, said_stroke(shot)) if w)


def fullness_words(fullness: float) -> str:
    """How full a ball was hit, by the trade's fractions: 'full', 'three-quarter ball', 'half ball', 'a third of a ball',
    'quarter ball', 'very thin'."""
    if fullness >= 7 / 8:
        return "full"
    if fullness >= 5 / 8:
        return "three-quarter ball"
    if fullness >= 5 / 12:
        return "half ball"
    if fullness >= 7 / 24:
        return "a third of a ball"
    return "quarter ball" if fullness >= 1 / 8 else "very thin"


@dataclass(frozen=True)
class Outcome:
    """What happened in a shot, in a few words, and the footage time from which it may be said."""

    t_s: float
    words: str


def outcome(seen: SeenShot) -> Outcome | None:
    """What the balls did, plainly and without judging: 'The nine, hit half ball, drops in the foot-left corner.'

    None where the footage showed no contact at all.
    """
    drops = [p for p in seen.pocketed if p.ball != CUE_BALL]
    scratch = next((p for p in seen.pocketed if p.ball == CUE_BALL), None)
    contact = next(
        (e for e in seen.events if e.kind == "ball" and CUE_BALL in e.balls and len(e.balls) == 2), None
    )
    met = None if contact is None else next((b for b in contact.balls if b != CUE_BALL), None)
    hit = "" if met is None or seen.fullness is None else f", hit {fullness_words(seen.fullness)},"
    t_s = max((p.t_s for p in seen.pocketed), default=contact.t_s if contact else seen.rest_s)
    if len(drops) == 1:
        ball = drops[0].ball
        words = f"{ball_name(ball)}{hit if ball == met else ''} drops in the {pocket_name(drops[0].pocket)}"
    elif drops:
        words = f"the {listed([ball_word(p.ball) for p in drops[:4]])} drop"
        words = f"{counted(len(drops), 'ball')} drop" if len(drops) > 4 else words
    elif met is not None:
        words = f"{ball_name(met)}{hit} stays on the table"
    elif scratch is None:
        return None
    else:
        return Outcome(t_s, f"The cue ball drops in the {pocket_name(scratch.pocket)}.")
    words += "; so does the cue ball" if scratch and drops else "; the cue ball drops" if scratch else ""
    return Outcome(t_s, words[0].upper() + words[1:] + ".")
