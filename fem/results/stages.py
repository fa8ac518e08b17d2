"""The skin of a closure stage by stage, as arrays: closure → Stages ↔ stages.npz."""

from dataclasses import dataclass
from pathlib import Path
from zipfile import BadZipFile

import numpy as np

from fem.closure.closure import Closure

SINGLE = "x", "stress_kPa", "X"  # stored in single precision


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
    """The stages that a closure has kept."""
    from fem.render.projection import centre, wanted_half_width

    mesh, kept = closure.mesh, closure.stages
    return Stages(
        closed=np.array([stage.closed for stage in kept]),
        label=np.array([stage.label for stage in kept]),
        x=np.array([stage.x for stage in kept]),
        stress_kPa=np.array([stage.stress for stage in kept]),
        X=mesh.X,
        elements=mesh.elements,
        seams=mesh.seams,
        tips=mesh.tips,
        centre=centre(closure),
        half_width=wanted_half_width(closure),
    )


def write(stages: Stages, path: Path) -> None:
    """Write the fields of stages as arrays: all seams as one, and `seam_of` (j,), which one each pair is of."""
    arrays = vars(stages) | {name: vars(stages)[name].astype(np.float32) for name in SINGLE}
    arrays["seams"] = stages.pairs
    arrays["seam_of"] = np.repeat(np.arange(len(stages.seams)), [seam.shape[1] for seam in stages.seams])
    np.savez_compressed(path, **arrays)


def read(path: Path) -> Stages:
    """Stages as they were written, in double precision again. Raises ValueError if they cannot be read."""
    try:
        with open(path, "rb") as stream, np.load(stream, allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in (*Stages.__dataclass_fields__, "seam_of")}
    except (KeyError, EOFError, BadZipFile) as error:
        raise ValueError(f"{path.name}: {error}") from error
    seams, seam_of = arrays["seams"], arrays.pop("seam_of")
    arrays |= {name: arrays[name].astype(float) for name in SINGLE}
    arrays["seams"] = tuple(seams[:, seam_of == k] for k in np.unique(seam_of))
    arrays["half_width"] = float(arrays["half_width"])
    return Stages(**arrays)
