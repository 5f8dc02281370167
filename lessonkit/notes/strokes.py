"""Strokes: what the cue ball's spin along the line of the shot is to do.

Tags `stroke_draw` and the like, and `weak_stop` for words that name a stroke only where nothing else does
("hold it there"). Denied words ("don't draw it") become `denied`.
"""

from __future__ import annotations

from lessonkit.notes.words import Phrase, one_of

_IT = r"(?:it|this|her|him|whitey|the cue|cue|the rock|that|this one|the thing)"
_NOT_PLACE = r"(?! (?:rail|rail_\S+|of|pocket|pocket_\S+|end|half|place_\S+|corner|left corner|right corner|side|percentage|shelf|cushion)(?!\S))"
_FORCE = r"(?:force|forced|power|powered|strong|heavy|big|massive|max|maximum|extreme|forceful|loaded)"

_PHRASES: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "stroke_force-follow",
        (
            rf"{_FORCE} (?:follow|top spin|top)",
            r"force (?:the|my|it with) follow",
            r"follow with (?:force|power)",
            r"(?:lots|loads|tons|a ton|plenty|a lot) of (?:top spin|top|follow)",
            r"forc(?:e|ing) (?:it|the cue|cue) (?:forward|through)",
            r"(?:drive|plow|plough|power|blast|hammer) (?:the cue |it |cue )?(?:forward )?through",
            r"top spin with (?:power|force)",
        ),
    ),
    (
        "stroke_stop",
        (
            rf"stop {_IT}(?: (?:dead|cold|there|right there|short|still|on the spot|in its tracks|where it is))*(?! (?:place_|near|by the|at the|close))",
            rf"(?:stop|stick|freeze|nail|plant|pin|kill|deaden|park|anchor|stun) {_IT} (?:dead|cold|right there|there|in its tracks|stone dead|stiff)",
            r"(?:dead )?stop (?:shot|stroke|ball)",
            r"dead stop",
            r"(?:stops?|kill|stick|pin) (?:stone )?(?:dead|cold)",
            r"dead (?:in its tracks|on the spot)",
            rf"(?:stick|freeze|kill|nail) {_IT}(?! (?:near|by|place_|off|after|(?:on|with) (?:the )?rail))",
            r"(?:kill|stick|stop) shot",
            r"a stop",
            r"just stop",
            r"with a stop",
            r"(?:cue|it|whitey) (?:just )?stops(?= [.,;:!]|$| there| where| for)",
            r"stop(?= [.,;:!/]|$)(?! place_)",
            r"stop(?: and| ,)? for(?= ball_)",
            r"(?:does not|do not|not let it|never|not|without) (?:let (?:it|the cue|cue) )?(?:move|moves|moving|budge|roll|drift|travel)(?: (?:it|cue|the cue|an inch|at all))*",
            r"(?:replaces?|takes?|taking|replacing) (?:the object ball|its place|the place of ball_\d+|ball_\d+ place|its spot|the spot of ball_\d+)",
            r"(?:let |have |make |leave )?(?:it|cue|the cue|her|whitey) (?:stand|stands|stay|stays|sit|sits|remain|remains) (?:dead |perfectly |completely )?(?:still|motionless|put)",
            r"(?:stay|stays|sit|sits|stop|stops|remain|remains|stand|stands) (?:exactly |right |just |dead )?(?:where it (?:hits|is|lies|strikes|was|hit|makes contact|met|meets)\S*|in place|on (?:the|that|its) spot|at (?:the )?(?:point of )?contact)",
            r"(?:cue|it|whitey) (?:goes|go|going) nowhere",
            r"on a dime",
            r"stop(?= with| soft| firm| medium| hard)",
            r"stop[ -]?shot it",
        ),
    ),
    (
        "stroke_stun",
        (
            r"stun(?: run)?(?: (?:through|across|over|it|shot|stroke|run through|follow|away|off|out|forward|back|sideways))*",
            r"stuns",
            r"stunned",
            r"(?:along|down|on|take|takes|follow|follows|ride|rides|stay on|stays on) the tangent(?: line)?",
            r"tangent line",
            r"slide (?:it|the cue|cue|her|whitey)(?: (?:across|over|sideways))?",
            r"slid(?:e|es|ing) (?:across|sideways|over)",
            r"skid (?:it|the cue|cue)",
            r"no (?:follow|top) (?:and|or|,) no draw",
            r"square off",
            r"90 degrees?",
            r"at a right angle",
            r"right angle",
        ),
    ),
    (
        "stroke_draw",
        (
            r"(?:power |force |deep |long |short |big |little |soft |light |heavy )?(?:draw|screw|back spin|screwback)(?: (?:shot|stroke|back|it|her|whitey|the cue|cue|off|it back))*",
            r"(?:draws|screws)(?: (?:it|back|the cue|cue))*",
            r"drawn? back",
            r"(?:back|backs) (?:it |her |whitey |the cue |cue )up",
            r"backs? up(?= [.,;]|$| a | half| \d| to | for )",
            rf"(?:hit|strike|cue|keep|tip|go|down|nice and|way|very|aim)?(?: )?low{_NOT_PLACE}(?! (?:third|speed|risk|and slow))",
            r"(?:a (?:little|bit|touch|hair|lot) (?:of )?|some |with |using |use |tips_\S+ |lots of |plenty of )(?:bottom|bite|juice)"
            + _NOT_PLACE,
            r"(?<!the )bottom(?= [.,;:/]|$| with| and| in| on| to)",
            r"below (?:the )?(?:centre|middle)(?! of the table)(?! line)",
            r"underneath (?:it|the cue|cue)",
            r"bottom (?:spin|english)",
            r"reverse spin",
            r"pull (?:cue|it|the cue|her|whitey)",
            r"low ball",
            r"under (?:the )?centre",
        ),
    ),
    (
        "stroke_follow",
        (
            r"(?:follow|top spin|run through|runs through|roll through|rolls through)(?: (?:shot|stroke|it|through|forward|on))*",
            r"follows(?: (?:it|through))*",
            rf"(?:hit|strike|cue|keep|tip|go|nice and|way|very|aim)?(?: )?high{_NOT_PLACE}(?! (?:third|speed|five|percentage|risk))",
            r"(?:a (?:little|bit|touch|hair|lot) (?:of )?|some |with |using |use |tips_\S+ )top" + _NOT_PLACE,
            r"(?<!the )top(?= [.,;:/]|$| with| and| in| on)",
            r"top (?:spin|english)",
            r"above (?:the )?(?:centre|middle)(?! of the table)(?! line)",
            r"(?:let|lets|letting|have|making) (?:it|the cue|cue|her|whitey|the rock) (?:\w+ )?(?:roll|run|drift|go|creep|trickle|wander) (?:\w+ )?(?:forward|on|through|up|out|down)",
            r"(?:roll|rolls|rolling|run|runs|drift|drifts|creep|creeps|scoot|scoots|nudge|trickle|trickles|bumps?|wander|wanders|push|pushes|move|moves|comes?|go|goes) (?:it |the cue |cue )?(?:\w+ )?forward",
            r"natural roll(?:ing cue)?",
            r"roll(?= [.,;:!/]|$)",
            r"roll(?:ing)? (?:that|this|it|the thing|that one) (?:in|down|up)",
            r"rolling cue",
            r"rolling (?:it|ball)(?: in)?",
            r"rolling(?= ball_)",
            rf"roll {_IT}(?: (?:in|on|down|up|nice|softly|gently))*",
            r"roll(?= (?:ball_|the ball_))",
            r"(?:little|nice) roll",
            r"roll in",
            r"(?:go|comes?|run|runs) (?:on )?through",
            r"high ball",
        ),
    ),
)
_BACK = r"(?:suck|rip|pull|zip|spin|snatch|yank|drag|tug|reel|jerk|snap|scoot|suction|whip|haul|wheel) (?:it |her |him |whitey |the cue |cue |this |the ball )?(?:straight |right |all the way )?back(?:ward|wards)?"
_WEAK_BACK = r"(?:bring|come|draw|get|take|fetch) (?:it |her |him |whitey |the cue |cue )?(?:straight |right )?back(?:ward|wards)?(?= (?:toward|to|for|a|half|one|\d|across|up|down|[.,;])(?: |$)|$)"
_WEAK: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "weak_stop",
        (
            r"(?:stay|stays|sit|sits|hold|holds|dies?|stop|stops) (?:right )?(?:there|put|where (?:it|i) (?:is|am|lie|lies)|dead|still|here|in place)",
            r"die(?:s)? there",
            r"(?:hold|holding) (?:it|her|whitey|the cue|cue)(?: (?:right )?(?:there|still|here|up))?(?= [.,;:]|$| for| so)",
            r"hold (?:its|my) ground",
            r"kill (?:the )?(?:speed|cue|it)(?! (?:off|after|on|with)(?!\S))",
            r"(?:without|not) moving",
            r"dead ball",
        ),
    ),
)
_DENY_GAP = one_of("too", "to", "use", "any", "want", "hit", "it", "the", "a", "need", "that", "going", "so", "very",
                   "much", "try", "with", "play", "put", "be", "let", "get", "have", "this", "no", "want to", "one", "tips_1", "cue",
                   "going to", "quite", "really", "or", "and", "over")  # fmt: skip


def rewrite_back(phrase: Phrase) -> None:
    """'rip it back', before places take 'back to the head rail'; 'bring it back' is a draw where no rail is met."""
    phrase.replace(_BACK, "stroke_draw")
    phrase.replace(_WEAK_BACK, "weak_draw")


def rewrite_force(phrase: Phrase) -> None:
    """Force follow first: its words for force would else be read as speed."""
    tag, patterns = _PHRASES[0]
    for pattern in patterns:
        phrase.replace(pattern, tag)


def rewrite(phrase: Phrase) -> None:
    """Words of stroke into tags; places, side and balls must be tags already."""
    for tag, patterns in _PHRASES[1:]:
        for pattern in patterns:
            phrase.replace(pattern.strip(), tag)
    for tag, patterns in _WEAK:
        for pattern in patterns:
            phrase.replace(pattern, tag)


def deny(phrase: Phrase) -> None:
    """'not ... draw', 'no follow', 'without left': the word is taken back."""
    phrase.replace(
        r"(?:left|leave|leaves|leaving|sell|sold|give|gives|gave) (?:him|her|the|you|my opponent|the opponent|the other player) nothing",
        "safe_leave",
    )
    thing = r"(?:stroke|weak|speed|side|rel|tips)_\S+"
    phrase.replace(
        rf"(?:not|no|without|never|avoid|nothing|instead of|rather than)(?: {_DENY_GAP}){{0,5}} {thing}(?: (?:or|nor|and no) {thing})*",
        "denied",
    )
