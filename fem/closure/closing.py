"""A case → its closure: meshed, opened, sewn and settled."""

import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from fem.case import keys, physical
from fem.case.case import Case
from fem.closure import branches, trimming
from fem.closure.closure import Closure, Stage, nodal_stress
from fem.errors import MeshError, NotConverged, at_stage, within
from fem.material.skin import resistance
from fem.mechanics import lying, solve, sutures
from fem.mechanics.constraints import constraints, independent, positions
from fem.mechanics.contact import Parts, contact
from fem.mechanics.edges import GROWTH
from fem.mechanics.mesh import mesh
from fem.mechanics.quadratic import interpolated
from fem.mechanics.sheet import ElasticFoundation, Sheet, sheet
from fem.mechanics.ties import PenaltyTie, Thread
from fem.mechanics.triangulation import Mesh, quality
from fem.plan.plan import held

RESIDUAL = 1e-9  # largest force left on a node, as a share of edge_mm times E h in place; our choice, above round-off
# Unknowns above which the path is walked on triangles of twice the size, and those above which that is done by the same
# detour; our choice. It halves the time; a third level saves nothing where two are this small.
COARSEN, AGAIN = 6_000, 20_000
PERTURBATION = 1e-4  # upward pressure while the wound closes, as a share of E in place; gone at the end
WAYPOINTS = np.array([0.2, 0.4, 0.6, 0.8])  # of `closed`, nearest to which states on the way are kept; our choice
OTHER = 0.85  # times as large are triangles on which what failed is tried again; our choice
INWARD = 0.2  # of the way to a triangle's middle; our choice, more than coarse chords leave the arc of a cut


def patch(case: Case, *, growth: float = GROWTH) -> Mesh:
    """Mesh of a case, its sizes growing by `growth` per mm. Raises fem.errors.MeshError."""
    size, plan, sutures = case.mesh, physical.plan(case), case.closure.sutures
    assert case.patch and size.edge_mm and size.tip_mm and size.far_mm, "reading a case fills in what it leaves out"
    marks = {} if sutures.kind == "running" else held(plan, physical.tying(plan, sutures), bite=sutures.bite_mm)
    sizes = {"edge": size.edge_mm, "tip": size.tip_mm, "far": size.far_mm, "growth": growth}
    flat = mesh(plan, radius=case.patch.radius_mm, marks=marks, **sizes)
    return replace(flat, surface=physical.surface(case.patch))


def skin_sheet(case: Case, triangles: Mesh, *, hinged: bool = False) -> Sheet:
    """Sheet of a case on its mesh, under its natural tension and on its bed."""
    skin, undermined = case.skin, triangles.undermined
    law = physical.law(skin.law)
    push, *tied = physical.springs(case.bed)
    bed = ElasticFoundation(np.full(undermined.size, push), *np.where(undermined, 0.0, np.array(tied)[:, None]))
    cuts = triangles.open
    if case.closure.sutures.kind != "running":
        cuts += tuple(edge for seam in triangles.seams for edge in seam)
    whole = sheet(
        triangles, law=law, h=skin.thickness_mm, lines=physical.lines(skin.tension),
        stretch=physical.prestretch(skin.tension, skin.law, h=skin.thickness_mm),
        foundation=None if case.bed is None else bed, hinged=hinged or case.closure.seam == "hinge",
    )  # fmt: skip
    softest = float(resistance(law, whole.stretch, h=whole.h).min()) / whole.h
    return replace(whole, parts=Parts(triangles, cuts, whole.area.weights.sum(axis=1), whole.h, softest))


def closed(
    case: Case, *, restarts: int = 0, watch: Callable[..., None] = lambda **state: None, size: float = 1.0
) -> Closure:
    """Closure of a case: of the equilibria to which several ways led, that of least energy.

    restarts  random ways, besides those that are always tried
    watch     called after every Newton iteration with `stage`, `closed` and `residual`
    size      times as large triangles as the case says, and as fast growing; to see what numbers owe to them

    Raises fem.errors.MeshError, or fem.errors.NotConverged if no stable equilibrium was found. What is tried before,
    in order: smaller steps, random ways, other triangles.
    """
    once = partial(_remeshed, restarts=restarts, watch=watch, coarsen=COARSEN, growth=size * GROWTH)
    case = case if size == 1 else _resized(case, size)
    return trimming.closed(case, once) if case.closure.technique == "trimmed" else once(case)


def _remeshed(case, **how):
    """Closure of a case as it is cut and sewn; where that fails, on other triangles."""
    try:
        return _closed(case, **how)
    except (NotConverged, MeshError) as error:
        if getattr(error, "kind", "") == "round-off":  # it is all but there, and would be no nearer
            raise
        tried = f"triangles {OTHER:g} times as large"
        try:
            with within(tried):
                closure = _closed(_resized(case, OTHER), **how)
        except (NotConverged, MeshError):
            if isinstance(error, MeshError):
                raise MeshError(f"{error}; also tried: {tried}") from None
            error.tried += (tried,)
            raise error from None
        closure.effort.other_triangles = f"on {tried}, for on those given: {error}"
        return closure


def _closed(case, *, restarts, watch, coarsen, growth):
    """Closure of a case that is cut and sewn as it says; with more unknowns than `coarsen` from coarser triangles."""
    start, effort = time.perf_counter(), solve.Effort()
    plan, triangles = physical.plan(case), patch(case, growth=growth)
    effort.mesh_s = time.perf_counter() - start
    few = 3 * triangles.X.shape[1] <= coarsen
    coarse = None if few else _coarser(case, effort, restarts=restarts, watch=watch, growth=growth)
    skin = skin_sheet(case, triangles)
    stretch = physical.prestretch(case.skin.tension, case.skin.law, h=skin.h)
    softest, stiffest = np.sort(resistance(skin.law, stretch, h=skin.h))
    tol, pressure = RESIDUAL * softest * case.mesh.edge_mm, PERTURBATION * softest / skin.h
    problem = partial(solve.problem, pressure=pressure, tol=tol, effort=effort)

    unsewn = skin_sheet(case, triangles, hinged=True)
    uncut, no_pairs = triangles.x0, np.zeros((2, 0), int)
    apart = replace(unsewn, parts=None)  # its edges part, and meet nothing
    cut = problem(apart, constraints(uncut, no_pairs, triangles.rim), watch=partial(watch, stage="gaping wound"))
    with at_stage("gaping wound"):
        level, gaping = _opened(cut, triangles, coarse)
    del cut  # and its factors

    running = case.closure.sutures.kind == "running"
    worn = skin if running else unsewn
    pairs = triangles.pairs if running else no_pairs
    tying = _tying(case, plan, triangles, worn, float(stiffest))
    problem = partial(problem, watch=partial(watch, stage="closing"))
    sewn = problem(tying, constraints(level, pairs, triangles.rim))
    edge_to_edge = None if running else problem(unsewn, constraints(level, triangles.pairs, triangles.rim))
    both = case.bed is not None and not triangles.undermined.any()  # then skin may sink as well
    sew = partial(_sewn, edge_to_edge=edge_to_edge, pairs=pairs, mesh=triangles, level=level)
    found = None if coarse is None else _from_coarser(sewn, pairs, triangles, coarse)
    with at_stage("closing"):
        sewn, q, tied = found or branches.lowest(sewn, sew, both=both, restarts=restarts)
    solve.watched(sewn, q)  # the last way that was tried may have met nothing
    effort.unknowns, effort.elements = 3 * sewn.constraints.n_free, triangles.elements.shape[1]
    effort.smallest_angle_deg = float(quality(triangles)[0])
    effort.residual_N = float(np.abs(solve.state(sewn, q).forces).max())
    effort.total_s = time.perf_counter() - start
    lesion = 0.0 if case.wound.lesion is None else np.pi / 4 * case.wound.lesion.diameter_mm**2
    x, left = positions(sewn.constraints, q, 1.0), physical.forces_left(case)
    effort.edges_unfaced = sutures.unfaced(sewn.sheet.contact, triangles.seams, x, skin.surface, h=skin.h)
    met = None if sewn.system.contact is None or skin.parts is None else contact(skin.parts, x)
    closure = Closure(
        physical.excised(case), plan, lesion, triangles, worn, gaping, x, left, tied, effort=effort, contact=met
    )
    return replace(closure, stages=_stages(closure, sewn, coarse))


def _opened(cut, mesh, coarse):
    """Positions (3, n) of the gaping wound, held flat and at rest, from those on coarser triangles, if any."""
    uncut = independent(cut.constraints, mesh.x0, 1.0)
    if coarse is None or not coarse.effort.gaping_at_rest:
        opened = lying.opened_wound(cut, uncut)
    else:
        try:
            q = solve.at_rest(cut, independent(cut.constraints, _at_nodes(mesh, coarse.mesh, coarse.gaping), 1.0))
            level = lying.level(cut, q)
            opened = level if np.abs(level - q).max() < branches.SAME else lying.pressed_flat(cut, uncut), q
        except NotConverged:
            opened = lying.opened_wound(cut, uncut)
    return [positions(cut.constraints, q, 1.0) for q in opened]


def _tying(case, plan, mesh, sheet, skin):
    """The sheet with its sutures tied one by one, in order of tying, and the contact of its edges.

    skin  its resistance in place in the stiffer direction, N/mm
    """
    closing, edges = case.closure, None
    ties: list[Thread | PenaltyTie] = []
    if plan.thread is not None:
        ties.append(sutures.around(mesh, plan.thread, skin=skin))
    if closing.sutures.kind == "interrupted":
        order, known = physical.tying(plan, closing.sutures), {"bite": closing.sutures.bite_mm, "skin": skin}
        ties += sutures.across_the_wound(mesh, order, **known)
        edges = sutures.contact(mesh, order, **known)
    if closing.taper is not None:
        ties += sutures.tapering(mesh, **closing.taper.model_dump(), skin=skin)
    if closing.anchor is not None:
        ties += sutures.anchoring(mesh, **closing.anchor.model_dump(), skin=skin)
    return replace(sheet, ties=tuple(ties), contact=edges)


def _from_coarser(problem, pairs, mesh, coarse):
    """What `_sewn` gives, from states on coarser triangles; None if that leads to no rest."""
    ties = problem.sheet.ties
    if not (ties or pairs.size):
        return None
    states = coarse.sutures.after if ties else [coarse.x]
    starts = [independent(problem.constraints, _at_nodes(mesh, coarse.mesh, x), 1.0) for x in states]
    try:
        if ties:
            return sutures.tied(problem, starts[-1], seams=mesh.seams, starts=starts)
        return problem, solve.settled(problem, starts[0]), None
    except NotConverged:  # the coarser one is of another kind; the path finds the right one
        problem.effort.starts_dropped += 1
        return None


def _sewn(problem, *, edge_to_edge, pairs, mesh, level):
    """The problem with its sutures tied, q (3, n_free) of its end, and what became of those tied one by one, if any."""
    q = independent(problem.constraints, level, 0.0)
    if pairs.size:
        q = solve.closed_wound(problem, q)
    elif edge_to_edge is not None:  # first all along, then held by the sutures
        way = replace(edge_to_edge, perturbation=problem.perturbation, path=[])
        closed = solve.drawn_together(way, independent(way.constraints, level, 0.0))
        q = independent(problem.constraints, positions(way.constraints, closed, 1.0), 1.0)
    return sutures.tied(problem, q, seams=mesh.seams) if problem.sheet.ties else (problem, q, None)


def _stages(closure, sewn, coarse):
    """States from the gaping wound to the closed one.

    Those between, from the path here or on coarser triangles, are under the aids of the path: no equilibria of the
    stated model, unlike the first, the last and those after each suture.
    """

    def stage(closed: float, x: np.ndarray, label: str = "") -> Stage:
        return Stage(closed, x, nodal_stress(replace(closure, x=x)), label)

    between = []
    if sewn.path:
        closed = np.array([closed for closed, _ in sewn.path])
        nearest = [sewn.path[i] for i in np.unique(np.abs(closed[:, None] - WAYPOINTS).argmin(axis=0))]
        between = [stage(closed, positions(sewn.constraints, q, closed)) for closed, q in nearest if 0 < closed < 1]
    elif closure.sutures is None and coarse is not None:
        for there in coarse.stages[1:-1]:
            x, stress = _at_nodes(closure.mesh, coarse.mesh, there.x), there.stress[None]
            between.append(Stage(there.closed, x, _interpolated(closure.mesh, coarse.mesh, stress)[0]))
    if closure.sutures is not None:
        after = closure.sutures.after
        between += [stage(k / len(after), x, f"suture {k} of {len(after)} tied") for k, x in enumerate(after[:-1], 1)]
    return (stage(0.0, closure.gaping), *between, stage(1.0, closure.x))


def _coarser(case, effort, **how):
    """The same closure on triangles of twice the size; None if it fails."""
    try:
        with within("coarser triangles"):
            coarse = _closed(_resized(case, 2), coarsen=AGAIN, **how)
    except (NotConverged, MeshError) as error:  # too coarse for this wound, and no reason to give up
        effort.coarser = {"not_used": str(error)}
        return None
    effort.coarser = coarse.effort
    return coarse


def _resized(case, times):
    """The case with triangles so many times as large."""
    sizes = {name: times * size for name, size in case.mesh.model_dump().items()}
    return case.model_copy(update={"mesh": keys.MeshSize(**sizes)})


def _at_nodes(mesh, coarse, x):
    """Positions (3, n) at nodes from those of a coarser mesh, on the same body."""
    return mesh.x0 + _interpolated(mesh, coarse, x - coarse.x0)


def _interpolated(mesh, coarse, values):
    """Values (k, n) at nodes from those of a coarser mesh, found from inside their triangles: a cut's sides differ."""
    middle = np.empty_like(mesh.X)
    middle[:, mesh.elements] = mesh.X[:, mesh.elements[:3]].mean(axis=1)[:, None]
    return interpolated(coarse, values, mesh.X, inside=mesh.X + INWARD * (middle - mesh.X))
