"""Places named by a sight of a rail: 'by the second diamond on the head rail', 'right rail, third diamond from the foot'.

Three sights stand on a short rail, at its quarters; seven along a long one at its eighths, the side pocket in the place of the
middle one (World Pool-Billiard Association, equipment specifications). The middle one of a short rail is the second from either
end; any other needs a word of the end from which it is counted, else only the rail is known.
"""

from __future__ import annotations

import re

from lessonkit.notes.words import Phrase

_NTH = {"first": 1, "1 st": 1, "second": 2, "2 nd": 2, "third": 3, "3 rd": 3, "middle": 2, "centre": 2,
        "fourth": 4, "4 th": 4, "last": 1}  # fmt: skip
_SIGHT = rf"(?:the |about |at |by |near |around |opposite )*(?P<nth>{'|'.join(_NTH)}) diamond"
_END = r"(?P<end>head|foot|left|right)(?: (?:rail|corner|end|side))?"
_FROM = rf"(?: (?:up |down |in |over |out )?(?:from|up from|past|above|of) (?:the )?(?:rail_(?P<rail_end>head|foot|left|right)|{_END}))?"
_LEAD = r"(?:(?:on|at|by|near|to|toward|close to|against|around|the|along) )*"
_ON = r"(?:on|of|along|at|, on|,)"
_HALF = 0.08
"""Half the width of the place along the rail, in shares of it: about half the way to the next sight."""


def rewrite(phrase: Phrase, near_x: float, near_y: float) -> None:
    """Sights of a named rail into bounds `atx_...` and `aty_...`; `near_x`, `near_y`: what near a rail means, in shares of
    the length and of the width. Cushions must be tags already."""

    def place(m: re.Match[str]) -> str:
        nth, rail = _NTH[m["nth"]], m["rail"]
        end = m["end"] or m["rail_end"]
        beside = {
            "head": f"atx_0.0000_{near_x:.4f}", "foot": f"atx_{1 - near_x:.4f}_1.0000",
            "right": f"aty_0.0000_{near_y:.4f}", "left": f"aty_{1 - near_y:.4f}_1.0000",
        }[rail]  # fmt: skip
        along = _share(nth, rail, end, m["nth"] in ("middle", "centre"))
        return beside if along is None else f"{beside} {along}"

    phrase.replace(rf"{_LEAD}{_SIGHT}{_FROM} {_ON} (?:the |my )?rail_(?P<rail>head|foot|left|right)", place)
    phrase.replace(
        rf"{_LEAD}rail_(?P<rail>head|foot|left|right)(?: (?:,|at|by|near))* {_SIGHT}{_FROM}", place
    )


def _share(nth: int, rail: str, end: str | None, middle: bool) -> str | None:
    """The bound along the rail; None where the words leave open which sight is meant."""
    short = rail in ("head", "foot")
    if middle or (short and nth == 2):
        at = 0.5
    elif short and end in ("left", "right"):
        at = nth / 4 if end == "right" else 1 - nth / 4
    elif not short and end in ("head", "foot"):
        at = nth / 8 if end == "head" else 1 - nth / 8
    else:
        return None
    return f"{'aty' if short else 'atx'}_{max(at - _HALF, 0):.4f}_{min(at + _HALF, 1):.4f}"
