"""Closure → pictures and VTU."""
