"""The playing surface: sizes, the camera over it, where it lies in the picture."""
