"""Commands → calls of what is before."""
