"""Closing a skin wound in the computer."""

__version__ = "0.1.0"
