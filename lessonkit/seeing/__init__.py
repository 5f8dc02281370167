"""What the footage shows: shots, layouts, ball numbers, paths and events. Knows no notes."""
