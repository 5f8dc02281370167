"""What is good enough: each measure's limits, why they lie there, and what to do beyond them.

`docs/filming.md` has the same table for people; a test holds the two together. Where no source is named the limit is
common practice, no source, set where lessonkit's own seeing was found to grow worse.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Grade = Literal["good", "care", "bad", "unknown"]


@dataclass(frozen=True)
class Limit:
    """Of one measure. `care` and `bad` are values from which on it is so; below where `low`, else above."""

    key: str
    label: str
    unit: str
    care: float
    bad: float
    low: bool
    digits: int
    factor: float
    """The value is shown in `unit` times this."""
    trouble: str
    """Plain words for what is wrong."""
    advice: str
    why: str

    def grade(self, value: float | None) -> Grade:
        """'good', 'care', 'bad', or 'unknown' for None."""
        if value is None:
            return "unknown"
        far, some = (
            (value < self.bad, value < self.care) if self.low else (value > self.bad, value > self.care)
        )
        return "bad" if far else "care" if some else "good"

    def shown(self, value: float | None) -> str:
        """The value with its unit, for people."""
        if value is None:
            return "not measured"
        return f"{value * self.factor:.{self.digits}f}{'' if self.unit == '%' else ' '}{self.unit}".strip()


LIMITS: tuple[Limit, ...] = (
    Limit(
        "white", "brightness of the brightest things", "of 255", 115, 60, True, 0, 1,
        "the picture is too dark", "Put more light on the table, or let the camera expose longer than it does now (not beyond 1/60 s).",
        "the white of balls and sights must stand well above the cloth and the noise; the trade asks for 520 lux on the "
        "bed (WPA equipment specification, clause 15)",
    ),
    Limit(
        "clipped", "burnt-out share of the bed", "%", 0.04, 0.2, False, 1, 100,
        "part of the bed is burnt out", "Lower the exposure, or move the lamp whose reflection lies on the cloth.",
        "where the picture is white all over, white balls cannot be seen",
    ),
    Limit(
        "noise", "noise", "grey levels", 9, 18, False, 1, 1,
        "the picture is noisy", "Put more light on the table, so that the camera need not amplify.",
        "up to 9 grey levels has been measured with made-up scenes (docs/camera.md)",
    ),
    Limit(
        "blur_mm", "blur (standard deviation)", "mm", 3.0, 6.5, False, 1, 1,
        "the picture is out of focus", "Wipe the lens, focus on the cloth and lock the focus there.",
        "a quarter of a ball's radius (28.6 mm) is 7 mm: edges wider than that do not show where a ball ends",
    ),
    Limit(
        "ball_px", "width of a ball", "px", 18, 11, True, 0, 1,
        "balls are too small in the picture", "Film in a higher resolution, or fill more of the picture with the table.",
        "numbers are told from the colour inside a ball's rim; 9 ft across a 720-line picture gives 24 px",
    ),
    Limit(
        "angle_deg", "slant of the view", "degrees", 25, 38, False, 0, 1,
        "the camera looks too much from the side", "Hang it nearer to above the middle of the table.",
        "up to 35 degrees has been measured (docs/camera.md); balls hide each other and people hide balls sooner",
    ),
    Limit(
        "bed_inside", "playing surface in the picture", "%", 0.999, 0.985, True, 1, 100,
        "part of the playing surface is cut off", "Move the camera back or turn it, until all four cushions are in the picture.",
        "a ball outside the picture cannot be seen",
    ),
    Limit(
        "rails_inside", "rails (out to the sights) in the picture", "%", 0.97, 0.6, True, 0, 100,
        "the rails are cut off", "Move the camera back a little: the sights on the rails tell where the camera hangs.",
        "sights and the ends of the cushions are the evidence for the camera (docs/camera.md)",
    ),
    Limit(
        "exposure_s", "shutter", "ms", 0.022, 0.034, False, 0, 1000,
        "the shutter is too slow, so moving balls smear", "Set the shutter to 1/120 s or shorter and put more light on the table.",
        "at 22 ms a ball at 2 m/s smears over three quarters of its width",
    ),
    Limit(
        "fps", "frames a second", "", 28, 20, True, 1, 1,
        "there are too few frames a second", "Film at 30 frames a second or more; 60 is better for fast shots.",
        "at 20 a second a ball at 4 m/s goes 200 mm from frame to frame, past three others",
    ),
    Limit(
        "lost", "frames missing or repeated", "%", 0.04, 0.2, False, 1, 100,
        "frames are missing or repeated", "Close other apps, use a faster card, or a lower resolution.",
        "the time of a contact is told from the frames on both sides of it",
    ),
    Limit(
        "flicker", "flicker", "%", 0.03, 0.15, False, 1, 100,
        "the light flickers", "Set the shutter to the mains: 1/50 or 1/100 s at 50 Hz, 1/60 or 1/120 s at 60 Hz; or change the lamp.",
        "the lamp beats at twice the mains' frequency; colours and the bare table are told by comparing frames",
    ),
    Limit(
        "drift", "change of exposure", "%", 0.2, 0.6, False, 0, 100,
        "the camera changes its exposure", "Lock exposure and white balance.",
        "a ball is told from another by its colour",
    ),
    Limit(
        "sway_px", "movement of the camera", "px", 1.5, 8, False, 1, 1,
        "the camera moves", "Fix the mount, and keep hands off the camera and what it hangs on.",
        "places are worked out for a camera that stays where it is; a pixel is 1.5 to 2.5 mm",
    ),
    Limit(
        "bits_per_px", "bits a pixel (as H.264)", "", 0.012, 0.003, True, 4, 1,
        "the footage is heavily compressed", "Film at the camera's highest bitrate, and copy the file itself instead of sending it through a messenger.",
        "a phone spends 0.1 to 0.3; at 0.02 (the sample) all was read; balls that move are coded worst",
    ),
    Limit(
        "hidden", "always hidden share of the bed", "%", 0.01, 0.04, False, 1, 100,
        "somebody or something stands in front all the time", "Leave the table free for a second after each shot, and hang the camera where nobody leans into the view.",
        "what is never seen cannot be told; 1 % is the area of twelve balls",
    ),
    Limit(
        "clear", "pictures with nobody in front", "%", 0.1, -1, True, 0, 100,
        "nobody steps back from the table", "Leave the table free for a second after each shot.",
        "layouts are read while nobody is in front",
    ),
)  # fmt: skip
"""All limits, in the order in which a person should mend things."""

CODINGS = {"h264": 1.0, "hevc": 2.0, "av1": 2.0, "vp9": 1.7, "mpeg4": 0.6, "mjpeg": 0.15}
"""How many bits of H.264 a bit of each coding is worth, roughly (common practice, no source)."""
