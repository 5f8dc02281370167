"""Words of a sentence: split, put into one spelling, and rewritten step by step into tags that carry meaning.

A `Phrase` is a row of tokens. Each step of the grammar (pockets.py, cushions.py, balls.py, ...) finds runs of tokens
and puts one tag in their place: "the nine ball in the foot left corner" becomes "ball_9 in pocket_foot-left". A later
step therefore never reads a word that an earlier one has understood, and its patterns stay short.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

SAME_WORD = {
    "center": "centre", "centers": "centre", "centred": "centre", "centered": "centre", "centerline": "centre line",
    "centreline": "centre line", "colour": "color", "cushions": "rail", "cushion": "rail", "rails": "rail",
    "railer": "rail", "rail's": "rail", "bands": "rail", "band": "rail", "effect": "english", "hole": "pocket", "bag": "pocket", "pockets": "pocket",
    "holes": "pocket", "bags": "pocket", "corners": "corner", "english": "english", "sidespin": "side spin",
    "topspin": "top spin", "backspin": "back spin", "underspin": "back spin", "bottomspin": "back spin",
    "whitey": "cue_ball", "cueball": "cue_ball", "cb": "cue_ball", "rock": "cue_ball", "diamonds": "diamond",
    "sights": "diamond", "sight": "diamond", "tips": "tip", "lefthand": "left hand", "righthand": "right hand",
    "headstring": "head string", "footstring": "foot string", "headspot": "head spot", "footspot": "foot spot",
    "headline": "head string", "headrail": "head rail", "footrail": "foot rail", "uptable": "up table", "downtable": "down table",
    "crossside": "cross side", "crosscorner": "cross corner", "gonna": "going to", "wanna": "want to",
    "gotta": "got to", "lemme": "let me", "cannot": "can not", "can't": "can not", "won't": "will not",
    "dont": "do not", "doesnt": "does not", "isnt": "is not", "cant": "can not", "wont": "will not",
    "aint": "is not", "ain't": "is not", "i'm": "i am", "let's": "let us", "i've": "i have", "you've": "you have",
    "we've": "we have", "planb": "plan b", "towards": "toward", "midtable": "middle of the table",
    "o'clock": "oclock", "stripey": "stripe", "stripy": "stripe", "striped": "stripe", "stripes": "stripe",
    "halfway": "half way", "midway": "half way", "there's": "there is", "it's": "it is", "that's": "that is", "here's": "here is", "she's": "it is",
    "what's": "what is", "softest": "very soft", "gentlest": "very soft", "slowest": "very slow", "lightest": "very soft",
    "hardest": "very hard", "firmest": "very firm", "softer": "soft", "slower": "slow", "alright": "so", "okay": "so", "ok": "so", "grey": "gray",
    "onto": "on to", "whole": "full", "inches": "inch", "feet": "foot_length", "balls": "balls",
    "foot-long": "foot_length", "metres": "metre", "meters": "metre", "meter": "metre", "midle": "middle",
    "centimetres": "cm", "centimeters": "cm", "jaw": "jaws", "mouth": "jaws", "backcut": "back cut",
    "cutting": "cut", "potting": "pot", "pocketing": "pot", "sinking": "sink", "banking": "bank", "banked": "bank",
    "kicking": "kick", "playing": "play", "shooting": "shoot", "taking": "take", "rolling": "rolling",
    "following": "follow", "drawing": "draw", "stunning": "stun", "stopping": "stop", "stopped": "stop", "hitting": "hit",
    "them": "the", "dem": "the", "da": "the", "follow-up": "next", "uh": "", "um": "", "er": "", "erm": "", "like": "like",
}  # fmt: skip
"""Spellings and turns that mean the same here; the right side may be several words."""

_VERBS = (
    "baby", "ease", "lag", "feather", "tap", "nudge", "pound", "smash", "whack", "slam", "blast", "crush", "hammer",
    "drill", "spank", "punch", "pop", "trickle", "dribble", "creep", "coax", "bunt", "tickle", "belt", "send", "knock",
    "cut", "drop", "cinch", "clip", "slice", "tuck", "stroke", "roll", "pinch", "thin", "screw", "suck", "rip", "pull",
    "zip", "spin", "drag", "kill", "stick", "freeze", "nail", "pin", "park", "kiss", "avoid", "miss",
    "finish", "land", "settle", "bounce", "float", "drift", "wander", "travel", "pocket", "choose", "kick", "double", "dunk", "bury", "slot", "fire", "plant", "caress", "thump",
)  # fmt: skip


def _forms(verb: str) -> tuple[str, ...]:
    stem = verb[:-1] if verb.endswith("e") else verb
    twice = stem + stem[-1]  # "tap" -> "tapping"
    past = verb[:-1] + "ied" if verb.endswith("y") else stem + "ed"
    return (verb + "s", verb + "es", stem + "ing", twice + "ing", past, twice + "ed")


_BASE = {form: verb for verb in _VERBS for form in _forms(verb) if form != "rolling"}
"""'easing', 'eased', 'eases' -> 'ease'."""

_TOKEN = re.compile(
    r"\d+(?:[.,:]\d+)*|->|[a-z_]+(?:'[a-z]+)*|[#%½¼¾()\[\].,;:!?/+=*&]|--+|[-\n]"  # order: longest first
)
_QUOTES = str.maketrans({"‘": "'", "’": "'", "‛": "'", "ʼ": "'", "`": "'", "“": '"', "”": '"', "„": '"', "–": "-", "—": " -- ",
                         "―": " -- ", "…": " . ", "→": " -> ", "⇒": " -> ", "×": "x", "−": "-"})  # fmt: skip
_AFTER_LETTER = re.compile(r"(?<=[a-z0-9])-(?=[a-z0-9])")


@dataclass(frozen=True)
class Token:
    """One word or tag and the part of the original text that it stands for."""

    tag: str
    start: int
    end: int


def _fold(text: str) -> str:
    """Lower case and plain punctuation, the length kept so that places in the text stay valid."""
    out = []
    for char in text:
        plain = unicodedata.normalize("NFKD", char.translate(_QUOTES) if ord(char) in _SAME_LENGTH else char)
        plain = "".join(c for c in plain if not unicodedata.combining(c)).lower()
        out.append(plain if len(plain) == 1 else (char if char in "½¼¾—―…→⇒" else " "))
    return "".join(out)


_SAME_LENGTH = {k for k, v in _QUOTES.items() if isinstance(v, str) and len(v) == 1}
_LONG_MARKS = {"—": "--", "―": "--", "…": ".", "→": "->", "⇒": "->"}
_MARK = re.compile("|".join(_LONG_MARKS))


def _words(folded: str) -> list[Token]:
    folded = _AFTER_LETTER.sub(" ", folded)
    tokens: list[Token] = []
    for m in re.compile(f"(?:{_MARK.pattern})|{_TOKEN.pattern}").finditer(folded):
        word = _LONG_MARKS.get(m.group(), m.group())
        if word.startswith("--") or word == "-":
            word = "--"
        if word == "\n":
            continue
        word = SAME_WORD.get(word, word)
        if word.endswith("n't"):
            word = f"{word[:-3]} not"
        elif word.endswith(("'s", "'ll", "'re", "'d", "'ve", "'m")):
            word = word[: word.index("'")]
            word = SAME_WORD.get(word, word)
        word = _BASE.get(word, word)
        tokens += [Token(w, m.start(), m.end()) for w in word.split()]
    return tokens


@cache
def pattern_of(text: str) -> re.Pattern[str]:
    """A compiled pattern; the library itself remembers 512, and notes are read with more, which would all be compiled again
    for every note."""
    return re.compile(text)


@dataclass
class Phrase:
    """A row of tokens over one text; rewritten in place by `replace`."""

    text: str
    tokens: list[Token]

    @classmethod
    def of(cls, text: str) -> Phrase:
        """The phrase of a text, every word in one spelling."""
        return cls(text, _words(_fold(text)))

    @property
    def line(self) -> str:
        """All tags with one blank between them."""
        return " ".join(t.tag for t in self.tokens)

    def replace(self, pattern: str, tag: str | Callable[[re.Match[str]], str | None]) -> None:
        """Put one tag in the place of every run of tokens that matches; a function may return None to leave it."""
        line, starts = self.line, self._starts()
        out: list[Token] = []
        done = 0
        for m in pattern_of(rf"(?<!\S)(?:{pattern})(?!\S)").finditer(line):
            new = tag(m) if callable(tag) else m.expand(tag)
            if new is None or not m.group():
                continue
            first, last = starts[m.start()], starts[line.rfind(" ", 0, m.end()) + 1]
            out += self.tokens[done:first]
            # several tags may take the place of one run: they share its part of the text
            out += [Token(t, self.tokens[first].start, self.tokens[last].end) for t in new.split()]
            done = last + 1
        self.tokens = out + self.tokens[done:]

    def find(self, pattern: str) -> list[re.Match[str]]:
        """Every run of whole tokens that matches."""
        return list(pattern_of(rf"(?<!\S)(?:{pattern})(?!\S)").finditer(self.line))

    def has(self, pattern: str) -> bool:
        """Whether some run of whole tokens matches."""
        return bool(self.find(pattern))

    def said(self, m: re.Match[str], group: int | str = 0) -> str:
        """The original words under a match of `line`."""
        line, starts = self.line, self._starts()
        start, end = m.span(group)
        first, last = starts[start], starts[line.rfind(" ", 0, end) + 1]
        return self.text[self.tokens[first].start : self.tokens[last].end]

    def _starts(self) -> dict[int, int]:
        starts, at = {}, 0
        for i, t in enumerate(self.tokens):
            starts[at] = i
            at += len(t.tag) + 1
        return starts


def one_of(*words: str) -> str:
    """A pattern for one of these runs of words, the longest first."""
    return "(?:" + "|".join(sorted(words, key=len, reverse=True)) + ")"
