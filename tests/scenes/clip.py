"""Writes a scene as a clip with sound, as a phone or an action camera would."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from tests.scenes.lens import Array, View
from tests.scenes.scene import Scene, render

RATE_HZ = 48000


def frame_times(duration_s: float, fps: float, vfr: bool, rng: np.random.Generator) -> Array:
    """When each frame is exposed; with `vfr` frames come unevenly and some are left out."""
    t = np.arange(max(1, round(duration_s * fps))) / fps
    if not vfr:
        return t
    keep = rng.random(len(t)) > 0.08
    keep[0] = True
    out = t + np.r_[0.0, rng.uniform(0, 0.35 / fps, len(t) - 1)]
    return np.asarray(out[keep], float)


def _click(pitch_hz: float, loud: float, rng: np.random.Generator) -> Array:
    t = np.arange(int(0.03 * RATE_HZ)) / RATE_HZ
    body = np.sin(2 * np.pi * pitch_hz * t) + 0.5 * np.sin(2 * np.pi * 1.7 * pitch_hz * t)
    return np.asarray(loud * np.exp(-t / 0.004) * (0.7 * body + 0.5 * rng.standard_normal(len(t))), float)


def soundtrack(scene: Scene, noise: float = 0.004) -> NDArray[np.float32]:
    """Mono sound of a scene: a click for the tip, each ball contact, cushion and drop, over the room's noise."""
    rng = np.random.default_rng(scene.seed + 1)
    n = int(scene.duration_s * RATE_HZ)
    out = noise * rng.standard_normal(n)
    pitch = {"ball": 3600.0, "cushion": 420.0, "pocket": 190.0}
    for shot in scene.shots:
        sounds = [(0.0, 1900.0, 0.12 + 0.08 * shot.motion.speed_mps)]
        for e in shot.motion.events:
            loud = {"ball": 0.2, "cushion": 0.05, "pocket": 0.25}[e["kind"]] * min(e["speed_mps"], 3.0)
            sounds.append((float(e["t"]), pitch[e["kind"]], loud))
        for t, hz, loud in sounds:
            at = int((shot.strike_s + t) * RATE_HZ)
            c = _click(hz, loud, rng)[: max(0, n - at)]
            out[at : at + len(c)] += c
    return np.clip(out, -1, 1).astype(np.float32)


def _mux_sound(box: Any, stream: Any, sound: NDArray[np.float32]) -> None:
    for k in range(0, len(sound), 1024):
        part = np.ascontiguousarray(sound[k : k + 1024][None])
        frame = av.AudioFrame.from_ndarray(part, format="fltp", layout="mono")
        frame.sample_rate, frame.pts, frame.time_base = RATE_HZ, k, Fraction(1, RATE_HZ)
        box.mux(stream.encode(frame))
    box.mux(stream.encode(None))


def write_clip(
    scene: Scene, path: Path, fps: float = 30.0, codec: str = "libx264", bitrate: int | None = 8_000_000,
    sound: bool = True, vfr: bool = False, rotation: int = 0, preset: str = "veryfast",
    bumped: tuple[float, View] | None = None, keys_s: float | None = None,
) -> Array:  # fmt: skip
    """Films a scene into an mp4 (BT.709, limited range); gives the frames' times, seconds.

    `bumped`: from this time on the camera has that other view. `keys_s`: time from key frame to key frame, at most.

    `rotation` (0, 90, 180, 270) stores the picture turned, with the clockwise turn for showing it in the header.
    """
    times = frame_times(scene.duration_s, fps, vfr, np.random.default_rng(scene.seed + 2))
    side = rotation in (90, 270)
    w, h = scene.view.width, scene.view.height
    with av.open(str(path), "w") as box:
        video: Any = box.add_stream(codec, rate=Fraction(fps).limit_denominator(1001))
        video.width, video.height, video.pix_fmt = (h, w, "yuv420p") if side else (w, h, "yuv420p")
        video.codec_context.time_base = Fraction(1, 90000)
        video.options = {"preset": preset}
        if keys_s:
            video.gop_size = round(keys_s * fps)
        if bitrate:
            video.bit_rate = bitrate
        c = video.codec_context
        c.color_primaries = c.color_trc = c.colorspace = 1
        c.color_range = 1
        if rotation:
            video.set_display_rotation(-rotation)
        audio: Any = box.add_stream("aac", rate=RATE_HZ, layout="mono") if sound else None
        after = replace(scene, view=bumped[1]) if bumped else scene
        for t in times:
            shown = after if bumped and t >= bumped[0] else scene
            picture = np.ascontiguousarray(np.rot90(render(shown, float(t)), rotation // 90))
            frame = av.VideoFrame.from_ndarray(picture, format="bgr24").reformat(
                format="yuv420p", dst_colorspace="ITU709", dst_color_range="MPEG"
            )
            frame.pts, frame.time_base = round(float(t) * 90000), Fraction(1, 90000)
            box.mux(video.encode(frame))
        box.mux(video.encode(None))
        if audio is not None:
            _mux_sound(box, audio, soundtrack(scene))
    return times
