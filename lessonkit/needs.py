"""What lessonkit needs of the machine, told in one sentence when it is missing."""

from __future__ import annotations

import re

_LIBRARY = re.compile(r"(lib[\w.+-]+\.so[\w.]*): cannot open shared object file")


def explain(error: ImportError) -> str:
    """One sentence saying what is missing and what to install."""
    text = str(error)
    library = _LIBRARY.search(text)
    if library:
        return (
            f"OpenCV cannot start because this machine lacks the system library {library[1]}; on Debian or Ubuntu run "
            "`apt-get install -y libgl1 libglib2.0-0`, or put opencv-python-headless in the place of opencv-python."
        )
    name = (error.name or "").partition(".")[0]
    if name and name != "lessonkit":
        return f"The Python package {name} is missing here; install lessonkit again with `pip install .` in its folder."
    return (
        f"A part of lessonkit cannot be loaded ({text}); install it again with `pip install .` in its folder."
    )
