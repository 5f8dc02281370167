"""Values as TOML text, compact and for people to edit; reading is the standard library's tomllib.

No library at hand writes inline tables within a commented file; what is written here is held against tomllib in tests.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any


def value_text(value: Any) -> str:
    """One value as TOML: text, number, truth value, list or inline table.

    Raises TypeError for anything else.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # JSON's escapes are a part of TOML's (TOML 1.0, basic strings), which also wants DEL escaped
        clean = value.encode("utf-8", "replace").decode("utf-8")
        return json.dumps(clean, ensure_ascii=False).replace("\x7f", "\\u007F")
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, Mapping):
        inside = ", ".join(f"{key_text(k)} = {value_text(v)}" for k, v in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, Sequence):
        return "[" + ", ".join(value_text(v) for v in value) + "]"
    raise TypeError(f"{type(value).__name__} has no TOML text here")


def key_text(key: str) -> str:
    """A key, quoted where it must be."""
    bare = key and all(c.isascii() and (c.isalnum() or c in "-_") for c in key)
    return key if bare else value_text(key)
