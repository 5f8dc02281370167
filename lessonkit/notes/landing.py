"""Which of the places in a note is where the cue ball is to stop, and in which words."""

from __future__ import annotations

import re

from lessonkit.model import Landing, Table
from lessonkit.notes import places
from lessonkit.notes.words import Phrase, pattern_of

FIGURES_RADIUS_MM = 60.0
"""How wide a place given in figures is: about a ball's width; common practice, no source."""
_LIE = r"(?:ball_\d+|one|balls|rack|pack|cluster|stack)(?: (?:is|sitting|sits|that|which|hanging|lying|lies|frozen|over|right|there|down|up|stuck|out|way|ball|resting|goes|going|drops|runs|,? ?sitting)){0,4} $"
_FROM = r"(?:from|past|through|cross|crossing|over|started|set cue|place cue|put cue|spot cue|start cue|starting|starting|across from|leaving) (?:the |it |in |on )*$"
_AT = re.compile(r"(?:by|near|at|around|close|on|in|to|toward)", re.IGNORECASE)
_CUE = r"(?<!\S)(?:cue|whitey|it|leave|leaves|leaving|bring|brings|land|lands|landing|finish|finishes|rest|rests|park|parks|end|ends|position|get|gets|be|back|sit|sits|come|comes|float|floats|drift|drifts|hold|holds|want|send|sends|stop|stops|settle|settles|stroke_\S+|xy_\S+)(?!\S)"


def read(phrase: Phrase, table: Table) -> Landing | None:
    """The wanted place, None where none is named; figures win over words, the last named place over earlier ones."""
    line = phrase.line
    best = None
    for m in phrase.find(r"place_\S+"):
        before = line[: m.start()]
        # "land over by the spot": over tells the way; "over the spot" what is passed
        before = re.sub(r" over $", " ", before) if _AT.match(phrase.said(m)) else before
        if pattern_of(_LIE).search(before) or pattern_of(rf"(?<!\S){_FROM}").search(before):
            continue
        clause = re.split(r" (?:[.;!?]) ", before)[-1]
        rank = bool(pattern_of(_CUE).search(clause))
        if best is None or rank >= best[0]:
            best = (rank, m)
    given = phrase.find(r"(?:xy|diamonds)_\S+")
    if given:
        point = places.figures(given[-1][0], table)
        words = phrase.said(best[1]) if best else phrase.said(given[-1])
        return Landing(point, _trim(words), True, FIGURES_RADIUS_MM)
    if best is None:
        unplaced = phrase.find("unplaced")
        return Landing(None, _trim(phrase.said(unplaced[-1])), False) if unplaced else None
    point, radius = places.place_of(best[1][0])
    return Landing(point, _trim(phrase.said(best[1])), False, radius)


def _trim(words: str) -> str:
    plain = re.sub(r"\s+", " ", words).strip(" ,.;:()-–—")
    return re.sub(
        r"^(?:(?:all the way )?(?:back |over |down |up |out )?to|into) (?=\S)", "", plain, flags=re.IGNORECASE
    )
