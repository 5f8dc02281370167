"""The plan held against what happened."""
