"""Lengths and points → plane curves and the outlines that two of them make."""
