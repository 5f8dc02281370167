"""Pictures and clips of invented tables with exact truth, to test the seeing. Knows nothing of how seeing works."""

from __future__ import annotations

from tests.scenes.lens import View, make_camera
from tests.scenes.look import Lamp, Look
from tests.scenes.scene import Placement, Scene, Shot, render, stage

__all__ = ["Lamp", "Look", "Placement", "Scene", "Shot", "View", "make_camera", "render", "stage"]
