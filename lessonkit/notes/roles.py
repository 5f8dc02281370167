"""What each ball named in a note is to the shot: called, next, break, key, insurance, left alone, or not on.

Each mention is judged by the words right before it and right after it; the mention with the best evidence is called.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from lessonkit.notes.words import Phrase

_B = r"ball_\d+"
_LIST = rf"(?:{_B} (?:and |or |, |, and |nor )+)*"
_FILL = r"(?:the |a |an |my |our |your |me |us |you |it |that |this |is |be |as |to |up |just |nice |good |perfect |straight |right |still |then |also |, |: |-- |always )*"
_LINK = r"(?:(?:the|a|is|will|would|can|be|looks|like|being|still|again|then|now|:|--|->|number|as) )*"
_TO_POCKET = r"(?: (?:ball|one|straight|cleanly|thin|thinly|cut|cuts|softly|gently|slowly|in|into|to|toward|at|down|up|the|that|goes|going|go|drops|drop|falls|passes|is|on|for|along|a|rail|rail_\S+|banks?|bank_\S+|kick_\S+|cross_side|cross_corner|speed_\S+|stroke_\S+|,|:|--|and|off|hanging|sits|sitting|over|by|near|there|here|place_\S+|first|across|back|dead|played|home|shot|you|got|have)){0,8} pocket_"

_STOP = r"ball_|[.;]|pocket_"
_NO_COPULA = r"(?! (?:ball )?(?:is|will|:|--|-> |ball_))"
_ROLES: tuple[tuple[str, str, str], ...] = (
    ("alone", rf"(?:mind|watch out for|protect|careful with|take care of) {_FILL}$", r"") ,
    ("alone", "", r" (?:, |-- |; |[.] )?(?:do )?(?:not|never) (?:disturb|touch|move|hit|bump) (?:it|that)"),
    ("break", rf"break ball {_LINK}$", ""),
    ("key", rf"key ball {_LINK}$", ""),
    ("insurance", rf"(?:insurance|safety valve)(?: ball)? {_LINK}$", ""),
    ("break", "", rf"(?: (?!{_STOP}|key|insurance)\S+){{0,5}} break (?:ball{_NO_COPULA}|shot later)"),
    ("key", "", rf"(?: (?!{_STOP}|break|insurance)\S+){{0,5}} key(?: ball)?(?= |$){_NO_COPULA}"),
    ("insurance", "", rf"(?: (?!{_STOP}|key|break)\S+){{0,5}} (?:insurance|safety valve){_NO_COPULA}"),
    ("alone", rf"(?:leave|leaving|ignore|ignoring|avoid|avoiding|miss|missing|clear of|away from|keep off|stay off|(?:not|without|never)(?: to)? (?:touch|disturb|move|hit|bump|hitting|touching|disturbing|moving|bumping|clip|nudge|kiss|break|run into|bother|wake)\w*(?: up)?|"
              rf"do nothing to|hands off|careful of|careful not to hit) {_FILL}{_LIST}$",
     r""),
    ("alone", "", rf"(?: (?:and|or|,|nor) {_B})*(?: is| to be)?(?: left)? (?:alone|undisturbed|untouched|in peace)|(?: should| must| has to| can| will)? (?:stays?|not move|not be (?:touched|moved|disturbed)|be left)(?: (?:put|where it (?:is|lies)|there|home|alone))?"),
    ("off", r"(?:not|instead of|rather than|no shot on|no shot at|forget(?: about)?|skip|skipping|pass on|passing on|pass up|blocked on|hooked on|snookered on|nothing on|can not (?:see|hit|reach|get at|get to|make|play|pot|shoot|take)|not (?:see|hit|reach|make|play|pot|shoot|take|get to)|"
            rf"looked at|not like|looks? like|(?:would|might) (?:think|expect)|obvious (?:shot|ball|choice) is|not have an? (?:\S+ )?(?:shot|look|line) (?:on|at|to)|no (?:line|look|way) (?:on|at|to)|tied up with|touching|frozen to|stuck (?:to|on|behind)|clustered with|kissing|leaning on|tempting|could have played|would have liked|over|ahead of|before) {_FILL}$", ""),
    ("off", "", r"(?: \S+){0,1}? (?:is|was|being|looks|being|are|stays|seems) (?:all |still |completely |a bit |too |totally |just )*(?:blocked|tied up|not on|no good|stuck|hooked|covered|hidden|buried|dead against|out|unavailable|too thin|too risky|risky|obstructed|not available|not there|off|locked up|no longer on|frozen up|gone|clustered|trouble)|"
            r" (?:does|will|can|do|is) not (?:go|pass|fit|drop|on|work|get through|reach)|(?: ,)? but (?:it |that )?(?:\S+ ){0,2}not (?:pass|go|fit|drop|work)| will not| has no pocket| has nowhere to go"),
    ("landmark", rf"(?:behind|below|above|past|between|beside|next to|beyond|around|underneath|under|near|by|inside|outside|between {_B} and) {_FILL}$", ""),
)  # fmt: skip

_MOVE = r"(?:rails_\S+|rail_\S+|rail|cue|table|gets?|getting|get|works?|way|comes?|back|around|over|across|up|down|leads?|on|move|moves|moving|flow|travel|travels|go|goes|out|bring|brings|draw|float|drift|it|me|us|stroke_\S+)"
_NEXT_BEFORE = (
    rf"(?:for|ahead to|ready for|set for|-> ?|next to come is) {_FILL}$",
    r"->(?: for)? $",
    rf"from (?:the )?{_B} to {_FILL}$",
    rf"(?:and|,|then|so) (?:i|we|you) (?:am |are |will be )?(?:looking at|look at|eyeing|eye|staring at|facing|eyeballing) {_FILL}$",
    rf"(?:get|gets|getting|be|been|am|are|is|good|nice|perfect|fine|straight|right|shape|shaped|position|angle|line|lined up|look|looks|set up|shot|sits|ready|land|lands|landing|come|comes|arrive|fall|falls|work|play|plays|{_MOVE}|where|there|here|place_\S+|and|well|window|view|stay|leaves me|leave me|leave) (?:(?:up|in|nicely|well|good|perfectly|straight|back|right|left) )*(?:on|on to|at|to|toward|upon|with) {_FILL}$",
    rf"(?:next|afterwards|after that|after this|following|then|next up|next one|next ball|next shot|from there|later|and on to|on to)(?: (?:is|will be|comes|comes up|,|:|i|we|you|it is|there is|can|have|has|got|get|play|shoot|take|go|to|on|in|am|with|the|for|want|one|ball|shot|do|target|will|should|be|up|like|need|would|that))* {_FILL}$",
    r"(?:leave|leaves|leaving|left with|left|sets? up|setting up|opens? up|opening|gives?|giving|brings? up|bringing up|leads? to|shape|position|yields|offers|faces?|facing|reach|reaches|reaching|sees?|seeing|line up|lines up|set me up for|target) (?:me |us |you |myself |yourself |with |an? |angle |on |for |position |shape |open |up |the player |nicely |over |to |shot |look |at |good |easy |nice |straight |natural |short |long )*(?:the )?$",
    rf"(?:so|and|then)(?: that)? (?:i|we|you|she|he) (?:can|could|have|has|am|are|get|will|may|might|see)(?: \S+){{0,4}} {_FILL}$",
    rf"(?:i|we|you|have) (?:have got|have|got|get|can see|see|will have|am left with|face)(?: \S+){{0,3}} {_FILL}$",
    rf"to (?:be able to )?(?:play|shoot|take|get|make|pot|reach|see|attack|cut|sink|tackle|pick off|pick up) {_FILL}$",
    rf"(?:with|keeping|having) (?:an? )?(?:\S+ )?(?:angle|eye|look|view|shot) (?:on|at|to|for) {_FILL}$",
)
_NEXT_AFTER = (
    rf" (?:is |comes |goes |will be |would be |being |as |as the |as my |to be |shot |are )*(?:next|after(?! {_B})|afterwards|to follow|comes up|coming up|follows|second|from there|later|in turn)(?=$| [.,;!:)]| one| ball| shot| up)",
    r" (?:is |comes )?up next",
    r" (?:is|lies|sits|will be|should be|are) (?:then |right |just |already )*(?:(?:there|open|on) (?:next|then|for me|after)|waiting|up next|my next)",
)
_CALLED_BEFORE = (
    rf"(?:play|plays|shoot|shoots|pot|pots|sink|sinks|take|takes|make|makes|cut|cuts|bank|banks|double|roll|rolls|rolling|drop|drops|knock|send|sends|slice|tuck|stroke|strokes|fire|pocket|pockets|hit|hits|bury|pop|pops|cinch|slot|put|puts|feather|back cut|ease|stun|thin|smash|spank|drill|drive|tap|nudge|guide|stuff|lay|call|calling|calls|called|going with|go with|choose|pick|clip|kill|stroke_\S+|speed_\S+|get|gets|kick|kick at|kick_\S+ (?:into|in to)|want to make|shot is|shot on|start with|starts? (?:off )?with|begin with|want|for now|first|now|so|it is|this is|this one is|that is|we are on|i am on|shot|target is|(?:am|are|actually|is) after|object|object ball|target|looking at|cross_corner on|cross_side on|cut on|bank on|kiss|carom|combo|combination) {_FILL}$",
    rf"(?:go|going|aim|opt|try|trying|went) (?:for|at|in to|into) {_FILL}$",
    rf"(?:cut|bank|kick|english|side_\S+|hit|tip|tips|cross_corner|cross_side|back cut|on|rel_\S+|stroke_\S+|speed_\S+|fall back|settle) (?:on|at) {_FILL}$",
    r"kick_\S+ (?:into |in to |at )?(?:the )?$",
)
_CALLED_AFTER = (
    _TO_POCKET,
    r" (?:goes|is on|drops|passes|falls|hangs|is hanging|is open|is there|is the shot|is my shot|is the ball|is the one|first(?! [a-z])|is makeable|can go|will go|is good|is straight|does go)",
    r" (?:cross_side|cross_corner|bank_\S+|cross|straight|in the|off bank_\S+)",
)


@dataclass(frozen=True)
class Roles:
    """Ball numbers by what they are to the shot."""

    called: int | None
    next_ball: int | None
    break_ball: int | None
    key_ball: int | None
    insurance_ball: int | None
    leave_alone: tuple[int, ...]


def _any(patterns: tuple[str, ...], text: str, *, end: bool) -> bool:
    return any(re.search(rf"(?<!\S)(?:{p})" if end else rf"^(?:{p})", text) for p in patterns)


def _combination(phrase: Phrase) -> None:
    """'three into nine': the last ball of the chain is the one called."""
    step = (
        r"(?: (?:in|into|in to|to|on to|off|and|,|--|->|/|the|pushing|hitting|drives|sends|knocks|kisses))+"
    )
    phrase.replace(rf"(?P<lead>(?:combo|combination|plant|billiard|carom|kiss)\S*(?: (?:[:,]|is|off|from|shot|the|of|play|on|with|--))*)(?: {_B}{step})+ (?P<last>{_B})",
                   lambda m: f"combo {m['last']}")  # fmt: skip
    phrase.replace(
        rf"{_B} (?:into|in to|drives|sends|pushes) (?P<last>{_B})(?! (?:and|or) {_B})",
        lambda m: f"combo {m['last']}",
    )
    phrase.replace(
        rf"(?P<first>{_B}) (?:off|kissing off|kissed off|carom off|combo off) {_B}", lambda m: m["first"]
    )
    phrase.replace(rf"{_B} {_B} (?:combo|combination)", lambda m: f"combo {m[0].split()[1]}")


def read(phrase: Phrase) -> Roles:
    """Settle the role of every ball of a phrase whose words are tags."""
    _combination(phrase)
    line = phrase.line
    given: dict[str, list[int]] = {}
    open_: list[tuple[int, int, int, bool]] = []  # (evidence, -place, ball, next?)
    for m in phrase.find(r"ball_(\d+)"):
        before, after, ball = line[: m.start()], line[m.end() :], int(m[1])
        role = next(
            (
                r
                for r, b, a in _ROLES
                if (b and re.search(rf"(?<!\S)(?:{b})", before)) or (a and re.match(a, after))
            ),
            None,
        )
        to_pocket = bool(re.match(_TO_POCKET, after))
        if role:
            given.setdefault(role, []).append(ball)
            if not (to_pocket and role in ("break", "key", "insurance")):
                continue
        following = _any(_NEXT_BEFORE, before, end=True) or _any(_NEXT_AFTER, after, end=False)
        calling = _any(_CALLED_BEFORE, before, end=True)
        evidence = 4 * to_pocket + 2 * calling + 2 * _any(_CALLED_AFTER[1:], after, end=False) - 3 * following
        evidence += 2 * before.endswith("combo ")
        open_.append((evidence, -m.start(), ball, following))
    called = _called(open_, next((m.start() for m in phrase.find(r"pocket_\S+")), None))
    later = [b for e, at, b, f in open_ if f and b != called]
    first = {k: v[0] for k, v in given.items()}
    return Roles(
        called, later[0] if later else None, first.get("break"), first.get("key"), first.get("insurance"),
        tuple(dict.fromkeys(b for b in given.get("alone", []) if b != called)),
    )  # fmt: skip


def _called(mentions: list[tuple[int, int, int, bool]], pocket_at: int | None) -> int | None:
    """The mention with the best evidence, the first of equals; a ball that is only the next one is not called."""
    best = max(mentions, default=None)
    if best is None:
        return None
    if best[3] and best[0] <= 0:
        # "we've got the five here, left side pocket": the one ball, before its pocket
        if len(mentions) == 1 and pocket_at is not None and -mentions[0][1] < pocket_at:
            return mentions[0][2]
        # "see the nine there? cut it in ..., then the twelve": of two balls beside a named pocket the first is called
        return mentions[0][2] if pocket_at is not None and len(mentions) > 1 else None
    return best[2]
