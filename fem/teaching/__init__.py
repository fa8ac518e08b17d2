"""Closed cases → templates, sheets, films, bodies to print and pages to explore."""
