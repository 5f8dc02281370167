"""What each ball named in a note is to the shot: called, next, break, key, insurance, left alone, or not on.

Each mention is judged by the words right before it and right after it (role_words.py); the mention with the best
evidence is called.
"""

from __future__ import annotations

from dataclasses import dataclass

from lessonkit.notes import balls, numbers
from lessonkit.notes import role_words as say
from lessonkit.notes.role_words import B as _B
from lessonkit.notes.words import Phrase, pattern_of


@dataclass(frozen=True)
class Roles:
    """Ball numbers by what they are to the shot."""

    called: int | None
    next_ball: int | None
    break_ball: int | None
    key_ball: int | None
    insurance_ball: int | None
    leave_alone: tuple[int, ...]


def _combination(phrase: Phrase) -> None:
    """'three into nine': the last ball of the chain is the one called."""
    step = (
        r"(?: (?:in|into|in to|to|on to|off|and|,|--|->|/|the|pushing|hitting|drives|sends|knocks|kisses))+"
    )
    phrase.replace(
        rf"(?P<first>{_B}) (?:off|(?:kissing|kiss|kisses|kissed|carom|caroms|glance|glances|glancing|bounce|combo) off)(?: of)?(?: the)? {_B}",
        lambda m: m["first"],
    )
    phrase.replace(rf"(?P<lead>(?:combo|combination|plant|billiard|carom|kiss)\S*(?: (?:[:,]|is|off|from|shot|the|of|play|on|with|--))*)(?: {_B}{step})+ (?P<last>{_B})",
                   lambda m: f"combo {m['last']}")  # fmt: skip
    phrase.replace(
        rf"{_B} (?:into|in to|drives|sends|pushes) (?P<last>{_B})(?! (?:and|or) {_B})",
        lambda m: f"combo {m['last']}",
    )
    phrase.replace(rf"{_B} {_B} (?:combo|combination)", lambda m: f"combo {m[0].split()[1]}")


_REACH = 240
"""How many characters before and after a ball are looked at: some thirty words."""


@dataclass(frozen=True)
class _Mention:
    """One naming of a ball that has no other role."""

    ball: int
    at: int
    evidence: int
    following: bool


def _before(patterns: tuple[str, ...], text: str) -> bool:
    return any(pattern_of(rf"(?<!\S)(?:{p})$").search(text) for p in patterns)


def _after(patterns: tuple[str, ...], text: str) -> bool:
    return any(pattern_of(p).match(text) for p in patterns)


def read(phrase: Phrase) -> Roles:
    """Settle the role of every ball of a phrase whose words are tags."""
    _combination(phrase)
    line = phrase.line
    given: dict[str, list[int]] = {}
    mentions: list[_Mention] = []
    for m in phrase.find(r"ball_(\d+)"):
        before, after, ball = line[: m.start()][-_REACH:], line[m.end() :][:_REACH], int(m[1])
        fitting = [r for r, b, a in say.ROLES if _before(b, before) or _after(a, after)]
        role = "alone" if fitting[:1] == ["stays"] else fitting[0] if fitting else None
        if role in ("alone", *say.KEPT) and len(set(fitting)) > 1:
            # "the key ball is the three, don't touch it" says two things of one ball
            other = next((r for r in fitting if (r == "alone") != (role == "alone")), None)
            if other == "alone" or other in say.KEPT:
                given.setdefault(other, []).append(ball)
        to_pocket = _after((say.TO_POCKET,), after)
        if role:
            given.setdefault(role, []).append(ball)
            if not (to_pocket and role in ("break", "key", "insurance")):
                continue
        opened = _before(say.POCKET_FOR, before) or (not mentions and _before(say.STROKE_ON, before))
        to_pocket = to_pocket or opened
        following = not opened and (_before(say.NEXT_BEFORE, before) or _after(say.NEXT_AFTER, after))
        evidence = (
            4 * to_pocket + 2 * _before(say.CALLED_BEFORE, before) + 2 * _after(say.CALLED_AFTER, after)
        )
        evidence += 2 * before.endswith("combo ") - 3 * following
        mentions.append(_Mention(ball, m.start(), evidence, following))
    called = _called(mentions, next((m.start() for m in phrase.find(r"pocket_\S+")), None))
    first = {k: v[0] for k, v in given.items()}
    if called is None and "off" in first and phrase.has(r"(?:kick|bank)_\S+"):
        # "the three is hidden, so I kick at it": not on directly is why it is kicked
        called = _Mention(first["off"], 0, 0, False)
    return Roles(
        called.ball if called else None, _next(mentions, called), first.get("break"), first.get("key"), first.get("insurance"),
        tuple(dict.fromkeys(b for b in given.get("alone", []) if not called or b != called.ball)),
    )  # fmt: skip


def missed(text: str, not_this: int | None) -> int | None:
    """The ball of a remark such as 'missed the nine', which a plan told beside it was for; None where there is none."""
    phrase = Phrase.of(text)
    numbers.rewrite(phrase)
    balls.rewrite(phrase)
    found = phrase.find(
        rf"(?:miss|overcut|undercut|rattled|jawed|dogged|overhit|underhit|choked)(?: on)?(?: the)? {_B}"
    )
    told = [int(m[0].rsplit("_", 1)[1]) for m in found]
    return told[0] if told and told[0] != not_this else None


def _next(mentions: list[_Mention], called: _Mention | None) -> int | None:
    others = [m for m in mentions if called and m.ball != called.ball]
    said = [m.ball for m in (others if called else mentions) if m.following]
    if said or called is None:
        return said[0] if said else None
    # "... two cushions to dead centre, two ball": a ball named after the shot, and nothing else said of it
    left = [m.ball for m in others if m.at > called.at and m.evidence == 0]
    return left[-1] if left else None


def _called(mentions: list[_Mention], pocket_at: int | None) -> _Mention | None:
    """The mention with the best evidence, the first of equals; a ball that is only the next one is not called."""
    best = max(mentions, key=lambda m: (m.evidence, -m.at), default=None)
    if best is None or not best.following or best.evidence > 0:
        return best
    # "we've got the five here, left side pocket": the one ball, before its pocket; of two balls beside a named pocket
    # ("see the nine there? cut it in ..., then the twelve") the first is called
    if pocket_at is not None and (len(mentions) > 1 or best.at < pocket_at):
        return mentions[0]
    return None
