"""The lesson as a list of pieces, and the drawing on its pictures. Knows only the analysis."""
