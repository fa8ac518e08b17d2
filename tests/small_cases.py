"""Small cases on coarse triangles, a second or two each; one cannot be closed."""

from fem.case import case as cases
from fem.case.document import parse

WRITTEN = """\
name: NAME
wound: {outline: {kind: lens, length_mm: LENGTH, width_mm: 10}}
closure: {undermine_mm: 6}
skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}, tension: {along_N_per_m: 2, across_N_per_m: 1}}
bed: {normal_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}
patch: {radius_mm: 40}
mesh: {edge_mm: 2, tip_mm: 2, far_mm: 9}
"""
SMALL = """\
name: small
wound: {outline: {kind: lens, length_mm: 30, width_mm: 10}}
closure: {undermine_mm: 6}
skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}, tension: {along_N_per_m: 10, across_N_per_m: 5}}
bed: {normal_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}
patch: {radius_mm: 40}
mesh: {edge_mm: 3, tip_mm: 3, far_mm: 9}
"""
HELD = """\
name: held
wound: {outline: {kind: lens, length_mm: 30, width_mm: 10}}
skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}}
bed: {normal_kPa_per_mm: 1e5, shear_kPa_per_mm: 1e5}   # does not let go of the skin: its edges cannot meet
patch: {radius_mm: 24}
mesh: {edge_mm: 3, tip_mm: 3, far_mm: 9}
"""
STUCK = HELD.replace("held", "stuck")


def text(name, length):
    """A case file: a lens of the given length, 10 mm wide."""
    return WRITTEN.replace("NAME", name).replace("LENGTH", str(length))


def case(written):
    """The case in a text."""
    return parse(written, cases.Case, "test.yaml")
