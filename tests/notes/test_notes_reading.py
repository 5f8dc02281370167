"""Reading notes files: plain text, SRT, WebVTT, and what a person may get wrong in them."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lessonkit.errors import NotesError
from lessonkit.model import Table
from lessonkit.notes import fields
from lessonkit.notes.reading import check_within, read_notes, table_of
from lessonkit.notes.report import describe
from lessonkit.notes.sentences import understand
from lessonkit.notes.times import format_time, parse_time

PLAIN = """\
# An evening at an invented club
Title: Two balls and a break
SERIES: Tuesday racks
number: 4
table: 8 ft
player: Nora

0:07 The nine in the foot-left corner,
soft draw with half a tip of left.
waypoints: (1200, 300) (900, 1100)
landing: 900, 1100
[1:02:03.5] - Stop shot, the #12 in the head-right.
replay
"""


def write(path: Path, text: str | bytes) -> Path:
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_a_plain_file_is_read(tmp_path: Path) -> None:
    """Head, times, prose over several lines, explicit lines, comments and blank lines."""
    notes = read_notes(write(tmp_path / "n.txt", PLAIN))
    assert notes.head.title == "Two balls and a break"
    assert (notes.head.series, notes.head.number, notes.head.table, notes.head.player) == (
        "Tuesday racks",
        "4",
        "8 ft",
        "Nora",
    )
    first, second = notes.notes
    assert (first.t_s, first.line, second.t_s, second.line) == (7.0, 8, 3723.5, 12)
    assert first.text == "The nine in the foot-left corner, soft draw with half a tip of left."
    i = first.intent
    assert (i.ball, i.pocket, i.stroke, i.side, i.side_tips) == (9, "foot-left", "draw", "left", 0.5)
    assert i.waypoints == ((1200.0, 300.0), (900.0, 1100.0))
    assert i.landing is not None
    assert i.landing.point == (900.0, 1100.0)
    assert i.landing.explicit
    assert (second.intent.ball, second.intent.stroke, second.intent.replay) == (12, "stop", True)


def test_the_table_of_the_head_places_the_words(tmp_path: Path) -> None:
    """'the foot spot' on an eight-foot table is at (1752.6, 584.2) (WPA rules of play 8.1: L x 3/4, on the long string)."""
    (note,) = read_notes(
        write(tmp_path / "n.txt", "table: 8 ft\n0:05 Nine in the foot-left, cue ball to the foot spot.")
    ).notes
    assert note.intent.landing is not None
    assert note.intent.landing.point == pytest.approx((1752.6, 584.2))


@pytest.mark.parametrize(
    ("words", "length"),
    [("9 ft", 2540.0), ("8-foot", 2336.8), ("nine foot", 2540.0), ("2540 x 1270 mm", 2540.0), ("seven-footer", 2032.0),
     ("the old one in the corner", None), ("", None), ("9", 2540.0)],
)  # fmt: skip
def test_sizes_of_the_head(words: str, length: float | None) -> None:
    """A size in the head's words, or none."""
    table = table_of(words)
    assert (table.length_mm if table else None) == length


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("bom", ["", "\ufeff"])
def test_line_ends_and_marks_do_not_matter(tmp_path: Path, ending: str, bom: str) -> None:
    """Files of every system say the same."""
    plain = read_notes(write(tmp_path / "a.txt", PLAIN))
    assert read_notes(write(tmp_path / "b.txt", bom + PLAIN.replace("\n", ending))) == plain


def test_old_windows_quotes_and_utf16_are_read(tmp_path: Path) -> None:
    """cp1252 and UTF-16 as old editors write them."""
    text = "0:07 The nine – foot-left, I’ll stop it."
    for encoding in ("cp1252", "utf-16"):
        (note,) = read_notes(write(tmp_path / f"{encoding}.txt", text.encode(encoding))).notes
        assert (note.intent.ball, note.intent.stroke) == (9, "stop")


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("", "empty"), ("  \n \n", "empty"), (b"\x00\x01\x02PNG\xff", "not a text file"),
        (bytes(range(128, 256)) * 4, "not a text file"), ("The nine in the side.", "has no times"),
        ("0:09 Nine.\n0:05 Ten.", "line 2: the time 0:05 comes after 0:09"),
        ("0:05 Nine.\n0:75 Ten.", "line 2: the time cannot be read"), ("0:05 Nine.\n1:2 Ten.", "line 2: the time cannot be read"),
        ("Hello there\n0:05 Nine.", "line 1: this stands before the first note"),
        ("0:05 Nine.\npocket: north", "line 2: 'pocket: north' should be one of head-right"),
        ("0:05 Nine.\nlanding: 5000, 100", "lies off the table"), ("0:05 Nine.\nball: 16", "line 2: 'ball: 16' should be one ball"),
        ("0:05 Nine.\nwaypoints: here and there", "line 2"), ("0:05 Nine.\nspeed: purple", "soft, medium, firm, hard"),
        ("0:05 Nine.\nrails: several", "number of cushions"), ("0:05 Nine.\ntips: lots", "number of tips"),
        ("0:05 Nine.\nreplay: perhaps", "yes or no"), ("title: nothing else", "has no times"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_named(tmp_path: Path, text: str | bytes, part: str) -> None:
    """One sentence with the file's name, and the line where there is one."""
    with pytest.raises(NotesError) as e:
        read_notes(write(tmp_path / "mine.txt", text))
    assert "mine.txt" in str(e.value)
    assert part in str(e.value)
    assert "\n" not in str(e.value)


def test_a_missing_file_and_a_folder_are_named(tmp_path: Path) -> None:
    """No file, or a folder in its place."""
    for path in (tmp_path / "none.txt", tmp_path):
        with pytest.raises(NotesError, match="cannot be read"):
            read_notes(path)


def test_times_past_the_end_are_named(tmp_path: Path) -> None:
    """The caller, who knows the footage, can have the times checked."""
    notes = read_notes(write(tmp_path / "n.txt", "0:05 Nine.\n1:10 Ten."))
    check_within(notes, 70.0, "n.txt")
    with pytest.raises(
        NotesError, match="line 2: the time 1:10 is past the end of the footage, which lasts 1:05"
    ):
        check_within(notes, 65.0, "n.txt")


def test_times_are_optional_where_asked(tmp_path: Path) -> None:
    """One note a line, explicit lines with the note above them."""
    notes = read_notes(
        write(tmp_path / "n.txt", "The nine in the foot-left.\nspeed: firm\n\nTen, side-right, stop.\n"),
        times_required=False,
    )
    assert [(n.t_s, n.intent.ball, n.intent.speed) for n in notes.notes] == [
        (None, 9, "firm"),
        (None, 10, None),
    ]


def test_a_sentence_with_a_colon_is_no_explicit_line(tmp_path: Path) -> None:
    """Notes in key words, one a line, stay notes of their own where times are optional."""
    text = "Ball: 9. Pocket: foot-left. Stroke: draw.\nBall: 3. Pocket: head-left. Stroke: stun. Rails: 0.\nKick: off the head rail into the five, foot-left.\n"
    notes = read_notes(write(tmp_path / "n.txt", text), times_required=False).notes
    assert [(n.intent.ball, n.intent.pocket, n.intent.stroke) for n in notes] == [
        (9, "foot-left", "draw"), (3, "head-left", "stun"), (5, "foot-left", None)
    ]  # fmt: skip
    assert notes[2].intent.rail_first == ("head",)


def test_explicit_lines_win_over_prose(tmp_path: Path) -> None:
    """Every kind of explicit line, each against prose that says otherwise."""
    text = """0:05 The nine in the foot-left, soft draw with left, for the two, off one rail.
ball: 10
pocket: head right
stroke: force follow
side: right, half a tip
speed: hard
rails: 3
next: 4
landing: diamonds 6 1
break ball: 14
key ball: the seven
insurance: 3
leave alone: 5, 6
bank: left
rail first: head, right
in hand
plan b: yes
"""
    (note,) = read_notes(write(tmp_path / "n.txt", text)).notes
    i = note.intent
    assert (i.ball, i.pocket, i.stroke, i.side, i.side_tips) == (
        10,
        "head-right",
        "force follow",
        "right",
        0.5,
    )
    assert (i.speed, i.rails, i.next_ball, i.break_ball, i.key_ball, i.insurance_ball) == (
        "hard",
        3,
        4,
        14,
        7,
        3,
    )
    assert (i.leave_alone, i.bank, i.rail_first, i.in_hand, i.plan_b) == (
        (5, 6),
        ("left",),
        ("head", "right"),
        True,
        True,
    )
    # diamonds: eighths of the length, quarters of the width: 6/8 of 2540, 1/4 of 1270
    assert i.landing is not None
    assert i.landing.point == pytest.approx((1905.0, 317.5))


@pytest.mark.parametrize("value", ["foot-left", "Foot Left", "left foot corner", "the foot left pocket"])
def test_pockets_of_explicit_lines(value: str) -> None:
    """A pocket in any order of its words."""
    assert fields.apply(understand("", TABLE), "pocket", value, TABLE).pocket == "foot-left"


TABLE = Table("9ft", 2540.0, 1270.0)
SRT = """1
00:00:07,000 --> 00:00:09,500
I play the <i>nine</i> in the

2
00:00:09,600 --> 00:00:12,000
foot-left corner, soft draw.
"""


def test_srt_and_webvtt_say_the_same(tmp_path: Path) -> None:
    """Both kinds of transcript give cues with their spans."""
    srt = read_notes(write(tmp_path / "a.srt", SRT)).notes
    vtt = read_notes(
        write(
            tmp_path / "a.vtt", "WEBVTT\n\n" + SRT.replace(",0", ".0").replace(",5", ".5").replace(",6", ".6")
        )
    ).notes
    assert [(n.t_s, n.end_s, n.text) for n in srt] == [
        (7.0, 9.5, "I play the nine in the"),
        (9.6, 12.0, "foot-left corner, soft draw."),
    ]
    assert [(n.t_s, n.end_s, n.text) for n in vtt] == [(n.t_s, n.end_s, n.text) for n in srt]
    assert [n.line for n in srt] == [2, 6]
    # told by their content, too
    assert read_notes(write(tmp_path / "b.txt", SRT)).notes == srt


def test_broken_transcripts_are_named(tmp_path: Path) -> None:
    """A cue without right times, a file without signature, no words at all."""
    with pytest.raises(NotesError, match=r"a\.srt, line 6"):
        read_notes(write(tmp_path / "a.srt", SRT.replace("00:00:09,600", "nine")))
    with pytest.raises(NotesError, match="must start with WEBVTT"):
        read_notes(write(tmp_path / "a.vtt", "hello"))
    with pytest.raises(NotesError, match="no cue with words"):
        read_notes(write(tmp_path / "b.vtt", "WEBVTT\n\n00:01.000 --> 00:02.000\n \n"))


def test_the_report_tells_each_note(tmp_path: Path) -> None:
    """The print-out shows words, meaning, and what only custom says."""
    text = describe(read_notes(write(tmp_path / "n.txt", PLAIN)))
    assert "title: Two balls and a break" in text
    assert "0:07  The nine in the foot-left corner" in text
    assert "    side: left, 0.5 tip" in text
    assert "    drawn way: (1200, 300) (900, 1100)" in text
    assert "    side: none (not said, taken by custom)" in text


@given(st.floats(0, 360_000).map(lambda s: round(s, 3)))
def test_times_round_trip(seconds: float) -> None:
    """A written time reads as it was, to the millisecond."""
    assert parse_time(format_time(seconds)) == pytest.approx(seconds, abs=1e-9)


@pytest.mark.parametrize("bad", ["7", "0:7", "1:60", "1:60:00", "-0:07", "a:bc", "", "0:07:", "١:٢٣"])
def test_what_is_no_time(bad: str) -> None:
    """Neither half a time nor minutes over 59 beside hours."""
    assert parse_time(bad) is None


WORDS = st.sampled_from(
    [
        "the",
        "nine",
        "ten",
        "one",
        "ball",
        "foot",
        "left",
        "right",
        "head",
        "corner",
        "side",
        "pocket",
        "draw",
        "stop",
        "hard",
        "no",
        "english",
        "rails",
        "two",
        "off",
        "into",
        "for",
        "plan",
        "b",
        ":",
        ",",
        ".",
        "-",
        "(",
        ")",
        "1200",
        "300",
        "#",
        "½",
        "tip",
        "half",
        "of",
        "third",
        "near",
        "rail",
        "spot",
        "don't",
        "not",
        "if",
        "that",
        "fails",
        "bank",
        "kick",
        "first",
        "break",
        "key",
        "0:07",
        ",",
    ]
)


@given(st.one_of(st.text(max_size=200), st.lists(WORDS, max_size=40).map(" ".join)))
@settings(max_examples=300, deadline=None)
def test_no_sentence_breaks_the_understanding(text: str) -> None:
    """Whatever is said, an intent comes out, its places on the table."""
    intent = understand(text, TABLE)
    assert intent.ball is None or 1 <= intent.ball <= 15
    if intent.landing and intent.landing.point:
        assert 0 <= intent.landing.point[0] <= TABLE.length_mm
        assert 0 <= intent.landing.point[1] <= TABLE.width_mm


@given(
    content=st.one_of(
        st.binary(max_size=300),
        st.text(max_size=300).map(str.encode),
        st.lists(st.one_of(WORDS, st.sampled_from(["\n", "\n0:09 ", "\nlanding: ", "\nrails: ", "-->", "WEBVTT\n", "00:00:01,000 --> 00:00:02,000\n"])), max_size=40)
        .map(lambda ws: " ".join(ws).encode()),
    ),
    suffix=st.sampled_from([".txt", ".srt", ".vtt"]),
    times=st.booleans(),
)  # fmt: skip
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_file_breaks_the_reading(tmp_path: Path, content: bytes, suffix: str, times: bool) -> None:
    """Any bytes are read, or refused with a NotesError."""
    path = write(tmp_path / f"n{suffix}", content)
    try:
        describe(read_notes(path, times_required=times))
    except NotesError as e:
        assert path.name in str(e)
