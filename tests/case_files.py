"""Case files as text: one that says all, one that says what is needed, and a slit."""

# Short lines, so that places are easy to count.
GOOD = """\
name: bench
wound:
  outline: {kind: lens, length_mm: 60, width_mm: 20}
  lesion: {diameter_mm: 12, margin_mm: 4}
closure:
  undermine_mm: 15
  seam: hinge
skin:
  thickness_mm: 1.5
  law: {kind: neo-hooke, shear_kPa: 33.3}
  tension: {along_N_per_m: 20, across_N_per_m: 10}
bed: {pull_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}
patch: {radius_mm: 120}
mesh: {edge_mm: 2, tip_mm: 1.6, far_mm: 6}
"""
SHORT = """\
name: short
wound: {outline: {kind: circle, diameter_mm: 20}}
skin: {thickness_mm: 2, law: {kind: neo-hooke, shear_kPa: 33.3}}
"""
SLIT = """\
name: z
wound: {outline: {kind: slit, length_mm: 20}}
closure: {technique: z-plasty}
skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}}
"""
