"""Turns of speech that concern the whole note: a fallback, a correction, ball in hand, what was last time."""

from __future__ import annotations

import re

from lessonkit.notes import balls, heard, numbers, pockets
from lessonkit.notes.words import Phrase, Token

_PLAN_B = (
    r"plan b(?: (?:then|here|now|time|is|:|,|--))*|b plan|(?:my |the |our |your |a )?(?:back up|backup|second|other|spare|emergency|reserve|fallback|fall back) (?:plan|option|choice|shot|route|line)|"
    r"(?:fall|falls|falling|fell|fallen|have to fall) back (?:on|to)|fallback|as a (?:backup|back up|fallback|fall back)|backup|plan two|second best|"
    r"if (?:that|this|it|the shot|plan a) (?:fails|fail|goes wrong|is gone|misses|is not on|is not there|does not (?:work|go|happen|come off|work out|pan out|fall)(?: out)?|did not (?:work|go|happen|come off)(?: out)?)|"
    r"failing (?:that|this|which)|otherwise|or else|if not|failing all that|in case (?:that|it|i|the)(?: \S+){0,4}|"
    r"if (?:i|you|we|it|the cue|cue|the cue ball|cue ball|cue_ball|the cue_ball|the white|whitey|she|he|that|position|the position) (?:\S+ ){0,3}?(?:short|long|fail|fails|miss|misses|missed|wrong|stuck|hooked|overrun|overruns|overcook|thin|thick|not|bad|out of line|off line|trouble|too far)|"
    r"if (?:this|that|the|my)(?: (?:one|shot|ball|\S+)){1,2} (?:is|does|did|can|will|would|could) not \S+(?: up| out| go| on)?|"
    r"plan a(?: is| was| has)? (?:gone|off|dead|out|no good|failed|blocked|over)(?: the table)?|(?:the|my|an) alternative|first choice is gone|no longer plan a|change of plan"
)  # fmt: skip
_START = r"^(?:(?:so|well|now|and|but|ok|okay|right|then|here|ah|oh|um|uh|here is|this is|it is|time for|going to|we are on|i am on|on to|over to|that is|i|we|the|my|on|go|goes|,|--|[:.]) )*"


def _tagged(text: str) -> Phrase:
    phrase = Phrase.of(text)
    heard.rewrite(phrase)
    phrase.replace(_PLAN_B, "plan_b")
    for step in (numbers.rewrite, pockets.rewrite, balls.rewrite):
        step(phrase)
    return phrase


def split_fallback(text: str) -> tuple[str, str | None, bool]:
    """(main part, fallback part or None, whether the whole note is a fallback).

    'The nine in the foot-left. If that fails, the six.' has two parts; 'Plan B: the six' is a fallback as a whole,
    and so is a note that names plan B without another shot before it.
    """
    phrase = _tagged(text)
    marks = phrase.find("plan_b")
    if not marks:
        return text, None, False
    line = phrase.line
    mark = next((m for m in marks if not re.search(rf"{_START}$", line[: m.start()])), None)
    if mark is not marks[0]:
        return text, None, True
    assert mark is not None
    if re.search(r"(?<!\S)(?:insurance|safety valve)(?!\S)", line[mark.end() :]):
        return text, None, False
    cut = _cut(phrase, mark)
    if cut is None:
        # "if it doesn't go, I've left him nothing": a condition after a shot, and no other shot
        condition = phrase.said(mark).lower().startswith(("if ", "in case"))
        shot_before = re.search(r"(?<!\S)ball_\d+", line[: mark.start()])
        shot_after = re.search(r"(?<!\S)(?:ball_\d+|pocket_\S+)", line[mark.end() :])
        return text, None, not (condition and shot_before and not shot_after)
    main, fallback = text[:cut].rstrip(" ,;-–—"), text[cut:].lstrip(" ,;-–—")
    return main, fallback, False


def considered(phrase: Phrase) -> None:
    """'I wanted draw, but follow is safer': what was only thought of gives way to what is said after the 'but'."""
    thought = r"(?:wanted|thought|considered|planned|could|might|was going|would have|used to|normally|usually|at first|tempting|rather than|looks like|instead of)"
    kinds = ("stroke", "speed", "side", "rails", "ball", "pocket")
    for m in phrase.find(rf"(?:(?![.;!?])\S+ ){{0,15}}{thought}(?: (?![.;!?])\S+){{0,25}}? (?:but|instead)"):
        after = phrase.line[m.end() :]
        given_way = [k for k in kinds if re.search(rf"(?<!\S){k}_", after)]
        tokens = phrase.line[: m.start()].count(" "), phrase.line[: m.end()].count(" ")
        for at in range(*tokens):
            token = phrase.tokens[at]
            if token.tag.split("_")[0] in given_way:
                phrase.tokens[at] = Token(f"once_{token.tag}", token.start, token.end)


def _cut(phrase: Phrase, mark: re.Match[str]) -> int | None:
    """Where the fallback part begins in the text; None when the two parts do not both name a shot."""
    line = phrase.line
    sentence = max(line.rfind(f" {p} ", 0, mark.start()) for p in ".;!?") + 1
    for at in ((sentence + 2 if sentence > 0 else 0), mark.start()):
        before, after = line[:at], line[at:]
        if re.search(r"(?<!\S)pocket_", before) and re.search(r"(?<!\S)(?:ball_\d+)(?!\S)", after):
            return phrase.tokens[before.count(" ")].start
    return None


_SORRY = r"(?:no|sorry|i should say|should say|wait|i mean|make that|make it|actually|correction|rather|or rather|scratch that|pardon(?: me)?|excuse me|not that|i meant|that is|well|oops|hang on|hold on|nope|strike that|let me correct that|my mistake|no no)"
_GAP = r"(?:,|--|[.;!:]|(?:in|into|to) the|in|into|to|with|the|it is|let us say|ball|pocket|it|\?|\(|\)|[.]|a|use|that one|one|go|play|on|at|pocket_\S+)"


def correct(phrase: Phrase) -> None:
    """'the ten, no, the eleven': the later word stands, for every kind of tag."""
    for kind in ("ball", "pocket", "side", "stroke", "speed", "rails", "tips", "rail"):
        phrase.replace(
            rf"{kind}_\S+(?: {_GAP})*(?: {_SORRY})(?: (?:{_GAP}|{_SORRY}))* (?P<last>{kind}_\S+)(?! (?:is|was) (?:not|blocked))",
            lambda m: (
                None
                if re.search(r" (?:no|not|well|that is)$", m[0][: m.start("last") - m.start()].rstrip())
                and "," not in m[0]
                and "--" not in m[0]
                else m["last"]
            ),
        )


def past(phrase: Phrase) -> None:
    """What was done last time is not this plan: its words go, up to the next comma or the end of the sentence."""
    phrase.replace(
        r"(?:(?![.;,!?]|--)\S+ ){0,12}?(?:was|went|hit|came|did|missed|had|tried|scratched|ended|played|drew|followed)(?: (?![.;,!?]|--)\S+){0,12}? last (?:time|week|rack|month|lesson)",
        "earlier_on",
    )
    phrase.replace(r"(?:last (?:time|week|rack|lesson|month)|yesterday|in the last rack|earlier|before)(?: (?![.;,!?]|--|so|now|but)\S+){0,20}(?= [.;,!?]| --| so | now | but |$)",
                   lambda m: "earlier_on" if len(m[0].split()) > 2 and not m[0].startswith(("before ", "earlier on")) else None)  # fmt: skip
