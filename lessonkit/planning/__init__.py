"""From an intent and a layout to a planned path."""
