"""Prints the trial of laws of MEASURED.md: the same stretch and tension, another law.

`PYTHONPATH=.:tests python tests/law_trial.py forearm back`. Every law gets the modulus, or moduli, at which skin
carries the site's tension along the lines at its natural stretch; that of fibres half as much across.
"""

import json
import sys
from typing import Any

import numpy as np

from fem.material import laws


def exponential(C: np.ndarray, *, shear_MPa: laws.Positive, stiffening: laws.Positive) -> laws.Response:
    """Two parameters, isotropic.

        psi = mu/(2 b) (exp(b (I1 - 3)) - 1)

    shear_kPa   shear modulus mu of unstretched skin, kPa
    stiffening  b

    Source: Demiray (1972), J Biomech 5:309-311 (from memory).
    """
    I1, dI1, ddI1 = laws.neo_hooke(C, shear_MPa=2.0)  # mu/2 = 1
    growth = shear_MPa / 2 * np.exp(np.minimum(stiffening * I1, laws.LARGEST_GROWTH))
    curved = ddI1 + stiffening * dI1[:, None] * dI1
    return (growth - shear_MPa / 2) / stiffening, growth * dI1, growth * curved


laws.LAWS["exponential"] = exponential  # before the keys of a case are made of them

from fem.case import physical  # noqa: E402
from fem.case.case import Case  # noqa: E402
from fem.case.document import parse  # noqa: E402
from fem.case.site import SITES, natural_stretch  # noqa: E402
from fem.closure.closing import closed  # noqa: E402
from fem.closure.measure import measures  # noqa: E402

FIBRES = {"kind": "gasser-ogden-holzapfel", "dispersion": 0.1404, "stiffening": 0.1327, "fibre_angle_deg": 0}
KINDS: dict[str, dict[str, Any]] = {
    "Ogden 9": {"kind": "ogden", "exponent": 9},
    "Ogden 12": {"kind": "ogden", "exponent": 12},
    "Ogden 15": {"kind": "ogden", "exponent": 15},
    "neo-Hooke": {"kind": "neo-hooke"},
    "exponential, b = 5": {"kind": "exponential", "stiffening": 5},
    "fibres": FIBRES,
}


def solved(site, law):
    """The law with its moduli, in kPa: tension is a sum of terms in proportion to them."""
    stretch, h = natural_stretch(SITES[site]), SITES[site].thickness_mm.typical
    along = SITES[site].tension["along_N_per_m"].typical
    names = ["shear_kPa", "fibre_kPa"] if law["kind"] == FIBRES["kind"] else ["shear_kPa"]
    columns = []
    for name in names:
        unit = law | dict.fromkeys(names, 0.0) | {name: 1.0}
        columns.append(physical.pretension_N_per_m(physical.law(unit), stretch, h=h)[: len(names)])
    moduli = np.linalg.solve(np.array(columns).T, [along, along / 2][: len(names)])
    return law | dict(zip(names, moduli.tolist(), strict=True))


def wound(site, law, outline, **closure):
    """Measures of a wound in skin of that law."""
    stretch = dict(zip(("along_stretch", "across_stretch"), natural_stretch(SITES[site]).tolist(), strict=True))
    skin = {"site": site, "law": law, "tension": stretch}
    keys = {"name": "a", "wound": {"outline": outline}, "closure": {"undermine_mm": 15} | closure, "skin": skin}
    return measures(closed(parse(json.dumps(keys), Case, "a.yaml")))


if __name__ == "__main__":
    CIRCLE = {"kind": "circle", "diameter_mm": 20}
    for site in sys.argv[1:]:
        for name, kind in KINDS.items():
            law = solved(site, kind)
            lenses = [{"kind": "lens", "length_mm": length, "width_mm": 20} for length in (40, 60)]
            cones = [wound(site, law, outline)["cone_height_mm"] for outline in (CIRCLE, *lenses)]
            fresh, bound = wound(site, law, CIRCLE, undermine_mm=0), wound(site, law, lenses[1], undermine_mm=0)
            tied = wound(site, law, lenses[1], sutures={"kind": "interrupted", "spacing_mm": 15})["suture_forces_N"]
            grown = 100 * (fresh["gape_length_mm"] * fresh["gape_width_mm"] / 400 - 1)
            row = [*cones, grown, bound["closing_force_N"], tied[0], np.mean(tied[1:])]
            moduli = ", ".join(f"{law[key]:.3g}" for key in law if key.endswith("_kPa"))
            print(site, name, moduli, *(f"{value:.2f}" for value in row), sep=" | ", flush=True)
