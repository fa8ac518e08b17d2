"""Strain → energy and its derivatives; pre-tension → prestretch."""
