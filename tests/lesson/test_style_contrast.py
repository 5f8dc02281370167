"""Contrast and colours against the published formula and set (shared/colour.toml)."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.lesson import style

FACTS = tomllib.loads((Path(__file__).parents[2] / "shared" / "colour.toml").read_text())
colours = st.integers(0, 0xFFFFFF).map(lambda v: f"#{v:06X}")


@pytest.mark.parametrize("pair", FACTS["wcag"]["pairs"], ids=lambda p: f"{p['fg']} on {p['bg']}")
def test_contrast_ratio(pair: dict[str, object]) -> None:
    """Source: WCAG 2.x, contrast ratio."""
    assert style.contrast_ratio(str(pair["fg"]), str(pair["bg"])) == pytest.approx(pair["ratio"], rel=1e-8)


@pytest.mark.parametrize("colour", FACTS["okabe_ito"]["colours"], ids=lambda c: c["name"])
def test_luminance(colour: dict[str, object]) -> None:
    """Source: Okabe and Ito's set; luminance by WCAG."""
    assert style.luminance(str(colour["hex"])) == pytest.approx(colour["luminance"], abs=1e-9)


def test_lines_wear_the_colour_blind_safe_set() -> None:
    """Every line colour is one of Okabe and Ito's, or white."""
    safe = {c["hex"] for c in FACTS["okabe_ito"]["colours"]} | {style.WHITE}
    for cloth in ("#0E8254", "#237ECD", "#7C7F85", "#7A1020", "#D8C8A0", "#101010"):
        inks = style.inks_for(cloth)
        assert {inks.planned.line, inks.actual.line, inks.aim.line} <= safe


@given(colours)
def test_lines_stand_out_on_any_cloth(cloth: str) -> None:
    """Line or edge has 3:1 against the cloth, line and edge 3:1 against each other (WCAG 2.x, 1.4.11)."""
    inks = style.inks_for(cloth)
    for ink in (inks.planned, inks.actual, inks.aim):
        against = max(style.contrast_ratio(ink.line, cloth), style.contrast_ratio(ink.edge, cloth))
        assert against >= FACTS["wcag"]["non_text"]
        assert style.contrast_ratio(ink.line, ink.edge) >= FACTS["wcag"]["non_text"]


@given(colours)
def test_planned_and_actual_never_share_a_colour(cloth: str) -> None:
    """They are dashed and solid besides."""
    inks = style.inks_for(cloth)
    assert len({inks.planned.line, inks.actual.line, inks.aim.line}) == 3


@given(colours)
def test_no_two_lines_look_the_same_when_thin(cloth: str) -> None:
    """White edged with black and black edged with white are the same two stripes in a thin line."""
    inks = style.inks_for(cloth)
    three = (inks.planned, inks.actual, inks.aim)
    assert not any(style.look_alike(a, b) for a in three for b in three)


@pytest.mark.parametrize(
    "cloth", ["#227FCE", "#1F7BD2", "#0E6FC4", "#2FA0E0", "#1C5FA8", "#0E8A57", "#7E8288", "#7A1020"]
)
def test_lines_differ_from_the_usual_cloths_and_from_each_other(cloth: str) -> None:
    """Blue, green, grey and red cloth as filmed: no line has a colour near to the cloth's or to another's, and white is one at most."""
    inks = style.inks_for(cloth)
    lines = [inks.planned.line, inks.actual.line, inks.aim.line]
    for k, line in enumerate(lines):
        assert all(style.difference(line, c) >= style.FAR_ENOUGH for c in (cloth, *lines[:k])), (line, cloth)
    ends = {style.WHITE, style.BLACK}
    assert sum({i.line, i.edge} == ends for i in (inks.planned, inks.actual, inks.aim)) <= 1


@given(colours)
def test_words_read_on_any_ground(ground: str) -> None:
    """Black or white always reaches 4.5:1 (WCAG 2.x, 1.4.3)."""
    assert style.contrast_ratio(style.text_on(ground), ground) >= FACTS["wcag"]["aa_text"]


@given(colours)
def test_a_plate_reads_on_any_picture(behind: str) -> None:
    """White on the plate, whatever shines through it."""
    mixed = [round(a * style.PLATE_ALPHA + b * (1 - style.PLATE_ALPHA))
             for a, b in zip(style.bgr(style.PLATE), style.bgr(behind), strict=True)]  # fmt: skip
    assert style.contrast_ratio(style.WHITE, style.hex_of((mixed[0], mixed[1], mixed[2]))) >= 4.5


@given(colours)
def test_hex_and_back(colour: str) -> None:
    """The two notations name the same colour."""
    assert style.hex_of(style.bgr(colour)) == colour


def test_headline_is_readable_on_a_phone() -> None:
    """Drawn letters with descenders take at least 1/24 of the shorter side (common practice, no source)."""
    from lessonkit.lesson.text import text_mask

    for w, h in ((1920, 1080), (1280, 720), (1080, 1920)):
        sizes = style.Sizes(w, h)
        assert text_mask("Shot 3 · nine, foot-left", sizes.headline_px).shape[0] >= min(w, h) / 24


HUES = {"yellow": (35, 60), "blue": (210, 230), "red": (355, 365), "purple": (260, 290), "orange": (15, 34),
        "green": (140, 170), "maroon": (340, 360)}  # fmt: skip


def test_balls_wear_their_colours() -> None:
    """Source: WPA equipment specifications, restated; hue ranges of the names are ours (common practice, no source)."""
    import colorsys

    for number in range(1, 8):
        b, g, r = style.bgr(style.ball_colour(number))
        hue = colorsys.rgb_to_hsv(r / 255, g / 255, b / 255)[0] * 360
        low, high = HUES[FACTS["ball_colours"][str(number)]]
        assert low <= hue <= high or low <= hue + 360 <= high
        assert style.ball_colour(number + 8) == style.ball_colour(number)
    assert style.luminance(style.ball_colour(8)) < 0.02
