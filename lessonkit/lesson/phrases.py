"""Plain words for what the analysis holds: balls, pockets, strokes, and one line that heads a shot."""

from __future__ import annotations

from lessonkit.model import CUE_BALL, Cushion, Intent, Plan, Pocket, Shot, Side, Speed, Stroke

_NUMBERS = (
    "cue ball", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen",
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


def target(shot: Shot) -> tuple[int | None, Pocket | None]:
    """The called ball and pocket, each None where nobody called one."""
    said = settled(shot)
    return (said.ball, said.pocket) if said else (None, None)


def target_words(shot: Shot) -> str | None:
    """'nine, foot-left corner' as called; without a call what dropped: 'nine drops, foot-left corner'; else None."""
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
    said = settled(shot)
    stroke = stroke_words(said.stroke, said.speed, said.side) if said else ""
    return " · ".join(w for w in (f"Shot {shot.seen.number}", target_words(shot), stroke) if w)


def chapter_title(shot: Shot) -> str:
    """'Shot 3: nine, foot-left'; without a call what dropped; else 'Shot 3'."""
    ball, pocket = target(shot)
    called = ", ".join(w for w in (None if ball is None else ball_word(ball), pocket) if w)
    words = called or target_words(shot)
    return f"Shot {shot.seen.number}" + (f": {words}" if words else "")
