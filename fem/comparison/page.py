"""The page that compares closures: one HTML file that needs no network and runs nothing but its own scripts.

Its policy names every script and style sheet by its hash, so text that slipped through the escaping of jinja2 could
not run. three.js comes from the installed package jupyter-threejs-sage, which ships it as a file.
"""

import base64
import hashlib
from importlib.resources import files

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

import fem
from fem.closure.measure import TIP_ZONE
from fem.render import picture
from fem.results.result import WORDS, label, names, numbers, ranks, shown, solved, unit

THREE = "static/r130/three.min.js"  # in jupyter_threejs_sage: three.js with orbit controls and wide lines
AROUND = 1.1  # of the piece of skin in the still pictures: what is kept of it to be turned; our choice
COLOURS = 256  # of a scale
NOTES = [  # measure it explains, what was observed, where
    (
        "cone_height_mm",
        "Cones settle with time. Of 43 in 26 patients, those of at most 8 mm at first were more likely to (odds 4.7 "
        "times as high); half the height was gone after about 3 weeks, and those that vanished took 132 days at the "
        "median.",
        "Lee KS, Kim NG, Jang PY et al. (2008), Statistical analysis of surgical dog-ear regression, Dermatol Surg "
        "34:1070–1076 (volume and pages from memory).",
    ),
    (
        "cone_height_mm",
        "Of 140 cones, 114 (81 %) were gone at 6 months. Up to which height the authors would watch one differed by "
        "place: 4 mm on the trunk, no limit on the hand.",
        "Jennings TA, Keane J, Varma R, Walsh SB, Huang CC (2017), Observation of dog-ear regression by anatomical "
        "location, Dermatol Surg 43:1367–1370.",
    ),
    (
        "closing_force_N",
        "On the scalps of 14 patients, with wounds 9 to 41 mm wide, skin began to creep above about 5 N, and 15 N was "
        "named as the most that is acceptable. Held in place, the force fell by 44 % in 5 minutes and by 65 % in "
        "half an hour; the model's force is that before any such fall.",
        "Lear W et al. (2019), In vivo stress relaxation of human scalp, J Mech Behav Biomed Mater 97:85–89.",
    ),
    (
        "closing_force_N",
        "In 27 flaps with poor supply on piglets, skin died more often above 2.45 N (250 gf). That is a force on a "
        "flap's edge, not the sum along a seam.",
        "Larrabee WF, Holloway GA, Sutton D (1984), Wound tension and blood flow in skin flaps (authors from memory).",
    ),
    (
        "tip_angles_1_deg",
        "A wound three times as long as wide does not have tips of 30°: they measure between 37° (straight sides) and "
        "74° (arcs of a circle).",
        "Moody BR, McCarthy JE, Sengelmann RD (2001), The apical angle: a mathematical analysis of the ellipse, "
        "Dermatol Surg 27:61–63.",
    ),
]
MEANINGS = [
    ("Cone", "the surplus skin that stands up at an end of the scar; its height counts from the level of the skin."),
    ("Closing force", "the pull across the scar, summed along it."),
    ("Line tension", "that pull per length of scar. Times the distance between two sutures it is the force on each."),
    (
        "Stress",
        "force per area of cut skin, in the direction in which it is greatest; kPa times the thickness in mm is "
        "line tension in N/m.",
    ),
    ("Under compression", "skin whose smaller stress is below −1 kPa, so that it tends to wrinkle."),
    ("Push-out", "how far a tip moves outward when the wound is closed."),
    ("Reach", "how far beyond the tip skin stands more than 0.5 mm high; footprint and volume are of that skin too."),
]
LEFT_OUT = [
    "Time: healing and creep. Everything is as in the first moment after closing, but for the forces that a case with "
    "`relax` asks for later.",
    "Skin that touches itself (where it has passed through itself, the warnings say so), skin in layers, damage, and "
    "the blood supply.",
    "Round bodies: the skin around the wound is flat, and so is its natural tension.",
    f"The two end points of a scar, where forces and stress grow without limit; measures of stress and line tension "
    f"leave out {TIP_ZONE:g} mm around them.",
]
CAUTION = (
    "For research and teaching only. This is not a medical device and not for decisions about a patient; technique and "
    "its limits are a matter for licensed practitioners and local rules."
)
GROUPS = {  # leading numbers by the first of each group; the rest goes under the last heading
    "cone_height_mm": "Shape",
    "closing_force_N": "Forces",
    "skin_stress_max_kPa": "Skin",
}
FURTHER = "Further numbers"


def html(results, *, baseline, only, images, view):
    """The page as text.

    baseline  name of the case that differences are taken to, or None
    only      names of the numbers in the table, or None for all
    images    by name: charts and scales as SVG text; `plans`, `height` and `stress` of every case by its name, as
              SVG text or bytes of WebP, and `sizes` of these three in pixels
    view      half-width in mm, range of heights in mm, range of stresses in kPa; None if nothing is solved
    """
    done = solved(results)
    return rendered(
        "comparison/page.html",
        [_three(), text_of("comparison/page.js")] if done else [],
        results=results,
        done=done,
        failed=[result for result in results if result.reason],
        baseline=baseline,
        assumed=assumed(results),
        meanings=MEANINGS,
        left_out=LEFT_OUT,
        **(_drawn(done, images, view) | _numbers(results, baseline, only) if done else {}),
    )


def template(name):
    """A template of this package, which escapes all that is put in and refuses what is missing."""
    loader = PackageLoader("fem", ".")
    return Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True).get_template(name)


def rendered(name, scripts, **values):
    """A page from its template: text that is escaped, the scripts given, the style and the caution of all pages."""
    style, *scripts = (Markup(text) for text in (text_of("comparison/page.css"), *scripts))
    return template(name).render(
        policy=policy([style], scripts),
        style=style,
        scripts=scripts,
        version=fem.__version__,
        caution=CAUTION,
        **values,
    )


def text_of(name):
    """The text of a file of this package."""
    return (files("fem") / name).read_text(encoding="utf-8")


def _three():
    return (files("jupyter_threejs_sage") / THREE).read_text(encoding="utf-8")


def policy(styles, scripts):
    """Content security policy that lets nothing in but these texts and pictures inside the page."""

    def hashes(texts):
        sums = (base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in texts)
        return " ".join(f"'sha256-{one}'" for one in sums) or "'none'"

    return (
        f"default-src 'none'; img-src data:; style-src {hashes(styles)}; script-src {hashes(scripts)}; "
        "base-uri 'none'; form-action 'none'"
    )


def uri(content):
    """A data: address of an SVG text or of the bytes of a WebP or PNG image."""
    kind, raw = ("svg+xml", content.encode()) if isinstance(content, str) else ("webp", content)
    kind = "png" if raw.startswith(b"\x89PNG") else kind
    return f"data:image/{kind};base64,{base64.b64encode(raw).decode()}"


# What is drawn ------------------------------------------------------------------------------------------------


def _drawn(done, images, view):
    half_width, heights, stresses = view

    def chart(name, caption):
        return Markup('<figure><img src="{}" alt="{}"><figcaption>{}</figcaption></figure>').format(
            uri(images[name]), f"Chart. {caption} The numbers are in the table below.", caption
        )

    def alt(result, what):
        at = numbers(result.measures)
        return what.format(
            name=result.name, **{name: f"{shown(name, at[name])} {unit(name)}" for name in at if "_" in name}
        )

    return {
        "chart": chart,
        "sizes": images["sizes"],
        "view_mm": f"{2 * half_width:.0f}",
        "plans": {name: uri(text) for name, text in images["plans"].items()},
        "height_pictures": {name: uri(raw) for name, raw in images["height"].items()},
        "stress_pictures": {name: uri(raw) for name, raw in images["stress"].items()},
        "height_scale": uri(images["height_scale"]),
        "stress_scale": uri(images["stress_scale"]),
        "heights": [f"{h:.1f}" for h in heights],
        "stresses": [f"{s:.0f}" for s in stresses],
        "alt_plan": lambda r: alt(r, "Plan of {name}: skin removed {removed_area_mm2}."),
        "alt_height": lambda r: alt(
            r, "Closed skin of {name}: cones {cone_height_mm} high, scar {scar_length_mm} long."
        ),
        "alt_stress": lambda r: alt(r, "Stress of {name}, up to {skin_stress_max_kPa}."),
        "tip_zone": f"{TIP_ZONE:g} mm",
        "scene": scene(done, half_width, heights, stresses),
    }


def scene(done, half_width, heights, stresses):
    """What the page's script draws, as plain data; arrays are base64 of little-endian numbers."""
    return {
        "half_width": half_width,
        "depth": picture.DEPTH,
        "heights": heights,
        "height_colours": lookup(picture.HEIGHTS),
        "stress_colours": lookup(picture.STRESSES),
        "cases": [packed(result, half_width, stresses) for result in done],
    }


def lookup(colours):
    """COLOURS red, green, blue bytes of a colour map, base64."""
    return coded(np.round(255 * colours(np.linspace(0, 1, COLOURS))[:, :3]), "u1")


def coded(values, kind):
    """Numbers as base64 of a numpy type."""
    return base64.b64encode(np.ascontiguousarray(values, dtype=kind).tobytes()).decode()


def packed(result, half_width, stresses):
    """The stages of a closure around its wound: positions as whole multiples of `step` mm, stresses as colours.

    Triangles are flat between the vertices of the quadratic ones, a quarter as many as there are nodes: at this size
    the bend between them is below a pixel.
    """
    stages = result.stages
    place = np.abs(stages["X"] - stages["centre"][:2, None])
    seen = (place < AROUND * half_width * np.array([[1.0], [picture.DEPTH]])).all(axis=0)
    triangles = stages["elements"][:3]
    triangles = triangles[:, seen[triangles].any(axis=0)]
    lines = [stages["seams"][:, stages["seam_of"] == k][:, ::2] for k in np.unique(stages["seam_of"])]
    used = np.unique(np.concatenate([triangles.ravel(), *(line.ravel() for line in lines)]))
    number = np.full(seen.size, -1)
    number[used] = np.arange(used.size)
    x = stages["x"][:, :, used].astype(float) - stages["centre"][:, None]
    step = np.abs(x).max() / np.iinfo(np.int16).max
    share = stages["stress_kPa"][:, used] / stresses[1]
    return {
        "name": result.name,
        "nodes": int(used.size),
        "step": float(step),
        "closed": [float(closed) for closed in stages["closed"]],
        "words": [
            str(words) or stage_words(closed) for closed, words in zip(stages["closed"], stages["words"], strict=True)
        ],
        "triangles": coded(number[triangles].T, "<u4"),
        "positions": coded(np.round(x.transpose(0, 2, 1) / step), "<i2"),
        "stresses": coded(np.round((COLOURS - 1) * np.clip(share, 0, 1)), "u1"),
        "lines": [number[edge].tolist() for line in lines for edge in line],
        "tips": number[stages["tips"]].tolist(),
    }


def stage_words(closed):
    """What a stage is called."""
    return {0.0: "fresh wound, open", 1.0: "closed"}.get(float(closed), f"{100 * closed:.0f} % closed")


# What is said -------------------------------------------------------------------------------------------------


def _numbers(results, baseline, only):
    rows = table(results, baseline=baseline, only=only)
    explained = [note for note in NOTES if any(row["name"] == note[0] for row in rows)]
    for row in rows:
        row["notes"] = [i for i, note in enumerate(explained, start=1) if note[0] == row["name"]]
    return {
        "rows": rows,
        "notes": [{"text": text, "source": source} for _, text, source in explained],
        "glance": glance(solved(results)),
    }


def table(results, *, baseline=None, only=None):
    """Rows of the table of measures: name, label, unit, the heading before it and a cell for each case.

    A cell has its text, the number itself, its rank and its difference to the baseline, if any.
    """
    values = [numbers(result.measures) for result in results]
    to = next((value for result, value in zip(results, values, strict=True) if result.name == baseline), {})
    rows, headed = [], set()
    for name in names(results):
        if only and name not in only:
            continue
        heading = _heading(name)
        column = [value.get(name) for value in values]
        cells = [
            {
                "text": shown(name, value) if not result.reason else "not closed",
                "value": value,
                "rank": rank,
                "change": _change(name, value, to.get(name)) if result.name != baseline else None,
            }
            for result, value, rank in zip(results, column, ranks(name, column), strict=True)
        ]
        group = None if heading in headed else heading
        headed.add(heading)
        rows.append({"name": name, "label": label(name), "unit": unit(name), "group": group, "cells": cells})
    return rows


def _heading(name):
    """The group of a number: the last that starts at it or before it."""
    if name not in WORDS:
        return FURTHER
    before = list(WORDS)[: list(WORDS).index(name) + 1]
    return [GROUPS[start] for start in before if start in GROUPS][-1]


def _change(name, value, to):
    return None if value is None or to is None else shown(name, value - to, sign="+")


def glance(done):
    """What the numbers say at first glance, as sentences."""
    lines = []
    for name, most, least in [
        ("cone_height_mm", "Highest cones", "lowest"),
        ("scar_length_mm", "Longest scar", "shortest"),
        ("line_tension_mid_N_per_m", "Highest line tension in the middle of the scar", "lowest"),
        ("removed_area_mm2", "Most skin removed", "least"),
    ]:
        values = [(numbers(result.measures).get(name), result.name) for result in done]
        at = [pair for pair in values if pair[0] is not None]  # what is not sewn has no scar
        ends = [f"{who} ({shown(name, value)} {unit(name)})" for value, who in (max(at), min(at))] if at else []
        if len(at) > 1 and shown(name, max(at)[0]) != shown(name, min(at)[0]):
            lines.append(f"{most}: {ends[0]}; {least}: {ends[1]}.")
    return lines


def assumed(results):
    """What was put in and what computed it: (heading, [(key, value of every case)])."""
    blocks = [_flat(result.case.model_dump(mode="json", exclude_none=True)) for result in results]
    keys = [key for key in dict.fromkeys(key for block in blocks for key in block) if key != "name"]
    inputs = [(key, [block.get(key, "–") for block in blocks]) for key in keys]
    headings = dict.fromkeys(key.split(".")[0] for key in keys)
    parts = [(head, [line for line in inputs if line[0].split(".")[0] == head]) for head in headings]
    if solved(results):
        effort = ["elements", "unknowns", "smallest_angle_deg", "residual_N", "negative_pivots"]
        lines = [(key.replace("_", " "), [_text(r.run.get(key, "–")) for r in results]) for key in effort]
        made = [r.run.get("versions", {}) for r in results]
        lines.append(("warnings", ["; ".join(r.run.get("warnings", [])) or "–" for r in results]))
        libraries = dict.fromkeys(name for versions in made for name in versions)
        lines += [(name, [versions.get(name, "–") for versions in made]) for name in libraries]
        parts.append(("computed with", lines))
    return parts


def _flat(content, before=""):
    """A nested mapping as {dotted key: text}."""
    flat = {}
    for key, value in content.items():
        if isinstance(value, dict):
            flat |= _flat(value, f"{before}{key}.")
        else:
            flat[f"{before}{key}"] = _text(value)
    return flat


def _text(value):
    if isinstance(value, list):
        return ", ".join(_text(member) for member in value)
    return f"{value:.4g}" if isinstance(value, float) else str(value)
