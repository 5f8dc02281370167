"""Says in one sentence when this Python cannot carry lessonkit; runs on any Python 3, before anything is installed."""

import sys

OLDEST, NEWEST = (3, 11), (3, 13)


def complaint(version, has_venv):
    """One sentence saying what to do, or None when all is well; `version` is (major, minor)."""
    if not OLDEST <= tuple(version[:2]) <= NEWEST:
        return (
            "lessonkit needs Python 3.11, 3.12 or 3.13 and this is {}.{}; "
            "install one of them and run: make PYTHON=python3.12 demo".format(*version[:2])
        )
    if not has_venv:
        return "Python's venv module is missing; on Debian or Ubuntu run: apt-get install -y python3-venv"
    return None


def _has_venv():
    try:
        import ensurepip  # noqa: F401
        import venv  # noqa: F401
    except ImportError:
        return False
    return True


if __name__ == "__main__":
    sys.exit(complaint(sys.version_info, _has_venv()))
