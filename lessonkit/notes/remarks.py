"""Clauses that tell what happened, not what was meant: 'I bumped the three on the way', 'Hit it way too firm'.

They are told by their verb, which is past and of a kind that nobody plans, and by the lack of any word of intent or
of a pocket; a clause with one of those is kept whole, since it may hold the plan besides.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

_LEAD = r"(?:(?:well|oh|ugh|damn|and|but|so|then|yeah|okay|ok|actually|unfortunately|sadly|again|sorry|there|my bad|because|of course)\b[\s,.-]*)*"
_CUE = r"(?:it|that|this|she|(?:the )?(?:cue ball|cueball|white|whitey|rock|cue))"
_WHO = rf"(?:(?:i|we|he|you|the shot|{_CUE})\s+)?"
_HOW = r"(?:(?:just|also|only|then|nearly|almost|accidentally|barely|totally|really|kind of|sort of|have|had|'ve)\s+)*"
_TOO = r"(?:way|much|far|a bit|a little|a touch|a tad|slightly|just|bit)\s+too\b"
_DID = (
    r"(?:missed|bumped|clipped|overcut|undercut|over-cut|under-cut|overhit|underhit|scratched|rattled|jawed|overran|"
    r"overcooked|misjudged|botched|fluffed|nudged|kissed|caught|ran into|got (?:lucky|unlucky|away with|too|stuck|hooked)|"
    r"(?:should|ought to|shouldn't)(?:'ve| have| of)\b|ended up|came (?:up|out|in) (?:a bit |a little |way |too )?(?:short|long|wide|heavy|light)|turned out|"
    r"hit (?:it|that|this|her|the cue ball)(?:\s+\w+){0,3}?\s+too\b|(?:was|went|came)(?:\s+\w+){0,3}?\s+too\b|"
    r"(?:did ?n[o']?t|did not|never) mean(?:t)? to\b|(?:was ?n'?t|was not) (?:planning|meant|supposed|trying|intended)\b)"
)
_WENT = r"(?:went|ran|ended|finished|landed|rolled|drifted|came|died|bounced|stopped|overran|flew|slid|crept|squirted|wandered)\b"
"""What the cue ball did, told after the fact: no landing that was wanted."""
_CHANCE = re.compile(r"\b(?:by (?:accident|mistake|pure luck)|accidentally|not on purpose)\b", re.IGNORECASE)
_VERDICT = r"(?:a )?(?:tad|bit|touch|little) (?:too )?(?:firm|hard|soft|slow|fast|thick|thin|full|heavy|strong|light),? (?:that|there)\b"
_REMARK = re.compile(
    rf"\s*{_LEAD}(?:{_WHO}{_HOW}{_DID}|{_CUE}\s+{_HOW}{_WENT}|{_TOO}|{_VERDICT})", re.IGNORECASE
)
_INTENT = re.compile(
    r"\b(?:plan|plan was|want\w*|going to|gonna|this time|next time|now|should(?!'ve| have| of)|will|intend\w*|supposed|"
    r"pocket|corner|side|foot|head|last (?:time|week|rack)|so (?:i|we|now))\b|'ll\b",
    re.IGNORECASE,
)
_AND = r"(?:and|but|so|then|because|cause)\s+"
_HOWEVER = r"(?:(?:then|just|maybe|sadly|unfortunately|actually|of course)\s+)?"
_STARTS = r"(?:i|we|he|what|now|next|(?:the|my) (?:plan|idea|aim|intention|thought))"
_JOINT = re.compile(
    rf"\s(?={_AND}{_HOWEVER}|{_HOWEVER}{_STARTS}\s|{_HOWEVER}{_CUE}\s+{_HOW}(?:{_WENT}|{_DID}))"
    rf"|(?<=,)\s(?=(?:was |were )?(?:meant|supposed|wanted|hoped|intended|aiming)\b)"
    rf"|(?<=,)\s(?=(?:{_DID}|ended|finished|overran)\b)",
    re.IGNORECASE,
)
"""Where a new clause may begin within a sentence."""
_BARE_LEAD = re.compile(rf"\s*{_LEAD}[\s,.-]*", re.IGNORECASE)
_PLACE_TOLD = re.compile(rf"\s*{_LEAD}{_CUE}\s+{_HOW}{_WENT}", re.IGNORECASE)
_WISH = re.compile(
    r"\b(?:plan|want\w*|going to|gonna|will|intend\w*|supposed|meant|should)\b|'ll\b", re.IGNORECASE
)
_SENTENCE = re.compile(r"[^.;!?\n]+(?:[.;!?]+(?!\d)|\n|$)|[.;!?\n]")
_PACE = r"(?:hard|soft|softly|firm|firmly|strong|strongly|fast|slow|slowly|heavy|light|lightly|easy)"
_MUCH = r"much (?:left|right|side|english|draw|follow|top|bottom|spin|speed|pace|power|force)"
_OVERDONE = re.compile(
    rf"(?:(?:way|much|far|a (?:bit|little|touch|tad|hair)|slightly|just)\s+)?too\s+(?:{_PACE}|{_MUCH})\b",
    re.IGNORECASE,
)
_WARNED = re.compile(
    r"(?:\b(?:not|without|never|avoid\w*|nor|or|neither|if|unless|careful|nothing|than|else)\b|n't\b|\bdont\b)(?:\s+[\w']+){0,6}\s*$",
    re.IGNORECASE,
)
"""'Not too hard' is a plan; 'too hard' alone is a verdict."""


def without(text: str) -> str:
    """The text with the clauses of that kind blanked out, its length kept."""
    plain = text.replace("’", "'")
    out = text
    for start, end in _clauses(plain):
        clause = plain[start:end]
        told = _PLACE_TOLD.match(clause) and not _WISH.search(clause)
        remark = _REMARK.match(clause) or _CHANCE.search(clause)
        if told or (remark and not _INTENT.search(clause)):
            out = out[:start] + " " * (end - start) + out[end:]
    for m in _OVERDONE.finditer(plain):
        if not _WARNED.search(plain[: m.start()]):
            out = out[: m.start()] + " " * len(m[0]) + out[m.end() :]
    return out


def only(text: str) -> str:
    """What `without` takes out, all else blanked."""
    return "".join(b if a != b else " " for a, b in zip(without(text), text, strict=True))


def _clauses(text: str) -> Iterator[tuple[int, int]]:
    """Where each clause begins and ends: sentences, parted where a new clause may begin."""
    for m in _SENTENCE.finditer(text):
        start = m.start()
        for joint in _JOINT.finditer(m[0]):
            end = m.start() + joint.start()
            # "Ugh, I ended up ...": such a word belongs to what follows
            if not _BARE_LEAD.fullmatch(text[start:end]):
                yield start, end
                start = end
        yield start, m.end()
