"""Cushions, and how many of them the cue ball meets.

`rail_left` is a named cushion, `rail_?` one that the words do not single out, `rails_2` a count.
"""

from __future__ import annotations

from lessonkit.notes.numbers import NUMBER, whole
from lessonkit.notes.words import Phrase

_KIND = r"(?: (?:long|side|short|end|hand|hand side))*"
_NAMED = (
    rf"(?:(?:long|side|short|end) )?(?P<name>head|foot|left|right){_KIND} rail",
    r"(?:short|end) rail (?:at|on|by|of) (?:the )?(?P<name>head|foot)(?: end)?",
    r"(?:long|side) rail (?:on|to) (?:the |your |my )?(?P<name>left|right)(?: side)?(?! of)",
    r"rail on (?:the |your |my )(?P<name>left|right)(?: side)?(?! of)",
    r"rail (?:at (?:the )|on (?:the )|of (?:the )?)(?P<name>head|foot)(?: end)?",
    r"rail (?P<name>head|foot|left|right)(?= (?:[.,;:)]|then|first|and|into|in to|to)(?!\S)|$)",
)
_GO_ON = r"(?= (?:to|for|and|into|near|then|on|back|by|in|at|[.,;:!)]|--)(?!\S)|$)"
_NONE = (
    r"(?:no|not|without|zero)(?: (?:touch|hit|use|need|go to|want to hit|want to touch|want|reach|a|an|any|the|single|even))* rails?(?: at all| contact)?",
    r"(?:before|short of|not reach|without reaching) (?:the|a|any) rail",
    r"(?:stay|stays|staying) off (?:the|all|every) rail",
)  # fmt: skip


def rewrite(phrase: Phrase) -> None:
    """Cushions into `rail_NAME`, counts into `rails_N`."""
    phrase.replace(
        r"(kick (?:\S+ ){0,4}off (?:the )?(?:left|right))(?: hand)?(?: side)?(?= (?:at|to|into|in to|for|and|,)(?!\S))",
        r"\1 rail",
    )
    phrase.replace(r"(?:baulk|balk) rail", "head rail")
    for pattern in _NONE:
        phrase.replace(pattern, "rails_0")
    phrase.replace(r"rail (?:[:=] |is |count )?(\d|one)(?= (?:[.,;/)])|$)", lambda m: f"rails_{whole(m[1])}")
    # counts first: in "off one rail to the left half" the rail is not the left one
    phrase.replace(r"(?:a )?(?:single|one) rail(?! first)(?: only)?", "rails_1")
    phrase.replace(r"rail once", "rails_1")
    phrase.replace(rf"({NUMBER})(?: (?:more|different|long|short))? rail(?! first)",
                   lambda m: f"rails_{whole(m[1])}" if whole(m[1]) <= 6 else None)  # fmt: skip
    for pattern in _NAMED:
        phrase.replace(pattern, lambda m: f"rail_{m['name']}")
    phrase.replace(r"(?P<a>head|foot|left|right) (?:and|then|, then) (?:the )?rail_(?P<b>head|foot|left|right)",
                   lambda m: f"rail_{m['a']} then rail_{m['b']}")  # fmt: skip
    phrase.replace(r"double rail(?:s)?", "rails_2")
    phrase.replace(r"triple rail", "rails_3")
    phrase.replace(r"(?:a )?couple(?: of)? rail", "rails_2")
    phrase.replace(rf"off (?:of )?([2345]){_GO_ON}", r"off rails_\1")
    phrase.replace(rf"(?:off|using|uses) (?:just )?one{_GO_ON}", "off rails_1")
    phrase.replace(rf"(?:off|hit) (?:the |a )?(?:(?:long|short|end|side|far|near|opposite|bottom|top) )*rail (?:once|one time){_GO_ON}", "off rails_1")  # fmt: skip
    phrase.replace(r"(?:the |a )?(?:(?:long|short|end|side|far|near|nearest|opposite|bottom|top|other|first) )+rail(?! first)", "rail_?")  # fmt: skip
