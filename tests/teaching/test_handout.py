"""The handout of a case: where it is written, that it is whole, and how long it lasts."""

import json
import shutil
from pathlib import Path

import numpy as np
import pdf_pages
import pytest
from pytest import approx
from ranged import ARM
from small_cases import STUCK, case, result_of, sealed, text
from synthetic import of
from terminal import names

from fem.results.close import close
from fem.results.identity import solver, state
from fem.teaching import film, handout, lesson
from fem.teaching.handout import MADE, PRODUCTS, teach
from fem.teaching.timeline import CLOSED

SMALL = text("small", 20)
COARSE = "patch: {radius_mm: 50}\nmesh: {edge_mm: 2.5, tip_mm: 2.5, far_mm: 12}\n"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A results folder with a closed case."""
    into = tmp_path_factory.mktemp("results")
    result_of(case(SMALL), into)
    return into / "small"


@pytest.fixture
def into(made, tmp_path):
    """A copy of the folder that holds it."""
    shutil.copytree(made, tmp_path / "small")
    return tmp_path


@pytest.fixture
def plain():
    return lesson.of_case(case(SMALL))


@pytest.fixture
def two_products(monkeypatch):
    """Products a and b that write a file each; `b` can be told to fail."""
    count = {"a": 0, "b": 0}

    def product(name):
        def write(material, folder):
            count[name] += 1
            if count[name] > 1 and name == "b":
                raise OSError("disk full")
            (folder / f"{name}.txt").write_text(f"{material.result.name} {count[name]}")

        return write

    monkeypatch.setattr(handout, "PRODUCTS", {name: product(name) for name in count})


def test_record(into, plain):
    """handout.json lists the files of each product, and no others are there."""
    folder, _ = teach(plain, into=into, only=("template",))
    record = json.loads((folder / MADE).read_text())
    assert set(record["made"]) == {"template"} <= set(PRODUCTS)
    assert {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()} == {
        MADE,
        *record["made"]["template"],
    }
    assert [p.name for p in Path(into).iterdir()] == ["small"]


@pytest.mark.slow
def test_everything(into, plain, monkeypatch):
    """A plain case: its neighbours are closed, every product is there that has something to show, and on that paper.

    Frames are in a folder of their own, first uncut, last closed, and a film of them.
    """
    monkeypatch.setattr(film, "ON", 1)  # nothing between two states, which takes long to draw
    folder, missing = teach(plain, into=into, paper="Letter")
    sheets = {f"{name}.{kind}" for name in ("lesson", "answers", "notes") for kind in ("pdf", "html")} | {"lesson.pptx"}
    drawings = {f"{name}.{kind}" for name in ("template", "cone") for kind in ("pdf", "svg", "dxf")}
    made = json.loads((folder / MADE).read_text())["made"]
    assert {name for names in made.values() for name in names} >= drawings | sheets
    assert made["bench"] == [] and missing == {}
    for name in ("template.pdf", "cone.pdf", "lesson.pdf"):
        assert pdf_pages.sizes(folder / name)[0] == approx((215.9, 279.4), abs=0.1)
    assert {p.name for p in into.iterdir()} == {"small", "small-length-75", "small-length-133.333"}
    stages = [name for name in made["frames"] if name.startswith("frames/")]
    assert stages[0].endswith("01-uncut-skin.png") and stages[-1].endswith("closed.png")
    assert {"closure.gif", "closure.mp4"} == {name for name in made["frames"] if name.startswith("closure")}


@pytest.mark.slow
def test_missing_neighbour(into, plain):
    """A neighbour that cannot be closed is told of, on the sheet and to the caller; the rest is made all the same."""
    stuck = lesson.Neighbour(label="held fast", case=case(STUCK))
    folder, missing = teach(plain.model_copy(update={"lengths": (), "compare": (stuck,)}), into=into, only=("lesson",))
    assert list(missing) == ["stuck"]
    assert "“held fast” could not be closed" in (folder / "lesson.html").read_text()


@pytest.mark.slow
def test_trimmed_neighbour_starts_untrimmed(into, plain, monkeypatch):
    """Side by side, a trimmed neighbour is cut and closed first as it was, then its cones are cut off."""
    shown = {}
    monkeypatch.setattr(
        film, "film_of_several", lambda keyframes, names, watch: shown.update(zip(names, keyframes, strict=True))
    )
    monkeypatch.setattr(handout, "write_film", lambda made, stem: None)
    cut = lesson.Neighbour(label="cut", name="cut", change={"closure.technique": "trimmed", "closure.left_mm": 5})
    teach(plain.model_copy(update={"lengths": (), "compare": (cut,)}), into=into, only=("side-by-side",))
    assert [made.at for made in shown["cut"]][-2:] == [CLOSED + 1, CLOSED + 2]
    assert shown["cut"][0].of.case.closure.left == "none" and shown["cut"][-1].of.case.closure.left == "straight"
    assert shown[plain.label][-1].at == CLOSED


@pytest.mark.slow
def test_slack_and_tense(tmp_path):
    """For the sheet a case of a site is closed in slack and tense skin too; other products do without."""
    plain = lesson.of_case(case(ARM + COARSE)).model_copy(update={"lengths": ()})
    teach(plain, into=tmp_path, only=("template",))
    assert not (tmp_path / "arm" / "skins").exists()
    folder, missing = teach(plain, into=tmp_path, only=("lesson",))
    assert missing == {} and names(tmp_path / "arm" / "skins") == ["slack", "tense"]
    at = {skin: json.loads((folder.parent / place / "measures.json").read_text())["closing_force_N"]
          for skin, place in {"own": ".", "slack": "skins/slack", "tense": "skins/tense"}.items()}  # fmt: skip
    assert "{own:.2f} ({slack:.2f} … {tense:.2f})".format_map(at) in (folder / "lesson.html").read_text()


@pytest.mark.parametrize("by", ["this", pytest.param("another", marks=pytest.mark.slow)])
def test_lasts_as_long_as_its_result(into, plain, two_products, by):
    """With a handout inside, the result is complete; computed anew it keeps the handout, unless another solver's."""
    folder, _ = teach(plain, into=into)
    assert folder == into / "small" / "handout" and state(into / "small", case(SMALL)).complete
    if by == "another":
        (folder / MADE).write_text((folder / MADE).read_text().replace(solver(), "another"))
    before = {p.name: p.read_text() for p in folder.iterdir()}
    close(case(SMALL), into=into, again=True)
    assert folder.exists() == (by == "this") and state(into / "small", case(SMALL)).complete
    assert by == "another" or {p.name: p.read_text() for p in folder.iterdir()} == before


@pytest.mark.parametrize("record", ["", "{}", '{"solver": "SOLVER"}', '{"solver": "SOLVER", "made": {"a": ["../b"]}}'])
def test_record_that_cannot_be_read(into, plain, two_products, record):
    """One product is not made beside others of which nobody knows: all stays. Without `only` all is made anew."""
    folder, _ = teach(plain, into=into)
    (folder / MADE).write_text(record.replace("SOLVER", solver()))
    before = {p.name: p.read_text() for p in folder.iterdir()}
    with pytest.raises(OSError, match=r"handout\.json (does not say|names a file outside)"):
        teach(plain, into=into, only=("a",))
    assert {p.name: p.read_text() for p in folder.iterdir()} == before


def test_product_over_a_file_of_nobody(into, plain, two_products):
    """What a product writes is listed as its own, even where a file of that name was."""
    folder, _ = teach(plain, into=into)
    record = json.loads((folder / MADE).read_text())
    (folder / MADE).write_text(json.dumps(record | {"made": {"b": ["b.txt"]}}))
    teach(plain, into=into, only=("a",))
    assert json.loads((folder / MADE).read_text())["made"] == {"a": ["a.txt"], "b": ["b.txt"]}


def test_only(into, plain, two_products):
    """Asked for one product, the others stay as they were."""
    folder, _ = teach(plain, into=into)
    teach(plain, into=into, only=("a",))
    assert (folder / "a.txt").read_text() == "small 2" and (folder / "b.txt").read_text() == "small 1"
    assert json.loads((folder / MADE).read_text())["made"] == {"a": ["a.txt"], "b": ["b.txt"]}


def test_whole_or_not_at_all(into, plain, two_products):
    """A product that fails leaves the handout as it was, and nothing beside it."""
    folder, _ = teach(plain, into=into)
    before = {p.name: p.read_text() for p in folder.iterdir()}
    with pytest.raises(OSError, match="disk full"):
        teach(plain, into=into)
    assert {p.name: p.read_text() for p in folder.iterdir()} == before
    assert sorted(p.name for p in folder.parent.iterdir() if p.name.startswith((".", "handout"))) == ["handout"]


def test_why_no_cone(tmp_path, plain):
    """Where no cone stands there is no paper model of one, but a file that says why, and the terminal says it too."""
    flat, stands = of(cones=[{"height_mm": 0.1}] * 2), of()
    for result in (flat, stands):
        (folder := tmp_path / str(result is flat)).mkdir()
        handout.cone_files(handout.Material(plain, result, (), tmp_path, "A4"), folder)
    reason = "There is no paper cone: skin is less than 0.5 mm off the level at every tip."
    assert handout.remarks(tmp_path / "True") == [reason] and [p.name for p in (tmp_path / "True").iterdir()] == [
        "cone.txt"
    ]
    assert handout.remarks(tmp_path / "False") == [] and (tmp_path / "False" / "cone.pdf").is_file()


def test_side_by_side_as_on_the_sheet(tmp_path, plain, monkeypatch):
    """The film has its closures in the order of the sheet, by their scars; the lesson's case need not come first."""
    shown: list = []
    monkeypatch.setattr(handout.timeline, "keyframes", lambda result, before: result)
    monkeypatch.setattr(film, "film_of_several", lambda keyframes, names, watch: shown.extend(names))
    monkeypatch.setattr(handout, "write_film", lambda made, stem: None)
    labels = [label for label, _ in lesson.neighbours(plain)]
    others = [of(scar_length_mm=20.0), of(scar_length_mm=40.0)]
    handout.side_by_side_files(
        handout.Material(plain, of(), tuple(zip(labels, others, strict=True)), tmp_path / "small", "A4"), tmp_path
    )
    assert shown == [labels[0], plain.label, labels[1]]


def test_solid(into, plain):
    """At twice the height, files whose names say so; what cannot be printed leaves the reason and no body."""
    folder, _ = teach(plain, into=into, only=("solid",), heights=2.0)
    names = {"solid-heights-x2.stl", "solid-heights-x2.3mf", "solid.txt"}
    assert set(json.loads((folder / MADE).read_text())["made"]["solid"]) == names
    with np.load(into / "small" / "stages.npz") as stages:
        arrays = dict(stages)
    arrays["x"][-1][:2, arrays["x"][-1][0] > 30] *= -1  # part of the rim on the other side
    np.savez(into / "small" / "stages.npz", **arrays)
    sealed(into / "small")
    folder, _ = teach(plain, into=into, only=("solid",), heights=1.0)
    assert json.loads((folder / MADE).read_text())["made"]["solid"] == ["solid.txt"]
    assert {path.name for path in folder.iterdir()} == {MADE, "solid.txt"}  # those of twice the height are gone
    assert "cannot be printed in 3D: the rim of the closed skin crosses itself" in (folder / "solid.txt").read_text()
