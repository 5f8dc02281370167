"""The report: whole, self-contained, escaped, honest about what is not known."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.lesson.cutting import build_cuts
from lessonkit.model import Analysis, Comparison, Event, Head, Plan, Pocketed, Shot, StrokeEstimate
from lessonkit.publish import report
from lessonkit.publish.figures import event_words, number, summary
from lessonkit.publish.report import report_html, write_report
from tests.lesson.made import SENTENCE, analysis, note, rack, seen, shot
from tests.publish.browser import open_page
from tests.running import ROOT

CONTRAST = tomllib.loads((ROOT / "shared" / "captions.toml").read_text(encoding="utf-8"))["contrast"]
VOID = {"meta", "br", "link", "img", "hr", "input"}


class _Page(HTMLParser):
    """Checks that tags nest, and gathers ids, text and what a browser would fetch."""

    def __init__(self, source: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: Counter[str] = Counter()
        self.fetched: list[str] = []
        self.tags: list[str] = []
        self.words: list[str] = []
        self.feed(source)
        self.close()
        assert not self.open, f"never closed: {self.open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            if name == "id":
                self.ids[str(value)] += 1
            if name in ("src", "srcset", "data", "action") or (
                name.endswith("href") and not str(value).startswith("#")
            ):
                self.fetched.append(f"{tag} {name}={value}")
            assert not name.startswith("on")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> without a start"
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in ("style", "script"):
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def full_rack() -> Analysis:
    """One shot as told, one with doubts and nothing measured, one without a note, one note in Arabic and markup."""
    odd = shot(2, 15.0, 19.0, "x", doubtful=(12, 9), fullness=None, pocketed=(), layout_after={})
    nothing = Comparison(None, None, None, None, None, None)
    bare = Plan(
        9, None, None, None, None, None, None, (), None, note="No way could be planned: the nine is hidden."
    )
    return analysis(
        shot(1, 5.0, 9.0, "0:05 The nine in the foot-left corner."),
        Shot(
            odd.seen,
            note("Nine.", 14.0, ball=9),
            (),
            bare,
            comparison=nothing,
            stroke=StrokeEstimate(None, None, None),
        ),
        shot(3, 25.0, 29.0),
        replace(
            shot(4, 35.0, 39.0, "الكرة التاسعة <script>alert('x')</script> & 🎱"),
            more_notes=(note("A remark.\nIn two lines.", 40.0),),
        ),
        head=Head(title="Thursday <rack>", series="Ends of racks", number="7", player="N."),
    )


def page_of(a: Analysis) -> _Page:
    return _Page(report_html(a, build_cuts(a)))


def test_page_is_well_made_and_fetches_nothing() -> None:
    """Tags nest, ids are unique, one h1, a language, and no address outside the page."""
    source = report_html(full_rack(), build_cuts(full_rack()))
    page = _Page(source)
    assert source.startswith('<!doctype html>\n<html lang="en">')
    assert [i for i, n in page.ids.items() if n > 1] == []
    assert page.fetched == []
    assert page.tags.count("h1") == 1
    assert page.tags.count("section") == 4
    assert {"header", "main", "footer", "figure", "table", "caption", "th"} <= set(page.tags)
    assert set(re.findall(r"https?://[^\"'\s<]+", source)) <= {"http://www.w3.org/2000/svg"}
    assert "url(" not in source and "@import" not in source and "<script" not in source


def test_plan_stands_beside_what_happened() -> None:
    """The words and figures of the first shot, with units."""
    text = page_of(full_rack()).text
    for wanted in (
        "Thursday <rack>", "Ends of racks · number 7 · N.", "Shot 1: Nine, foot-left corner", "0:05 The nine in the foot-left",
        "Draw Tip 0.20 radius above centre", "Left side not measured", "Firm 2.1 m/s at the start", "No cushions One cushion",
        "1500, 720 mm 1500, 900 mm", "180 mm (3.1 balls)", "0.50 (half ball)", SENTENCE, "Short",
        "The nine drops in the foot-left corner", "A remark.",
    ):  # fmt: skip
        assert wanted in text.replace("\u00a0", " "), wanted


def test_unknown_things_are_said_to_be_unknown() -> None:
    """Nothing measured, nothing said, no note, and what the planner could not do."""
    source = report_html(full_rack(), build_cuts(full_rack()))
    second = source[source.index('id="shot-2"') : source.index('id="shot-3"')]
    third = source[source.index('id="shot-3"') : source.index('id="shot-4"')]
    assert second.count("not measured") >= 8
    assert second.count("not said") >= 5
    assert "No way could be planned: the nine is hidden." in second
    assert "No note belongs to this shot." in third
    for part in (second, third):
        assert "None" not in part
        assert not re.search(r"\bnan\b|\binf\b", part)


def test_what_custom_fills_is_marked_as_not_said() -> None:
    """Side and cushions that no word of the note told."""
    words = note("Nine, stop.", ball=9, stroke="stop", side="none", rails=0, by_custom=("side", "rails"))
    source = page_of(analysis(Shot(seen(1, 5.0, 9.0), words))).text
    assert "No side (not said)" in source
    assert "No cushions (not said)" in source
    inside = note("Nine, inside.", ball=9, side_relative="inside", side_tips=1.0)
    assert "Inside side, 1 tip" in page_of(analysis(Shot(seen(1, 5.0, 9.0), inside))).text.replace(
        "\u00a0", " "
    )


def test_doubtful_balls_are_flagged_where_one_looks() -> None:
    """At the top with a link, in the table, and in the shot."""
    text = page_of(full_rack()).text
    assert "Some balls could not be told for sure in shot 2" in text
    assert "the number or place of the twelve and the nine is doubtful" in text
    assert "Check by eye" not in page_of(rack(["Nine."])).text


@settings(max_examples=40, deadline=None)
@given(st.text(max_size=120), st.text(max_size=40))
def test_any_words_make_a_page(words: str, title: str) -> None:
    """Whatever a person typed, the page nests, encodes and shows it as text."""
    a = rack([words])
    a = replace(a, head=Head(title=title, player=words), footage=replace(a.footage, name=title))
    source = report_html(a, build_cuts(a))
    source.encode("utf-8")
    _Page(source)


def test_no_shot_makes_a_page_too(tmp_path: Path) -> None:
    """It says so; a folder gets its file whole."""
    report.write(analysis(), tmp_path)
    assert (
        "No shot was seen in this footage."
        in _Page((tmp_path / "report.html").read_text(encoding="utf-8")).text
    )
    assert [p.name for p in tmp_path.iterdir()] == ["report.html"]


def test_summary_counts_only_what_was_measured() -> None:
    """Called balls made, scratches, and the middle of the landing errors (180, 40 and 100: 100)."""
    errors = [180.0, 40.0, 100.0, None]
    shots = [
        replace(shot(i + 1, 5.0 + 10 * i, 9.0 + 10 * i, "Nine."), comparison=Comparison(i != 1, e, None, None, None, None))
        for i, e in enumerate(errors)
    ]  # fmt: skip
    shots[3] = replace(shots[3], seen=seen(4, 35.0, 39.0, pocketed=(Pocketed(0, "side-left", 36.0),)))
    assert summary(analysis(*shots)) == (
        "Four shots; 3 of 4 called balls made; one scratch. "
        "The cue ball stopped 100 mm from the planned place (median of 3 shots)."
    )
    assert summary(analysis(shot(1, 5.0, 9.0))) == "One shot."


def test_words_for_figures_and_events() -> None:
    """Units, unknowns, no minus zero; contacts as sentences."""
    assert number(None, "mm") == number(float("nan"), "mm") == "not measured"
    assert number(-0.01, "mm") == "0\u00a0mm"
    assert event_words(Event(1.0, "cushion", (0,), "foot")) == "The cue ball meets the foot cushion"
    assert event_words(Event(1.0, "ball", (3, 7))) == "The three meets the seven"


LOOK = """() => {
  const lum = c => { const f = v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
    return 0.2126 * f(c[0]) + 0.7152 * f(c[1]) + 0.0722 * f(c[2]); };
  const rgb = s => (s.match(/[\\d.]+/g) || []).map(Number);
  const low = [], small = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement;
    if (!walk.currentNode.data.trim() || e.closest('svg') || !e.offsetParent) continue;
    let b = e, ground = [255, 255, 255];
    while (b) { const c = rgb(getComputedStyle(b).backgroundColor); if (c.length === 3 || c[3] > 0) { ground = c; break; } b = b.parentElement; }
    const style = getComputedStyle(e), l = [lum(rgb(style.color)), lum(ground)].sort((x, y) => y - x);
    const ratio = (l[0] + 0.05) / (l[1] + 0.05);
    if (ratio < AA) low.push([walk.currentNode.data.trim(), ratio]);
    if (parseFloat(style.fontSize) < 13) small.push(walk.currentNode.data.trim());
  }
  return {low, small, width: document.documentElement.scrollWidth, drawings: [...document.querySelectorAll('figure svg')]
    .filter(s => s.getBoundingClientRect().width > 0).map(s => s.getBoundingClientRect().width)};
}"""


@pytest.mark.parametrize("width", [1280, 390])
def test_page_is_legible_in_a_browser(tmp_path: Path, width: int) -> None:
    """Opened from disk: no request, no complaint, nothing wider than the screen, WCAG AA contrast, one drawing a shot."""
    a = full_rack()
    path = tmp_path / "report.html"
    write_report(a, build_cuts(a), path)
    asked: list[str] = []
    said: list[str] = []
    with open_page(width) as page:
        page.on("request", lambda r: asked.append(r.url))
        page.on("console", lambda m: said.append(m.text))
        page.on("pageerror", lambda e: said.append(str(e)))
        page.goto(path.as_uri())
        seen_page = page.evaluate(LOOK.replace("AA", str(CONTRAST["aa_text"])))
    assert asked == [path.as_uri()]
    assert said == []
    assert seen_page["low"] == []
    assert seen_page["small"] == []
    assert seen_page["width"] <= width
    assert len(seen_page["drawings"]) == 4
    assert all(w > min(300, width * 0.7) for w in seen_page["drawings"])


def test_a_shot_that_is_not_compared_is_neither_good_nor_bad() -> None:
    """The verdict of a plan for a ball that was not on the table stands without a mark of its own."""
    told = "The five was not on the table before this shot, so it is not compared with its note."
    s = replace(
        rack(["Five in the side-left."]).shots[0],
        comparison=Comparison(None, None, None, 0, 1, "not compared", told),
    )
    source = report_html(analysis(s), build_cuts(analysis(s)))
    assert '<span class="mark open">Not compared</span>' in source and told in source
    assert "called ball made" not in summary(analysis(s))
