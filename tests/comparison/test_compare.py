"""The command compare: what is solved, what is written, and that every number is that of measures.json."""

import csv
import json
import os
import re
import shutil
import signal
import subprocess
import sysconfig
import time
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path
from xml.etree import ElementTree

import duckdb
import psutil
import pytest
from matplotlib import rc_context
from matplotlib.image import imread
from small_cases import STUCK, case, text
from terminal import content, names

from fem.comparison import chart, jobs, style
from fem.render import canvas
from fem.results import result
from fem.results.quantities import numbers, tabled
from fem.results.result import Result

FLATSEAM = Path(sysconfig.get_path("scripts")) / "flatseam"
PATIENCE = 600  # s; the kernels may have to be compiled first
pytestmark = pytest.mark.slow  # all rest on one real comparison of a process of its own
LENGTHS = {"short": 20, "long": 40}


@pytest.fixture(scope="module")
def solved(tmp_path_factory):
    """A folder with two good cases and one that cannot be closed, and `flatseam compare` run in it."""
    folder = tmp_path_factory.mktemp("compared")
    (folder / "cases").mkdir()
    for name, length in LENGTHS.items():
        (folder / "cases" / f"{name}.yaml").write_text(text(name, length))
    (folder / "cases" / "stuck.yaml").write_text(STUCK)
    options = [FLATSEAM, "compare", "cases", "--baseline", "short"]
    return folder, subprocess.run(options, cwd=folder, capture_output=True, text=True, check=False)


@pytest.fixture
def here(solved, tmp_path, monkeypatch):
    """A copy of that folder as the working folder."""
    shutil.copytree(solved[0], tmp_path / "copy")
    monkeypatch.chdir(tmp_path / "copy")
    return tmp_path / "copy"


def measured(folder, name):
    """The numbers in a case's measures.json."""
    return numbers(json.loads((folder / "results" / name / "measures.json").read_text()))


# What is written ----------------------------------------------------------------------------------------------


def test_exit_code_and_words(solved):
    """3 for the case without equilibrium, with its reason on stderr; the others and the page are there."""
    folder, ran = solved
    assert ran.returncode == 3
    assert re.match(r"cases/stuck.yaml: warning: ", ran.stderr)
    assert re.search(r"^stuck: not converged: ", ran.stderr, re.MULTILINE)
    assert ran.stdout.splitlines()[-1] == "results/comparison.html, comparison.csv, comparison.parquet"
    assert names(folder / "results") == [
        "comparison.csv",
        "comparison.html",
        "comparison.parquet",
        "long",
        "short",
        "stuck.failed.json",
    ]


def test_table_on_the_terminal(solved):
    """Columns in the order of the files' names; numbers as printed everywhere, differences to the baseline."""
    lines = solved[1].stdout.splitlines()
    heads = next(line for line in lines if line.strip().startswith("measure"))
    assert heads.split() == ["measure", "long", "short", "stuck"]
    row = next(line for line in lines if "scar length, along the skin" in line)
    long, short = (measured(solved[0], name)["scar_length_mm"] for name in ("long", "short"))
    wanted = f"▽ {long:.1f} +{long - short:.1f} ★ {short:.1f} not closed"
    assert " ".join(row.split("mm")[1].split()) == wanted


def test_csv(solved):
    """Every number of measures.json to the last bit, a row each case; nothing for what failed but its reason.

    Of lengths round-off is 0.
    """
    with open(solved[0] / "results" / "comparison.csv", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["case"] for row in rows] == ["long", "short", "stuck"]
    for row in rows[:2]:
        known = measured(solved[0], row["case"]).items()
        wanted = {name: tabled(name, value) for name, value in known if value is not None}
        assert {name: float(row[name]) for name in wanted} == wanted
        assert set(row) == {"case", "skin", "reason", *wanted}
        assert row["skin"] == "as given"
        assert row["reason"] == ""
    assert rows[2]["reason"].startswith("closing: no rest after")
    assert {value for name, value in rows[2].items() if name not in ("case", "skin", "reason")} == {""}


def test_parquet(solved):
    """The same as the CSV, as numbers."""
    table = duckdb.sql(f"SELECT * FROM '{solved[0] / 'results' / 'comparison.parquet'}'")
    rows = {row[0]: dict(zip(table.columns, row, strict=True)) for row in table.fetchall()}
    for name in LENGTHS:
        wanted = {k: tabled(k, v) for k, v in measured(solved[0], name).items() if v is not None}
        assert {key: rows[name][key] for key in wanted} == wanted
        assert rows[name]["reason"] is None
    assert rows["stuck"]["scar_length_mm"] is None


@pytest.mark.slow
def test_figures(here, flatseam):
    """Each chart, plan and picture three times; PNG with 300 dots per inch of a width of 4.8 inches."""
    code, out, _ = flatseam("compare", "cases/short.yaml", "--figures")
    assert code == 0 and out.splitlines()[-1] == (
        "results/comparison.html, comparison.csv, comparison.parquet; figures in results/comparison-figures"
    )
    folder = here / "results" / "comparison-figures"
    charts = ["trade-off", "trade-off-skin", "heights-along", "heights-across", "tensions-along"]
    figures = charts + [f"{what}-short" for what in ("plan", "height", "stress")]
    assert names(folder) == sorted(f"{name}.{kind}" for name in figures for kind in ("svg", "pdf", "png"))
    for name in figures:
        assert (folder / f"{name}.pdf").read_bytes().startswith(b"%PDF")
        assert ElementTree.parse(folder / f"{name}.svg").getroot().tag.endswith("svg")
    for name in charts:
        assert imread(folder / f"{name}.png").shape[1] == 300 * chart.SIZE[0]


# What is solved -----------------------------------------------------------------------------------------------


def test_nothing_is_solved_twice(here, flatseam):
    """Complete results stay to the nanosecond, and the page is written anew."""
    times = {p: p.stat().st_mtime_ns for p in (here / "results" / "short").rglob("*")}
    page = (here / "results" / "comparison.html").stat().st_mtime_ns
    code, out, err = flatseam("compare", "cases/short.yaml", "cases/long.yaml")
    assert code == 0
    assert err == "results/comparison.html: replaces the comparison of long, short, stuck; --name keeps both\n"
    assert {p: p.stat().st_mtime_ns for p in (here / "results" / "short").rglob("*")} == times
    assert (here / "results" / "comparison.html").stat().st_mtime_ns > page
    assert out.splitlines()[0].split() == ["measure", "short", "long"]


def test_another_name(here, flatseam):
    """It is written beside the first, which stays, without a word of what is replaced."""
    before = content(here / "results")
    code, out, err = flatseam("compare", "cases/short.yaml", "--name", "teaching")
    assert (code, err) == (0, "") and out.splitlines()[-1].startswith("results/teaching.html, teaching.csv, ")
    added = {"teaching.csv", "teaching.html", "teaching.parquet"}
    assert set(names(here / "results")) == {path.relative_to(here / "results").parts[0] for path in before} | added
    assert content(here / "results").items() >= before.items()


@pytest.mark.parametrize(
    ("name", "there", "complaint"),
    [
        ("mine", "mine.html", "results/mine.html is no comparison; another --name leaves it as it is"),
        ("mine", "mine.csv", "results/mine.csv is no comparison; another --name leaves it as it is"),
        ("mine", "mine-figures/run.json", "results/mine-figures holds the results of a case"),
        ("../mine", "x", "got '../mine', wanted letters, digits"),
    ],
)
def test_what_is_something_else_stays(here, flatseam, name, there, complaint):
    """A page to explore, a table or a case's results of that name are not replaced; nor is a name outside taken."""
    path = here / "results" / there
    path.parent.mkdir(exist_ok=True)
    path.write_text("years of work")
    code, out, err = flatseam("compare", "cases/short.yaml", "--name", name)
    assert (code, out) == (2, "") and complaint in " ".join(err.replace("│", "").split())
    assert path.read_text() == "years of work" and not (here / "mine.html").exists()


def test_only_and_sort(here, flatseam):
    """Only the row asked for, its smallest number first, whatever the order of the files."""
    code, out, _ = flatseam(
        "compare", "cases/long.yaml", "cases/short.yaml", "--sort", "scar_length_mm", "--only", "scar_length_mm"
    )
    assert code == 0
    heads, row, *_ = out.splitlines()
    assert heads.split() == ["measure", "short", "long"]
    assert row.startswith(" scar length, along the skin, mm")
    assert "closing force" not in out


@pytest.mark.slow
def test_result_that_cannot_be_read(here, flatseam):
    """Arrays cut short: the case is closed again, and a line says why."""
    stages = here / "results" / "short" / "stages.npz"
    stages.write_bytes(stages.read_bytes()[:1000])
    code, out, err = flatseam("compare", "cases/long.yaml", "cases/short.yaml")
    assert code == 0
    assert err.splitlines()[1:2] == ["short: damaged, stages.npz: File is not a zip file; closing again"]
    assert "not closed" not in out


@pytest.mark.slow
def test_nothing_is_solved_at_all(here, flatseam):
    """If no case can be closed there is a page that says so, and no folder of figures."""
    code, _, err = flatseam("compare", "cases/stuck.yaml", "--into", "elsewhere", "--figures")
    assert code == 3
    assert "stuck: not converged" in err
    assert "0 closures compared" in (here / "elsewhere" / "comparison.html").read_text()
    assert names(here / "elsewhere") == [
        "comparison.csv", "comparison.html", "comparison.parquet", "stuck.failed.json",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("options", "complaints"),
    [
        (["cases", "--baseline", "shrot"], "--baseline: no 'shrot'; did you mean 'short'? allowed: long, short"),
        (["cases", "--sort", "cone_height"], "no 'cone_height'; did you mean 'cone_height_mm', in mm? allowed: cone"),
        (["cases", "--only", "beauty"], "no 'beauty'; allowed: cone_height_mm, "),
        (["results"], "results: no .yaml file in this folder"),
        (["cases", "cases/short.yaml"], "cases/short.yaml: name: 'short' is also the name of cases/short.yaml"),
        (["nowhere"], "nowhere: No such file or directory"),
    ],
)
def test_bad_words(flatseam, here, options, complaints):
    """Exit code 2 and what is allowed, before any work."""
    page = (here / "results" / "comparison.html").stat().st_mtime_ns
    code, out, err = flatseam("compare", *options)
    assert (code, out) == (2, "")
    assert complaints in err
    assert (here / "results" / "comparison.html").stat().st_mtime_ns == page


def test_folder_in_the_place_of_the_page(here, flatseam):
    """What cannot be replaced stays, and so do the older tables."""
    (here / "results" / "comparison.html").unlink()
    (here / "results" / "comparison.html").mkdir()
    code, _, err = flatseam("compare", "cases/short.yaml")
    assert code == 2
    assert err.startswith("flatseam compare: ") and "comparison.html" in err
    assert not [name for name in names(here / "results") if name.startswith(".")]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("number", "code", "words"),
    [(signal.SIGINT, 130, "interrupted"), (signal.SIGTERM, 143, "ended by the system")],
)
@pytest.mark.parametrize("busy", [True, False], ids=["solving", "starting"])
def test_interrupted(tmp_path, number, code, words, busy):
    """Ctrl-C, or the system's order, to the command alone while cases are being solved, or their processes start.

    The exit code of the signal, one line, no traceback, no warning of what leaks, nothing left.
    """
    for name, length in LENGTHS.items():
        fine = text(name, length).replace("edge_mm: 2, tip_mm: 2", "edge_mm: 0.3, tip_mm: 0.25")
        (tmp_path / f"{name}.yaml").write_text(fine)
    heed = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)
    options = [FLATSEAM, "compare", "."]
    with subprocess.Popen(
        options, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, preexec_fn=heed
    ) as process:
        wait_for_workers(process, 2, seconds=2 if busy else 0)
        workers = children(process.pid)
        process.send_signal(number)
        out, err = process.communicate(timeout=PATIENCE)
    assert (process.returncode, out) == (code, b"")
    assert err.decode() == (
        f"flatseam: {words}; results that are complete are kept, and the same command goes on from there\n"
    )
    until = time.monotonic() + 5  # for what only waits for others to end
    while any(os.path.exists(f"/proc/{pid}") for pid in workers):
        assert time.monotonic() < until
        time.sleep(0.05)
    assert [name for name in names(tmp_path) if not name.endswith(".yaml")] == []


def children(pid, seconds=0):
    """Processes that a process has started, copies of one of them included, that have used the processor for so long.

    Those that are to have worked are copies, which have nothing left to import.
    """
    busy = []
    with suppress(psutil.NoSuchProcess):
        for child in psutil.Process(pid).children(recursive=True):
            with suppress(psutil.NoSuchProcess):  # it has ended meanwhile
                copied = child.ppid() != pid or not seconds
                busy += [child.pid] if copied and child.cpu_times().user > seconds else []
    return busy


def wait_for_workers(process, wanted, seconds):
    """Wait until so many processes of the pool have used so much of the processor."""
    end = time.monotonic() + PATIENCE
    while len(children(process.pid, seconds)) < min(wanted, len(os.sched_getaffinity(0))):
        assert process.poll() is None and time.monotonic() < end
        time.sleep(0.05)


# Charts -------------------------------------------------------------------------------------------------------


def test_looks_differ():
    """No two of the first twelve cases share marker, or both colour and dashes."""
    looks = [chart.looks(i) for i in range(12)]
    assert len({look["marker"] for look in looks}) == 12
    assert len({(look["color"], str(look["ls"])) for look in looks}) == 12


def made(name, x, y):
    return Result(case(text(name, 20)), measures={"scar_length_mm": x, "cone_height_mm": y})


def test_markers_are_where_the_numbers_are():
    """One marker a case, at its two numbers; a case without closure has none."""
    stuck = Result(case(text("stuck", 20)), reason="never met")
    figure = chart.trade_off([made("a", 30.0, 6.0), stuck, made("b", 60.0, 3.0)], "scar_length_mm", "cone_height_mm")
    points = [line.get_xydata()[0].tolist() for line in figure.axes[0].lines]
    assert points == [[30.0, 6.0], [60.0, 3.0]]
    assert [label.get_text() for label in figure.axes[0].texts] == ["a", "b"]
    assert figure.axes[0].get_xlabel() == "scar length, along the skin, mm"
    assert (figure.axes[0].get_xlim()[0], figure.axes[0].get_ylim()[0]) == (0, 0)  # lengths are compared
    flat = chart.trade_off([made("a", 30.0, -0.02)], "scar_length_mm", "cone_height_mm")
    assert flat.axes[0].get_ylim() == (0, 1)  # which 0 would be below, as it is printed


@pytest.mark.parametrize("words", [r"for $\foo$", "from $5$ to $9$"])
def test_words_are_no_formulas(words):
    """Words between dollar signs of a lesson's labels are set as they are, beside markers and in keys."""
    with rc_context(style.STYLE):
        plot, axes = style.figure()
        axes.plot([0, 1], [0, 1], label=words)
        style.key(axes)
        chart.place_labels(plot, axes, [(0, words, 0.5, 0.5)])
        plot.draw_without_rendering()
        plain = plot.text(0, 0, words, size=11, parse_math=False).get_window_extent().width
        beside, key = axes.texts[0], axes.get_legend().get_texts()[0]
        assert beside.get_window_extent().width == plain and not key.get_parse_math()


def test_key_of_long_names():
    """A name of 80 letters is broken into lines of letters as large as all others, and does not leave the chart."""
    with rc_context(style.STYLE):
        plot, axes = style.figure()
        for name in ("lens", "x" * 40, "-".join(["ellipse"] * 10)):
            axes.plot([0, 1], [0, 1], label=name)
        style.key(axes)
        plot.draw_without_rendering()
        texts = axes.get_legend().get_texts()
        assert [text.get_text().count("\n") for text in texts] == [0, 1, 3]
        assert {text.get_size() for text in texts} == {11}
        assert max(text.get_window_extent().x1 for text in texts) < plot.bbox.x1


def test_one_key_for_charts_side_by_side():
    """Charts of the same lines share one key, drawn beside them; where lines differ each chart keeps its own."""
    with rc_context(style.STYLE):
        plots = [style.figure() for _ in range(3)]
        for (_, axes), names in zip(plots, ("ab", "ab", "ac"), strict=True):
            for i, name in enumerate(names):
                axes.plot([0, 1], [i, 1], label=f" {name}", **style.looks(i))
            style.key(axes)
        (same, _), (too, _), (other, _) = plots
        shared = style.shared_key([same, too])
        high, low = (ElementTree.fromstring(style.svg(same, keyed=keyed)) for keyed in (True, False))
    assert [words for _, words in shared] == ["a", "b"] and all("#b34700" in svg for svg, _ in shared[1:])
    assert style.shared_key([same, other]) == style.shared_key([same]) == []
    assert float(low.get("height")[:-2]) == 72 * style.SIZE[1] < float(high.get("height")[:-2])
    assert same.axes[0].get_legend().get_visible()  # for print


def test_labels_do_not_cover_each_other():
    """Five cases with nearly the same numbers: names lie apart and inside the chart."""
    close = [made(f"case-{i}", 50.0 + 0.2 * i, 4.0 + 0.01 * i) for i in range(4)] + [made("far", 90.0, 1.0)]
    figure = chart.trade_off(close, "scar_length_mm", "cone_height_mm")
    figure.draw_without_rendering()
    boxes = [label.get_window_extent() for label in figure.axes[0].texts]
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[:i])


def test_many_cases_with_long_names(solved):
    """A dozen names of 80 letters, the most allowed, fit beside markers and above lines; the axes keep their size."""
    short = result.read(solved[0] / "results" / "short", case(text("short", 20)))
    many = [replace(short, case=case(text(f"{i:02}" + 78 * "w", 20))) for i in range(12)]
    figure = chart.heights_along(many)
    figure.draw_without_rendering()  # warns if there is no room for the axes
    assert figure.axes[0].get_window_extent().height > 0.6 * figure.dpi * chart.SIZE[1]
    assert figure.axes[0].get_legend().get_window_extent().x1 < figure.bbox.x1
    figure = chart.trade_off(many, "scar_length_mm", "cone_height_mm")
    figure.draw_without_rendering()
    assert all(label.get_window_extent().width < figure.bbox.width for label in figure.axes[0].texts)


def test_lines_hold_the_profiles(solved):
    """Heights along the seam are drawn from its middle; tension leaves out 2 mm at each end."""
    folder = solved[0] / "results"
    results = [result.read(folder / name, case(text(name, length))) for name, length in LENGTHS.items()]
    seam = results[0].profiles["seams"][0]
    line = chart.heights_along(results).axes[0].lines[0].get_xydata()
    assert line[0, 0] == -line[-1, 0] == -seam["arc_mm"][-1] / 2
    assert line[:, 1].tolist() == seam["height_mm"]
    tense = chart.tensions_along(results).axes[0].lines[0].get_xydata()
    assert abs(tense[:, 0]).max() < seam["arc_mm"][-1] / 2 - 2


def test_one_view_for_all(solved):
    """The widest view and the greatest stress of any case; heights in the colours of all pictures."""
    folder = solved[0] / "results"
    results = [result.read(folder / name, case(text(name, length))) for name, length in LENGTHS.items()]
    ranges = chart.common_ranges([*results, Result(results[0].case, reason="never met")])
    assert ranges.half_width == max(r.stages.half_width for r in results)
    assert ranges.heights == canvas.HEIGHT_ENDS
    assert ranges.stresses == (0.0, max(r.measures["skin_stress_max_kPa"] for r in results))


def test_cores():
    """As many processes as this one may use cores."""
    assert jobs.cores() == len(os.sched_getaffinity(0))
