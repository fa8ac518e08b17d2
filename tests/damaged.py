"""Files of every kind, valid and damaged, and what the program makes of them: words within bounds, never a traceback.

    python tests/damaged.py 300 [SEED]

Each file is read as a command reads it before any work, in a process forked from one that has begun. It has to end
within 2 s of CPU and 300 MB more than that: with exit code 2 and the name of the file, or it is taken as valid. What
does not is printed, and kept in damaged/; exit code 1 then. All is invented.
"""

import contextlib
import io
import json
import os
import re
import shutil
import signal
import sys
import tempfile
import traceback
import zipfile
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from small_cases import SMALL, case, result_of, text

from fem.cli import cli
from fem.cli.files import TAUGHT, read_lessons, read_study
from fem.cli.kinds import sorted_out
from fem.comparison.compare import write_tables
from fem.comparison.page import table
from fem.errors import BadCase
from fem.fit.tensile import measured
from fem.results import result
from fem.results.identity import state
from fem.teaching.handout import MADE, earlier

SECONDS, MEGABYTES, PATIENCE = 2.0, 300, 60  # of CPU; more than at its start; s
PLACE = re.compile(r"\S+\.(yaml|csv)(:\d+)+: ")  # file and line
WHOLE = ": empty", ": not text in UTF-8", ": more than ", ": wanted a line of column names", " rows; wanted "
OTHER = re.compile(r"small: (out of date|of another case), ")  # a run.json whose solver or case was changed
ROOT = Path(__file__).parents[1]
INDENTED = "\n".join(f"  {line}" for line in SMALL.splitlines()[1:])
TRACED = SMALL.replace("{kind: lens, length_mm: 30, width_mm: 10}", "{kind: traced, file: FILE}")
STUDY = f"name: some\nbase:\n{INDENTED}\ngrid: {{closure.undermine_mm: [4, 6], mesh.edge_mm: [3, 4]}}\n"
ANSWERS = "answers:\n- {kind: curves, over: closure.undermine_mm, measures: [cone_height_mm]}\n"
LESSON = f"title: A lesson\nquestion: Why?\ncase:\n  name: small\n{INDENTED}\nlengths: [0.75, 1.5]\nnotes: [one]\n"
EXPLORE = f"""\
title: A page
question: Why?
base:
  name: small
{INDENTED}
ratios: [2, 3]
choices: [{{name: lens, label: lens, change: {{}}}}]
"""
TESTS = "test,stretch_along,nominal_stress_along_kPa\n" + "".join(
    f"{name},{1 + i / 20},{i * 3 + i * i / 5}\n" for name in "ab" for i in range(1, 12)
)
POINTS = [(0, 0), (30, 0), (40, 10), (15, 14), (2, 6)]
GEOJSON = json.dumps({"type": "Polygon", "coordinates": [[*POINTS, POINTS[0]]]}, indent=1)
CSV = "x_mm,y_mm\n" + "".join(f"{x},{y}\n" for x, y in POINTS)
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">\n'
    '<g transform="scale(1)">\n<path style="fill:none"\n'
    'd="M0 0 L30 0 C 40 10 30 14 15 14 A 5 5 0 0 1 2 6 Z"/>\n</g></svg>\n'
)


class Kind(NamedTuple):
    """Files of a kind."""

    name: str  # of the file
    valid: tuple[str, ...]  # texts of it
    reader: str  # the command that reads it; of results none
    beside: str = ""  # the case file that names it, if it is not read by itself


def _configs(folder):
    return tuple(path.read_text() for path in sorted((ROOT / "configs").glob(f"{folder}/*.yaml"))[:6])


KINDS = {
    "case": Kind("a.yaml", (SMALL, *_configs("demo"), *_configs("techniques")), "check"),
    "study": Kind("a.yaml", (STUDY, STUDY + ANSWERS), "study"),
    "lesson": Kind("a.yaml", (LESSON,), "teach"),
    "page to explore": Kind("a.yaml", (EXPLORE,), "teach"),
    "tension tests": Kind("a.csv", (TESTS,), "fit"),
    "GeoJSON": Kind("a.geojson", (GEOJSON,), "check", TRACED.replace("FILE", "a.geojson")),
    "CSV": Kind("a.csv", (CSV,), "check", TRACED.replace("FILE", "a.csv")),
    "SVG": Kind("a.svg", (SVG,), "check", TRACED.replace("FILE", "a.svg")),
    **{name: Kind(name, (), "") for name in ("run.json", "measures.json", "stages.npz", "profiles.json", MADE)},
}


# Damages: functions of a text's bytes and of a hypothesis draw ------------------------------------------------------

NUMBERS = (
    b"0", b"-1", b"1e103", b"1e300", b"1e-300", b"1e999", b"nan", b".nan", b"inf", b"-0", b"1_000", b"0x10", b"1e",
    b"''", b"9" * 5000, b"1" * 9999 + b"a", b"true", b"null", b"[]", b"{}", b"[1, 2]", b"1.0000000000000002", b"1,5",
)  # fmt: skip
ODD = (
    b"\0", b"\xff", b"\xed\xa0\x80", b"\xef\xbb\xbf", b"\t", b"\r", b"\x85", b"&a ", b"*a", b"!!python/name:os.system ",
    b"<<: ", b"? ", b"---\n", b"%YAML 9\n", b"'", b'"', b"[", b"{", b"}", b"]", b":", b",", b"|\n", b"<", b"&", b"]]>",
    b"<!--", b"<!DOCTYPE a [<!ENTITY b 'c'>]>", b"$\\frac{1}{0}$", "²°−\u202e".encode(),
)  # fmt: skip
LARGE = (
    b"[" * 100_000, b"- " * 60_000, b"a: {" * 30_000, b"[" + b"1," * 60_000 + b"]", b"#" * 150_000, b"\n" * 150_000,
    b"'" + b"a" * 150_000, b"<g>" * 30_000, b"<a b='" + b"c" * 100_000 + b"'/>", b"z" * 150_000, b"M0 0 " * 30_000,
    b"a1 1 0 0 1 1 1 " * 10_000, b"1,1\n" * 40_000, b"," * 150_000, b'{"a":' * 30_000, b"/*" * 70_000,
    b"".join(b"k%d: 1\n" % k for k in range(15_000)), b"((" * 70_000, b"1 " * 70_000,
)  # fmt: skip


@st.composite
def damaged(draw: st.DrawFn, content: bytes) -> bytes:
    """A text that was valid, changed up to three times, or not at all."""
    for _ in range(draw(st.integers(0, 3))):
        content = draw(st.sampled_from([_cut, _twice, _put, _number, _word, _line, _swapped]))(draw, content)
    if draw(st.integers(0, 4)) == 0:
        content = _inserted(draw, content, draw(st.sampled_from(LARGE)))
    return content


def _place(draw, content):
    return draw(st.integers(0, len(content)))


def _inserted(draw, content, part):
    at = _place(draw, content)
    return content[:at] + part + content[at:]


def _cut(draw, content):
    start, end = sorted((_place(draw, content), _place(draw, content)))
    return content[:start] + content[draw(st.sampled_from([end, len(content)])) :]


def _twice(draw, content):
    start, end = sorted((_place(draw, content), _place(draw, content)))
    return _inserted(draw, content, content[start:end])


def _put(draw, content):
    return _inserted(draw, content, draw(st.sampled_from(ODD)))


def _replaced(draw, content, pattern, parts):
    found = list(re.finditer(pattern, content))
    if not found:
        return content
    start, end = draw(st.sampled_from(found)).span()
    return content[:start] + draw(parts) + content[end:]


def _number(draw, content):
    return _replaced(draw, content, rb"-?\d+(\.\d+)?", st.sampled_from(NUMBERS))


def _word(draw, content):
    words = re.findall(rb"[A-Za-z_]+", content) or [b""]
    return _replaced(draw, content, rb"[A-Za-z_]+", st.sampled_from(words) | st.binary(max_size=3))


def _line(draw, content):
    lines = content.splitlines(keepends=True) or [b""]
    at = draw(st.integers(0, len(lines) - 1))
    more = draw(st.sampled_from([[], [lines[at]] * 2, [b" " + lines[at]], [lines[at].rstrip(b"\n")]]))
    return b"".join([*lines[:at], *more, *lines[at + 1 :]])


def _swapped(draw, content):
    lines = content.splitlines(keepends=True)
    return b"".join(draw(st.permutations(lines))) if len(lines) < 40 else content


@st.composite
def damaged_arrays(draw: st.DrawFn, content: bytes) -> bytes:
    """Arrays of stages, one of another shape, kind or size, or of values that are none; or the file as bytes."""
    if draw(st.booleans()):
        return draw(damaged(content))
    with np.load(io.BytesIO(content)) as stored:
        arrays = dict(stored)
    name = draw(st.sampled_from(sorted(arrays)))
    array = arrays[name]
    arrays[name] = draw(
        st.sampled_from(
            [
                array[..., :1] if array.ndim else array[None], array[None], array.astype("U"), -array.astype(float),
                np.full(array.shape, 10**9), np.full(array.shape, np.nan), np.zeros(0), array.astype(">f8"), array,
            ]
            if array.dtype.kind != "U"
            else [array.astype("U1"), np.zeros(array.shape), array[:0]]
        )
    )  # fmt: skip
    stream = io.BytesIO()
    np.savez(stream, **{key: value for key, value in arrays.items() if draw(st.integers(0, 20))})
    if draw(st.integers(0, 8)) == 0:
        with zipfile.ZipFile(stream, "a", zipfile.ZIP_DEFLATED) as packed:
            packed.writestr("more.npy", bytes(2 * 10**8))
    return stream.getvalue()


# What the program makes of them -------------------------------------------------------------------------------------


@cache
def good() -> Path:
    """A folder with a closed case and its handout."""
    into = Path(tempfile.mkdtemp())
    result_of(case(text("small", 20)), into)
    folder = into / "small" / "handout"
    folder.mkdir()
    run = json.loads((into / "small" / "run.json").read_text())
    (folder / "a.txt").write_text("a")
    (folder / MADE).write_text(json.dumps({"case": run["case"], "solver": run["solver"], "made": {"solid": ["a.txt"]}}))
    return into


@st.composite
def files(draw: st.DrawFn) -> tuple[str, bytes]:
    """The name of a kind and the content of a file of it."""
    name = draw(st.sampled_from(sorted(KINDS)))
    if KINDS[name].reader:
        return name, draw(damaged(draw(st.sampled_from(KINDS[name].valid)).encode()))
    content = next((good() / "small").rglob(name)).read_bytes()
    return name, draw(damaged_arrays(content) if name == "stages.npz" else damaged(content))


def read(name: str, content: bytes, folder: Path) -> tuple[int, str]:
    """Exit code and complaints of the program on a file of a kind, put into an empty folder."""
    kind, complaints = KINDS[name], io.StringIO()
    with contextlib.chdir(folder), contextlib.redirect_stderr(complaints), contextlib.redirect_stdout(io.StringIO()):
        try:
            if kind.reader:
                (folder / kind.name).write_bytes(content)
                if kind.beside:
                    (folder / "case.yaml").write_text(kind.beside)
                _read(kind)
            else:
                shutil.copytree(good() / "small", folder / "small")
                next((folder / "small").rglob(name)).write_bytes(content)
                _of_result(folder / "small")
            code: Any = 0
        except SystemExit as end:
            code = end.code
        except (OSError, ValueError) as error:  # of results and tests, as commands turn it into words
            if kind.reader and not isinstance(error, BadCase):
                raise
            print(error, file=sys.stderr)
            code = 2
    return code or 0, complaints.getvalue()


def _read(kind):
    """Read a file as the command that takes it does, up to where work would begin."""
    if kind.reader == "fit":
        measured(kind.name)
    elif kind.reader == "study":
        read_study(Path(kind.name))
    elif kind.reader == "teach":
        read_lessons(sorted_out("teach", [Path(kind.name)], "case", *TAUGHT), ())
    else:
        cli.app(["check", "case.yaml" if kind.beside else kind.name])


def _of_result(folder):
    known = case(text("small", 20))
    if not (there := state(folder, known)).complete:
        raise ValueError(f"{folder.name}: {there}")
    found = result.read(folder, known)
    table([found])
    write_tables([found], {}, folder / "a.csv", folder / "a.parquet")
    earlier(folder / "handout")


def fault(name: str, code: int, said: str) -> str:
    """What is wrong with an ending; nothing if it is in words, with the name of the file and, of text, a place."""
    first = said.split("\n")[0][:200]
    if KINDS[name].reader:
        in_words = PLACE.match(first) or any(words in first for words in WHOLE)
    else:
        in_words = name in first or (name == "run.json" and OTHER.match(first))
    if code == 0 or (code == 2 and in_words):
        return ""
    return f"exit code {code}: {first}"


class Ending(NamedTuple):
    """How the program ended."""

    code: int
    wrong: str  # with that; empty if it is in words
    megabytes: float  # more than at its start


def ending(name: str, content: bytes) -> tuple[Ending, float]:
    """How a file is read in a process of its own, and s of CPU."""
    inlet, outlet = os.pipe()
    pid = os.fork()
    if not pid:
        signal.alarm(PATIENCE)
        Path("/proc/self/clear_refs").write_text("5")  # begin to count the most memory from here
        start, code = _most_memory(), -1
        try:
            with tempfile.TemporaryDirectory() as folder:
                code, said = read(name, content, Path(folder))
            wrong = fault(name, code, said)
        except BaseException:
            wrong = traceback.format_exc()[-30_000:]
        os.write(outlet, json.dumps((code, wrong, _most_memory() - start)).encode())
        os._exit(0)
    os.close(outlet)
    with open(inlet, encoding="utf-8") as stream:
        told = stream.read()
    _, status, used = os.wait4(pid, 0)
    known = Ending(-1, f"ended by signal {status}", 0.0) if status else Ending(*json.loads(told))
    return known, used.ru_utime + used.ru_stime


def _most_memory():
    """The most memory, MB, that this process has had."""
    return int(re.search(r"VmHWM:\s*(\d+)", Path("/proc/self/status").read_text())[1]) / 1024


def main(n: int, seed_of: int) -> int:
    """Read n files; 1 if any is at fault."""
    good()
    wrong, taken, most = list[str](), Counter[str](), np.zeros(2)

    @seed(seed_of)
    @settings(max_examples=n, database=None, phases=[Phase.generate], deadline=None, suppress_health_check=HealthCheck)
    @given(files())
    def every(file: tuple[str, bytes]) -> None:
        name, content = file
        (code, said, megabytes), seconds = ending(name, content)
        most[:] = np.maximum(most, [seconds, megabytes])
        taken[f"{name}, {'valid' if code == 0 else 'refused'}"] += 1
        said = said or "too long or large" * (seconds > SECONDS or megabytes > MEGABYTES)
        if said:
            Path("damaged").mkdir(exist_ok=True)
            Path("damaged", f"{len(wrong)}-{KINDS[name].name}").write_bytes(content)
            wrong.append(f"{name}: {seconds:.1f} s, {megabytes:.0f} MB: {said.strip()}")
            print(wrong[-1], flush=True)

    every()
    shutil.rmtree(good())
    print(*(f"{count:4} {name}" for name, count in sorted(taken.items())), sep="\n")
    print(f"{sum(taken.values())} files, {len(wrong)} at fault; at most {most[0]:.2f} s of CPU, {most[1]:.0f} MB more")
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1))
