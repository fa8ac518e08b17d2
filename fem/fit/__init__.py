"""Tension tests → parameters of a law and their intervals."""
