"""Dictated notes: misheard words, clauses without stops, what happened told beside the plan, and sights of a rail."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.errors import NotesError
from lessonkit.model import Table
from lessonkit.notes import remarks
from lessonkit.notes.reading import read_notes
from lessonkit.notes.sentences import understand
from lessonkit.notes.times import looks_like_time, time_at_start

NINE = Table("9ft", 2540.0, 1270.0)


@pytest.mark.parametrize(
    ("heard", "meant"),
    [
        ("the for ball in the foot left corner", "the four ball in the foot left corner"),
        ("to ball head right", "two ball head right"),
        ("i'll take the ate into the foot right", "i'll take the eight into the foot right"),
        ("plan bee the six in the foot left", "plan b the six in the foot left"),
        ("five in the foot left and the nine is my brake ball", "five in the foot left and the nine is my break ball"),
        ("five foot write corner stunt it", "five foot right corner stun it"),
        ("the three in the foot left and the six is the keyboard", "the three in the foot left and the six is the key ball"),
        ("the nine in the foot left off to rails with draw", "the nine in the foot left off two rails with draw"),
    ],
)  # fmt: skip
def test_a_misheard_word_means_what_was_said(heard: str, meant: str) -> None:
    """The slip and the word it stands for give the same intent."""
    assert understand(heard, NINE) == understand(meant, NINE)


@pytest.mark.parametrize(
    "said",
    [
        "shape for ball three",
        "next to ball 5 in hand",
        "leave it for ball in hand",
        "the one I want to ball up",
    ],
)
def test_a_small_word_before_ball_may_be_just_that(said: str) -> None:
    """'For ball three' is not the four."""
    assert understand(said, NINE).ball not in (2, 4)


@pytest.mark.parametrize(
    ("said", "left"),
    [
        ("the five in the side with draw and i hit it way too fat", "the five in the side with draw"),
        ("the nine in the side, it ran all the way to the head rail", "the nine in the side,"),
        ("the eleven in the head-left, too strong", "the eleven in the head-left,"),
        ("it came back too far, meant to die in the middle", "meant to die in the middle"),
    ],
)
def test_what_happened_goes_without_full_stops_too(said: str, left: str) -> None:
    """Clauses after the fact are taken out of a run-on sentence, the plan beside them stays."""
    assert remarks.without(said).strip() == left


@pytest.mark.parametrize(
    "said", ["do not hit it too hard", "not too soft and not too hard", "draw it without going too fast"]
)
def test_a_warning_is_no_verdict(said: str) -> None:
    """'Not too hard' is what was meant."""
    assert remarks.without(said) == said


@given(st.text(alphabet="itranwentheycueball ,.tooandbutmissed'’\n", max_size=120))
def test_remarks_keep_every_place_of_the_text(text: str) -> None:
    """Whatever is blanked, the text keeps its length and what is left stands where it stood."""
    out = remarks.without(text)
    assert len(out) == len(text)
    assert all(b in (a, " ") for a, b in zip(text, out, strict=True))


def test_a_table_of_no_known_size_is_refused(tmp_path: Path) -> None:
    """'12 ft' would be passed over else, and the table taken for another; words without a figure are nobody's size."""
    page = tmp_path / "notes.txt"
    page.write_text("table: 12 ft\n0:05 Nine in the foot-left.\n")
    with pytest.raises(NotesError, match=r"notes.txt, line 1: 'table: 12 ft' is no size"):
        read_notes(page)
    page.write_text("table: the one by the window\n0:05 Nine in the foot-left.\n")
    assert read_notes(page).head.table == "the one by the window"


@pytest.mark.parametrize(
    ("words", "x", "y"),
    [
        ("by the second diamond on the head rail", 100.0, 635.0),
        ("at the first diamond from the left on the foot rail", 2440.0, 952.5),
        ("near the third diamond up from the foot on the left rail", 1587.5, 1170.0),
        ("comes back, right rail at the foot end", 2116.7, 100.0),
        ("to the right rail, second diamond", 1270.0, 100.0),  # from which end is not said: the rail only
    ],
)
def test_a_sight_of_a_rail_is_a_place(words: str, x: float, y: float) -> None:
    """Three sights stand on a short rail and seven along a long one (WPA, equipment specifications)."""
    landing = understand(f"Nine in the foot-left, cue ball {words}.", NINE).landing
    assert landing is not None and landing.point == pytest.approx((x, y), abs=1.0)


@pytest.mark.parametrize(
    ("line", "t_s", "rest"),
    [
        ("0:20: five in the side", 20.0, "five in the side"),
        ("at 0:31 the six", 31.0, "the six"),
        ("@2:00 eleven", 120.0, "eleven"),
        ("1m05s eight", 65.0, "eight"),
        ("1 min 5 sec: eight", 65.0, "eight"),
        ("95s ten", 95.0, "ten"),
        ("2:05-2:15 fourteen", 125.0, "fourteen"),
        ("0:12 - ten", 12.0, "ten"),
    ],
)
def test_times_in_many_ways(line: str, t_s: float, rest: str) -> None:
    """As people start a line of notes."""
    assert time_at_start(line) == (t_s, rest)


@pytest.mark.parametrize(
    "line", ["3 seconds later it drops", "7 side, then 5", "0.25 of a ball", "2 stop", "6 s"]
)
def test_what_is_no_time(line: str) -> None:
    """A line that goes on with a note."""
    assert time_at_start(line) is None and not looks_like_time(line)


@pytest.mark.parametrize("line", ["1.25 four in the side", "0:75 nine", "0:5 nine", "1:12pm two"])
def test_what_looks_like_a_time_and_is_none(line: str) -> None:
    """It is refused, instead of being joined to the note before."""
    assert time_at_start(line) is None and looks_like_time(line)


@pytest.mark.parametrize(
    ("said", "ball", "next_ball"),
    [
        ("Missed the nine. It was meant to be a soft follow into the foot-left for the three.", 9, 3),
        ("Overcut the 4, too bad. Draw was right, for the 7.", 4, 7),
        ("Missed the nine.", None, None),
        ("9 foot-left and I kicked the 3 off one rail by accident", 9, None),
        ("6 kissed off the 2, foot-right, firm", 6, None),
    ],
)
def test_a_remark_names_the_ball_of_the_plan_beside_it(
    said: str, ball: int | None, next_ball: int | None
) -> None:
    """What was missed was called, where a plan is told; what came about by accident was not."""
    intent = understand(said, NINE)
    assert (intent.ball, intent.next_ball) == (ball, next_ball)
