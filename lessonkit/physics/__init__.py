"""How balls move: the published laws, simulated. Knows no video and no notes."""
