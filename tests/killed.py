"""SIGKILL at random moments of every command that writes results, and what is there after it and after the next run.

    python tests/killed.py 50 [SEED]

Commands run on small wounds: from nothing, or on results that are there, with --again. After the kill every result,
page and table is whole or not there, and what was there before still is; the same command then ends well with the
numbers of a run that nobody killed, and leaves no draft. Prints a line a kill; exit code 1 if any of that fails.
"""

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from itertools import cycle
from pathlib import Path

import duckdb
import numpy as np
from small_cases import text

from fem.results.identity import state
from fem.teaching.handout import MADE, earlier

PROGRAM = [sys.executable, "-c", "from fem.cli.ending import main; main()"]
BASE = "\n".join(f"  {line}" for line in text("a", 20).splitlines()[1:])
FILES = {
    "a.yaml": text("a", 20),
    "b.yaml": text("b", 22),
    "study.yaml": f"name: some\nbase:\n{BASE}\ngrid: {{closure.undermine_mm: [4, 6]}}\n",
    "lesson.yaml": "title: A\nquestion: Why?\ncase: a.yaml\ncompare: [{label: other, case: b.yaml}]\n",
}
COMMANDS = {
    "close": ["close", "a.yaml", "b.yaml"],
    "close --again": ["close", "a.yaml", "b.yaml", "--again"],
    "compare": ["compare", "a.yaml", "b.yaml"],
    "compare --again": ["compare", "a.yaml", "b.yaml", "--again"],
    "study": ["study", "study.yaml", "--workers", "2"],
    "teach": ["teach", "lesson.yaml", "--only", "template", "--only", "lesson"],
    "teach --again": ["teach", "lesson.yaml", "--only", "template", "--only", "lesson", "--again"],
}
LONG = 300  # s of a run, and of what a killed one leaves running


def run(words: list[str], folder: Path, *, killed_after: float | None = None) -> tuple[int, float, str]:
    """Exit code of a command, how long it took, s, and its complaints."""
    start = time.monotonic()
    with open(folder / "said", "w") as said:
        process = subprocess.Popen([*PROGRAM, *words], cwd=folder, stdout=said, stderr=said)
        try:
            process.wait(LONG if killed_after is None else killed_after)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
    taken = time.monotonic() - start
    while at_work(folder):  # the workers of a killed one end by themselves
        if time.monotonic() - start > LONG:
            return process.returncode, taken, "processes are left"
        time.sleep(0.1)
    return process.returncode, taken, (folder / "said").read_text()


def at_work(folder: Path) -> list[str]:
    """Processes that work in a folder."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        try:
            if os.readlink(process / "cwd") == str(folder):
                found.append(process.name)
        except OSError:  # it has ended, or is not ours
            continue
    return found


def broken(folder: Path) -> list[str]:
    """What is there and not whole."""
    results, bad = folder / "results", []
    for mark in [*results.glob("*/case.yaml"), *results.glob("some/cases/[!.]*/case.yaml")]:
        keep = "measures" if "cases" in mark.parts else "pictures"
        bad += [] if (there := state(mark.parent, keep=keep)).complete else [f"{mark.parent}: {there}"]
    bad += [str(page) for page in results.glob("*.html") if not page.read_text().strip().endswith("</html>")]
    for folder_of in results.glob("*/handout"):
        record = earlier(folder_of)  # raises if it cannot be read
        bad += [f"{folder_of}/{name}" for made in record.values() for name in made if not (folder_of / name).is_file()]
    for table in results.rglob("*.parquet"):
        duckdb.read_parquet(str(table)).fetchall()
    return bad


def numbers(folder: Path) -> dict[str, dict]:
    """The measures of all results, by their place."""
    found = (folder / "results").rglob("measures.json")
    return {str(path.relative_to(folder)): json.loads(path.read_text()) for path in found if ".draft" not in str(path)}


def there(folder: Path) -> set[str]:
    """What is whole: results, handouts, pages and tables."""
    results = folder / "results"
    kept = *results.rglob("run.json"), *results.rglob(MADE), *results.glob("*.html"), *results.rglob("*.parquet")
    return {str(path.relative_to(folder)) for path in kept if ".draft" not in str(path)}


def finished(plain: str, folder: Path) -> float:
    """How long a command takes that nobody kills, s, on the files of an empty folder."""
    folder.mkdir()
    for file, content in FILES.items():
        (folder / file).write_text(content)
    code, taken, said = run(COMMANDS[plain], folder)
    assert code == 0, said
    return taken


def attempt(name: str, reference: Path, folder: Path, moment: float) -> tuple[int, float, int, list[str]]:
    """Exit code and time, s, of a run that is killed at a moment, drafts that it leaves, and what is wrong after it."""
    plain = name.removesuffix(" --again")
    shutil.copytree(reference, folder, ignore=shutil.ignore_patterns("results") if name == plain else None)
    before = there(folder)
    code, lasted, _ = run(COMMANDS[name], folder, killed_after=moment)
    wrong = broken(folder)
    wrong += [f"{lost} is lost" for lost in before - there(folder)]
    drafts = len(list(folder.rglob(".*.draft")))
    again, _, said = run(COMMANDS[plain], folder)
    wrong += [] if again == 0 else [f"next run: {again} {said}"]
    wrong += [f"draft {path}" for path in folder.rglob(".*.draft")] + broken(folder)
    wrong += [] if numbers(folder) == numbers(reference) else ["next run: other numbers"]
    wrong += [f"{lost} is not made" for lost in there(reference) - there(folder)]
    shutil.rmtree(folder)
    return code, lasted, drafts, wrong


def main(n: int, seed: int) -> int:
    """Kill n runs; 1 if anything was wrong after one of them. What ended before its moment is not counted."""
    rng, faults, killed = np.random.default_rng(seed), 0, 0
    taken: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as room:
        for k, name in enumerate(cycle(COMMANDS)):
            if killed == n:
                break
            plain = name.removesuffix(" --again")
            reference = Path(room) / plain
            if plain not in taken:
                taken[plain] = finished(plain, reference)
            moment = rng.uniform(0, taken[plain])
            code, lasted, drafts, wrong = attempt(name, reference, Path(room) / str(k), moment)
            if code == 0:
                taken[plain] = min(taken[plain], lasted)
            killed += code == -signal.SIGKILL
            faults += bool(wrong)
            ended = "killed" if code == -signal.SIGKILL else f"ended with {code}"
            print(f"{name:16} {ended} at {moment:5.1f} s, {drafts} drafts: {'; '.join(wrong) or 'right'}", flush=True)
    print(f"{killed} killed, {faults} at fault")
    return int(faults > 0)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1))
