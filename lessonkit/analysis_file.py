"""analysis.json, schema 1: written from an Analysis and read back. docs/analysis-format.md gives every field."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import asdict
from pathlib import Path
from typing import Any, TypeVar, cast

import numpy as np

from lessonkit.errors import LessonkitError
from lessonkit.folder import write_text
from lessonkit.model import (
    Analysis,
    Camera,
    Comparison,
    Difference,
    Event,
    Execution,
    Figure,
    Footage,
    Head,
    Intent,
    Landing,
    Layout,
    Note,
    Plan,
    Pocketed,
    SeenShot,
    Shot,
    Spread,
    Strike,
    StrokeEstimate,
    Table,
    TableFigures,
    Track,
)

SCHEMA = 1
Json = dict[str, Any]
T = TypeVar("T")


def _xy(p: Any) -> list[float] | None:
    return None if p is None else [round(float(p[0]), 2), round(float(p[1]), 2)]


def _points(ps: Any) -> list[list[float] | None]:
    return [_xy(p) for p in ps]


def _track(t: Track) -> list[list[float]]:
    return [[round(float(a), 4), round(float(b), 2), round(float(c), 2)] for a, b, c in np.asarray(t, float)]


def _layout(lay: Layout) -> Json:
    return {str(n): _xy(p) for n, p in sorted(lay.items())}


def _event(e: Event) -> Json:
    j: Json = {"t": round(e.t_s, 4), "kind": e.kind}
    if e.kind == "ball":
        return j | {"balls": list(e.balls)}
    j["ball"] = e.balls[0]
    return j | ({"cushion": e.cushion} if e.kind == "cushion" else {"pocket": e.pocket})


def intent_json(i: Intent) -> Json:
    """An intent as `lessonkit notes --json` and analysis.json give it: the plan's fields and what else was said."""
    return {
        "ball": i.ball, "pocket": i.pocket, "stroke": i.stroke, "side": i.side, "side_tips": i.side_tips,
        "speed": i.speed, "rails": i.rails,
        "landing": _xy(i.landing.point) if i.landing else None,
        "landing_words": i.landing.words if i.landing else None,
        "landing_explicit": i.landing.explicit if i.landing else None,
        "landing_radius_mm": i.landing.radius_mm if i.landing else None,
        "cue_path": _points(i.waypoints), "source": "drawn" if i.waypoints else None,
        "next_ball": i.next_ball, "break_ball": i.break_ball, "key_ball": i.key_ball,
        "insurance_ball": i.insurance_ball, "leave_alone": list(i.leave_alone), "plan_b": i.plan_b,
        "bank": list(i.bank), "rail_first": list(i.rail_first), "in_hand": i.in_hand, "replay": i.replay,
        "via": list(i.via), "fullness": i.fullness, "shade": i.shade, "into_rack": i.into_rack,
        "side_relative": i.side_relative, "by_custom": list(i.by_custom),
    }  # fmt: skip


def note_json(n: Note) -> Json:
    """A note with what was understood of it."""
    return {"t": n.t_s, "text": n.text, "line": n.line, "end": n.end_s, "plan": intent_json(n.intent)}


def _plan(p: Plan | None) -> Json | None:
    if p is None:
        return None
    return {
        "ball": p.ball, "pocket": p.pocket, "stroke": p.stroke, "side": p.side, "speed": p.speed,
        "rails": p.rails, "landing": _xy(p.landing), "cue_path": _points(p.cue_path), "source": p.source,
        "ball_path": _points(p.ball_path), "ghost": _xy(p.ghost), "note": p.note,
        "strike": _strike(p.strike),
        "via": list(p.via), "fullness": _number(p.fullness, 3), "contacts": [_event(e) for e in p.contacts],
        "landing_spread": _spread(p.landing_spread), "pot_chance": _number(p.pot_chance, 3),
        "scratch_chance": _number(p.scratch_chance, 3),
        "execution": None if p.execution is None else asdict(p.execution),
    }  # fmt: skip


def _spread(s: Spread | None) -> Json | None:
    if s is None:
        return None
    return {
        "centre": _xy(s.centre), "major_mm": _number(s.major_mm), "minor_mm": _number(s.minor_mm),
        "turn_deg": _number(s.turn_deg),
    }  # fmt: skip


def _number(v: float | None, digits: int = 1) -> float | None:
    return None if v is None else round(float(v), digits)


def _comparison(c: Comparison | None) -> Json | None:
    if c is None:
        return None
    return {
        "called_made": c.called_made, "landing_error_mm": _number(c.landing_error_mm),
        "path_distance_mm": _number(c.path_distance_mm), "rails_planned": c.rails_planned,
        "rails_actual": c.rails_actual, "verdict": c.verdict, "sentence": c.sentence,
        "differences": [_difference(d) for d in c.differences], "cause": c.cause, "cause_sure": c.cause_sure,
        "unexplained_mm": _number(c.unexplained_mm), "detail": c.detail, "meant": _strike(c.meant),
        "unplanned": None if c.unplanned is None else _event(c.unplanned),
    }  # fmt: skip


def _strike(s: Strike | None) -> Json | None:
    if s is None:
        return None
    return {
        "aim_deg": _number(s.aim_deg, 3), "speed_mps": _number(s.speed_mps, 3),
        "tip_up": _number(s.tip_up, 3), "tip_left": _number(s.tip_left, 3),
    }  # fmt: skip


def _difference(d: Difference) -> Json:
    return {
        "account": d.account, "planned": _number(d.planned, 3), "actual": _number(d.actual, 3),
        "error": _number(d.error, 4), "sure": d.sure, "words": d.words, "landing": _xy(d.landing),
        "explains": _number(d.explains, 3), "explains_least": _number(d.explains_least, 3),
    }  # fmt: skip


def _stroke(e: StrokeEstimate | None) -> Json | None:
    if e is None:
        return None
    return {
        "speed_mps": _number(e.speed_mps, 3), "tip_up": _number(e.tip_up, 3), "tip_left": _number(e.tip_left, 3),
        "aim_deg": _number(e.aim_deg, 3), "speed_error_mps": _number(e.speed_error_mps, 4),
        "tip_up_error": _number(e.tip_up_error, 4), "tip_left_error": _number(e.tip_left_error, 4),
        "aim_error_deg": _number(e.aim_error_deg, 4),
    }  # fmt: skip


def _figures(f: TableFigures | None) -> Json | None:
    if f is None:
        return None
    return {name: _figure(getattr(f, name)) for name in ("rolling", "sliding", "rebound", "cushion_grip")}


def _figure(f: Figure) -> Json:
    return {
        "value": _number(f.value, 5),
        "error": _number(f.error, 5),
        "stretches": f.stretches,
        "measured": f.measured,
    }


def _shot(s: Shot) -> Json:
    e = s.seen
    return {
        "number": e.number, "strike_s": round(e.strike_s, 4), "rest_s": round(e.rest_s, 4),
        "layout_before": _layout(e.layout_before), "layout_after": _layout(e.layout_after),
        "doubtful": [str(n) for n in e.doubtful],
        "cue_path": _track(e.cue_path), "paths": {str(n): _track(t) for n, t in sorted(e.paths.items())},
        "events": [_event(x) for x in e.events],
        "pocketed": [{"ball": p.ball, "pocket": p.pocket, "t": round(p.t_s, 4)} for p in e.pocketed],
        "scratch": e.scratch, "fullness": _number(e.fullness, 4),
        "clear_before_s": _number(e.clear_before_s, 4), "clear_after_s": _number(e.clear_after_s, 4),
        "stroke": _stroke(s.stroke),
        "note": note_json(s.note) if s.note else None, "more_notes": [note_json(n) for n in s.more_notes],
        "plan": _plan(s.plan), "plan_b": _plan(s.plan_b), "plan_b_after": _plan(s.plan_b_after),
        "comparison": _comparison(s.comparison),
    }  # fmt: skip


def _camera(c: Camera) -> Json:
    return {
        "matrix": np.asarray(c.matrix, float).tolist(), "distortion": np.asarray(c.distortion, float).tolist(),
        "rotation": np.asarray(c.rotation, float).tolist(),
        "translation": np.asarray(c.translation, float).tolist(), "error_px": c.error_px,
        "error_mm": c.error_mm,
    }  # fmt: skip


def _camera_from(j: Json) -> Camera:
    return Camera(
        np.asarray(j["matrix"], float), np.asarray(j["distortion"], float), np.asarray(j["rotation"], float),
        np.asarray(j["translation"], float), j["error_px"], j.get("error_mm"),
    )  # fmt: skip


def to_json(a: Analysis) -> Json:
    """The whole analysis as plain JSON values."""
    f, t, h = a.footage, a.table, a.head
    return {
        "schema": SCHEMA,
        "footage": {"name": f.name, "width": f.width, "height": f.height, "fps": f.fps, "frames": f.frames,
                    "duration_s": round(f.duration_s, 4)},
        "table": {"size": t.size, "length_mm": t.length_mm, "width_mm": t.width_mm,
                  "ball_diameter_mm": t.ball_diameter_mm, "nose_height_mm": t.nose_height_mm,
                  "corner_mouth_mm": t.corner_mouth_mm, "side_mouth_mm": t.side_mouth_mm},
        "camera": _camera(a.camera),
        "cameras": [{"from_s": round(from_s, 4), "camera": _camera(c)} for from_s, c in a.cameras],
        "head": {"title": h.title, "series": h.series, "number": h.number, "table": h.table, "player": h.player},
        "table_figures": _figures(a.figures),
        "shots": [_shot(s) for s in a.shots],
    }  # fmt: skip


def write_analysis(path: Path, analysis: Analysis) -> None:
    """Write analysis.json, whole or not at all."""
    write_text(path, json.dumps(to_json(analysis), ensure_ascii=False, indent=1, allow_nan=False) + "\n")


def _made(kind: type[T], /, **fields: Any) -> T:
    """A dataclass of the fields that it knows; a file may hold more, written by a later lessonkit."""
    known = {f.name for f in dataclasses.fields(cast(Any, kind))}
    return kind(**{k: v for k, v in fields.items() if k in known})


def _track_from(rows: Any) -> Track:
    return np.asarray(rows, float).reshape(-1, 3)


def _point_from(p: Any) -> tuple[float, float] | None:
    return None if p is None else (float(p[0]), float(p[1]))


def _points_from(ps: Any) -> tuple[tuple[float, float], ...]:
    return tuple((float(p[0]), float(p[1])) for p in ps or ())


def _event_from(j: Json) -> Event:
    balls = tuple(j["balls"]) if j["kind"] == "ball" else (j["ball"],)
    return Event(j["t"], j["kind"], balls, j.get("cushion"), j.get("pocket"))


def _note_from(j: Json) -> Note:
    p = j["plan"]
    landing = None
    if p.get("landing_words") is not None or p.get("landing") is not None:
        landing = Landing(_point_from(p["landing"]), p.get("landing_words") or "", bool(p.get("landing_explicit")),
                          p.get("landing_radius_mm") or 150.0)  # fmt: skip
    intent = Intent(
        ball=p["ball"], pocket=p["pocket"], stroke=p["stroke"], side=p["side"], side_tips=p.get("side_tips"),
        speed=p["speed"], rails=p["rails"], landing=landing, waypoints=_points_from(p.get("cue_path")),
        next_ball=p.get("next_ball"), break_ball=p.get("break_ball"), key_ball=p.get("key_ball"),
        insurance_ball=p.get("insurance_ball"), leave_alone=tuple(p.get("leave_alone") or ()),
        plan_b=bool(p.get("plan_b")), bank=tuple(p.get("bank") or ()), rail_first=tuple(p.get("rail_first") or ()),
        in_hand=bool(p.get("in_hand")), replay=bool(p.get("replay")),
        via=tuple(p.get("via") or ()), fullness=p.get("fullness"), shade=p.get("shade"),
        into_rack=bool(p.get("into_rack")), side_relative=p.get("side_relative"), by_custom=tuple(p.get("by_custom") or ()),
    )  # fmt: skip
    return Note(j["t"], j["text"], j["line"], intent, j.get("end"))


def _plan_from(j: Json | None) -> Plan | None:
    if j is None:
        return None
    return Plan(
        ball=j["ball"], pocket=j["pocket"], stroke=j["stroke"], side=j["side"], speed=j["speed"], rails=j["rails"],
        landing=_point_from(j["landing"]), cue_path=_points_from(j["cue_path"]), source=j["source"],
        ball_path=_points_from(j.get("ball_path")), ghost=_point_from(j.get("ghost")), note=j.get("note"),
        strike=None if j.get("strike") is None else _made(Strike, **j["strike"]),
        via=tuple(j.get("via") or ()), fullness=j.get("fullness"),
        contacts=tuple(_event_from(e) for e in j.get("contacts") or ()),
        landing_spread=_spread_from(j.get("landing_spread")), pot_chance=j.get("pot_chance"),
        scratch_chance=j.get("scratch_chance"),
        execution=None if j.get("execution") is None else _made(Execution, **j["execution"]),
    )  # fmt: skip


def _spread_from(j: Json | None) -> Spread | None:
    return (
        None
        if j is None
        else _made(Spread, **{**j, "centre": (float(j["centre"][0]), float(j["centre"][1]))})
    )


def _comparison_from(j: Json | None) -> Comparison | None:
    if j is None:
        return None
    differences = tuple(
        _made(Difference, **{**d, "landing": _point_from(d["landing"])}) for d in j.get("differences") or ()
    )
    meant = None if j.get("meant") is None else _made(Strike, **j["meant"])
    unplanned = None if j.get("unplanned") is None else _event_from(j["unplanned"])
    return _made(Comparison, **{**j, "differences": differences, "meant": meant, "unplanned": unplanned})


def _figures_from(j: Json | None) -> TableFigures | None:
    return (
        None
        if j is None
        else _made(TableFigures, **{name: _made(Figure, **figure) for name, figure in j.items()})
    )


def _shot_from(j: Json) -> Shot:
    seen = SeenShot(
        number=j["number"], strike_s=j["strike_s"], rest_s=j["rest_s"],
        layout_before={int(n): (p[0], p[1]) for n, p in j["layout_before"].items()},
        layout_after={int(n): (p[0], p[1]) for n, p in j["layout_after"].items()},
        doubtful=tuple(int(n) for n in j["doubtful"]), cue_path=_track_from(j["cue_path"]),
        paths={int(n): _track_from(t) for n, t in j["paths"].items()},
        events=tuple(_event_from(e) for e in j["events"]),
        pocketed=tuple(Pocketed(p["ball"], p["pocket"], p["t"]) for p in j["pocketed"]),
        fullness=j["fullness"], clear_before_s=j.get("clear_before_s"), clear_after_s=j.get("clear_after_s"),
    )  # fmt: skip
    return Shot(
        seen=seen,
        note=_note_from(j["note"]) if j["note"] else None,
        more_notes=tuple(_note_from(n) for n in j.get("more_notes") or ()),
        plan=_plan_from(j["plan"]),
        plan_b=_plan_from(j.get("plan_b")),
        plan_b_after=_plan_from(j.get("plan_b_after")),
        comparison=_comparison_from(j["comparison"]),
        stroke=None if j["stroke"] is None else _made(StrokeEstimate, **j["stroke"]),
    )


def from_json(j: Json) -> Analysis:
    """An Analysis of what `to_json` gave."""
    return Analysis(
        footage=_made(Footage, **j["footage"]),
        table=_made(Table, **j["table"]),
        camera=_camera_from(j["camera"]),
        shots=tuple(_shot_from(s) for s in j["shots"]),
        head=_made(Head, **j.get("head", {})),
        figures=_figures_from(j.get("table_figures")),
        cameras=tuple((c["from_s"], _camera_from(c["camera"])) for c in j.get("cameras") or ()),
    )  # fmt: skip


def read_analysis(path: Path) -> Analysis:
    """Read analysis.json back.

    Raises LessonkitError when the file is missing, no JSON, damaged, or of another schema.
    """
    try:
        j = cast(Json, json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError) as e:
        raise LessonkitError(
            f"{path} cannot be read as an analysis ({e}); run `lessonkit analyse` again."
        ) from e
    schema = j.get("schema") if isinstance(j, dict) else None
    if schema != SCHEMA:
        raise LessonkitError(f"{path} has schema {schema!r}, this lessonkit reads {SCHEMA}; run `lessonkit analyse` again.")  # fmt: skip
    try:
        return from_json(j)
    except (KeyError, IndexError, TypeError, ValueError, AttributeError) as e:
        what = (
            f"{e} is missing"
            if isinstance(e, KeyError)
            else "something in it is of another kind than it should be"
        )
        raise LessonkitError(f"{path} is damaged ({what}); run `lessonkit analyse` again.") from e
