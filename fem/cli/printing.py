"""What the commands print on stdout."""

import csv
import json
import shutil
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.cli.files import fail

if TYPE_CHECKING:
    from fem.case.case import Case
    from fem.results.result import Result
    from fem.study.sweep import Study
    from fem.study.validation import Line

LINE = 110  # columns of text that still read well, and that the table of sites needs; our choice
RANKS = {"best": "★", "worst": "▽"}
HEADINGS = "site", "mm", "E kPa", "stretch", "tension N/m", "E in place kPa", "law", "fat mm", "kPa"


def width() -> int:
    """Columns of running text."""
    return min(LINE, shutil.get_terminal_size().columns)


def summary(name: str, folder: Path) -> str:
    """One line on a finished case, with what is grave about it."""
    from fem.comparison.wording import sentence
    from fem.results.close import GRAVE

    at, run = (json.loads((folder / f"{file}.json").read_text()) for file in ("measures", "run"))
    grave = [line.split("; ")[0] for line in run["warnings"] if line.startswith(GRAVE)]
    return sentence("cli/closed", "summary", name, at, folder / "index.html", grave)


def site(name: str, *, columns: int) -> str:
    """One entry of the library of sites as text: each value, its range, its tag and its source, and the papers."""
    from fem.case.site import LIBRARY, SITES, fat, springs, undermining, values
    from fem.comparison.wording import sentences

    entry = SITES[name]
    known = values(entry) | ({"closure.undermine_mm": undermining(entry)} if entry.stretch else {})
    known |= {"patch.surface.radius_mm": entry.body.radius_mm} if entry.body else {}
    bed = springs(**{key: value.typical for key, value in fat(entry).items()}) if entry.bed else None
    sources = " ".join(value.source for value in [*known.values(), *([entry.young_kPa] if entry.young_kPa else [])])
    cited = [f"{paper}: {full}" for paper, full in LIBRARY.papers.items() if paper in sources]
    return "\n".join(sentences("cli/site", "report", name, entry, known, _in_place(name), bed, cited, columns))


def sites() -> list[tuple[str, ...]]:
    """Typical values of all sites and bench materials, a row of words each under HEADINGS."""
    from fem.case.site import SITES

    table = []
    for name, entry in SITES.items():
        at = _in_place(name)
        law = f"{at['law']['kind']}, {at['law']['shear_kPa']:.4g} kPa"
        pairs = [" x ".join(f"{value:.4g}" for value in at[key]) for key in ("stretch", "tension", "young")]
        pairs = pairs if entry.stretch else ["-"] * len(pairs)
        fat = [f"{value.typical:g}" for value in entry.bed.values()] if entry.bed else ["-", "-"]
        table.append((name, f"{entry.thickness_mm.typical:g}", f"{at['at_rest']:.3g}", *pairs, law, *fat))
    return table


def _in_place(name):
    """Law, stretch, tension in N/m and Young's moduli in kPa, at rest and in place, of typical skin of an entry."""
    from fem.case import physical
    from fem.case.site import SITES, filled, natural_stretch
    from fem.material.laws import young_modulus
    from fem.material.skin import KPA, resistance

    skin = filled({"skin": {"site": name}})["skin"]
    law, h, stretch = physical.law(skin["law"]), skin["thickness_mm"], natural_stretch(SITES[name])
    return {
        "law": dict(skin["law"]),
        "stretch": stretch.tolist(),
        "tension": physical.pretension_N_per_m(law, stretch, h=h),
        "at_rest": KPA * young_modulus(law),
        "young": (KPA * resistance(law, stretch, h=h) / h).tolist(),
    }


def measures(rows: Iterable[dict], results: "Iterable[Result]") -> None:
    """Print the table of measures, a column each case."""
    from fem.results.quantities import labelled

    body = []
    for row in rows:
        parts = "text", "error", "change"
        cells = [" ".join(filter(None, [RANKS.get(c["rank"]), *(c[part] for part in parts)])) for c in row["cells"]]
        body.append([labelled(row["name"]), *cells])
        skins = dict.fromkeys(skin for cell in row["cells"] for skin in cell["skins"])
        body += [[f"  in {skin} skin", *(cell["skins"].get(skin, "–") for cell in row["cells"])] for skin in skins]
        if any(cell["like"] for cell in row["cells"]):
            body.append(["  alike with", *(", ".join(cell["like"]) for cell in row["cells"])])
        elif row["alike"]:
            body.append(["  all alike"])
    print_table(["measure", *(result.name for result in results)], body, justify="right")
    print("★ best (least), ▽ worst (greatest) of a row, as far as digits, errors and skins tell them apart")


def errors(folder: Path) -> None:
    """Print the leading measures of a result that are not exact with their errors, and how these were estimated."""
    from fem.case import case as cases
    from fem.comparison.page import table
    from fem.results.quantities import LEADING, labelled, plus_minus
    from fem.results.result import read

    result = read(folder, cases.read(folder / "case.yaml"))
    body = []
    for row in table([result]):
        error = result.accuracy.errors.get(row["name"])
        if error and plus_minus(error.total) and row["name"] in LEADING:
            parts = (plus_minus(part) or "0" for part in (error.total, error.mesh, error.patch))
            body.append([labelled(row["name"]), row["cells"][0]["text"], *parts, error.how])
    print_table(["measure", "value", "error", "mesh", "patch", "how"], body, justify="right")


def print_table(headings: Iterable[str], rows: Iterable[Iterable[str]], *, justify: Any = "left") -> None:
    """Print a table; `justify` is that of all columns but the first."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, header_style="bold")
    for k, heading in enumerate(headings):
        table.add_column(Text(heading), justify=justify if k else "left", overflow="fold")
    for row in rows:
        table.add_row(*map(Text, row))
    console = Console() if sys.stdout.isatty() else Console(width=LINE)
    with console.capture() as text:  # rich ends the program itself if it cannot write
        console.print(table)
    print(text.get(), end="")


def select(folder: Path, cases: "Iterable[Case]", query: str) -> None:
    """Print what SQL selects from a study's table, which is made from its folder first."""
    from fem.results.identity import address
    from fem.study.table import outdated, selected, write_table

    if not (folder / "cases").is_dir():
        fail(f"flatseam study: no results in {folder} yet")
    try:
        path = write_table(folder, dict.fromkeys(map(address, cases)))
        damaged = selected(path, "select key, reason from study where status = 'damaged'")[1]
        columns, rows = selected(path, query)
    except (OSError, ValueError) as error:
        fail(f"flatseam study --table: {error}")
    if count := outdated(folder):
        print(f"{folder}: {count} results are out of date, computed by another solver", file=sys.stderr)
    for key, reason in damaged:
        print(f"{folder / 'cases' / key}: damaged: {reason}", file=sys.stderr)
    if not sys.stdout.isatty():
        csv.writer(sys.stdout, lineterminator="\n").writerows([columns, *rows])
        return
    print_table(columns, (["" if value is None else str(value) for value in row] for row in rows))


def checked(kind: str, content: Any) -> None:
    """Print what a file is, of a kind of `kinds.KINDS` and with a content as of `files.read_any`, and what it takes."""
    from fem.cli.effort import lines

    print(report(content) if kind == "case" else "\n".join(lines(kind, content)))


def report(case: "Case") -> str:
    """The geometry of a case, how its edges match, where cones are to be expected, what it takes; as lines of text."""
    from math import degrees

    from fem.case import case as cases
    from fem.case import physical
    from fem.cli.effort import takes
    from fem.comparison.wording import sentences
    from fem.plan import junctions, trim
    from fem.results.cost import cost
    from fem.results.quantities import split, unit

    plan, outline = physical.plan(case), physical.outline(case.wound.outline)
    facts = [(name, value if isinstance(value, list) else [value]) for name, value in cases.geometry(case).items()]
    known = [(split(name)[0].replace("_", " "), values, unit(name)) for name, values in facts]
    cut = trim.lengths(outline, case.closure.model_dump()) if case.closure.technique == "trimmed" else ()
    lengths = [[edge.length for edge in seam] for seam in plan.seams]
    seams = list(zip(lengths, junctions.ratios(plan), strict=True))
    met = [(degrees(m.deficit), m.places.T.round(1) + 0.0, m.closed) for m in junctions.junctions(plan)]
    spread = [degrees(deficit) for deficit in junctions.spread(plan)]
    along = [(k, deficit) for k, deficit in enumerate(spread, start=1) if abs(deficit) > degrees(junctions.SUM)]
    total = sum(deficit for deficit, *_ in met) + sum(spread)
    values = case, known, cut, physical.forces_left(case), seams, met, along, total, takes(cost([case]))
    return "\n".join(sentences("cli/check", "report", *values))


def validation(table: "dict[str, list[Line]]", *, markdown: bool) -> None:
    """Print a table of facts for each site, then what the misses point to, and every source once."""
    from fem.comparison.wording import sentence
    from fem.study.validation import SKINS, UNDERMINED, printed

    def say(macro: str, *about: Any) -> str:
        return sentence("study/validation", macro, *about)

    print(say("wounds", UNDERMINED))
    headings = "what was observed", "observed", *SKINS, "typical skin"
    for site_name, lines in table.items():
        body = []
        for line in lines:
            numbers = (say("number", printed(value)) for value in line.values)
            body.append([line.fact.about, say("observed", line.fact), *numbers, say("verdict", line.miss)])
        print(f"\n{'### ' if markdown else ''}{site_name}\n")
        if markdown:
            rule = ["---"] * len(headings)
            print("\n".join(f"| {' | '.join(row)} |" for row in (headings, rule, *body)))
        else:
            print_table(headings, body)
    misses: dict = {}  # sites by fact, which may be none
    for name, lines in table.items():
        for line in lines:
            misses.setdefault(line.fact, []).extend([name] * (abs(line.miss) > 0))
    mark = "- " if markdown else ""
    missed = [mark + say("missed", fact.about, at, fact.missing) for fact, at in misses.items() if at]
    sources = [mark + say("source", fact.about, say("observed", fact), fact.tag, fact.source) for fact in misses]
    print("", *missed, "", *sources, sep="\n")


def forecast(folder: Path, cases: "list[Case]", study: "Study", cores: int) -> str:
    """Lines on how many cases a study has, how many are missing, how long they take, and how many its answers add."""
    from fem.study.report import counts
    from fem.study.study import estimate

    missing, seconds, source = estimate(folder, cases, keep=study.keys.keep)
    lines = [f"{study.name}: {counted(len(cases), 'case')}, {missing} of them to be computed"]
    if missing:
        lines[0] += f"; about {span(seconds / cores)} on {counted(cores, 'worker')}, going by {source}"
    for answer, count in counts(study):
        lines.append(f"  answer {answer}: {f'at most {count}' if count else 'no'} further cases")
    return "\n".join(lines)


def counted(n: int, what: str) -> str:
    """A number of things: "1 worker", "2 workers"."""
    return f"{n} {what}{'s' * (n != 1)}"


def span(seconds: float) -> str:
    """A time in words."""
    for unit, length in [("days", 86400), ("hours", 3600), ("minutes", 60)]:
        if seconds >= 2 * length:
            return f"{seconds / length:.0f} {unit}"
    return f"{seconds:.0f} seconds"
