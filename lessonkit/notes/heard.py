"""What a phone writes down of a dictated note: words that sound like those of the game, and no stops.

Speech recognition takes "the four ball" for "the for ball" and "key ball" for "keyboard". Each slip is mended only where the
words around it leave no other sense. A note dictated without any stop gets a comma at each joint between clauses, so
that later steps see where one ends.
"""

from __future__ import annotations

from lessonkit.notes.words import Phrase

_FIGURE = r"(?:\d|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|thirteen|fourteen|fifteen|number|#)"
_GOES = r"(?= (?:in|into|goes|go|ball|is|and the|drops|off)(?!\S))"
_SLIPS = (
    (r"plan (?:bee|be|beat)", "plan b"),
    (r"(?:brake|braking|breaking)(?= (?:ball|shot|balls)(?!\S))", "break"),
    (r"brake(?= (?:out|up|open|the|it)(?!\S))", "break"),
    (r"(?:keyboard|quay ball|ki ball)", "key ball"),
    (r"(?:queue|q|que|kew|cute|cubed)(?= ball(?!\S))", "cue"),
    (r"(?:cue bald|cue bowl|cue bol|cuba|q ball)", "cue_ball"),
    (r"(?<=foot )(?:write|rite)|(?<=head )(?:write|rite)|(?<=low )(?:write|rite)|(?<=high )(?:write|rite)|(?<=tip of )(?:write|rite)|(?<=the )(?:write|rite)", "right"),
    (r"(?:write|rite)(?= (?:side|corner|pocket|rail|english|spin|hand)(?!\S))", "right"),
    (r"stunt(?= (?:shot|it|the|run|through|with|and|stroke|this)(?!\S))", "stun"),
    (r"(?:drawer|drawl)(?= (?:shot|it|back|stroke|with)(?!\S))", "draw"),
    (r"fellow(?= (?:shot|through|with|stroke)(?!\S))", "follow"),
    (r"(?:rale|rales|rael)", "rail"),
    (r"(?:karem|carum|karom|carem|caramel)(?= (?:off|shot|the|into|in)(?!\S))", "carom"),
    (r"(?<=side )(?:packet|pocked)|(?<=corner )(?:packet|pocked)", "pocket"),
    (rf"(?:for|fore|fur)(?= ball(?!\S)(?! in hand| {_FIGURE}))", "four"),
    (rf"(?<!want )(?<!going )(?:to|too)(?= ball(?!\S)(?! in hand| {_FIGURE}))", "two"),
    (r"(?<=off )(?:to|too)(?= rail(?!\S))", "two"),
    (r"(?<=off )(?:for|fore)(?= rail(?!\S))", "four"),
    (rf"(?<=the )(?:for|fore){_GOES}", "four"),
    (rf"(?<=the )(?:to|too){_GOES}", "two"),
    (rf"(?<=the )won{_GOES}|won(?= ball(?!\S))", "one"),
    (rf"(?<=the )ate|ate{_GOES}", "eight"),
    (r"tin(?= ball(?!\S))", "ten"),
    (r"tree(?= ball(?!\S))", "three"),
    (r"sicks", "six"),
    (r"(?:forteen|fourteenth)(?= (?:ball|in|into)(?!\S))", "fourteen"),
)  # fmt: skip
_STOPS = frozenset(".,;:!?/()") | {"--", "->"}
_LONG = 12
"""Words from which on a note without any stop is taken for a dictated one. Our choice."""
_WHO = r"(?:i|we|you|it|he|she|that|this|there|now|my|let|just|cue|cue_ball|the cue_ball|the cue|the white|white|bring|leave|come|then|so)"
_JOINT = rf"(?P<joint>(?:and|but|so|because|cause|which)(?: then| now| so)?|then) (?P<next>{_WHO})"


def rewrite(phrase: Phrase) -> None:
    """Mend what was misheard, and part the clauses of a note dictated without stops; the first of all steps."""
    for pattern, word in _SLIPS:
        phrase.replace(pattern, word)
    words = [t.tag for t in phrase.tokens]
    if len(words) >= _LONG and not _STOPS.intersection(words):
        phrase.replace(_JOINT, r", \g<joint> \g<next>")
