"""The table's own figures, read from the tracked balls: cloth and cushions."""
