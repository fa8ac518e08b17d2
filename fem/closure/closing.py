"""A case → its closure: meshed, opened, sewn and settled."""

import time
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from fem.case import keys, physical
from fem.case.case import Case
from fem.closure import trimming
from fem.closure.closure import Closure, Stage, nodal_stress
from fem.errors import MeshError
from fem.material.bending import BENDING_POISSON, bending_stiffness
from fem.material.laws import young_modulus
from fem.mechanics import solve, sutures
from fem.mechanics.constraints import constraints, independent, positions
from fem.mechanics.mesh import mesh
from fem.mechanics.sheet import ElasticFoundation, Sheet, interpolated, lift, sheet
from fem.mechanics.triangulation import Mesh, quality
from fem.plan.plan import held

RESIDUAL = 1e-9  # largest force left on a node, as a share of E h times edge_mm; our choice, far above round-off
COARSEN = 20_000  # unknowns above which the path is walked on a coarser mesh first; our choice
PERTURBATION = 1e-4  # upward pressure while the wound closes, as a share of E; gone at the end
WAYPOINTS = np.array([0.2, 0.4, 0.6, 0.8])  # of `closed`, nearest to which states on the way are kept; our choice
INWARD = 0.2  # of the way to a triangle's middle; our choice, more than coarse chords leave the arc of a cut


def patch(case: Case) -> Mesh:
    """Mesh of a case. Raises fem.errors.MeshError."""
    size, plan, sutures = case.mesh, physical.plan(case), case.closure.sutures
    assert case.patch and size.edge_mm and size.tip_mm and size.far_mm, "reading a case fills in what it leaves out"
    marks = {} if sutures.kind == "running" else held(plan, physical.tying(plan, sutures), bite=sutures.bite_mm)
    return mesh(plan, radius=case.patch.radius_mm, edge=size.edge_mm, tip=size.tip_mm, far=size.far_mm, marks=marks)


def skin_sheet(case: Case, triangles: Mesh) -> Sheet:
    """Sheet of a case on its mesh, under its natural tension and on its bed."""
    skin, tension = case.skin, case.skin.tension
    law = physical.law(skin.law)
    modulus = young_modulus(law)
    return sheet(
        triangles,
        law=law,
        h=skin.thickness_mm,
        D=bending_stiffness(modulus, h=skin.thickness_mm, poisson=BENDING_POISSON),
        poisson=BENDING_POISSON,
        stretch=physical.prestretch(tension, skin.law, h=skin.thickness_mm),
        lines=physical.lines(tension),
        foundation=None if case.bed is None else _foundation(*physical.springs(case.bed), triangles.undermined),
        hinged=case.closure.seam == "hinge",
    )


def _foundation(normal, shear, undermined):
    """The bed of stiffnesses in MPa/mm."""
    return ElasticFoundation(
        push=np.full(undermined.size, normal),
        pull=np.where(undermined, 0.0, normal),
        shear=np.where(undermined, 0.0, shear),
    )


def closed(case: Case, *, watch: Callable = lambda **state: None) -> tuple[Closure, dict[str, Any]]:
    """Closure of a case, and how it was computed.

    watch  called after every Newton iteration with `stage`, `closed` and `residual`

    Raises fem.errors.MeshError, or fem.errors.NotConverged if no stable equilibrium was found.
    """
    once = partial(_closed, watch=watch)
    return trimming.closed(case, once) if case.closure.technique == "trimmed" else once(case)


def _closed(case, *, watch):
    """Closure of a case that is cut and sewn as it says, and how it was computed."""
    spent: Counter = Counter()  # seconds too, which its type does not foresee
    start = time.perf_counter()
    triangles = patch(case)
    spent["mesh_s"] = time.perf_counter() - start  # type: ignore[assignment]
    coarse, how_coarse = _coarser(case, triangles, watch)
    skin = skin_sheet(case, triangles)
    stiffness = young_modulus(skin.law)
    tol = RESIDUAL * stiffness * skin.h * case.mesh.edge_mm
    aids = {"perturbation": lift(skin, PERTURBATION * stiffness), "tol": tol}

    gaping = _gaping(skin, triangles, spent=spent, watch=partial(watch, stage="gaping wound"), **aids)
    open_ = Closure(
        outline=physical.excised(case),
        plan=physical.plan(case),
        lesion_area=0.0 if case.wound.lesion is None else np.pi / 4 * case.wound.lesion.diameter_mm**2,
        mesh=triangles,
        sheet=skin if case.closure.sutures.kind == "running" else _without_seams(skin),
        gaping=gaping,
        x=gaping,
        left=physical.forces_left(case),
    )
    sewn, q, sutures = _sewn(case, open_, coarse, spent=spent, watch=partial(watch, stage="closing"), **aids)
    residual = np.abs(solve.state(sewn, q, closed=1.0, load=0 * aids["perturbation"]).forces).max()
    spent["total_s"] = time.perf_counter() - start  # type: ignore[assignment]
    closure = replace(open_, x=positions(sewn.constraints, q, 1.0), sutures=sutures)
    how = {
        "unknowns": 3 * sewn.constraints.n_free,
        "elements": triangles.elements.shape[1],
        "smallest_angle_deg": float(quality(triangles)[0]),
        "residual_N": float(residual),
        **{name: round(value, 3) if isinstance(value, float) else value for name, value in spent.items()},
        "coarser": how_coarse,
    }
    return replace(closure, stages=_stages(closure, sewn.constraints, sewn.path, coarse)), how


def _without_seams(skin):
    """The sheet without the moment that seams carry."""
    return replace(skin, interior_penalty=skin.interior_penalty[:1])


def _sewn(case, open_, coarse, *, spent, watch, **aids):
    """The sewn problem, q (3, n_free) of its end and, if sutures were tied one by one, what became of them."""
    running = case.closure.sutures.kind == "running"
    ties, kinds = _ties(case, open_)
    if not running:
        bite = case.closure.sutures.bite_mm
        order = physical.tying(open_.plan, case.closure.sutures)
        ties.append(sutures.contact(open_.mesh.seams, open_.mesh.X, order, bite=bite))
    pairs = open_.mesh.pairs if running else np.zeros((2, 0), int)
    followers = constraints(open_.gaping, pairs, open_.mesh.rim)
    sewn = solve.problem(replace(open_.sheet, ties=tuple(ties)), followers, spent=spent, watch=watch)
    if kinds and coarse is not None:
        within = _within(open_.mesh)
        after = [interpolated(coarse.mesh, x, open_.mesh.X, inside=within) for x in coarse.sutures.after]
        starts = [independent(followers, x, 1.0) for x in after]
        try:
            sewn, tied, q = sutures.tied(sewn, starts[0], kinds, seams=open_.mesh.seams, starts=starts, **aids)
            return sewn, q, tied
        except solve.NotConverged:  # as in _sewn_shut
            sewn.spent["starts_dropped"] += 1
            coarse = None
    if running and pairs.size:
        q = _sewn_shut(sewn, open_.mesh, open_.gaping, coarse, **aids)
    else:
        q = independent(followers, open_.gaping, 1.0)
    if not kinds:
        return sewn, q, None
    sewn, tied, q = sutures.tied(sewn, q, kinds, seams=open_.mesh.seams, **aids)
    return sewn, q, tied


def _ties(case, open_):
    """All sutures tied one by one, in order of tying; their kinds."""
    closing, mesh = case.closure, open_.mesh
    edges, taper, anchors = [], [], []
    purse = [] if open_.plan.thread is None else [sutures.around(mesh, open_.plan.thread)]
    if closing.sutures.kind == "interrupted":
        edges = sutures.across_the_wound(
            mesh.seams, mesh.X, physical.tying(open_.plan, closing.sutures), bite=closing.sutures.bite_mm
        )
    if closing.taper is not None:
        keys = closing.taper
        taper = sutures.tapering(
            mesh,
            spacing=keys.spacing_mm,
            reach=keys.length_mm,
            offset=keys.offset_mm,
            remaining=keys.remaining_mm,
            bite=keys.bite_mm,
        )
    if closing.anchor is not None:
        anchors = sutures.anchoring(mesh, beyond=closing.anchor.beyond_mm, bite=closing.anchor.bite_mm)
    kinds = ["purse"] * len(purse) + ["edges"] * len(edges) + ["taper"] * len(taper) + ["anchor"] * len(anchors)
    return [*purse, *edges, *taper, *anchors], kinds


def _stages(closure, followers, path, coarse):
    """States from the gaping wound to the closed one.

    Those between come from the path, or from the coarser triangles on which it was walked; they are under the
    perturbation load and the path's stiffer bending, so they are no equilibria of the stated model, unlike the first,
    the last and those after each suture that was tied.
    """

    def stage(closed, x, label=""):
        return Stage(closed, x, nodal_stress(replace(closure, x=x)), label)

    between = []
    if path:
        closed = np.array([closed for closed, _ in path])
        nearest = [path[i] for i in np.unique(np.abs(closed[:, None] - WAYPOINTS).argmin(axis=0))]
        between = [stage(closed, positions(followers, q, closed)) for closed, q in nearest if 0 < closed < 1]
    elif closure.sutures is None:
        between = [_finer(one, coarse.mesh, closure.mesh) for one in coarse.stages[1:-1]]
    if closure.sutures is not None:
        after = closure.sutures.after
        between += [stage(k / len(after), x, f"suture {k} of {len(after)} tied") for k, x in enumerate(after[:-1], 1)]
    return (stage(0.0, closure.gaping), *between, stage(1.0, closure.x))


def _finer(stage, coarse, mesh):
    """A stage at the nodes of a mesh, from its values at those of a coarser one."""
    values = interpolated(coarse, np.vstack([stage.x, stage.stress]), mesh.X, inside=_within(mesh))
    return Stage(stage.closed, values[:3], values[3])


def _coarser(case, triangles, watch):
    """The same closure on triangles of twice the size and how it was computed; None, None if there are few already.

    The path from open to closed then costs a quarter as many unknowns, and a few iterations are left for the finer.
    """
    if 3 * triangles.X.shape[1] <= COARSEN:
        return None, None
    sizes = {name: 2 * size for name, size in case.mesh.model_dump().items()}
    try:
        return _closed(case.model_copy(update={"mesh": keys.MeshSize(**sizes)}), watch=watch)
    except (solve.NotConverged, MeshError) as error:  # too coarse for this wound, and no reason to give up
        return None, {"not_used": str(error)}


def _within(mesh):
    """Places (2, n) beside the nodes, each in a triangle of the node's own, so that a cut's two sides differ."""
    middle = np.empty_like(mesh.X)
    middle[:, mesh.elements] = mesh.X[:, mesh.elements[:3]].mean(axis=1)[:, None]
    return mesh.X + INWARD * (middle - mesh.X)


def _sewn_shut(sewn, triangles, gaping, coarse, **aids):
    """q (3, n_free) of the closed wound, from a coarser closure if there is one that leads here, else step by step."""
    if coarse is not None:
        x = interpolated(coarse.mesh, coarse.x, triangles.X, inside=_within(triangles))
        start = independent(sewn.constraints, x, 1.0)
        try:
            return solve.closed_wound(sewn, start, near=True, **aids)
        except solve.NotConverged:  # the coarser one is of another kind; the path finds the right one
            sewn.spent["starts_dropped"] += 1
    return solve.closed_wound(sewn, independent(sewn.constraints, gaping, 0.0), **aids)


def _gaping(skin, triangles, *, spent, watch, **aids):
    """Positions (3, n) of the cut, open wound at rest."""
    flat = np.vstack([triangles.X, np.zeros(triangles.X.shape[1])])
    free = constraints(flat, np.zeros((2, 0), int), triangles.rim)
    unsewn = solve.problem(_without_seams(skin), free, spent=spent, watch=watch)
    return positions(free, solve.opened_wound(unsewn, independent(free, flat, 1.0), **aids), 1.0)
