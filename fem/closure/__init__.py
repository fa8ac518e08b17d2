"""Case → closure → numbers."""
