"""Little clips of one shot, filmed from above by a made-up camera, with everything known: for tests of the video."""

from __future__ import annotations

import struct
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.lesson.cutlist import Chapter, Cue, CutList, Piece
from lessonkit.lesson.projected import ball_outline
from lessonkit.model import (
    Analysis,
    Camera,
    Comparison,
    Event,
    Footage,
    Head,
    Intent,
    Landing,
    Note,
    Plan,
    Pocketed,
    SeenShot,
    Shot,
    Table,
)
from lessonkit.table.camera import project

TABLE = Table("9ft", 2540.0, 1270.0)
STRIKE_S, HIT_S, DROP_S, REST_S, LENGTH_S = 1.5, 2.0, 2.5, 3.0, 4.0
CUE, CALLED, OTHER = (600.0, 400.0), (1230.0, 820.0), (400.0, 1000.0)
GHOST, END = (1182.45, 788.3), (900.0, 1000.0)
LANDING = (760.0, 1100.0)
CLOTH = (70, 120, 20)  # blue, green, red
FLASH_MM = (1270.0, 300.0)
"""Where a white square lights up at the strike; nothing else happens there."""


def camera(width: int = 640, height: int = 360, *, portrait: bool = False) -> Camera:
    """Overhead, 2.6 m up, slightly tilted, mild barrel lens; the head at the left, or at the bottom."""
    f = 0.86 * max(width, height) / 2840 * 2600
    matrix = np.array([[f, 0, (width - 1) / 2], [0, f, (height - 1) / 2], [0, 0, 1]])
    down = np.array([[1.0, 0, 0], [0, -1, 0], [0, 0, -1]])
    if portrait:
        down = np.array([[0.0, -1, 0], [-1, 0, 0], [0, 0, -1]])
    tilt, _ = cv2.Rodrigues(np.array([0.03, 0.02, 0.0]))
    rotation = tilt @ down
    translation = np.array([0, 0, 2600.0]) - rotation @ np.array([1270.0, 635.0, 0.0])
    return Camera(
        matrix, np.array([-0.05, 0.0, 0.0, 0.0]), cv2.Rodrigues(rotation)[0].ravel(), translation, 0.3
    )


def tracks() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The cue ball's and the called ball's paths."""
    cue = np.array([(STRIKE_S, *CUE), (HIT_S, *GHOST), (REST_S, *END)])
    called = np.array([(HIT_S, *CALLED), (DROP_S, 2540.0, 1270.0)])
    return cue, called


def analysis(info: Footage, cam: Camera) -> Analysis:
    """What is known of the clip, a plan and a comparison."""
    cue, called = tracks()
    seen = SeenShot(
        1, STRIKE_S, REST_S, {0: CUE, 9: CALLED, 3: OTHER}, {0: END, 3: OTHER}, (), cue, {9: called},
        (Event(HIT_S, "ball", (0, 9)), Event(DROP_S, "pocket", (9,), pocket="foot-left")),
        (Pocketed(9, "foot-left", DROP_S),), 0.9, 1.0, 3.5,
    )  # fmt: skip
    plan = Plan(
        9, "foot-left", "draw", "left", "firm", 0, LANDING, (CUE, GHOST, LANDING), "predicted",
        (CALLED, (2540.0, 1270.0)), GHOST,
    )  # fmt: skip
    off = float(np.hypot(END[0] - LANDING[0], END[1] - LANDING[1]))
    compared = Comparison(True, off, 80.0, 0, 0, "short", f"The cue ball stopped {off / 10:.0f} cm short.")
    note = Note(1.0, "nine in the foot-left", 1, Intent(9, "foot-left", landing=Landing(LANDING, "", True)))
    shot = Shot(seen, note, (), plan, comparison=compared)
    return Analysis(info, TABLE, cam, (shot,), Head(title="Nine, then three", series="Evening drills"))


def cut_list() -> CutList:
    """Title, plan, play, result, table; two chapters; two captions, one of them in two lines and beyond ASCII."""
    pieces = (
        Piece("title", 0.0, 1.0),
        Piece("plan", 1.0, 1.0, 1, 1.0),
        Piece("play", 2.0, 2.5, 1, 1.0, 3.5),
        Piece("result", 4.5, 1.0, 1, 3.5),
        Piece("table", 5.5, 1.0),
    )
    chapters = (Chapter("Shot 1: nine, foot-left", 0.0, 5.5), Chapter("All shots", 5.5, 6.5))
    cues = (
        Cue(1.0, 2.0, "Nine, foot-left corner"),
        Cue(4.5, 5.4, "It stopped 17 cm short –\nless draw than planned"),
    )
    return CutList(pieces, chapters, cues)


def scene(cam: Camera, width: int, height: int, t_s: float, *, flash: bool = True) -> NDArray[np.uint8]:
    """What the camera sees at a moment, shape (height, width, 3), blue-green-red."""
    picture = np.full((height, width, 3), 60, np.uint8)
    corners = [(-40, -40), (2580, -40), (2580, 1310), (-40, 1310)]
    cv2.fillPoly(picture, [np.round(project(cam, corners)).astype(np.int32)], CLOTH)
    places: dict[tuple[int, int, int], tuple[float, float]] = {(40, 40, 210): OTHER}
    cue, called = tracks()
    for colour, track, gone in (((245, 245, 245), cue, np.inf), ((0, 200, 240), called, DROP_S)):
        if t_s < gone:
            places[colour] = tuple(float(np.interp(t_s, track[:, 0], track[:, k])) for k in (1, 2))
    for colour, place in places.items():
        outline = ball_outline(cam, place, TABLE.radius_mm)
        cv2.fillPoly(picture, [np.round(outline * 16).astype(np.int32)], colour, cv2.LINE_AA, 4)
    if flash and t_s >= STRIKE_S:
        x, y = np.round(project(cam, [FLASH_MM])[0]).astype(int)
        picture[y - 8 : y + 8, x - 8 : x + 8] = 255
    return picture


@dataclass(frozen=True)
class Clip:
    """How the clip is made."""

    width: int = 640
    height: int = 360
    times_s: tuple[float, ...] = tuple(k / 30 for k in range(int(LENGTH_S * 30)))
    sound: bool = True
    turned: bool = False
    """Stored lying on its side with a rotation flag, as phones do."""
    start_s: float = 0.0
    """Presentation time of the first frame in the file."""


VARIABLE_TIMES_S = tuple(np.cumsum([0.0, *([0.017, 0.033, 0.050, 0.034] * 30)])[:118].round(4).tolist())
"""Phones drop and delay frames: 30 a second on average, 17 to 50 ms apart."""


def film(path: Path, clip: Clip) -> tuple[Footage, Camera]:
    """Encode the clip; return what it is and the camera of its upright picture."""
    cam = camera(clip.width, clip.height, portrait=clip.height > clip.width)
    with av.open(str(path), "w") as container:
        video = container.add_stream(
            "libx264", rate=30, options={"crf": "16", "preset": "ultrafast", "g": "15"}
        )
        video.width, video.height = (clip.height, clip.width) if clip.turned else (clip.width, clip.height)
        video.pix_fmt = "yuv420p"
        base = Fraction(1, 12000)
        video.codec_context.time_base = video.time_base = base
        video.codec_context.colorspace, video.codec_context.color_range = 1, 1
        audio = container.add_stream("aac", rate=44100, layout="mono") if clip.sound else None
        for t in clip.times_s:
            picture = scene(cam, clip.width, clip.height, t)
            if clip.turned:
                picture = np.ascontiguousarray(np.rot90(picture))
            frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
            frame = frame.reformat(format="yuv420p", dst_colorspace="ITU709", dst_color_range="MPEG")
            frame.time_base, frame.pts = base, round((t + clip.start_s) * 12000)
            for packet in video.encode(frame):
                container.mux(packet)
        for packet in video.encode(None):
            container.mux(packet)
        if audio is not None:
            _record(container, audio, clip)
    if clip.turned:
        _set_turn(path)
    shown = np.asarray(clip.times_s)
    step = float(np.diff(shown).mean())
    info = Footage(path.name, clip.width, clip.height, 1 / step, len(shown), float(shown[-1] + step))
    return info, cam


def _record(container: av.container.OutputContainer, audio: av.AudioStream, clip: Clip) -> None:
    """A faint hum, and a click of 2 ms at the strike."""
    t = np.arange(round(LENGTH_S * 44100)) / 44100
    samples = 0.01 * np.sin(2 * np.pi * 120 * t)
    samples[(t >= STRIKE_S) & (t < STRIKE_S + 0.002)] = 0.9
    frame = av.AudioFrame.from_ndarray(samples.astype(np.float32)[None], format="fltp", layout="mono")
    frame.sample_rate, frame.time_base = 44100, Fraction(1, 44100)
    frame.pts = round(clip.start_s * 44100)
    for packet in [*audio.encode(frame), *audio.encode(None)]:
        container.mux(packet)


def _set_turn(path: Path) -> None:
    """Write a quarter turn clockwise into the video track's display matrix (ISO/IEC 14496-12, track header box)."""
    data = bytearray(path.read_bytes())
    at = data.index(b"tkhd") + 4
    matrix = at + (40 if data[at] == 0 else 52)
    one = 1 << 16
    data[matrix : matrix + 36] = struct.pack(">9i", 0, one, 0, -one, 0, 0, 0, 0, 1 << 30)
    path.write_bytes(data)


def without_clear_times(a: Analysis) -> Analysis:
    """The same analysis, but nobody has told at which moment the table lies open."""
    shots = tuple(replace(s, seen=replace(s.seen, clear_before_s=None, clear_after_s=None)) for s in a.shots)
    return replace(a, shots=shots)
