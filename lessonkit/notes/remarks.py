"""Sentences that tell what happened, not what was meant: 'I bumped the three on the way', 'Hit it way too firm'.

They are told by their verb, which is past and of a kind that nobody plans, and by the lack of any word of intent or
of a pocket; a sentence with one of those is kept whole, since it may hold the plan besides.
"""

from __future__ import annotations

import re

_LEAD = r"(?:(?:well|oh|ugh|damn|and|but|so|then|yeah|okay|ok|actually|unfortunately|sadly|again|sorry|there|my bad)\b[\s,.-]*)*"
_WHO = r"(?:(?:i|we|he|she|it|you|that|this|the (?:cue ball|white|rock|shot|cue)|cue ball|whitey)\s+)?"
_HOW = r"(?:(?:just|also|only|then|nearly|almost|accidentally|barely|totally|really|kind of|sort of|have|had|'ve)\s+)*"
_TOO = r"(?:way|much|far|a bit|a little|a touch|a tad|slightly|just|bit)\s+too\b"
_DID = (
    r"(?:missed|bumped|clipped|overcut|undercut|over-cut|under-cut|overhit|underhit|scratched|rattled|jawed|overran|"
    r"overcooked|misjudged|botched|fluffed|nudged|kissed|caught|ran into|got (?:lucky|unlucky|away with|too|stuck|hooked)|"
    r"(?:should|ought to|shouldn't)(?:'ve| have| of)\b|ended up|came (?:up|out|in) (?:a bit |a little |way |too )?(?:short|long|wide|heavy|light)|turned out|"
    r"hit (?:it|that|this|her|the cue ball)(?:\s+\w+){0,3}?\s+too\b|(?:was|went|came)(?:\s+\w+){0,3}?\s+too\b|"
    r"(?:did ?n[o']?t|did not|never) mean(?:t)? to\b|(?:was ?n'?t|was not) (?:planning|meant|supposed|trying|intended)\b)"
)
_VERDICT = r"(?:a )?(?:tad|bit|touch|little) (?:too )?(?:firm|hard|soft|slow|fast|thick|thin|full|heavy|strong|light),? (?:that|there)\b"
_REMARK = re.compile(rf"\s*{_LEAD}(?:{_WHO}{_HOW}{_DID}|{_TOO}|{_VERDICT})", re.IGNORECASE)
_INTENT = re.compile(
    r"\b(?:plan|plan was|want\w*|going to|gonna|this time|next time|now|should(?!'ve| have| of)|will|intend\w*|"
    r"pocket|corner|side|foot|head|last (?:time|week|rack)|so (?:i|we|now))\b|'ll\b",
    re.IGNORECASE,
)
_SENTENCE = re.compile(r"[^.;!?\n]+(?:[.;!?]+(?!\d)|\n|$)|[.;!?\n]")


def without(text: str) -> str:
    """The text with the sentences of that kind blanked out, its length kept."""
    plain = text.replace("’", "'")
    out = text
    for m in _SENTENCE.finditer(plain):
        if _REMARK.match(m[0]) and not _INTENT.search(m[0]):
            out = out[: m.start()] + " " * len(m[0]) + out[m.end() :]
    return out
