"""Ways over cushions: of the called ball (a bank), of the cue ball before the called ball (a kick), and after it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import cast

from lessonkit.model import Cushion, Pocket
from lessonkit.notes.words import Phrase

_RAIL = r"rail_(?:head|foot|left|right)"
_RAILS = rf"(?:the )?{_RAIL}(?: (?:and |then |, |, then |to |and then )*(?:off )?(?:the )?{_RAIL})*"
_THEN = r"(?: (?:first|and|then|,|--|back|just|thinly|softly|full|straight))*"
_KICKS = (
    rf"rail first(?: (?:[:,.]|--|off|on|with|by|via|and|from|use|using|it is|kick|kicking|to|go))* (?P<rails>{_RAILS})",
    rf"(?:off |kick off |kick |on |into |to |hit |touch |via |using |with )*(?P<rails>{_RAILS}) first",
    rf"(?:off|from|via|into|hit|hits) (?P<rails>{_RAILS}){_THEN} (?:in to|into|at|to hit|to catch|to meet|to find|finding|catching|hits?|hitting|before|to clip|clip|and hit|and in to)(?= (?:the )?ball_)",
    rf"(?:cue|it|whitey) (?:goes |comes |runs )?(?:hits?|to|into|touch|touches|contacts|meets|strikes|off|finds)(?: first)? (?P<rails>{_RAILS})(?: (?:,|and))* (?:then|and then|before|and|after|after that)(?: hits?| into| contacts?| meets| finds| strikes)?(?= (?:the )?ball_)",
    rf"first (?:(?:off|on|to|into|in to|hit|hits|touch|against|via) )?(?P<rails>{_RAILS})(?: (?:,|and|then|after that|the cue|it|hits?|into|in to))*(?= (?:the )?ball_)",
    rf"(?:cushion|kick)(?: (?:shot|rails_1|at|ball_\d+|it|in|the|into|to|pocket_\S+|,|[:]))*(?: (?:off|from|via|[:,]))+ (?P<rails>{_RAILS})",
    rf"(?:off|from|via|into|hit|hits) (?P<rails>{_RAILS}) before(?= (?:the |hitting |hit |contacting |contact |touching |meeting |reaching |it |i |gets? to |getting to )*(?:ball_|the ball|contact|object|it(?!\S)|that(?!\S)))",
)
_BANK_WORD = r"(?:bank|banks|double|doubles|doubled)"
_BANKS = (
    rf"(?P<keep>{_BANK_WORD}(?: (?!cue|off|[.;!?])\S+){{0,10}} )(?:off|off of|from|on|via|against) (?P<rails>{_RAILS})",
    rf"(?P<keep>ball_\d+(?: ,)?(?: (?:goes|is|going|comes|played|hits|banked))? )(?:off|from|via) (?P<rails>{_RAILS})(?=(?: (?:and|then|,|back|across|up|down|straight))* (?:in|into|to)(?: the)? pocket_)",
    rf"(?P<keep>cross_(?:side|corner)(?: (?!cue|off|[.;])\S+){{0,7}} )(?:off|from|on|via|against) (?P<rails>{_RAILS})",
    rf"(?P<keep>)(?:off|from|via|on) (?P<rails>{_RAILS})(?= bank)",
    rf"(?P<keep>)(?P<rails>{_RAILS})(?= bank)",
)
_OPPOSITE: dict[str, Cushion] = {"left": "right", "right": "left", "head": "foot", "foot": "head"}


@dataclass(frozen=True)
class Routes:
    """Cushions on the three ways; rails None where nothing was said of them."""

    bank: tuple[Cushion, ...]
    rail_first: tuple[Cushion, ...]
    rails: int | None
    open_count: bool
    """The words tell of cushions, but not of how many."""


def rewrite(phrase: Phrase) -> None:
    """Kicks and banks into `kick_left`, `bank_left+foot`; places and balls must not be tags of cushions yet."""

    def taken(kind: str, keep: bool = False):  # type: ignore[no-untyped-def]
        def tag(m: re.Match[str]) -> str:
            names = "+".join(re.findall(r"rail_(head|foot|left|right)", m["rails"]))
            # what else stood in the run ("kick at the seven: foot cushion") stays
            others = [t for t in m[0].split() if t.startswith(("ball_", "pocket_"))]
            kept = m["keep"] if keep else "".join(f"{t} " for t in others)
            return f"{kept}{kind}_{names}"

        return tag

    # "a one-rail kick", "a two-rail bank": these are not cushions after the contact
    phrase.replace(r"rails_\d(?= (?:bank|cross_\S+|kick))", "")
    if phrase.has("kick"):
        phrase.replace(
            rf"(?:off|from|via) (?P<rails>{_RAILS}) (?:to|at|toward|on to|on)(?= (?:the )?ball_)",
            taken("kick"),
        )
    for pattern in _KICKS:
        phrase.replace(pattern, taken("kick"))
    for pattern in _BANKS:
        phrase.replace(pattern, taken("bank", keep=True))
    phrase.replace(r"rails_\d(?= (?:bank|kick)_)", "")
    phrase.replace(rf"(?:goes |go |going )?(?:to|into) (?:the )?({_RAIL})(?= (?:and|then) (?:back|out|off|up|come|comes|down|across|then|in)(?!\S))",
                   r"off \1")  # fmt: skip


def _named(phrase: Phrase, kind: str) -> tuple[Cushion, ...]:
    found = phrase.find(rf"{kind}_([a-z+]+)")
    return tuple(cast(Cushion, c) for c in found[0][1].split("+")) if found else ()


def _bank(phrase: Phrase, pocket: Pocket | None) -> tuple[Cushion, ...]:
    named = _named(phrase, "bank")
    if named or pocket is None:
        return named
    end, side = pocket.split("-")
    across = phrase.has(
        r"cross_side|cross_corner|(?:across|cross) (?:the )?table bank|cross bank|bank (?:\S+ ){0,3}(?:cross|across)"
    )
    along = phrase.has(
        r"(?:long|length|full length|end) bank|bank (?:\S+ ){0,4}(?:long|the length of the table|the length|lengthwise)|bank (?:\S+ ){0,4}(?:off|from) (?:the )?(?:end|short|rail_\?)"
    )
    if along and end != "side":
        return (_OPPOSITE[end],)
    if across or (end == "side" and phrase.has(_BANK_WORD)):
        return (_OPPOSITE[side],)
    return ()


def _count(phrase: Phrase) -> tuple[int | None, bool]:
    counts = [
        int(m[1])
        for m in phrase.find(r"rails_(\d)")
        if not phrase.line[: m.start()].endswith(("denied ", "not "))
    ]
    if counts:
        return counts[0], False
    any_rail = rf"(?:the |a )?(?:{_RAIL}|rail_\?)"
    routes = phrase.find(
        rf"(?:off|from|via|out of|using) (?:of )?{any_rail}(?: (?:and |then |, |, then |to |and then )*(?:off )?{any_rail})*"
    )
    if routes:
        return sum(len(re.findall(r"rail_\S+", m[0])) for m in routes), False
    if phrase.has(
        r"(?:off|after|into|in to|using|hit|hits|catch|catches|touch|touches) (?:the |a )?(?:rail|rail_\?)(?! first)"
    ):
        return 1, False
    if phrase.has(r"(?:to|into) (?:the )?(?:rail|rail_\?) and (?:back|out|off)(?: \S+)?"):
        return 1, False
    return None, phrase.has(
        r"(?:around|round) (?:the )?(?:table|angles?|houses)|(?:multi|several) rail|(?<!down )(?<!along )(?<!down the )(?<!along the )(?<!up the )(?<!by the )(?<!near the )(?<!on the )rail"
    )


def read(phrase: Phrase, pocket: Pocket | None) -> Routes:
    """The ways over cushions of a phrase whose words are all tags."""
    rails, open_count = _count(phrase)
    return Routes(_bank(phrase, pocket), _named(phrase, "kick"), rails, open_count)
