"""What pages and films draw of a closure: the skin stage by stage, and heights and tensions along lines."""

from dataclasses import dataclass
from pathlib import Path
from zipfile import BadZipFile

import numpy as np
import shapely

from fem.closure.closure import Closure
from fem.closure.measures.cones import tops
from fem.closure.measures.scars import line_tension
from fem.material.skin import N_PER_M
from fem.mechanics.edges import SAME
from fem.mechanics.triangulation import flat_triangles

SINGLE = "x", "stress_kPa", "X"  # stored in single precision
# Shapes of stored arrays, letters being one number each, and the kind of their members: float, int or text.
STORED = {
    "closed": ("s", "f"), "label": ("s", "U"), "x": ("s3n", "f"), "stress_kPa": ("sn", "f"), "X": ("2n", "f"),
    "elements": ("6m", "iu"), "seams": ("2j", "iu"), "seam_of": ("j", "iu"), "tips": ("t", "iu"), "centre": ("3", "f"),
    "half_width": ("", "f"),
}  # fmt: skip


@dataclass(frozen=True)
class Stages:
    """The skin from the gaping wound to the closed one."""

    closed: np.ndarray  # (s,) fraction of the gap that is closed, or of the sutures that are tied
    label: np.ndarray  # (s,) what was done last, if it is not said by `closed`
    x: np.ndarray  # (s, 3, n) mm
    stress_kPa: np.ndarray  # (s, n) greatest principal stress
    X: np.ndarray  # (2, n) mm, in the uncut skin
    elements: np.ndarray  # (6, m) nodes of quadratic triangles, as in `Mesh`
    seams: tuple[np.ndarray, ...]  # each (2, 2 k + 1) nodes along its edges: vertex, midpoint, vertex, ...
    tips: np.ndarray  # (t,) nodes
    centre: np.ndarray  # (3,) mm, of a view that holds the wound
    half_width: float  # mm, of that view

    @property
    def pairs(self) -> np.ndarray:
        """Nodes (2, j) that are sewn to each other."""
        return np.hstack([np.zeros((2, 0), int), *self.seams])


def stages(closure: Closure) -> Stages:
    """The stages that a closure has kept, and the view of its pictures."""
    from fem.render.projection import centre, wanted_half_width

    mesh = closure.mesh
    kept = zip(*((stage.closed, stage.label, stage.x, stage.stress) for stage in closure.stages), strict=True)
    closed, label, x, stress = map(np.array, kept)
    view = centre(closure), wanted_half_width(closure)
    return Stages(closed, label, x, stress, mesh.X, mesh.elements, mesh.seams, mesh.tips, *view)


def write_stages(stages: Stages, path: Path) -> None:
    """Write the fields of stages as arrays: all seams as one, and `seam_of` (j,), which one each pair is of."""
    arrays = vars(stages) | {name: vars(stages)[name].astype(np.float32) for name in SINGLE}
    arrays["seams"] = stages.pairs
    arrays["seam_of"] = np.repeat(np.arange(len(stages.seams)), [seam.shape[1] for seam in stages.seams])
    np.savez_compressed(path, **arrays)


def read_stages(path: Path) -> Stages:
    """Stages as they were written, in double precision again. Raises ValueError if they cannot be read."""
    try:
        with open(path, "rb") as stream, np.load(stream, allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in STORED}
        problem = _problem(arrays)
    except (KeyError, EOFError, BadZipFile, ValueError) as error:
        problem = str(error)
    if problem:
        raise ValueError(f"{path.name}: {problem}")
    seams, seam_of = arrays["seams"], arrays.pop("seam_of")
    arrays |= {name: arrays[name].astype(float) for name in SINGLE}
    arrays["seams"] = tuple(seams[:, seam_of == k] for k in np.unique(seam_of))
    arrays["half_width"] = float(arrays["half_width"])
    return Stages(**arrays)


def _problem(arrays):
    """What is wrong with stored arrays: kinds, shapes that do not fit, numbers that are none, nodes out of range."""
    sizes = {"2": 2, "3": 3, "6": 6}
    for name, (shape, kinds) in STORED.items():
        array = arrays[name]
        if array.dtype.kind not in kinds or array.ndim != len(shape):
            return f"{name} is no array of that kind"
        if any(sizes.setdefault(letter, size) != size for letter, size in zip(shape, array.shape, strict=True)):
            return f"{name} has a shape that does not fit the others"
        if kinds == "f" and not np.isfinite(array).all():
            return f"{name} holds what is no number"
    nodes = np.concatenate([arrays[name].ravel() for name in ("elements", "seams", "tips")])
    return "a node is out of range" if sizes["s"] == 0 or not ((nodes >= 0) & (nodes < sizes["n"])).all() else ""


def profiles(closure: Closure) -> dict[str, list[dict[str, list[float]]]]:
    """Heights along the scars and across the cones, line tension along the scars, as plain lists.

    seams   one a scar: `arc_mm`, `height_mm` at the nodes, and `line_tension_N_per_m` at `tension_at_mm`, the middles
            of the segments; lengths along the closed seam
    cones   one a tip: `across_mm`, from the top, which is the lowest point of one that is sunk, and `height_mm`
    """
    seams = []
    for scar in closure.mesh.scars:
        arc, height = along_scar(closure, scar)
        tension, at = line_tension(closure, scar)
        seams.append(_lists(arc_mm=arc, height_mm=height, tension_at_mm=at, line_tension_N_per_m=N_PER_M * tension))
    cones = [_lists(across_mm=s, height_mm=z) for s, z in (across_cone(closure, tip) for tip in closure.mesh.tips)]
    return {"seams": seams, "cones": cones}


def _lists(**arrays):
    return {name: np.asarray(values, float).tolist() for name, values in arrays.items()}


def along_scar(closure: Closure, scar: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Length along a closed scar, by the chords between its nodes, and height at them, each (m,), mm."""
    p = closure.x[:, scar[0]]
    return np.append(0.0, np.cumsum(np.linalg.norm(np.diff(p, axis=1), axis=0))), closure.over[2, scar[0]]


def across_cone(closure: Closure, tip: int) -> tuple[np.ndarray, np.ndarray]:
    """Section across the cone at a tip: places (m,), to the left of its top seen outward, and heights (m,), mm.

    The plane is upright, square to the axis of the closed wound, through the top of the cone (`measures.cones.tops`),
    on a curved body bent along its normals; quadratic triangles are cut as flat ones.
    """
    x, here = closure.over, closure.mesh.tips == tip
    top = x[:, tops(closure)[here][0]]
    away = closure.mesh.outward(x)[:, here][:, 0]
    beyond = away @ (x[:2] - top[:2, None])
    left = np.array([-away[1], away[0]]) @ (x[:2] - top[:2, None])
    cut = _cut(flat_triangles(closure.mesh.elements), beyond, left, x[2])
    lines = shapely.line_merge(shapely.multilinestrings(cut))
    piece = min(shapely.get_parts(lines), key=lambda line: line.distance(shapely.Point(0, top[2])))
    line = shapely.get_coordinates(piece).T
    s, z = line[:, np.append(True, np.hypot(*np.diff(line)) > SAME)]  # through a node it has one point, not two
    return (s, z) if s[0] < s[-1] else (s[::-1], z[::-1])


def _cut(triangles, level, *values):
    """Segments (n, 2, k) along which flat triangles (3, m) cross level = 0, by k values given at the nodes.

    Points on edges are worked out from the lower end: neighbours agree to the last bit, across seams too.
    """
    above = level > 0
    crossed = triangles[:, above[triangles].any(axis=0) & ~above[triangles].all(axis=0)]
    ends = np.stack([crossed, np.roll(crossed, -1, axis=0)])  # end, edge, triangle
    below, over = np.where(above[ends[0]], ends[::-1], ends)
    cut = (~above[below] & above[over]).T  # two of the three edges of each triangle
    a, b = below.T[cut].reshape(-1, 2), over.T[cut].reshape(-1, 2)
    share = level[a] / (level[a] - level[b])
    return np.stack([v[a] + share * (v[b] - v[a]) for v in values], axis=-1)
