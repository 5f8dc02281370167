"""Balls: named by number ('the nine', '9-ball', '#9') or by colour ('solid red', 'the black').

Colours: 1/9 yellow, 2/10 blue, 3/11 red, 4/12 purple, 5/13 orange, 6/14 green, 7/15 maroon, 8 black; 1-8 solid, 9-15
with a stripe (World Pool-Billiard Association, equipment specifications, clause 16). A colour without "stripe" is the
solid ball.
"""

from __future__ import annotations

import re

from lessonkit.notes.words import Phrase, one_of

_COLOURS = {"yellow": 1, "blue": 2, "red": 3, "purple": 4, "violet": 4, "orange": 5, "green": 6, "maroon": 7,
            "burgundy": 7, "brown": 7, "black": 8}  # fmt: skip
_COLOUR = one_of(*_COLOURS)
_CUE = r"(?:the )?(?:white ball|white|cue_ball|cue ball)"
_UNIT = (
    r"(?! (?:%|percent|per|degrees?|times?|balls|shots?|racks?|games?|minutes?|seconds?|inch|foot_length|cm|mm|metre|feet|"
    r"diamonds?|tips?|rails?|of (?:them|these|those|the|us)|more|left in|in a row|to go|left on|or \d|points?|innings|and out|way|ways|spots?)(?!\S))"
)
_PRONOUN_AFTER = r"(?! (?:that|which|i|we|you|where|with|who|after|before|here|there|over|hanging|thing|of|is next|more|time|shot|way|stroke|side|rail|tip|at a time|to play|to watch|to (?:shoot|take|go))(?!\S))"
_NOT_BEFORE = (
    r"(?<!these )(?<!those )(?<!other )(?<!rack )(?<!shot )(?<!game )(?<!lesson )(?<!part )(?<!last )(?<!/ )"
)


def rewrite(phrase: Phrase) -> None:
    """Balls into `ball_9`, the cue ball into `cue`; numbers that count something else must be tags already."""
    phrase.replace(_CUE, "cue")
    phrase.replace(r"(stop|stun|draw|follow|screw) shot(?= (?:the )?\d)", r"\1 shot ,")
    _colours(phrase)
    lead = r"(?:(?:the|that|this|my|your|number|no|#|old|little|big) )*"

    def ball(m: re.Match[str]) -> str | None:
        n = int(m["n"])
        if not 1 <= n <= 15:
            return None
        # "no 9" may be "number nine", and "no, 9" a correction: the tokens before the number stay unless they name it
        return f"ball_{n}"

    phrase.replace(
        rf"{_NOT_BEFORE}(?:(?:the|that|this|my|your) )?(?:(?:number|#|old|little|lonely) )*(?:(?:the|that) )?(?P<n>\d{{1,2}})(?: ball)?{_UNIT}",
        ball,
    )
    phrase.replace(r"(?:(?:the|that|this|my|your|number|#) )*(?:one ball|# one|number one)", "ball_1")
    if not phrase.has(r"ball_\d+"):  # else "the nine, the one hanging in the corner": a pronoun
        phrase.replace(r"(?:the )one(?= hanging (?:in|over) (?:the )?pocket_)", "ball_1")
    phrase.replace(rf"(?:the) one{_PRONOUN_AFTER}(?! ball_)", "ball_1")
    phrase.replace(
        r"(?P<verb>play|shoot|pot|sink|make|take|cut|roll|pocket|bank|send|knock|drop|put|stroke|fire) one(?= (?:in|into|to|toward|down|pocket_))",
        r"\g<verb> ball_1",
    )
    phrase.replace(
        r"one(?= (?:(?:goes|drops) )?(?:in|into|to|toward|off|,)? ?(?:the )?pocket_)", _leading_one(phrase)
    )
    # "I have the twelve near the foot-right pocket": the ball to be shot, and its pocket
    phrase.replace(
        r"(?:have|got|see|there is) (?P<ball>ball_\d+)(?: (?:is|sits|sitting|lying|hanging|right|close))* (?:near|by|beside|in front of|close to) (?:the )?(?P<pocket>pocket_\S+)",
        r"play \g<ball> in \g<pocket>",
    )
    phrase.replace(r"(ball_\d+) follows?(?= [.,;:!]|$)", r"\1 next")
    phrase.replace(r"(?<=for )one(?= [.,;]|$)|(?<=to )one(?= [.,;]|$)|(?<=on )one(?= [.,;]|$)", "ball_1")
    del lead


def _leading_one(phrase: Phrase) -> str:
    return "ball_1"


def _colours(phrase: Phrase) -> None:
    def solid(m: re.Match[str]) -> str:
        return f"ball_{_COLOURS[m['c']]}"

    def stripe(m: re.Match[str]) -> str | None:
        n = _COLOURS[m["c"]]
        return f"ball_{n + 8}" if n < 8 else None

    lead, ball = r"(?:(?:the|that|this|my|your) )?(?:(?:little|big|old|lonely|lovely) )*", r"(?: ball| one)?"
    phrase.replace(rf"{lead}(?:{_COLOUR}) and white", lambda m: None)
    phrase.replace(rf"{lead}stripe (?P<c>{_COLOUR}){ball}", stripe)
    phrase.replace(rf"{lead}(?P<c>{_COLOUR}) (?:stripe|stripe one|and white|banded){ball}", stripe)
    phrase.replace(rf"{lead}(?:solid|plain|full) (?P<c>{_COLOUR}){ball}", solid)
    phrase.replace(rf"{lead}(?P<c>{_COLOUR}) solid{ball}", solid)
    phrase.replace(
        rf"(?:{lead})(?P<c>{_COLOUR})(?: ball| one)?(?! (?:cloth|felt|chalk|shirt|light|table|line|circle|arrow|mark)(?!\S))",
        solid,
    )
