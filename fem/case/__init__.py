"""YAML → a case, and its plan, law and sizes in mm, N and MPa."""
