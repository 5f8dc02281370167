"""How a ball is to be met: how much of it, over which other balls (a combination), and whether a rack is opened after.

Tags `full_0.5` for how much of a ball is hit, `shade_through` and `shade_back` for what a stun has besides.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from lessonkit.model import Shade
from lessonkit.notes.words import Phrase, one_of

_PARTS = {
    "full": 1.0, "three quarter": 0.75, "three quarters": 0.75, "two third": 2 / 3, "two thirds": 2 / 3, "half": 0.5,
    "third": 1 / 3, "one third": 1 / 3, "quarter": 0.25, "one quarter": 0.25, "eighth": 0.125,
}  # fmt: skip
_PART = rf"(?:an? )?(?P<part>{one_of(*_PARTS)})"
_MEET = r"(?:hit|take|catch|clip|contact|cut|play|strike|meet|aim|aim at|aim for)(?: (?:at|for|about|roughly|just|it|only))*"
_NOT_WAY = r"(?! (?:left|right|to|above|below|off|from|away|short|long|high|low|past|inside|outside|table|of side)(?!\S))"
_FULLNESS = (
    rf"{_PART}(?: of)?(?: an?)? ball (?:hit|contact|cut|aim|thickness|overlap|shot)",
    rf"(?P<meet>{_MEET}) {_PART}(?: of)?(?: an?| the)? ball{_NOT_WAY}",
    rf"(?P<meet>hit|take|catch|clip|contact) (?:about |just |only )?{_PART} of(?= (?:the |that |ball_)(?!table|rail|pocket|way|speed|pace))",
)
_THROUGH = r"stun(?: it| her| the cue_ball| the cue)?(?: (?:and|with a (?:touch|bit|little|hint|hair) of))? (?:run through|through|run|follow|top|forward)"
_BACK = r"stun(?: it| her| the cue_ball| the cue)?(?: (?:and|with a (?:touch|bit|little|hint|hair) of))? (?:back|draw|screw|back spin|bottom)"
_B = r"ball_(\d+)"
_ONTO = r"(?: (?:in to|into|to|on to|on|at|,|->|and|then|first|the|hit|hits|sends|send|touch|touches|push|pushes|drive|drives|knock|knocks|kiss|kisses|strikes|goes|go|has|must|pots|makes))*"
_OFF = r"(?:(?: ,)? (?:off|with|from|by|via)(?: of)?(?: the)?)"
_RACK = r"(?:rack|pack|stack|cluster|bunch|group|clump|triangle|pile)"
_OPEN = (
    rf"(?:(?:into|in to|open|open up|break|break up|break open|scatter|smash|crack|split|burst|bust|blow|spread|loosen)(?: up| open| out| apart| in to| into)*(?: the| my| that| this| a)? {_RACK}|"
    rf"(?:open|break|blow|bust|smash|crack|split|knock)(?: the| that| this| a)? {_RACK} (?:up|open|out|apart|wide open)|"
    # "them" is "the" by now
    r"(?:open|opens|break|breaks|split|splits|spread|spreads|scatter|bust|smash|knock|blow) (?:the|these|those|everything|these balls|those balls|the balls) (?:up|out|open|apart|loose|free))"
)
_DENIED = r"(?:not|never|avoid|without|instead of|rather than|before|later|leave)(?: \S+){0,4} $"


@dataclass(frozen=True)
class Combination:
    """The balls of a combination."""

    via: tuple[int, ...]
    called: int


def rewrite(phrase: Phrase) -> None:
    """Words of fullness and of a stun's shade into tags; to be run before numbers and balls."""
    phrase.replace(_THROUGH, "stun shade_through")
    phrase.replace(_BACK, "stun shade_back")
    for pattern in _FULLNESS:
        phrase.replace(
            pattern, lambda m: f"{m.groupdict().get('meet') or ''} full_{_PARTS[m['part']]:.3f}".strip()
        )


def fullness(phrase: Phrase) -> float | None:
    """How much of the ball is to be hit: 1 full, 0.5 half; None where nothing is said of it."""
    found = phrase.find(r"full_([\d.]+)")
    return float(found[0][1]) if found else None


def shade(phrase: Phrase) -> Shade | None:
    """What a stun is to have besides."""
    found = phrase.find(r"shade_(through|back)")
    if not found:
        return None
    return "run through" if found[0][1] == "through" else "draw back"


def combination(phrase: Phrase) -> Combination | None:
    """The balls of a combination, where the note names one and its two balls."""
    if not phrase.has(r"combination|combo|combos|combinations"):
        return None
    for m in phrase.find(rf"{_B}{_OFF} {_B}"):
        if m[1] != m[2]:
            return Combination((int(m[2]),), int(m[1]))
    for m in phrase.find(rf"{_B}{_ONTO} {_B}"):
        if m[1] != m[2]:
            return Combination((int(m[1]),), int(m[2]))
    return None


def into_rack(phrase: Phrase) -> bool:
    """Whether the cue ball is to open a rack or cluster."""
    if re.search(r"(?:^|[.:;!] )(?:the |this is the |my |now the )?break shot(?! later)", phrase.line):
        return True
    return any(not re.search(rf"(?<!\S){_DENIED}", phrase.line[: m.start()]) for m in phrase.find(_OPEN))
