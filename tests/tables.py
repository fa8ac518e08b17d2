"""Prints the tables of MEASURED.md: `PYTHONPATH=.:tests:tests/closure python tests/tables.py NAME ...`."""

import json
import sys
from pathlib import Path

import numpy as np
from ruamel.yaml import YAML

from fem.case import dotted
from fem.case.case import Case
from fem.case.document import parse
from fem.case.site import SITES, natural_stretch
from fem.closure.closing import closed
from fem.closure.measure import measures
from fem.comparison.spread import stretches
from fem.results import accuracy
from fem.results.quantities import numbers

ROOT = Path(__file__).parents[1]
COLUMNS = (
    "cone_height_mm",
    "closing_force_N",
    "line_tension_mid_N_per_m",
    "skin_stress_p99_kPa",
    "skin_stress_corner_kPa",
)
ENERGY = "strain_energy_mJ"
CONVERGING = *COLUMNS, "skin_stretch_p99", "strain_energy_mJ", "line_tension_max_N_per_m", "skin_stress_max_kPa"
GRADED = {  # files of the cases on which the default sizes of triangles are tried, each in three skins of a forearm
    "circle": "demo/circle-20",
    "lens": "demo/lens-3-1",
    "rhombus": "demo/rhombus-3-1",
    "flap": "techniques/rhombic",
    "trimmed": "techniques/trimmed",
    "sutured": "sutures/one-by-one",
}
ESTIMATED = (  # files and skins on which the estimate of errors is tried
    ("demo/circle-20", "typical"), ("demo/circle-20", "low"), ("demo/lens-2-1", "typical"), ("demo/lens-2-1", "low"),
    ("sutures/one-by-one", "typical"), ("techniques/rhombic", "typical"), ("techniques/trimmed", "low"),
)  # fmt: skip
LENS = {"kind": "lens", "length_mm": 60, "width_mm": 20}
CIRCLE = {"kind": "circle", "diameter_mm": 20}


def wound(outline, site, *, edge=2, closure=None, **tension):
    """Measures of a wound in a site's skin, undermined by 15 mm unless `closure` says otherwise."""
    keys = {
        "name": "a",
        "wound": {"outline": outline},
        "closure": {"undermine_mm": 15} if closure is None else closure,
        "skin": {"site": site, **({"tension": tension} if tension else {})},
        "mesh": {"edge_mm": edge},
    }
    return measures(closed(parse(json.dumps(keys), Case, "a.yaml")))


def printed(label, *found):
    """Print a row: the columns of one closure after the other's."""
    print(label, *(", ".join(f"{of[name]:.4g}" for of in found) for name in COLUMNS), sep=" | ", flush=True)


def convergence():
    """The lens without tension on triangles of 4, 2 and 1 mm: CONVERGING, and the order of each where there is one."""
    from fem.verification.closures import bench_lens

    found = [measures(bench_lens(edge, start=start)) for edge, start in ((4.0, None), (2.0, None), (1.0, 2.0))]
    for name in CONVERGING:
        a, b, c = (of[name] for of in found)
        order = f"{np.log2((b - a) / (c - b)):.1f}" if (b - a) * (c - b) > 0 else "–"
        print(name, *(f"{value:.4f}" for value in (a, b, c)), order, sep=" | ", flush=True)


def demo():
    """Cases of configs/demo on their default mesh and on triangles of 0.7 times the size."""
    for name in ("circle-20", "lens-3-1", "lens-4-1", "rhombus-3-1"):
        path = ROOT / "configs" / "demo" / f"{name}.yaml"
        keys = YAML(typ="safe").load(path)
        default = parse(json.dumps(keys), Case, path)
        sizes = {key: 0.7 * value for key, value in default.mesh.model_dump().items()}
        finer = parse(json.dumps(keys | {"mesh": sizes}), Case, path)
        printed(name, *(measures(closed(case)) for case in (default, finer)))


def directions():
    """Lens and circle with the lines at 0, 45 and 90 degrees to the wound."""
    for site in ("forearm", "scalp", "back"):
        for degrees in (0, 45, 90):
            printed(f"{site}, {degrees}", *(wound(outline, site, lines_deg=degrees) for outline in (LENS, CIRCLE)))


def multiples():
    """The lens on the forearm, its skin stretched by multiples of the typical elongation."""
    longer = natural_stretch(SITES["forearm"]) - 1
    for times in (-0.1, 0, 0.25, 0.5, 0.75, 1, 1.5):
        along, across = (1 + times * longer).tolist()
        printed(times, wound(LENS, "forearm", along_stretch=along, across_stretch=across))


def sutures():
    """Forces of sutures 8 mm apart on triangles of 3, 2 and 1.5 mm: first when tied, first and sum at the end, N."""
    stitched = {"undermine_mm": 15, "sutures": {"kind": "interrupted", "spacing_mm": 8}}
    for edge in (3, 2, 1.5):
        found = wound(LENS, "forearm", edge=edge, closure=stitched)
        tied, final = found["suture_forces_N"], found["suture_forces_final_N"]
        print(edge, tied[0], final[0], sum(final), flush=True)


def sizes():
    """Errors of the default triangles against some of half the size that grow half as fast, in per cent.

    In each of GRADED, in the slack, typical and tense skin of a forearm: unknowns; height of the cones, mm, from left
    to right, and their errors in per cent of the greatest; errors of line tension in the middle, scar length, energy.
    """
    for name, file in GRADED.items():
        for skin in ("low", "typical", "high"):
            case = graded(file, skin)
            ours, fine = closed(case), finely(case)
            a, b = measures(ours), measures(fine)
            heights, there = ([cone["height_mm"] for cone in of["cones"]] for of in (a, b))
            high = max(map(abs, there))
            apart = [100 * (x - y) / high if high > 0.05 else 0.0 for x, y in zip(heights, there, strict=True)]
            shares = [100 * (a[key] / b[key] - 1) for key in ("line_tension_mid_N_per_m", "scar_length_mm", ENERGY)]
            shown = (", ".join(f"{x:.{digits}f}" for x in of) for of, digits in ((heights, 3), (apart, 1), (shares, 2)))
            print(name, skin, ours.effort.unknowns, *shown, fine.effort.unknowns, sep=" | ", flush=True)


def graded(file, skin):
    """A case of `configs`, but for its skin, bed and sizes, in that of a forearm at one end of its range."""
    keys = YAML(typ="safe").load((ROOT / "configs" / f"{file}.yaml").read_text())
    ends = {} if skin == "typical" else {key: of for key, of in stretches("forearm", skin).items()}
    keys["skin"] = {"site": "forearm", "tension": {"lines_deg": 0}}
    for key, stretch in ends.items():
        keys = dotted.put(keys, key, stretch)
    return parse(json.dumps({key: keys[key] for key in ("name", "wound", "closure", "skin")}), Case, "a.yaml")


def finely(case):
    """Its closure on triangles of half the size that grow half as fast."""
    return closed(case, size=0.5)


def errors():
    """Errors as `close --error` estimates them for triangles and for the patch, and against those of half the size.

    In per cent: of cones, force, line tension in the middle, scar, stress, energy.
    """
    for file, skin in ESTIMATED:
        case = graded(file, skin)
        ours = closed(case)
        found, fine = (numbers(measures(closure)) for closure in (ours, finely(case)))
        of = accuracy.of(case, ours).errors
        for name in ("cone_height_mm", "scar_length_mm", *COLUMNS[1:4], ENERGY):
            if abs(found[name] or 0) > 0.05:
                parts = of[name].mesh, of[name].patch, abs(found[name] - fine[name])
                shares = (f"{100 * part / abs(found[name]):.2f}" for part in parts)
                print(file, skin, name, *shares, of[name].how, sep=" | ", flush=True)


if __name__ == "__main__":
    for name in sys.argv[1:]:
        globals()[name]()
