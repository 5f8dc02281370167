"""Words whose meaning the trade fixes: ball colours, spots, sights, clock faces (shared/notes_trade.toml has the sources)."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from lessonkit.model import Intent, Table
from lessonkit.notes import fields
from lessonkit.notes.sentences import understand

TRADE = tomllib.loads((Path(__file__).parents[2] / "shared" / "notes_trade.toml").read_text(encoding="utf-8"))
NINE, EIGHT = Table("9ft", 2540.0, 1270.0), Table("8ft", 2336.8, 1168.4)


@pytest.mark.parametrize(("colour", "number"), TRADE["ball_colours"]["solid"].items())
def test_solid_colours(colour: str, number: int) -> None:
    """The colour alone, or with 'solid', is the solid ball."""
    for said in (
        f"the {colour} in the foot-left",
        f"Solid {colour} in the foot-left",
        f"the {colour} ball in the foot-left",
    ):
        assert understand(said, NINE).ball == number


@pytest.mark.parametrize(("colour", "number"), TRADE["ball_colours"]["banded"].items())
def test_striped_colours(colour: str, number: int) -> None:
    """With 'stripe' or 'striped' it is the banded ball."""
    for said in (f"the {colour} stripe in the foot-left", f"striped {colour} in the foot-left"):
        assert understand(said, NINE).ball == number


@pytest.mark.parametrize("number", range(1, 16))
def test_numbers_in_every_writing(number: int) -> None:
    """Figures and words."""
    word = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve", "thirteen",
            "fourteen", "fifteen"][number - 1]  # fmt: skip
    for said in (f"the {word} in", f"{word.title()} ball in", f"#{number} in", f"{number}-ball in", f"the {number} ball into", f"number {word} in",
                 f"I play the {word} into", f"{number} in"):  # fmt: skip
        assert understand(f"{said} the foot-left pocket", NINE).ball == number, said


@pytest.mark.parametrize("table", [NINE, EIGHT], ids=["9ft", "8ft"])
def test_spots(table: Table) -> None:
    """A spot's name lands on the spot."""
    spots = TRADE["spots"]["nine_foot_mm" if table is NINE else "eight_foot_mm"]
    for name, place in spots.items():
        landing = understand(f"Cue ball to the {name}.", table).landing
        assert landing is not None
        assert landing.point == pytest.approx(tuple(place))


def test_sights() -> None:
    """Diamonds of an explicit landing."""
    for case in TRADE["sights"]["nine_foot_mm"]:
        a, b = case["diamonds"]
        landing = fields.apply(Intent(), "landing", f"diamonds {a:g} {b:g}", NINE).landing
        assert landing is not None
        assert landing.point == pytest.approx(tuple(case["at"]))


@pytest.mark.parametrize("face", TRADE["clock_faces"]["faces"], ids=lambda f: f["said"])
def test_clock_faces(face: dict[str, str]) -> None:
    """The tip's place on the cue ball."""
    i = understand(f"Tip at {face['said']}, ten ball in the foot-left.", NINE)
    assert (i.stroke, i.side, i.ball) == (face.get("stroke"), face["side"], 10)


@pytest.mark.parametrize(
    "said",
    ["upper left corner", "the top right pocket", "the corner", "the side pocket", "the bottom pocket"],
)
def test_what_cannot_be_settled_stays_open(said: str) -> None:
    """Top and bottom hang on how the picture is turned, and a corner alone is any of four."""
    i = understand(f"The nine in {said}.", NINE)
    assert (i.ball, i.pocket) == (9, None)


def test_side_without_a_way_stays_open() -> None:
    """'loads of side' is neither left nor right, nor none by custom."""
    i = understand("Nine, foot-left, draw with loads of side.", NINE)
    assert (i.stroke, i.side, i.side_relative, i.by_custom) == ("draw", None, None, ())


def test_a_place_that_is_not_singled_out_keeps_its_words() -> None:
    """'the end rail' may be either: no point is invented."""
    landing = understand("Cue ball a foot off the end rail.", NINE).landing
    assert landing is not None
    assert (landing.point, landing.words) == (None, "a foot off the end rail")


@pytest.mark.parametrize(
    ("said", "centre"),
    [
        ("the left half of the foot third", (2540 * 5 / 6, 952.5)),
        ("near the foot rail on the left", (2440.0, 952.5)),
        ("a foot off the right rail, halfway down", (1270.0, 304.8)),
        ("two diamonds up from the foot rail, left of the centre line", (1905.0, 952.5)),
        ("behind the head string", (317.5, 635.0)),
        ("the right half of the middle third", (1270.0, 317.5)),
    ],
)
def test_places_are_the_middle_of_what_the_words_bound(said: str, centre: tuple[float, float]) -> None:
    """Thirds, halves, distances: the centre by hand."""
    landing = understand(f"I want the cue ball at {said} for the six.", NINE).landing
    assert landing is not None
    assert landing.point == pytest.approx(centre, abs=0.1)
    # the circle has the area of the place, so it is never wider than the table
    assert 0 < landing.radius_mm < 1270
