"""Random valid cases, closed on coarse triangles: which close, which do not and why, and what they take.

    python tests/random_cases.py 1000 [FILE]        all outlines, techniques, laws, sites, seams and sutures

FILE keeps a line of JSON a case, so that a stopped run goes on where it was; what another solver closed is closed
again. Case k is the same on every machine. All are invented.
"""

import json
import multiprocessing as mp
import os
import signal
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

from fem.case.case import Case
from fem.closure.closing import closed
from fem.closure.measures.skin import self_intersection
from fem.comparison.written import parsed
from fem.errors import MeshError, NotConverged
from fem.plan.techniques import TECHNIQUES
from fem.results.identity import solver

COARSER = 2.0, 1.5  # times the default sizes of triangles, the first that goes
LIMIT = 60.0  # s of CPU, after which a case is given up
PLAIN = "circle", "ellipse", "lens", "rhombus", "tangent", "teardrop", "crescent", "lazy-s", "lens-with-m", "triangle"
OUTLINES = (*PLAIN, "square", "polygon", "traced")
SITES = (
    "forearm", "upper-arm", "back", "abdomen", "thigh", "buttock", "scalp", "cheek", "forehead", "lower-leg",
    "silicone-pad",
)  # fmt: skip


def case(k: int) -> Case:
    """The k-th random case; what is drawn and does not go together is drawn anew."""
    rng = np.random.default_rng([14, k])
    while True:
        content = {"name": f"random-{k}", **_content(rng)}
        try:
            found = parsed(content)
        except ValueError:
            continue
        for coarser in COARSER:
            sizes = {key: float(f"{coarser * size:.4g}") for key, size in found.mesh.model_dump().items()}
            try:
                return parsed(content | {"mesh": sizes})
            except ValueError:  # an edge is too short, or the rim too near for that
                continue
        return found


def _content(rng):
    technique = rng.choice(["side-to-side", *[t for t in TECHNIQUES if t != "named-points"]], p=_weights())
    size = float(np.exp(rng.uniform(np.log(5), np.log(150))))
    skin, bed = _skin(rng)
    return {
        "wound": {"outline": _outline(rng, technique, size)},
        "closure": _closure(rng, technique, size),
        "skin": skin,
        **({"bed": bed} if bed != "site" else {}),
    }


def _weights():
    names = [t for t in TECHNIQUES if t != "named-points"]
    rest = 0.6 / len(names)
    return [0.4, *[rest] * len(names)]


def _one(rng, low, high):
    return float(f"{rng.uniform(low, high):.4g}")


def _outline(rng, technique, size):
    if technique == "z-plasty":
        return {"kind": "slit", "length_mm": size}
    if technique == "bilobed":
        return {"kind": "circle", "diameter_mm": size}
    if technique == "rhombic":
        return rng.choice([{"kind": "circle", "diameter_mm": size}, _rhombus(size)])
    if technique in ("rotation", "a-to-t"):
        return {"kind": "triangle", "base_mm": size, "height_mm": size * _one(rng, 0.7, 2.5)}
    if technique in ("advancement", "two-sided-advancement", "v-y"):
        return rng.choice([{"kind": "square", "side_mm": size}, {"kind": "circle", "diameter_mm": size}])
    kind = str(rng.choice(OUTLINES))
    length, width = size, size / _one(rng, 1.0, 5.0)
    return {"kind": kind} | {
        "circle": lambda: {"diameter_mm": size},
        "crescent": lambda: {"length_mm": length, "upper_mm": width / 2, "lower_mm": width / 2 * _one(rng, 0, 0.7)},
        "lazy-s": lambda: {"length_mm": length, "width_mm": width, "sway_mm": length * _one(rng, -0.2, 0.2)},
        "lens-with-m": lambda: {
            "length_mm": length, "width_mm": width, "shorter_mm": length * _one(rng, 0.08, 0.2),
            "m_at": str(rng.choice(["left", "right", "both"])),
        },
        "triangle": lambda: {"base_mm": width, "height_mm": length},
        "square": lambda: {"side_mm": size},
        "polygon": lambda: {"points_mm": _around(rng, length, width, int(rng.integers(4, 9)))},
        "traced": lambda: {"points_mm": _around(rng, length, width, 40)},
    }.get(kind, lambda: {"length_mm": length, "width_mm": width})()  # fmt: skip


def _rhombus(size):
    return {"kind": "rhombus", "length_mm": float(f"{np.sqrt(3) * size:.8g}"), "width_mm": size}


def _around(rng, length, width, n):
    """Points of a wavy ellipse, or of a polygon inscribed in one."""
    t = np.sort(rng.uniform(0, 2 * np.pi, n)) if n < 10 else np.linspace(0, 2 * np.pi, n, endpoint=False)
    wave = 1 + rng.uniform(0, 0.12) * np.cos(rng.integers(2, 4) * t + rng.uniform(0, 6)) if n >= 10 else 1.0
    return np.stack([length / 2 * wave * np.cos(t), width / 2 * wave * np.sin(t)], axis=1).round(4).tolist()


def _closure(rng, technique, size):
    closure = {"technique": str(technique)}
    if rng.random() < 0.7:
        closure["undermine_mm"] = float(f"{size * rng.uniform(0.1, 1.0):.3g}")
    elif rng.random() < 0.3:
        closure |= {f"undermine_{side}_mm": float(f"{size * rng.uniform(0, 0.8):.3g}") for side in ("upper", "lower")}
    if rng.random() < 0.15:
        closure["seam"] = "hinge"
    if technique == "trimmed":
        closure |= {end: str(rng.choice(["straight", "angled", "m", "none"])) for end in ("left", "right")}
    if technique != "purse-string" and rng.random() < 0.2:
        closure["sutures"] = {
            "kind": "interrupted", "spacing_mm": float(f"{max(3.0, size / rng.uniform(3, 8)):.3g}"),
            "order": str(rng.choice(["halves", "along"])),
        }  # fmt: skip
    if technique == "side-to-side" and rng.random() < 0.1:
        closure["taper"] = {"length_mm": float(f"{max(6.0, size / 3):.3g}")}
    if technique == "side-to-side" and rng.random() < 0.1:
        closure["anchor"] = {"beyond_mm": 2.0}
    return closure


def _skin(rng):
    """Skin and bed: of a site in its range of stretch, mostly; or of a law, thickness and tension of its own."""
    lines = {"lines_deg": _one(rng, -90, 90)}
    if rng.random() < 0.75:
        skin = {"site": str(rng.choice(SITES))}
        if skin["site"] == "silicone-pad":
            return skin, "site"
        stretch = {"along_stretch": _one(rng, 1.0, 1.387), "across_stretch": _one(rng, 1.0, 1.282)}
        if rng.random() < 0.6:
            skin["tension"] = stretch | lines
        return skin, (None if rng.random() < 0.05 else "site")
    fibres = {"fibre_kPa": _one(rng, 5, 100), "stiffening": _one(rng, 0.5, 20)}
    fibres |= {"dispersion": _one(rng, 0, 0.33), "fibre_angle_deg": _one(rng, 0, 60)}
    law = rng.choice(
        [
            {"kind": "neo-hooke", "shear_kPa": _one(rng, 10, 100)},
            {"kind": "ogden", "shear_kPa": _one(rng, 3, 60), "exponent": _one(rng, 2, 20)},
            {"kind": "gasser-ogden-holzapfel", "shear_kPa": _one(rng, 5, 40), **fibres},
        ]
    )
    tension = {"along_N_per_m": _one(rng, -1, 60), "across_N_per_m": _one(rng, -1, 30), **lines}
    bed = {"fat_mm": _one(rng, 1, 30), "fat_shear_kPa": _one(rng, 0.2, 2)}
    return {"thickness_mm": _one(rng, 1, 4), "law": law, "tension": tension}, bed


def tried(k: int) -> dict:
    """What became of the k-th case."""
    made, start = case(k), time.process_time()
    outline, closure = made.wound.outline, made.closure
    line = {"case": k, "solver": solver(), "outline": outline.kind, "technique": closure.technique}
    line |= {"site": made.skin.site, "law": made.skin.law.kind, "sutures": closure.sutures.kind}

    def stop(*_):
        raise TimeoutError(f"more than {LIMIT:g} s of CPU")

    signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, LIMIT)
    try:
        found = closed(made)
        effort = found.effort
        line |= {"outcome": "closed", "unknowns": effort.unknowns, "iterations": effort.iterations}
        line |= {"cone_mm": float(found.x[2].max()), "dip_mm": float(found.x[2].min())}
        line |= {"passed_mm2": self_intersection(found), "met": found.contact is not None}
    except (NotConverged, MeshError, TimeoutError) as error:
        line |= {"outcome": type(error).__name__, "reason": str(error)}
    except Exception as error:
        line |= {"outcome": "fault", "reason": f"{type(error).__name__}: {error}"}
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    return line | {"cpu_s": round(time.process_time() - start, 2)}


def main(n: int, path: Path) -> None:
    """Try the cases that FILE does not hold yet, and print what became of all."""
    known = [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []
    done = {line["case"]: line for line in known if line["solver"] == solver()}
    with mp.get_context("forkserver").Pool(int(os.environ.get("WORKERS", "2")), maxtasksperchild=40) as pool:
        with path.open("a") as file:
            for line in pool.imap_unordered(tried, [k for k in range(n) if k not in done]):
                done[line["case"]] = line
                file.write(json.dumps(line) + "\n")
                file.flush()
    lines = [line for k, line in sorted(done.items()) if k < n]
    print(Counter(line["outcome"] for line in lines), f"{sum(line['cpu_s'] for line in lines):.0f} s of CPU")
    shown = "case", "outcome", "technique", "outline", "site", "sutures", "cpu_s", "reason"
    for line in lines:
        if line["outcome"] != "closed":
            print(*(line[key] for key in shown))


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2] if len(sys.argv) > 2 else "random_cases.jsonl"))
