"""The words for a difference of strokes, with one figure each."""

from __future__ import annotations

from lessonkit.model import Account, Difference, Stroke

RADIUS_MM = 28.575
"""Of the usual pool ball; tip offsets are said in millimetres, which a player can see on the ball."""
NO_SIDE = 0.05
"""Tip offsets nearer to the middle than this (radii) count as no side."""


def words_of(account: Account, planned: float, actual: float, stroke: Stroke | None) -> str:
    """'0.08 of a ball thinner', '12 % slower', 'the tip 5 mm lower (more draw)', '4 mm more left'."""
    off = actual - planned
    if account == "fullness":
        return f"{abs(off):.2f} of a ball {'thicker' if off > 0 else 'thinner'}"
    if account == "speed":
        return f"{abs(off) / planned * 100:.0f} % {'faster' if off > 0 else 'slower'}"
    if account == "tip_up":
        return f"the tip {_mm(off)} {'higher' if off > 0 else 'lower'}{_spin(planned, off, stroke)}"
    return _side(planned, actual)


def clause(account: Account, words: str, planned: float, actual: float, ball: str | None) -> str:
    """What a landing comes 'mostly from': 'hitting the nine 0.08 of a ball thinner', '12 % less speed'."""
    if account == "fullness":
        return f"hitting {f'the {ball}' if ball else 'it'} {words}"
    if account == "speed":
        return f"{abs(actual - planned) / planned * 100:.0f} % {'more' if actual > planned else 'less'} speed"
    return words


def _mm(radii: float) -> str:
    return f"{max(1.0, abs(radii) * RADIUS_MM):.0f} mm"


def _spin(planned: float, off: float, stroke: Stroke | None) -> str:
    """What a tip placed higher or lower means for a stroke that was to follow or draw."""
    if stroke in ("draw", "stop", "stun") or (stroke is None and planned < -NO_SIDE):
        return " (less draw)" if off > 0 else " (more draw)"
    if stroke in ("follow", "force follow") or (stroke is None and planned > NO_SIDE):
        return " (more follow)" if off > 0 else " (less follow)"
    return ""


def _side(planned: float, actual: float) -> str:
    def name(offset: float) -> str:
        return "left" if offset > 0 else "right"

    if abs(planned) < NO_SIDE:
        return f"{_mm(actual)} of {name(actual)} that was not planned"
    if abs(actual) < NO_SIDE:
        return f"no {name(planned)} to speak of"
    if (planned > 0) != (actual > 0):
        return f"{name(actual)} instead of {name(planned)}"
    return f"{_mm(actual - planned)} {'more' if abs(actual) > abs(planned) else 'less'} {name(planned)}"


def detail_of(
    differences: tuple[Difference, ...],
    cause: Account | None,
    what: str | None,
    nothing_near: bool = False,
    met: tuple[str, float] | None = None,
    bears: bool = False,
) -> str | None:
    """All that was found, in sentences; None where there was nothing to compare.

    what: what a cause accounts for ('the landing error', 'the miss', 'the scratch'); None: all went as planned. nothing_near:
    no stroke near does what the plan says. met: what the cue ball ran into against the plan, and seconds from the strike;
    bears: whether that bears on how the shot came out.
    """
    said = NOTHING_NEAR if nothing_near else _of_strokes(differences, cause, what, met is not None and bears)
    if met is None:
        return said
    ran = f"The cue ball ran into {met[0]} {met[1]:.1f} seconds after the strike, which was not planned."
    if bears and what is not None and cause is None:
        ran += f" So {what} is put down to no difference of the stroke."
    return f"{said} {ran}" if said else ran


def _of_strokes(
    differences: tuple[Difference, ...], cause: Account | None, what: str | None, met: bool
) -> str | None:
    if not differences:
        return None
    sure = [_whole(d) for d in differences if d.words is not None]
    said = (
        f"Against the plan: {'; '.join(sure)}."
        if sure
        else "No difference from the planned stroke is beyond doubt."
    )
    unknown = [NAMES[d.account] for d in differences if d.actual is None]
    if unknown:
        said += f" The footage does not tell the {' or the '.join(unknown)}."
    if what is None or all(d.explains is None for d in differences):
        return said
    if cause is None and met:
        return said
    if cause is None:
        return said + f" No single difference surely accounts for most of {what}."
    best = next(d for d in differences if d.account == cause)
    share, least = best.explains or 0.0, best.explains_least
    part = f"{min(share, 1.0) * 100:.0f} % of {what}" if what == LANDING else what
    if what == LANDING and least is not None and round(100 * least) < round(100 * min(share, 1.0)):
        part += f" (within its error, for {least * 100:.0f} % at least)"
    return said + f" Played through one at a time, the {NAMES[cause]} alone accounts for {part}."


LANDING = "the landing error"
NOTHING_NEAR = (
    "No stroke near the one played does what the plan says, so the two are not held against each other."
)
NAMES: dict[Account, str] = {
    "fullness": "thickness of the hit",
    "speed": "speed",
    "tip_up": "height of the tip",
    "tip_left": "side",
}


def _whole(d: Difference) -> str:
    said = f"hit {d.words}" if d.account == "fullness" else d.words or ""
    doubt = _doubt(d)
    return f"{said} (give or take {doubt})" if doubt else said


def _doubt(d: Difference) -> str | None:
    """The standard error of a difference in the unit of its words; None where the words hold no figure."""
    if d.error is None or d.words is None or not any(c.isdigit() for c in d.words):
        return None
    if d.account == "fullness":
        return f"{max(d.error, 0.01):.2f}"
    if d.account == "speed":
        return f"{max(d.error / d.planned * 100, 1.0):.0f} %"
    return _mm(d.error)
