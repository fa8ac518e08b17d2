"""Closure → its numbers, a family a file; `fem.closure.measure` lists them."""
