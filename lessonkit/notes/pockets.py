"""Pockets: named by end and side, as seen by somebody who stands at the head and faces the foot.

A pocket that the words do not single out ("the corner", "the top left pocket": the picture may be turned any way)
becomes `pocket_?corner` or `pocket_?side`, so that no later step takes its words for something else.
"""

from __future__ import annotations

import re

from lessonkit.notes.words import Phrase

_END = r"(?P<end>head|foot)"
_SIDE = r"(?P<side>left|right)(?: hand)?"
_NOUN = r"(?: corner pocket| corner| pocket)"
_NOT_A_POCKET = r"(?! (?:of|half|third|quarter|long|side rail|rail|english|spin|area|part|end)(?!\S))"
_FAR = {"far": "foot", "near": "head", "nearest": "head", "close": "head"}

_LETTER = {"f": "foot", "h": "head", "s": "side"}
_CORNERS = (
    rf"{_END} (?:rail |end )?(?:, )?(?:on the )?{_SIDE}{_NOUN}",
    rf"{_END} {_SIDE}{_NOT_A_POCKET}",
    rf"{_END} rail {_SIDE}{_NOT_A_POCKET}",
    rf"{_SIDE} {_END}(?: end)?{_NOUN}",
    rf"{_SIDE}{_NOUN} (?:pocket )?(?:, )?(?:down |up )?(?:at|by|on|near|of|in|toward)? ?(?:the )?{_END}"
    r"(?: end| rail| spot)?(?: of the table)?(?! (?:third|half|string|quarter))",
    rf"corner(?: pocket)? ?[,:]? (?:on )?(?:the )?{_SIDE} ?,? (?:at |of |on )?(?:the )?{_END}(?: end| rail)?",
    rf"corner(?: pocket)? (?:down |up )?(?:on the )?{_SIDE} (?:side )?(?:at|by|near|of|in) (?:the )?{_END}(?: end| rail)?",
    rf"corner(?: pocket)? (?:at|by|on|near|of|in) (?:the )?{_END}(?: end| rail)? ?,? (?:on |to )?(?:the )?{_SIDE}(?: side| hand side)?"
    r"(?! of)",
    rf"pocket (?:at|by|on|in) (?:the )?{_END}(?: end| rail)? ?,? (?:on |to )?(?:the )?{_SIDE}(?: side| hand side)?(?! of)",
    rf"{_SIDE}(?: hand)? pocket (?:at|by|on|in) (?:the )?{_END}(?: end| rail)?",
    rf"{_END} corner(?: pocket)? ?,? (?:on |to )?(?:the )?{_SIDE}(?: side)?(?! of)",
    rf"{_END} (?:end |rail )?pocket ?,? (?:on |to )?(?:the )?{_SIDE}(?: side)?(?! of)",
    rf"pocket {_END} {_SIDE}",
)
_FAR_CORNERS = (
    rf"(?P<far>far|near|nearest|close) {_SIDE}{_NOUN}",
    rf"{_SIDE} (?P<far>far|near|nearest|close){_NOUN}",
    rf"(?P<far>far|near) corner(?: pocket)? (?:on the |to the |, )?{_SIDE}",
)
_SIDES = (
    rf"{_SIDE}(?: side)? (?:side|middle|centre) pocket",
    rf"{_SIDE} middle(?! third)(?! of)",
    rf"(?:side|middle|centre) pocket ?,? (?:on |to )?(?:the |your |my )?{_SIDE}(?: side| one)?(?! of)",
    r"middle ?,? (?:on )(?:the )?(?P<side>left|right)(?: side)?(?! of)",
    rf"side (?:on|to) the {_SIDE}(?: side| one)?(?! (?:of|half))",
    r"side (?P<side>left|right)(?: pocket)?",
    r"(?:side|middle)(?: pocket)? of (?:the )?(?P<side>left|right)(?= (?:[.,;:!]|with|and|in)(?!\S)|$)",
    rf"(?:pocket|hole) (?:of )?(?:the )?(?:side|middle)(?: of)?(?: the)? {_SIDE}",
    r"side , (?:the )?(?P<side>left|right)(?: hand)?(?: one| side)?(?= [.,;:!]|$)",
    r"(?P<lead>(?:in|into|for|to|at|toward|through) (?:the|that|my|your) )(?P<side>left|right)(?: hand)? side(?: pocket)?"
    r"(?! (?:of|spin|english|rail|half|long|at))",
    r"(?P<lead>(?:\d{1,2}|one)(?: ball)?(?: (?:,|to|:|in|into|->))* )(?P<side>left|right) side(?= [,.;:]|$)",
    r"(?P<lead>(?:in|into) )(?P<side>left|right) side(?: pocket)?",
)
_UNSETTLED = (
    (r"(?:top|bottom|upper|lower|near|far)(?: left| right)?(?: hand)? corner(?: pocket)?", "pocket_?corner"),
    (r"(?:top|bottom|upper|lower)(?: left| right)(?: hand)?(?: corner)? pocket", "pocket_?corner"),
    (r"(?:left|right)(?: hand)? corner(?: pocket)?", "pocket_?corner"),
    (r"(?:(?:head|foot)(?: end)? )?corner(?: pocket)?(?: (?:at|by|near|on) the (?:head|foot) (?:spot|rail|end))?", "pocket_?corner"),
    (r"(?:far|near|top|bottom|upper|lower|other|same|opposite) (?:side|middle) pocket", "pocket_?side"),
    (r"(?:side|middle) pocket", "pocket_?side"),
    (r"in the side(?= [.,;:!]| with| for|$)", "in pocket_?side"),
)  # fmt: skip

_BALL = (
    r"(?:(?:\d{1,2}|one|yellow|blue|red|purple|orange|green|maroon|brown|black)(?: ball)?(?: (?:,|:|->|in|into|to|for|the))*|"
    r"(?:in|into)(?: the)?)"
)
_TURNED = rf"(?P<lead>{_BALL}) (?:top|bottom|upper|lower) (?P<which>left|right|middle)(?: hand)?(?! (?:of|english|side spin|side|spin|and|with)(?!\S))"
"""'The nine top left', 'in the bottom right': a pocket of the picture, unless the note names one of the table."""
_AFTER_BALL = rf"(?P<lead>{_BALL}(?: [.])?) (?P<far>far|near) {_SIDE}(?= [,.;:]|$)"
_NAMED = r"pocket_(?:head|foot|side)-\S+"


def _turned(phrase: Phrase) -> None:
    phrase.replace(_AFTER_BALL, lambda m: f"{m['lead']} pocket_{_FAR[m['far']]}-{m['side']}")
    phrase.replace(
        r"((?:\d{1,2}|one)(?: ball)?(?: (?:,|:|->|in|into))*) side(?= [,.;]|$)", r"\1 pocket_?side"
    )
    if not phrase.has(_NAMED):
        phrase.replace(
            _TURNED, lambda m: f"{m['lead']} pocket_?{'side' if m['which'] == 'middle' else 'corner'}"
        )


def rewrite(phrase: Phrase) -> None:
    """Pockets into `pocket_foot-left` and the like."""
    phrase.replace(r"(\d{1,2}) b", r"\1 ball")  # "3b"
    phrase.replace(
        r"between (?:the )?(?:2|both)(?: the)? (?:side|middle)(?: pocket)?", "level with pocket_?side"
    )
    phrase.replace(r"(?:cross corner)", "cross_corner")
    phrase.replace(r"(?:cross side|cross table|across the table and back)(?= \S|$)", "cross_side")
    phrase.replace(
        r"([fhs])([lr])(?! (?:english|spin|side))",
        lambda m: f"pocket_{_LETTER[m[1]]}-{'left' if m[2] == 'l' else 'right'}",
    )
    for pattern in _CORNERS:
        phrase.replace(pattern, lambda m: f"pocket_{m['end']}-{m['side']}")
    for pattern in _FAR_CORNERS:
        phrase.replace(pattern, lambda m: f"pocket_{_FAR[m['far']]}-{m['side']}")
    for pattern in _SIDES:
        phrase.replace(pattern, lambda m: _side_pocket(m, phrase))
    for pattern, tag in _UNSETTLED:
        phrase.replace(pattern, tag)
    _turned(phrase)
    phrase.replace(_SHUNNED, "pocket_shunned")  # "avoid the scratch in the head-right"
    if phrase.has("cross_side"):  # across the table there are side pockets only
        phrase.replace(r"(left|right)(?: hand)? pocket", r"pocket_side-\1")
    phrase.replace(
        r"pocket_\?side (?:[,.;:] |-- )*(?:on |to )?(?:the |your |my )?(?P<side>left|right)(?: hand)? (?:one|side|pocket)",
        r"pocket_side-\g<side>",
    )
    phrase.replace(r"pocket_\?side (?:[,(] |-- )*(?P<side>left|right)(?= [,.;:)]|$)", r"pocket_side-\g<side>")


_SHUNNED = (
    r"(?:scratch|scratches|scratching|avoid|avoiding|stay out of|staying out of|keep out of|stay away from|away from|clear of|instead of|rather than|"
    r"not)(?: (?:in|into|the|a|at|hitting|going|near|scratch|scratching|to|go|for))* pocket_\S+"
)


def _side_pocket(m: re.Match[str], phrase: Phrase) -> str | None:
    lead = m.groupdict().get("lead") or ""
    if lead.startswith(("to ", "toward ", "at ")) and phrase.has(r"pocket_(?:head|foot|side)-\S+"):
        return None  # "across to the right side", the pocket being named already: a side of the table
    return f"{lead}pocket_side-{m['side']}"
