"""Tactics: what can be played from a layout, and what it leads to; docs/tactics.md."""
