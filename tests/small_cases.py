"""Small cases on coarse triangles, a second or two each, and their results; one finds no rest."""

import json
from functools import cache

from PIL import Image

from fem.case import case as cases
from fem.case.document import parse
from fem.closure.closing import closed
from fem.results import identity, result
from fem.results.close import write
from fem.results.identity import PICTURES

WRITTEN = """\
name: NAME
wound: {outline: {kind: lens, length_mm: LENGTH, width_mm: 10}}
closure: {undermine_mm: 6}
skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}, tension: {along_N_per_m: 2, across_N_per_m: 1}}
bed: {pull_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}
patch: {radius_mm: 40}
mesh: {edge_mm: 2, tip_mm: 2, far_mm: 9}
"""
SMALL = """\
name: small
wound: {outline: {kind: lens, length_mm: 30, width_mm: 10}}
closure: {undermine_mm: 6}
skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}, tension: {along_N_per_m: 10, across_N_per_m: 5}}
bed: {pull_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}
patch: {radius_mm: 40}
mesh: {edge_mm: 3, tip_mm: 3, far_mm: 9}
"""
HELD = """\
name: held
wound: {outline: {kind: lens, length_mm: 30, width_mm: 10}}
closure: {undermine_mm: 0}
skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}}
bed: {pull_kPa_per_mm: 1e5, shear_kPa_per_mm: 1e5}   # so stiff that round-off is above the tolerance
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


def result_of(sample, into):
    """The result of a case, read from its complete folder in `into`, whose pictures are one pixel each.

    Drawing them takes longer than the closure, and what reads a result does not look at them. A closure that is asked
    for again, be it by another name, is not computed again.
    """
    folder = into / sample.name
    (folder / "pictures").mkdir(parents=True)
    for name in PICTURES:
        Image.new("L", (1, 1)).save(folder / name)
    write(folder, sample, _closed(cases.text(sample.model_copy(update={"name": "small"}))), keep="fields")
    sealed(folder, keep="pictures")
    return result.read(folder, sample)


def sealed(folder, **changed):
    """Seal the files in a results folder as they are now, its run.json with changes."""
    run = json.loads((folder / "run.json").read_text())
    (folder / "run.json").write_text(json.dumps(identity.sealed(folder, run | changed)))


@cache
def _closed(written):
    return closed(case(written))
