"""The turns of speech that tell what a ball is to the shot, as patterns for the words right before or after it.

`BEFORE` patterns end where the ball's tag begins, `AFTER` patterns begin where it ends. One role a table.
"""

from __future__ import annotations

from lessonkit.notes.words import one_of

B = r"ball_\d+"
ARTICLE = "(?:the |a |an |my |our |your |that |this )*"
SMALL = (
    "(?:the |a |an |my |our |your |me |us |you |it |that |this |is |be |as |to |up |just |nice |good |perfect |straight |"
    "right |still |then |also |ball |, |: |-- |always )*"
)
"""Small words that may stand between a turn of speech and its ball."""
LINK = "(?:the |a |is |which |that |will |would |can |be |looks |like |being |still |again |then |now |: |-- |-> |number |as )*"
BALLS_LISTED = rf"(?:{B} (?:and |or |, |, and |nor )+)*"
_STOP = r"ball_|[.;]|pocket_"
_NO_COPULA = r"(?! (?:ball )?(?:is|will|:|--|-> |ball_))"


def _words_to(end: str, *, most: int = 5, never: str = "") -> str:
    """Up to so many words, none of them another ball, a pocket or the end of the sentence, then `end`."""
    return rf"(?: (?!{_STOP}{never})\S+){{0,{most}}} {end}"


_TO_POCKET_WORDS = one_of(
    "ball", "one", "straight", "cleanly", "thin", "thinly", "cut", "cuts", "softly", "gently", "slowly", "in", "into", "to",
    "toward", "at", "down", "up", "the", "that", "goes", "going", "go", "drops", "drop", "falls", "fall", "passes", "is", "on",
    "for", "along", "a", "rail", r"rail_\S+", "banks?", r"bank_\S+", r"kick_\S+", "cross_side", "cross_corner", r"speed_\S+",
    r"stroke_\S+", ",", ":", "--", "->", "and", "off", "hanging", "sits", "sitting", "over", "by", "near", "there", "here",
    r"place_\S+", "first", "across", "back", "dead", "played", "home", "shot", "you", "got", "have", "heads", "which", "should",
    "so in", "so into", "travel", "will", "wide", "open", "dies", "hard", "of", "goes up",
)  # fmt: skip
TO_POCKET = rf"(?: {_TO_POCKET_WORDS}){{0,8}} pocket_"

# --- balls that are not to be shot now

_POINTED = r"(?:that|this|it|here|there) is (?:the |my |our |your )?"
BREAK_BEFORE = (rf"break ball {LINK}", rf"{_POINTED}break ball , (?:the )?")
_THAT_IS = r" [;,.] (?:it|that|this|which|he|she) is (?:the |my |our |your |a )?"
BREAK_AFTER = (
    rf"{_THAT_IS}break ball",
    _words_to(rf"(?:break ball{_NO_COPULA}|break shot later|for (?:the|my|our|a|next) (?:next )?break(?! ball))", never="|key|insurance"),
)  # fmt: skip
KEY_BEFORE = (rf"key ball {LINK}", rf"{_POINTED}key ball , (?:the )?")
KEY_AFTER = (
    rf"{_THAT_IS}key ball",
    _words_to(rf"key(?: ball)?(?= |$){_NO_COPULA}", never="|break|insurance"),
)
INSURANCE_BEFORE = (rf"(?:insurance|safety valve)(?: ball)? {LINK}",)
INSURANCE_AFTER = (
    rf"{_THAT_IS}insurance",
    _words_to(rf"(?:insurance|safety valve){_NO_COPULA}", never="|key|break"),
)

_DISTURB = one_of("touch", "disturb", "move", "hit", "bump", "hitting", "touching", "disturbing", "moving", "bumping", "clip",
                  "nudge", "kiss", "break", "run into", "bother", "wake", "break up")  # fmt: skip
ALONE_BEFORE = (
    rf"(?:(?<!to )leave|ignore|ignoring|avoid|avoiding|miss|missing|clear of|away from|keep off|stay off|hands off) {SMALL}{BALLS_LISTED}",
    rf"(?:not|without|never)(?: (?:want|wish|like|going|try|trying|need|have|afford|dare|risk|want me))?(?: to)? {_DISTURB} {SMALL}{BALLS_LISTED}",
    rf"(?:do nothing to|careful (?:of|with|not to hit)|mind|watch out for|protect|take care of) {SMALL}{BALLS_LISTED}",
)
ALONE_AFTER = (
    rf" (?:i|we|you) (?:do|will|must|should) not(?: (?:want|wish|like|have))?(?: to)? {_DISTURB}(?= [.,;!]|$)",
    rf"(?: (?:and|or|,|nor) {B})*(?: is| to be)?(?: left)? (?:alone|undisturbed|untouched|in peace)",
    r"(?: (?!ball_|[.;])\S+){0,4} (?:,|--|;|[.])(?: (?:and|so))? (?:i|we|you) (?:will |must |should |want to |am going to )?(?:leave|keep|save) (?:it|that|that one|it there|it alone)(?= [.,;!]|$| alone| there| for| until)",
    r"(?: (?!ball_|[.;])\S+){0,4}(?: (?:,|--|;|[.]))?(?: do)? (?:not|never) (?:disturb|touch|move|hit|bump) (?:it|that)",
)  # fmt: skip

STAYS_AFTER = (
    r"(?: should| must| has to| can| will)? (?:stays?|not move|not be (?:touched|moved|disturbed)|be left)(?!\S)(?: (?:put|where it (?:is|lies)|there|home|alone))?",
)
"""'The ten stays as insurance': left alone only where nothing else is said of it."""

_SHOOT_NOT = one_of("see", "hit", "reach", "make", "play", "pot", "shoot", "take", "get", "get to", "get at")
_SHUT = one_of("blocked", "tied up", "not on", "no good", "stuck", "hooked", "covered", "hidden", "buried", "dead against", "out",
               "unavailable", "too thin", "too risky", "risky", "obstructed", "not available", "not there", "off", "locked up",
               "no longer on", "frozen up", "gone", "clustered", "trouble")  # fmt: skip
OFF_BEFORE = (
    rf"(?:not|can not {_SHOOT_NOT}|not {_SHOOT_NOT}|not like|not have an? (?:\S+ )?(?:shot|look|line) (?:on|at|to)) {SMALL}",
    rf"(?:instead of|rather than|better than|than|forget(?: about)?|skip|skipping|pass on|passing on|pass up|over|ahead of|before) {SMALL}",
    rf"no (?:direct )?(?:shot|line|look|way) (?:on|at|to) {SMALL}",
    rf"(?:blocked|hooked|snookered|nothing|stuck) on {SMALL}",
    rf"(?:tied up with|touching|frozen to|stuck (?:to|behind)|clustered with|kissing|leaning on) {SMALL}",
    rf"(?:looked at|looks? like|(?:would|might) (?:think|expect)|obvious (?:shot|ball|choice) is|tempting|could have played|would have liked) {SMALL}",
)
OFF_AFTER = (
    rf"(?: \S+)? (?:is|was|being|looks|are|stays|seems) (?:all |still |completely |a bit |too |totally |just )*{_SHUT}(?!\S)",
    r" (?:gone|blocked|tied up|stuck|covered|hidden|buried|hooked|not on|no good)(?= [.,;]|$| so| and| up| by| behind)",
    r" (?:does|will|can|do|is) not (?:go|pass|fit|drop|on|work|get through|reach)",
    r"(?: ,)? but (?:it |that )?(?:\S+ ){0,2}not (?:pass|go|fit|drop|work)",
    r" will not", r" has no pocket", r" has nowhere to go",
)  # fmt: skip
STRUCK_BEFORE = (
    rf"(?:smack|smacks|bump|bumps|crash|crashes|run|runs|plough|plow|carom|caroms|glance|glances|slam|bounce|bounces|bust|break|breaks|knock|open|opens) (?:in to|into|off|off of|up|out|apart) {SMALL}{BALLS_LISTED}",
)
"""Balls that the cue ball is to run into after the called one."""
LANDMARK_BEFORE = (
    rf"(?:behind|below|above|past|between|beside|next to|beyond|around|underneath|under|near|by|inside|outside|between {B} and) {SMALL}",
)

ROLES: tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...] = (
    ("alone", ALONE_BEFORE[2:], ALONE_AFTER[2:]),
    ("break", BREAK_BEFORE, ()), ("key", KEY_BEFORE, ()), ("insurance", INSURANCE_BEFORE, ()),
    ("break", (), BREAK_AFTER), ("key", (), KEY_AFTER), ("insurance", (), INSURANCE_AFTER),
    ("alone", ALONE_BEFORE, ALONE_AFTER), ("stays", (), STAYS_AFTER),
    ("off", OFF_BEFORE, OFF_AFTER),
    ("struck", STRUCK_BEFORE, ()),
    ("landmark", LANDMARK_BEFORE, ()),
)  # fmt: skip
"""Role, words before, words after; the first that fits is taken."""
KEPT = ("break", "key", "insurance")
"""Roles of balls that are kept for later: such a ball may be told to be left alone besides."""

# --- the next ball

_ON = "(?:on|on to|at|to|toward|upon|with)"
_GOOD = one_of("get", "gets", "getting", "be", "been", "am", "are", "is", "good", "nice", "perfect", "fine", "straight", "right",
               "shape", "shaped", "position", "angle", "line", "lined up", "look", "looks", "set up", "shot", "sits", "ready",
               "where", "there", "here", "and", "well", "window", "view", "stay", "leaves me", "leave me", "leave")  # fmt: skip
_MOVE = one_of(r"rails_\S+", r"rail_\S+", "rail", "cue", "table", "work", "works", "way", "come", "comes", "back", "around",
               "over", "across", "up", "down", "lead", "leads", "on", "move", "moves", "moving", "flow", "travel", "go", "goes",
               "out", "bring", "brings", "draw", "float", "drift", "it", "me", "us", r"stroke_\S+", r"place_\S+", "land",
               "landing", "arrive", "fall", "play", "plays")  # fmt: skip
_THEN = one_of("next", "afterwards", "after that", "after this", "following", "then", "next up", "next one", "next ball", "next shot",
               "from there", "later", "and on to", "on to")  # fmt: skip
_THEN_MORE = one_of("is", "will be", "comes", "come", "comes up", ",", ":", "i", "we", "you", "it is", "there is", "can", "have",
                    "has", "got", "get", "play", "shoot", "take", "go", "to", "on", "in", "am", "with", "the", "for", "want", "one",
                    "ball", "shot", "do", "target", "will", "should", "be", "up", "like", "need", "would", "that")  # fmt: skip
_LEAVES = (
    "(?:leave|leaves|leaving|left with|left|sets? up|setting up|opens? up|opening|gives?|giving|brings? up|gets? me|gets? us|"
    "gets? you|puts? me on|bringing up|leads? to|shape|position|yields|offers|faces?|facing|reach|reaches|reaching|sees?|"
    "seeing|line up|lines up|set me up for|target)"
)
_LEAVES_MORE = (
    "(?:me |us |you |myself |yourself |with |an? |angle |on |for |position |shape |open |up |the player |nicely |over |to |"
    "shot |look |at |good |easy |nice |straight |natural |short |long )*(?:the )?"
)
NEXT_BEFORE = (
    rf"(?:for|ahead to|ready for|set for|->|next to come is) {SMALL}",
    "->(?: for)? ",
    rf"(?:shape|position|angle|route|path)(?: (?!ball_|pocket_|[.;!?])\S+){{0,6}} (?:on|for|on to|to) {SMALL}",
    rf"(?:and|so|then|,) there is {SMALL}",
    rf"from (?:the )?{B} to {SMALL}",
    rf"(?:and|,|then|so) (?:i|we|you) (?:am |are |will be )?(?:looking at|look at|eyeing|eye|staring at|facing) {SMALL}",
    rf"(?:cue|cue_ball|place_\S+)(?: (?!ball_|[.;!?])\S+){{0,6}} (?:looking (?:right |straight )?at|facing|eyeing|staring at) {SMALL}",
    rf"(?:{_GOOD}|{_MOVE}) (?:(?:up|in|nicely|well|good|perfectly|straight|back|right|left) )*{_ON} {SMALL}",
    rf"{_THEN}(?: {_THEN_MORE})* {SMALL}",
    rf"{_LEAVES} {_LEAVES_MORE}",
    rf"(?:so|and|then)(?: that)? (?:i|we|you|she|he) (?:can|could|have|has|am|are|get|will|may|might|see)(?: \S+){{0,4}} {SMALL}",
    rf"(?:i|we|you|have) (?:have got|have|got|get|can see|see|will have|am left with|face)(?: \S+){{0,3}} {SMALL}",
    rf"to (?:be able to )?(?:play|shoot|take|get|make|pot|reach|see|attack|cut|sink|tackle|pick off|pick up) {SMALL}",
    rf"(?:with|keeping|having) (?:an? )?(?:\S+ )?(?:angle|eye|look|view|shot) (?:on|at|to|for) {SMALL}",
)
NEXT_AFTER = (
    rf" (?:is |comes |goes |will be |would be |being |as |as the |as my |to be |shot |are )*"
    rf"(?:next|after(?: that| this| it)?(?! {B})|afterwards|to follow|comes up|coming up|follows|second|from there|later|in turn)"
    r"(?=$| [.,;!:)]| one| ball| shot| up)",
    r" (?:is |comes )?up next",
    r" (?:is|lies|sits|will be|should be|are) (?:then |right |just |already )*"
    r"(?:(?:there|open|on) (?:next|then|for me|after)|waiting|up next|my next|there(?= [.,;]|$)|perfect|easy)",
)

# --- the called ball

_SHOOT = one_of("play", "plays", "shoot", "shoots", "pot", "pots", "sink", "sinks", "take", "takes", "make", "makes", "cut", "bank",
                "banks", "double", "roll", "rolls", "rolling", "drop", "knock", "send", "slice", "tuck", "stroke", "fire", "pocket",
                "hit", "hits", "bury", "pop", "cinch", "slot", "put", "puts", "feather", "back cut", "ease", "stun", "thin", "smash",
                "spank", "drill", "drive", "tap", "nudge", "guide", "stuff", "lay", "call", "calling", "calls", "called",
                "choose", "pick", "clip", "kill", "get", "gets", "kick", "kiss", "carom", "clear", "clearing", "dunk")  # fmt: skip
_THIS_IS = one_of("going with", "go with", "want to make", "shot is", "shot on", "start with", "starts with", "start off with",
                  "begin with", "want", "for now", "first", "now", "so", "it is", "this is", "this one is", "that is", "we are on",
                  "i am on", "shot", "target is", "am after", "are after", "actually after", "is after", "object", "object ball",
                  "target", "looking at", "cross_corner on", "cross_side on", "cut on", "bank on", "combo", "combination",
                  "shooting is", r"stroke_\S+", r"speed_\S+", r"kick_\S+ (?:into|in to)", "kick at")  # fmt: skip
CALLED_BEFORE = (
    rf"(?:{_SHOOT}|{_THIS_IS}) {SMALL}",
    rf"(?:go|going|aim|opt|try|trying|went) (?:for|at|in to|into) {SMALL}",
    rf"(?:cut|bank|kick|english|side_\S+|hit|tip|tips|cross_corner|cross_side|back cut|on|rel_\S+|stroke_\S+|speed_\S+|fall back|settle) (?:on|at|for) {SMALL}",
    r"kick_\S+ (?:into |in to |at )?(?:the )?",
)  # fmt: skip
POCKET_FOR = (r"(?:^|[.;!?:] )(?:the |in the |into the )?pocket_\S+ for (?:the )?",)
"""'Foot-right corner for the thirteen': a pocket that opens the sentence is the called ball's."""
STROKE_ON = (r"stroke_\S+ on (?:the )?",)
"""'Draw on the six': the called ball, where none was named before it."""
CALLED_AFTER = (
    r" (?:goes|is on|drops|passes|falls|hangs|is hanging|is open|is there|is the shot|is my shot|is the ball|is the one|is the play|first(?! [a-z])|"
    r"is makeable|can go|will go|is good|is straight|does go|is better|is the target)",
    r" (?:cross_side|cross_corner|bank_\S+|cross|straight|in the|off bank_\S+)",
)  # fmt: skip
