"""Scenes with exact truth as the frames that seeing reads, without a file in between."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import av
import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import Frame
from lessonkit.model import Camera
from lessonkit.seeing.bedview import BedView
from lessonkit.seeing.cloth import BareTable
from lessonkit.seeing.patches import Patcher
from tests.scenes import Scene, make_camera, render

MM_PER_PX = 3.2
"""Of the bed view, as `watch` takes it."""


def frame(scene: Scene, t_s: float) -> Frame:
    """The frame exposed at a time, as decoding would give it."""
    return decoded(render(scene, t_s), t_s)


def decoded(picture: NDArray[np.uint8], t_s: float) -> Frame:
    """A picture as decoding would give it: BT.709, limited range, colours at half size."""
    raw = av.VideoFrame.from_ndarray(picture, format="bgr24").reformat(
        format="yuv420p", dst_colorspace="ITU709", dst_color_range="MPEG"
    )
    raw.colorspace, raw.color_range = 1, 1
    raw.pts, raw.time_base = round(t_s * 90000), Fraction(1, 90000)
    return Frame(t_s, raw, 0)


def frames(scene: Scene, from_s: float, to_s: float, fps: float) -> Iterator[Frame]:
    """Frames of a stretch, at multiples of a frame."""
    for k in range(int(np.ceil(from_s * fps)), int(to_s * fps) + 1):
        yield frame(scene, k / fps)


@dataclass(frozen=True, eq=False)
class Filmed:
    """A scene under its true camera: what is seen of it is then wrong by seeing alone."""

    scene: Scene
    camera: Camera
    view: BedView
    bare: BareTable
    patcher: Patcher

    @classmethod
    def of(cls, scene: Scene, times_s: list[float]) -> Filmed:
        """The bare table is told from frames at these times."""
        camera = make_camera(scene.view, scene.table)
        view = BedView.of(camera, scene.table, MM_PER_PX)
        bare = BareTable.of(view, [view.warp_frame(frame(scene, t)) for t in times_s])
        return cls(scene, camera, view, bare, Patcher(camera, scene.table))
