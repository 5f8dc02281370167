"""Pictures and clips of invented tables with exact truth, to test the seeing. Knows nothing of how seeing works."""

from __future__ import annotations

from tests.scenes.clip import write_clip
from tests.scenes.layouts import rack, random_layout
from tests.scenes.lens import View, make_camera
from tests.scenes.look import Lamp, Look
from tests.scenes.making import TABLES, Script, random_scene
from tests.scenes.motion import simulate
from tests.scenes.people import Act
from tests.scenes.scene import Placement, Scene, Shot, render, stage
from tests.scenes.truth import truth

__all__ = [
    "TABLES",
    "Act",
    "Lamp",
    "Look",
    "Placement",
    "Scene",
    "Script",
    "Shot",
    "View",
    "make_camera",
    "rack",
    "random_layout",
    "random_scene",
    "render",
    "simulate",
    "stage",
    "truth",
    "write_clip",
]
