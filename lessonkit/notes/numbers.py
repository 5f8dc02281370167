"""Numbers in words and figures, lengths, and places given in figures."""

from __future__ import annotations

import re

from lessonkit.notes.words import Phrase

_WORDS = {
    "two": 2, "deuce": 2, "three": 3, "trey": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8,
    "nine": 9, "ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15,
    "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19, "twenty": 20, "thirty": 30,
}  # fmt: skip
NUMBER = r"(?:\d{1,2}|one)"
"""A small whole number; 'one' stays a word, for it is as often a pronoun."""
AMOUNT = r"(?:half an?|half|an? half|1 half|one half|½|a quarter(?: of an?)?|quarter|¼|¾|(?:an? )?3 quarters?(?: of an?)?|an? full|an? single|an?|full|one|\d+(?:\.\d+)?)"
"""How much of a unit: 'half a', 'a quarter', 'one', '1.5'."""
MM_OF = {"mm": 1.0, "cm": 10.0, "inch": 25.4, "foot_length": 304.8, "metre": 1000.0, "ball": 57.15}


def rewrite(phrase: Phrase) -> None:
    """Number words into digits; coordinates into `xy_X_Y`; diamonds stay for places.py."""
    for word, value in _WORDS.items():
        phrase.replace(word, str(value))
    # what speech recognition writes for a number right before "ball"
    for heard, value in {"for": 4, "fore": 4, "to": 2, "too": 2, "ate": 8, "won": 1}.items():
        phrase.replace(rf"the {heard} ball", f"the {value} ball")
    phrase.replace(r"follow up(?= (?:ball|shot|is|:|with|on))", "next")
    phrase.replace(r"([1-9]) / ([2-9])(?= (?:of an? )?tips?)", lambda m: f"{int(m[1]) / int(m[2]):g}")
    phrase.replace(
        r"(?:3|½|half) quarters? (?:of )?(?:pace|power|speed|strength)|3 / 4 (?:pace|power|speed)",
        "speed_firm",
    )
    phrase.replace(r"(?:half|1 / 2|½) (?:pace|power|speed|strength)", "speed_medium")
    phrase.replace(
        r"(?<!centre )line of the (head|foot)|(head|foot) line", lambda m: f"{m[1] or m[2]} string"
    )
    figure = r"(\d+(?:\.\d+)?)"
    phrase.replace(
        rf"[(\[] (?:(?:to|at|x|=) )*{figure} ?(?:mm )?, (?:y )?(?:= )?{figure} (?:mm )?[)\]]", r"xy_\1_\2"
    )
    phrase.replace(r"[(\[] (?:to |at )?(\d{1,4}),(\d{1,4}) (?:mm )?[)\]]", r"xy_\1_\2")
    phrase.replace(r"(?:to|at) (\d{2,4}(?:\.\d+)?) , (\d{2,4}(?:\.\d+)?)(?: mm)?", r"xy_\1_\2")
    phrase.replace(r"diamonds? (\d(?:\.\d+)?) (?:, |and )?(\d(?:\.\d+)?)", r"diamonds_\1_\2")
    phrase.replace(r"(?:an? )?foot(?= (?:off|from|out|away|short))", "1 foot_length")


def amount(words: str) -> float:
    """The number that an AMOUNT stands for."""
    words = words.strip()
    if "3 quarter" in words or words == "¾":
        return 0.75
    if "quarter" in words or words == "¼":
        return 0.25
    if "half" in words or words == "½":
        return 0.5
    digits = re.search(r"\d+(?:\.\d+)?", words)
    return float(digits.group()) if digits else 1.0


def whole(words: str) -> int:
    """The number that a NUMBER stands for."""
    return 1 if words == "one" else int(words)
