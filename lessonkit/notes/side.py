"""Side (english): which way, how many tips, and the tip's place on the cue ball given as a clock face.

Tags: `side_left`, `side_right`, `side_none`, `rel_inside|outside|running|reverse` (settled only by the layout),
`tips_1.5`, and `stroke_...` where the same words also say high or low.
"""

from __future__ import annotations

import re

from lessonkit.notes.numbers import AMOUNT, amount
from lessonkit.notes.words import Phrase, one_of

SPIN = r"(?:english|side spin|side|spin|hand english|hand side|hand spin|hand side spin)"
_SOME = one_of("a touch of", "a hint of", "a hair of", "a bit of", "a little bit of", "a little", "a smidge of",
               "a dash of", "some", "a lot of", "lots of", "plenty of", "maximum", "max", "extreme", "heavy", "slight",
               "a trace of", "loads of", "full", "a shade of", "a pinch of", "a tad of", "a wee bit of", "just a hair of",
               "a whisper of", "tons of", "a spot of", "a drop of", "a suggestion of", "a ton of")  # fmt: skip
_NO = r"(?:no|not|without|zero|never)"
_NONE = (
    rf"{_NO}(?: (?:use|using|put|putting|apply|want|need|with|have|much|no|bother with|require|want to put|going to use|a|an|any|hint|of|left|or|right|the|to|add))* (?:english|side spin|side|spin|juice)"
    r"(?: at all| whatsoever| on it| on the cue_ball)?",
    r"nothing (?:on it|on the (?:cue_ball|ball|white)|fancy|left or right|sideways)",
    r"(?:dead |right in the |plain |pure )?(?:centre|middle) ball(?: hit)?",
    r"(?:dead |plumb )?centre (?:hit|strike|contact|of (?:the )?(?:cue_ball|cue ball|white))", r"side : none|english : none|spin : none",
    r"plain ball", r"no left or right", r"(?:on )?the vertical axis", r"(?:on )?the centre axis",
    r"(?:straight|right|dead) (?:up and )?down the (?:middle|centre)(?: of the (?:cue_ball|white|ball))?",
    r"(?:hit|strike|struck|tip|cue it|cue) (?:the cue_ball |it |in the )*(?:dead |plumb )?(?:centre|in the middle|in the centre|middle)(?! of the table)",
    r"neutral(?: (?:ball|side|spin|english))?", r"side spin free",
)  # fmt: skip
_RELATIVE = {
    "outside": "outside", "inside": "inside", "running": "running", "run": "running", "natural": "running",
    "helping": "running", "reverse": "reverse", "check": "reverse", "hold up": "reverse", "holdup": "reverse",
    "killing": "reverse", "kill": "reverse", "checking": "reverse",
}  # fmt: skip
_REL = one_of(*_RELATIVE)
_HEIGHT = {"high": "follow", "top": "follow", "upper": "follow", "above centre": "follow", "low": "draw",
           "bottom": "draw", "lower": "draw", "below centre": "draw"}  # fmt: skip
_H = one_of(*_HEIGHT)
_NOT_PLACE = r"(?! (?:of|rail|half|long|third|quarter|pocket|corner|end|at the|side of|in the|now|foot|head|here|there|into|away|on|after|where|before|hand side of|one|over|behind|above|below|near|by|up|next|through|back|with|shot|pocket_\S+|rail_\S+)(?!\S))"


def _clock(m: re.Match[str]) -> str | None:
    hour = float(m["hour"] if m["hour"] != "one" else 1) % 12
    if m.groupdict().get("half"):
        hour += 0.5
    if m.groupdict().get("minutes"):
        hour += int(m["minutes"]) / 60
    if not 0 <= hour < 12.99:
        return None
    hour %= 12
    side = "none" if hour in (0, 6) else ("right" if hour < 6 else "left")
    # on the level of the centre (3 and 9) the height says nothing of the stroke
    level = "" if hour in (3, 9) else ("stroke_draw " if 3 < hour < 9 else "stroke_follow ")
    return f"{level}side_{side}"


def _tips(m: re.Match[str]) -> str:
    more = 0.0 if not m.groupdict().get("more") else (0.25 if "quarter" in m["more"] else 0.5)
    return f"tips_{amount(m['amount']) + more:g}"


def _clock_faces(phrase: Phrase) -> None:
    phrase.replace(r"half past (?P<half>)?(?P<hour>one|\d{1,2})(?: oclock)?", lambda m: _clock_half(m))
    phrase.replace(
        r"half (?P<hour>one|[2-9]|1[012])(?= (?:oclock|on the|[.,;:])|$)", lambda m: _clock_half(m)
    )
    phrase.replace(
        r"(?P<hour>1[012]|[1-9]) (?P<minutes>30)(?= (?:tip|position|on|english|spin|side|hit|,|[.]))", _clock
    )
    phrase.replace(
        r"(?P<hour>one|\d{1,2})(?P<half> thirty| 30)? oclock(?: (?:english|side|spin|tip))?", _clock
    )
    phrase.replace(
        r"(?P<hour>1[012]|\d):(?P<minutes>00|15|30|45)(?: oclock)?(?: (?:english|spin|side|tip))?", _clock
    )


def _clock_half(m: re.Match[str]) -> str | None:
    hour = 1 if m["hour"] == "one" else int(m["hour"])
    if hour > 12:
        return None
    side = "right" if hour % 12 < 6 else "left"
    return f"{'stroke_draw' if 3 <= hour % 12 < 9 else 'stroke_follow'} side_{side}"


def _amounts(phrase: Phrase) -> None:
    """'A tip and a half', '1.5 tips of' into `tips_1.5`."""
    phrase.replace(r"(?P<amount>an?|one|\d) and (?:an? )?(?P<more>half|quarter) tips?(?: of)?", _tips)
    phrase.replace(r"tips? (?P<amount>\d?\.?\d+)(?= (?:left|right|side))", _tips)
    phrase.replace(
        rf"(?P<amount>{AMOUNT}) tips?(?P<more> and an? half| and an? quarter)?(?: tips?)?(?:(?: worth)? of)?",
        _tips,
    )
    phrase.replace(r"(?P<amount>an?|one|\d) and an? (?P<more>half|quarter) tips?(?: of)?", _tips)
    phrase.replace(r"tip of(?= (?:left|right|inside|outside|running|check|reverse))", "tips_1")
    phrase.replace(r"tip (?:and an? half)(?: of)?", "tips_1.5")


def rewrite(phrase: Phrase) -> None:
    """Words of side into tags; to be run when pockets and cushions are already tags."""
    _clock_faces(phrase)
    _amounts(phrase)
    for pattern in _NONE:
        phrase.replace(pattern, "side_none")
    phrase.replace(rf"(?:{_SOME} )?({_REL})(?: hand)? {SPIN}", lambda m: f"rel_{_RELATIVE[m[1]]}")
    phrase.replace(rf"(?:{_SOME} )?(inside|outside)(?! (?:the|of|edge|a|corner)(?!\S))", r"rel_\1")
    phrase.replace(
        r"(?P<tips>tips_\S+ )(?P<rel>running|check|reverse)",
        lambda m: f"{m['tips']}rel_{_RELATIVE[m['rel']]}",
    )
    _heights(phrase)
    phrase.replace(
        rf"(?:{_SOME} )?(left|right)(?: hand)? {SPIN}(?! (?:of|pocket|rail)(?!\S))",
        lambda m: _english(m, phrase),
    )
    phrase.replace(rf"{SPIN} (?:on|to|from) the (left|right)(?: side)?(?: of (?:the )?cue_ball)?", r"side_\1")
    phrase.replace(
        r"(?:on )?the (left|right)(?: hand)?(?: side)? of (?:the )?(?:cue_ball|white ball|white)(?! ball)",
        r"side_\1",
    )
    phrase.replace(
        r"(?:cue|tip|aim|hit|struck|strike)(?: it| the cue_ball| tip)? (?:(?:a )?(?:little|bit|touch|hair|slightly|just|to|on|the) )*(left|right)(?: of (?:the )?centre| side)?(?! (?:of|at|in|on|into|here|now|hand)(?!\S))",
        r"side_\1",
    )
    phrase.replace(
        rf"(?:{_SOME}|with|using|use|add|adding|tips_\S+) (left|right)(?: hand)?{_NOT_PLACE}", _keep_tips
    )
    phrase.replace(
        r"(and|of|with|using|some|tip|plus|follow|draw|stun|top|high|low|bottom|screw|spin) (left|right)(?: hand)?(?= (?:[,.;:/!)]|and(?! (?:then|to|into))|--|on it|only|for|tips_\S+|stroke)(?: |$)|$)",
        r"\1 side_\2",
    )
    phrase.replace(
        rf"(and|of|with|using|some|use|add|,|plus|apply) (?:{_SOME} )?(?:the )?(running|check|reverse|helping)(?= (?:[,.;:/!)]|and|--|on|for|to|so)(?: |$)|$)",
        lambda m: f"{m[1]} rel_{_RELATIVE[m[2]]}",
    )
    phrase.replace(r"(tips_\S+)(?: (?:over|out))? to (?:the )?(left|right)(?: side)?", r"\1 side_\2")
    phrase.replace(rf"(tips_\S+) (?:of )?(left|right)(?: hand)?(?: {SPIN})?", r"\1 side_\2")
    phrase.replace(
        rf"({_H}|draw|follow|stun|soft|firm|medium|hard|slow)(?P<mark> [.,;/]) (left|right)(?= [.,;/]|$)",
        r"\1\g<mark> side_\3",
    )
    phrase.replace(r"(left|right) [(] (tips_\S+) [)]", r"\2 side_\1")
    phrase.replace(rf"{SPIN}(?: (?:is|:|,|to the))? (left|right)(?= [,.;:/!]| and|$)", r"side_\1")
    phrase.replace(r"(left|right)(?: hand)?(?:,| ,| by)? (tips_\S+)", r"\2 side_\1")
    phrase.replace(r"spin(?:s|ning)? it (?:to the |with (?:the )?)?(left|right)", r"side_\1")
    phrase.replace(
        r"(?<!to )(?<!the )(l|r)(?= (?:english|side|spin|[,.;/]|tips_\S+)|$)",
        lambda m: f"side_{'left' if m[1] == 'l' else 'right'}",
    )
    # "loads of side": some, but the words do not say which
    phrase.replace(
        rf"(?:{_SOME}|with|using|use|add|adding|apply) (?:the )?(?:english|side spin|side|spin)(?= (?:[.,;:!)]|and|to|for|on)|$)",
        "side_open",
    )


def _english(m: re.Match[str], phrase: Phrase) -> str | None:
    before = phrase.line[: m.start()]
    if m[0].endswith(" side") and re.search(
        r"(?<!\S)(?:to|toward|on|onto|over|across|down|up) the $", before
    ):
        return None  # "across to the right side": of the table
    return f"side_{m[1]}"


def _keep_tips(m: re.Match[str]) -> str:
    first = m[0].split()[0]
    return f"{first + ' ' if first.startswith('tips_') else ''}side_{m[1]}"


def _heights(phrase: Phrase) -> None:
    """'low left', 'bottom right english', 'top with left': height and side of the tip in one breath."""

    def both(m: re.Match[str]) -> str:
        return f"stroke_{_HEIGHT[m['height']]} side_{m['side']}"

    phrase.replace(
        rf"(?:{_SOME} )?(?P<height>{_H}) (?:and |with )?(?P<side>left|right)(?: hand)? {SPIN}(?! of)", both
    )
    phrase.replace(
        rf"(?P<height>{_H}) (?:and |, )?(?:a (?:little|bit|touch) )?(?P<side>left|right){_NOT_PLACE}", both
    )
    # high and low name no pocket, so a ball may follow: "low left on the four"
    phrase.replace(r"(?P<height>high|low) (?P<side>left|right)(?= on (?:the |this |that )?(?:\d|one))", both)
    # the side first, so that tips before it stay beside it
    phrase.replace(
        rf"(?P<side>left|right) and (?P<height>{_H}){_NOT_PLACE}",
        lambda m: f"side_{m['side']} stroke_{_HEIGHT[m['height']]}",
    )
    # "I attack the white up and left"
    phrase.replace(
        r"(?:attack|hit|strike|touch|cue|play|take) (?:the )?(?:white|cue_ball|cue ball|it) (?P<height>up|down)(?: and|,)? (?:to the )?(?P<side>left|right)",
        lambda m: f"stroke_{'follow' if m['height'] == 'up' else 'draw'} side_{m['side']}",
    )
    phrase.replace(rf"(?P<height>{_H}) (?:and |with )?(?:{_SOME} )?(?P<rel>inside|outside|rel_\S+)",
                   lambda m: f"stroke_{_HEIGHT[m['height']]} rel_{m['rel'].removeprefix('rel_')}")  # fmt: skip
