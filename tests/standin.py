"""Stand-ins for the solver: what they do is written in the case's mesh sizes, so that a study file can ask for it."""
