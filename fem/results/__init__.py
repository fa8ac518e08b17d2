"""Closure ↔ results folder; how numbers are named, printed and ranked."""
