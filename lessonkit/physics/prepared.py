"""A table and a layout as the arrays that the compiled event loop works on."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from lessonkit.model import Table
from lessonkit.physics.cushions import Face, cushions_of
from lessonkit.physics.kernels.state import Constants, Edges
from lessonkit.physics.laws import Laws
from lessonkit.physics.motion import constants


@lru_cache(maxsize=8)
def faces_of(table: Table) -> tuple[Face, ...]:
    """All straight faces in the order of `Edges.faces`: noses, then each pocket's two jaws."""
    edges = cushions_of(table)
    return (*edges.noses, *(f for d in edges.drops for f in d.faces))


@lru_cache(maxsize=8)
def edges_of(table: Table) -> Edges:
    """What stands around a table's cloth."""
    edges = cushions_of(table)
    faces = faces_of(table)
    noses = len(edges.noses)
    tips = [
        (t.x, t.y, 1.0 if t.cushion in ("head", "foot") else 0.0, _jaw_of(t.cushion, faces, noses + 2 * k))
        for k, d in enumerate(edges.drops)
        for t in d.tips
    ]
    return Edges(
        np.array([(f.sx, f.sy, f.ex, f.ey, f.nx, f.ny) for f in faces]),
        noses,
        np.array(tips, dtype=np.float64),
        np.array([(d.x, d.y, d.ox, d.oy, *d.mouth, d.reach_mm) for d in edges.drops]),
    )


def _jaw_of(cushion: str, faces: tuple[Face, ...], first: int) -> int:
    """The first of two jaws that belongs to a cushion."""
    return first if faces[first].cushion == cushion else first + 1


@lru_cache(maxsize=64)
def constants_of(laws: Laws, table: Table) -> Constants:
    """Laws and sizes for the compiled functions."""
    edges = cushions_of(table)
    return constants(laws, table.radius_mm, edges.touch_mm, edges.sine)
