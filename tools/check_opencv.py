"""Makes `import cv2` work in this virtual environment, on a machine without a desktop's system libraries too.

opencv-python links against libGL and libxcb, which a bare server lacks. There the same version of
opencv-python-headless, the same cv2 without windows, is put in its place inside the environment, and said so.
"""

from __future__ import annotations

import subprocess
import sys
from importlib.metadata import PackageNotFoundError, version


def _import_error() -> str | None:
    """The reason why `import cv2` fails, asked in a fresh process; None when it works."""
    run = subprocess.run([sys.executable, "-c", "import cv2"], capture_output=True, text=True, check=False)
    return None if run.returncode == 0 else run.stderr.strip().splitlines()[-1]


def _pip(*args: str) -> None:
    subprocess.run([sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check", *args], check=True)


def main() -> str | None:
    """Swap if needed; returns a sentence when cv2 cannot be made to work."""
    reason = _import_error()
    if reason is None:
        return None
    if sys.prefix == sys.base_prefix:
        return f"OpenCV does not import ({reason}); run: apt-get install -y libgl1 libglib2.0-0"
    try:
        wanted = version("opencv-python")
    except PackageNotFoundError:
        return f"OpenCV does not import ({reason}); run make clean and try again."
    print(
        f"This machine lacks system libraries that opencv-python needs ({reason}); "
        f"putting opencv-python-headless {wanted} in its place inside {sys.prefix}.",
        file=sys.stderr,
    )
    try:
        _pip("uninstall", "--yes", "opencv-python")
        # An exact version: the headless wheel is built from the same source as the one it stands in for. Forced, for
        # removing opencv-python takes away files that both wheels own.
        _pip("install", "--force-reinstall", "--no-deps", f"opencv-python-headless=={wanted}")
    except subprocess.CalledProcessError as e:
        return f"The swap failed ({e}); run: apt-get install -y libgl1 libglib2.0-0, then make clean."
    reason = _import_error()
    return None if reason is None else f"OpenCV still does not import: {reason}"


if __name__ == "__main__":
    sys.exit(main())
