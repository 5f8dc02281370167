"""Speed in four steps: soft, medium, firm, hard. The grouping of words is common practice, no source."""

from __future__ import annotations

from lessonkit.notes.words import Phrase

_NOT_SHOT = r"(?! (?:to|shot|cut|angle|one|one to|pot|ball|lie|leave|work|against|luck|enough|as|side|left|right spin)(?!\S))"
_WORDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "speed_medium",
        (
            r"(?:medium|moderate|middle|normal|natural|regular|average|middling|mid|ordinary|usual|standard|comfortable|half|steady|even|smooth)(?: (?:speed|pace|weight|power|stroke|hit|strength|force|tempo))",
            r"medium",
            r"moderately",
            r"half power",
            r"halfway power",
            r"(?:not|neither) (?:too )?(?:hard|firm|fast) ?,? (?:and )?(?:not|nor|or)(?: too)? (?:soft|slow|easy)",
            r"(?:not|neither) (?:too )?(?:soft|slow|easy) ?,? (?:and )?(?:not|nor|or)(?: too)? (?:hard|firm|fast)",
            r"50 (?:%|percent)",
        ),
    ),
    (
        "speed_hard",
        (
            r"(?:as )?hard as (?:you|i|we) (?:like|can|dare|want)",
            rf"(?:very |really |as |pretty |good and |nice and |hit )?hard(?: (?:stroke|speed|hit|as (?:you|i) can))?{_NOT_SHOT}",
            r"with authority",
            r"(?:just )?send it(?= [.,;!]|$)",
            r"with (?:much |a lot of )?force",
            r"(?:let|lets|letting) (?:it|her|him|them|cue|the cue|that|loose|the stroke|my arm)?(?: )?(?:fly|rip|go)",
            r"like (?:a|the|my) break(?: shot)?",
            r"fire (?:away|at)(?: at)?",
            r"let loose",
            r"(?:let|letting|lets) (?:the|my|your) (?:stroke|arm|cue) (?:out|go|fly)",
            r"with (?:everything|all) (?:i|you|we)(?: have)? (?:got|have)",
            r"let it out",
            r"smash(?:es|ed|ing)?(?: it)?",
            r"slam(?:s|med)?(?: it)?",
            r"blast(?:s|ed)?(?: it)?",
            r"belt(?:s)?(?: it)?",
            r"crush(?: it)?",
            r"crack it",
            r"crank it",
            r"hammer(?: it)?",
            r"whack(?: it)?",
            r"wallop(?: it)?",
            r"rocket(?: it)?",
            r"drill(?: it)?",
            r"rifle(?: it)?",
            r"thump(?: it)?",
            r"pound(?: it)?",
            r"lash(?: it)?",
            r"bang(?: it)?",
            r"cannonball",
            r"fire(?: it)?(?= in| ball)",
            r"unload(?: on it)?",
            r"spank(?: it)?",
            r"(?:full|maximum|max|lots of|plenty of|all the|big|with|at|real|serious) (?:power|force|steam|break speed)",
            r"power(?: (?:stroke|shot))?",
            r"powerful(?:ly)?",
            r"break speed",
            r"full (?:blooded|bore|tilt|speed|pace|throttle|pelt)",
            r"flat out",
            r"fast",
            r"quick(?:ly)?",
            r"100 (?:%|percent)",
            r"90 (?:%|percent)",
            r"give it (?:everything|the beans|some welly|a whack|a ride|both barrels|all i have got|stick)",
            r"at pace",
            r"juiced",
            r"loads of pace",
            r"really hit it",
            r"go after it",
            r"with venom",
            r"big stroke",
        ),
    ),
    (
        "speed_firm",
        (
            r"(?:very |nice and |fairly |pretty |quite |good and )?firm(?:ly|ish)?(?: (?:stroke|speed|hit|pace|weight))?",
            r"(?:with|plenty of|good|some|a bit of|decent|a good) (?:pace|speed|zip|snap|punch|conviction|purpose|pop|oomph)",
            r"crisp(?:ly)?",
            r"brisk(?:ly)?",
            r"solid(?:ly)?(?: (?:stroke|hit|pace|speed))?",
            r"punch(?:es|ed|y)?(?: (?:it|stroke|shot|the))?",
            r"snappy",
            r"pop(?: it)?",
            r"with a pop",
            r"a good stroke",
            r"good stroke",
            r"stroke it (?:well|good)",
            r"strong(?:ly)?(?: (?:stroke|hit|pace))?",
            r"jab(?: it)?",
            r"confident(?:ly)?(?: (?:stroke|hit|pace))?",
            r"positive(?:ly)?(?: (?:stroke|hit|pace))?",
            r"assertive(?:ly)?",
            r"decisive(?:ly)?",
            r"stout(?:ly)?",
            r"sturdy",
            r"three quarter (?:power|pace|speed)",
            r"rap it",
            r"75 (?:%|percent)",
            r"lively",
        ),
    ),
    (
        "speed_soft",
        (
            r"(?:very |nice and |really |super |so |ever so |real |pretty |too )?(?:soft|softly|gentle|gently|slow|slowly|(?<!very )easy|lightly|tender|tenderly|delicate|delicately|quietly)(?: (?:stroke|speed|hit|pace|weight|roll|touch|and easy|and slow|as you like|as can be))?(?! (?:shot|one|pot|cut|out|money|ball|to see|game|peasy|enough|ball_\d+)(?!\S))",
            r"(?:not|without) (?:too )?(?:much|a lot of|any real|any) (?:force|power|pace|speed|muscle)",
            r"nice and easy",
            r"take it easy",
            r"(?:lag|pocket|dead|drop|dying|rolling|crawl|baby|feather|safety|drip|whisper|touch|low|minimum|minimal|little|walking|snail) (?:speed|weight|pace|power)",
            r"(?:at |with )?(?:the )?pace of a lag",
            r"lag(?: it)?",
            r"with (?:very |a )?little (?:pace|speed|power|force|strength)",
            r"feather(?:s)?(?: it)?",
            r"trickle(?:s)?(?: it)?(?: in)?",
            r"dribble(?: it)?(?: in)?",
            r"creep(?:s)?(?: it)?(?: in)?",
            r"nudge(?: it)?",
            r"tickle(?: it)?",
            r"baby(?: (?:it|stroke|hit))?",
            r"tap(?: it)?",
            r"bunt(?: it)?",
            r"a whisper(?: of speed)?",
            r"light(?= [,.;]|$| touch| stroke| hit)(?: (?:touch|stroke|hit))?",
            r"drop it in",
            r"ease(?: it| her| this| that)?(?: in)?",
            r"coax(?: it)?",
            r"caress(?: it)?",
            r"float(?: it)? in",
            r"barely (?:hit|touch|moving|reach)\w*",
            r"just (?:enough to )?(?:get|gets|reach|reaches|fall|falls) (?:there|in|to the pocket|the pocket)",
            r"roll(?:ing)? it in",
            r"with feeling",
            r"lazy",
            r"delicacy",
            r"dead weight",
            r"25 (?:%|percent)",
            r"hardly any (?:pace|speed|power)",
            r"pocket (?:weight|speed)",
        ),
    ),
)


def rewrite(phrase: Phrase) -> None:
    """Words of speed into `speed_WORD`; to be run before the strokes take 'roll it in' and 'power draw'."""
    # "speed normal", "force middle": the adjective after its noun
    phrase.replace(
        r"(?:speed|pace|force|weight) (?:is |will be |: |= )?(?P<how>very soft|soft|slow|low|small|normal|medium|middle|average|high|big|hard|strong|firm|fast)(?= (?:[.,;:!)]|and|for|with|to|so)(?: |$)|$)",
        lambda m: {
            "low": "soft",
            "small": "soft",
            "high": "hard",
            "big": "hard",
            "normal": "medium",
            "middle": "medium",
            "average": "medium",
        }.get(m["how"], m["how"]),
    )
    # "trickles a foot or so forward": natural roll, and that one says how soft in the word itself
    phrase.replace(
        r"(?P<how>trickle|creep|dribble|crawl|nudge|drift|roll)s?(?: (?:a|an|\d|half|just|only|foot|foot_length|inch|diamond|ball|few|couple|or|so|of|bit|little)){1,6} forward",
        lambda m: "rolling it" if m["how"] in ("drift", "roll") else "speed_soft rolling it",
    )
    phrase.replace(
        r"roll up (?:on|to|on to|against|tight to)(?= (?:the )?ball_)", "rolling it , speed_soft hit"
    )
    phrase.replace(r"roll up(?= [.,;:]|$| behind)", "rolling it , speed_soft")
    # "power draw", "power follow": the stroke's own word, and at the same time a hard one
    phrase.replace(r"power (?=draw|screw|follow)", "power")
    phrase.replace(r"(?:nice |very |a )*(?:soft|slow|easy|gentle|lazy) roll(?! it)", "speed_soft rolling it")
    phrase.replace(r"roll(?:ing)? (?:it|this|this one|her) in", "speed_soft rolling it")
    phrase.replace(r"(?:power|powerful) (draw|screw)", r"speed_hard \1")
    for tag, patterns in _WORDS:
        for pattern in patterns:
            phrase.replace(pattern.strip(), tag)
