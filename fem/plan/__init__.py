"""Outline → sewing plan: what is removed, cut, sewn, left open and undermined, checked."""
