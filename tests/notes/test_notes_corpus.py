"""The meaning of notes spoken by many invented people, against what they meant."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from lessonkit.model import Intent, Table
from lessonkit.notes.sentences import understand

TABLE = Table("9ft", 2540.0, 1270.0)
FIELD = {
    "ball": "ball", "pocket": "pocket", "stroke": "stroke", "side": "side", "side_relative": "side_relative",
    "speed": "speed", "rails": "rails", "next_ball": "next_ball", "break_ball": "break_ball", "key_ball": "key_ball",
    "insurance_ball": "insurance_ball", "plan_b": "plan_b", "leave_alone": "leave_alone", "bank": "bank",
    "rail_first": "rail_first", "in_hand": "in_hand",
}  # fmt: skip
FLAGS = ("plan_b", "in_hand")
LISTS = ("leave_alone", "bank", "rail_first")


def _notes() -> list[dict[str, Any]]:
    corpus = tomllib.loads((Path(__file__).parent / "corpus.toml").read_text(encoding="utf-8"))
    return [note for part in corpus.values() for note in part]


def wrong(note: dict[str, Any], intent: Intent) -> dict[str, Any]:
    """The fields in which an intent differs from what a note of the corpus means: name -> (meant, understood)."""
    out: dict[str, Any] = {}
    for key, name in FIELD.items():
        got = getattr(intent, name)
        want = note.get(key, False if key in FLAGS else [] if key in LISTS else None)
        if (list(got) if key in LISTS else got) != want:
            out[key] = (want, got)
    if "tips" in note and intent.side_tips != note["tips"]:
        out["tips"] = (note["tips"], intent.side_tips)
    if "via" in note and list(intent.via) != note["via"]:
        out["via"] = (note["via"], intent.via)
    for key in ("shade", "into_rack"):
        if key in note and getattr(intent, key) != note[key]:
            out[key] = (note[key], getattr(intent, key))
    if not _lands(note.get("at"), intent):
        out["landing"] = (note.get("at"), intent.landing)
    return {k: v for k, v in out.items() if k not in note.get("open", [])}


def _lands(at: list[float] | None, intent: Intent) -> bool:
    if at is None:
        return intent.landing is None
    if intent.landing is None or intent.landing.point is None:
        return False
    x, y = intent.landing.point[0] / TABLE.length_mm, intent.landing.point[1] / TABLE.width_mm
    return at[0] <= x <= at[1] and at[2] <= y <= at[3]


@pytest.mark.parametrize("note", _notes(), ids=lambda n: n["say"][:60])
def test_every_field_of_a_note_is_understood(note: dict[str, Any]) -> None:
    """All fields as meant, and none besides; a field that is known to be missed is still missed in that field only."""
    bad = wrong(note, understand(note["say"], TABLE))
    assert set(bad) == set(note.get("missed", [])), bad


def test_the_corpus_is_wide() -> None:
    """Enough notes, and every pocket, stroke, side, speed and cushion among them."""
    notes = _notes()
    assert len(notes) >= 200
    for key, least in (
        ("pocket", 6),
        ("stroke", 5),
        ("side", 3),
        ("speed", 4),
        ("side_relative", 4),
        ("ball", 15),
    ):
        assert len({n[key] for n in notes if key in n}) == least, key
    assert {c for n in notes for c in n.get("bank", []) + n.get("rail_first", [])} == {
        "head",
        "foot",
        "left",
        "right",
    }


@pytest.mark.parametrize("note", _notes()[:40:4], ids=lambda n: n["say"][:40])
@pytest.mark.parametrize(
    "change", [str.upper, lambda t: t.replace("'", "’"), lambda t: t.replace(" ", "  "), lambda t: f"  {t}\n"]
)
def test_case_quotes_and_blanks_do_not_matter(note: dict[str, Any], change: Any) -> None:
    """Capitals, curly quotes and odd spacing leave the meaning as it was."""
    assert not wrong(note, understand(change(note["say"]), TABLE))
