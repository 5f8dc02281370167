"""Made-up rooms that are hard on finding the camera: any size, lens, tilt and side, rails cropped, a lamp in view.

Wider than tests/scenes' own stills: these try the camera, not the balls. Run as a program, it measures
(`python -m tests.table.rooms 60`): largest error over the bed against truth, and what the finder said of it.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import TableError
from lessonkit.model import Camera, Table
from lessonkit.table.camera import centre_mm, project, unproject
from lessonkit.table.finding import Surface, find_table
from lessonkit.table.sizes import table_of_size
from tests.scenes.lens import View
from tests.scenes.making import STRENGTHS, random_look, random_scene
from tests.scenes.scene import Scene, Stage

Picture = NDArray[np.uint8]
Array = NDArray[np.float64]
_SIZES_MM = (
    (2540.0, 1270.0), (2540.0, 1270.0), (2540.0, 1270.0), (2336.8, 1168.4), (2235.2, 1117.6), (2032.0, 1016.0),
    (1981.2, 990.6), (1930.4, 965.2), (2840.0, 1420.0), (2410.0, 1150.0),
)  # fmt: skip
"""Common ones by how often they are met, an oversize, and one whose sides are not as two to one."""
_FRAMES = ((1280, 720), (1280, 720), (1920, 1080), (1920, 1080), (1440, 1080), (720, 1280))
TIMES_S = (0.0, 0.4, 0.8)


@dataclass(frozen=True, eq=False)
class Room:
    """A scene, its true camera and what was filmed of it."""

    scene: Scene
    camera: Camera
    pictures: tuple[Picture, ...]
    traits: str


def random_room(seed: int, *, large: bool = False) -> Room:
    """Room number `seed`: always the same one. `large`: 4K."""
    rng = np.random.default_rng(9000 + seed)
    base = random_scene(rng, ("easy", "middling", "hard")[seed % 3], size=(1280, 720))
    hard = STRENGTHS["hard" if seed % 3 else "middling"]
    length, width = _SIZES_MM[int(rng.integers(len(_SIZES_MM)))]
    table = replace(
        table_of_size(f"{length:g}x{width:g}"),
        corner_mouth_mm=float(rng.uniform(110, 124)),
        side_mouth_mm=float(rng.uniform(122, 136)),
    )
    view = _view(rng, table, (3840, 2160) if large else _FRAMES[int(rng.integers(len(_FRAMES)))])
    look = random_look(rng, hard)
    keep = {n: p for n, p in base.layout.items() if 40 < p[0] < length - 40 and 40 < p[1] < width - 40}
    someone = base.acts if rng.random() < 0.25 else ()
    scene = replace(base, table=table, view=view, look=look, layout=keep, acts=someone)
    stage = Stage(scene)
    pictures = [stage.frame(t) for t in TIMES_S]
    hung = bool(rng.random() < 0.25)
    if hung:
        pictures = [_hang_lamp(p, stage.camera, table, np.random.default_rng(seed)) for p in pictures]
    traits = (
        f"{length:g}x{width:g} {view.width}x{view.height} tilt {view.tilt_deg:.0f} from {view.from_deg:.0f} "
        f"roll {view.roll_deg:.0f} k1 {view.k1:.2f} fill {view.fill:.2f} noise {look.noise:.0f} "
        f"blur {look.blur_px:.1f} uneven {look.unevenness:.1f} glare {look.glare:.1f}"
        f"{' lamp' if hung else ''}{' person' if someone else ''} cloth {tuple(int(c) for c in look.cloth)}"
    )
    return Room(scene, stage.camera, tuple(pictures), traits)


def _view(rng: np.random.Generator, table: Table, size: tuple[int, int]) -> View:
    tilt = float(rng.choice([rng.uniform(0, 6), rng.uniform(6, 20), rng.uniform(20, 35)]))
    side = float(rng.choice([270.0, 90.0, 0.0, 180.0]) + rng.normal(0, 15))
    # most people hold the far side up; a mount may turn the picture any way
    along = 0.0 if size[0] > size[1] else 90.0
    roll = side - 270.0 if tilt > 6 and rng.random() < 0.5 else along + 180.0 * float(rng.random() < 0.4)
    k1 = float(rng.choice([rng.uniform(-0.32, -0.2), rng.uniform(-0.2, 0.0), rng.uniform(-0.05, 0.05)]))
    return View(
        *size, distance_mm=float(rng.uniform(2300, 3800)) * table.length_mm / 2540 + 200, tilt_deg=tilt, from_deg=side,
        roll_deg=roll + float(rng.normal(0, 3)), fill=float(rng.uniform(1.0, 1.07) if rng.random() < 0.25 else rng.uniform(0.7, 0.97)),
        k1=k1, k2=float(-0.2 * k1), p1=float(rng.normal(0, 2e-4)), p2=float(rng.normal(0, 2e-4)),
        off_px=(float(rng.normal(0, 6)), float(rng.normal(0, 6))),
    )  # fmt: skip


def _hang_lamp(picture: Picture, camera: Camera, table: Table, rng: np.random.Generator) -> Picture:
    """The picture with a lamp hanging between camera and table: a bright shade with a dim edge and a glow."""
    eye = centre_mm(camera)
    z = float(min(rng.uniform(700, 1300), 0.55 * eye[2]))
    x, y = table.length_mm * rng.uniform(0.3, 0.7), table.width_mm * rng.uniform(0.2, 0.8)
    a, b = rng.uniform(150, 380), rng.uniform(50, 110)
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    box = np.c_[
        np.sign(np.cos(t)) * np.abs(np.cos(t)) ** 0.4 * a, np.sign(np.sin(t)) * np.abs(np.sin(t)) ** 0.4 * b
    ]
    out = picture.copy()
    for grow, value in ((1.0, (60, 62, 66)), (0.9, (252, 254, 255))):
        px = project(camera, box * grow + (x, y), z)
        cv2.fillPoly(out, [np.round(px * 16).astype(np.int32)], value, cv2.LINE_AA, 4)
    glow = cv2.GaussianBlur(np.where(out > 245, out, 0).astype(np.float32), (0, 0), picture.shape[1] / 60)
    return np.asarray(np.clip(out + 0.3 * glow, 0, 255), np.uint8)


def head_side(camera: Camera, table: Table) -> str:
    """The side of the picture on which the head lies, by the true camera."""
    ends = project(camera, np.array([[0.0, table.width_mm / 2], [table.length_mm, table.width_mm / 2]]))
    dx, dy = ends[0] - ends[1]
    if abs(dx) > abs(dy):
        return "left" if dx < 0 else "right"
    return "top" if dy < 0 else "bottom"


def errors_mm(true: Camera, found: Camera, table: Table) -> Array:
    """How far off the bed's places are at the height of the balls' centres, shape (N,)."""
    r = table.radius_mm
    x, y = np.linspace(r, table.length_mm - r, 15), np.linspace(r, table.width_mm - r, 9)
    grid = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    return np.asarray(np.hypot(*(unproject(found, project(true, grid, r), r) - grid).T), float)


def look(room: Room) -> tuple[Surface | None, Array, float]:
    """The surface found (None: refused), its errors over the bed, and the processor time that it took."""
    table = room.scene.table
    began = time.process_time()
    try:
        surface = find_table(
            room.pictures, size=f"{table.length_mm:g}x{table.width_mm:g}", head=head_side(room.camera, table)
        )
    except TableError:
        return None, np.full(1, np.inf), time.process_time() - began
    return surface, errors_mm(room.camera, surface.camera, table), time.process_time() - began


def main() -> None:
    """Measure rooms 0 to N - 1 and print one line each."""
    cv2.setNumThreads(1)
    for seed in range(int(sys.argv[1])):
        room = random_room(seed)
        surface, off, took = look(room)
        said = (
            "refused"
            if surface is None
            else f"{np.median(off):6.2f} {off.max():7.2f} px {surface.camera.error_px}"
        )
        print(f"{seed:3d} {said} {took:.1f} s  {room.traits}", flush=True)


if __name__ == "__main__":
    main()
