"""One outline of every kind, and sizes of meshes."""

from math import cos, pi, sin

from fem.geometry.outlines import OUTLINES

COARSE = {"radius": 60, "edge": 3.0, "tip": 3.0, "far": 9.0}  # mm, sizes of meshes
FINE = {"radius": 60, "edge": 2.0, "tip": 1.6, "far": 6.0}  # mm
ROUND_OFF = 1e-12  # of a length or an area

EGG = [2 * pi * k / 100 for k in range(100)]
KEYS = {  # of one outline of every kind, about 20 mm wide
    "circle": {"diameter_mm": 20.0},
    "ellipse": {"length_mm": 60.0, "width_mm": 20.0},
    "lens": {"length_mm": 60.0, "width_mm": 20.0},
    "rhombus": {"length_mm": 60.0, "width_mm": 20.0},
    "tangent": {"length_mm": 60.0, "width_mm": 20.0},
    "teardrop": {"length_mm": 40.0, "width_mm": 20.0},
    "crescent": {"length_mm": 40.0, "upper_mm": 12.0, "lower_mm": 5.0},
    "lazy-s": {"length_mm": 60.0, "width_mm": 20.0, "sway_mm": 8.0},
    "lens-with-m": {"length_mm": 60.0, "width_mm": 20.0, "shorter_mm": 8.0, "m_at": "right"},
    "triangle": {"base_mm": 20.0, "height_mm": 40.0},
    "square": {"side_mm": 20.0},
    "polygon": {"points_mm": ((-30.0, 0.0), (0.0, -9.0), (30.0, 0.0), (4.0, 11.0))},
    "traced": {"points_mm": tuple((25 * cos(t) + 4 * cos(2 * t), 9 * sin(t) + 2 * sin(2 * t)) for t in EGG)},
}
EVERY_KIND = {kind: OUTLINES[kind](**keys) for kind, keys in KEYS.items()} | {
    "lens-with-two-ms": OUTLINES["lens-with-m"](**KEYS["lens-with-m"] | {"m_at": "both", "m_tip_rad": pi / 3}),
}
