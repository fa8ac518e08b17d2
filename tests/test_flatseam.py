"""The Python API, as notebooks and scripts use it: everything from `import flatseam`."""

import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from small_cases import SMALL, case, result_of
from standin import cases_in, text

import flatseam
from fem.results.close import write_numbers
from fem.results.identity import address
from fem.study.task import fail

ROOT = Path(__file__).parents[1]
KEYS = {
    "name": "small",
    "wound": {"outline": {"kind": "lens", "length_mm": np.int64(30), "width_mm": 10.0}},
    "closure": {"undermine_mm": 6},
    "skin": {
        "thickness_mm": 1.5,
        "law": {"kind": "neo-hooke", "shear_kPa": 33.3},
        "tension": {"along_N_per_m": 10, "across_N_per_m": 5},
    },
    "bed": {"pull_kPa_per_mm": 1, "shear_kPa_per_mm": 0.1},
    "patch": {"radius_mm": 40},
    "mesh": {"edge_mm": 3, "tip_mm": 3, "far_mm": 9},
}


def test_three_ways_to_a_case(tmp_path):
    """A file, its text, and its keys as Python has them, numpy's numbers too, give the same case."""
    (tmp_path / "small.yaml").write_text(SMALL)
    assert flatseam.read(tmp_path / "small.yaml") == flatseam.case(SMALL) == flatseam.case(**KEYS) == case(SMALL)
    with pytest.raises(TypeError, match="a text and name"):
        flatseam.case(SMALL, name="small")


def test_complaints_name_keys():
    """Keys are checked as files are, all of them at once; there being no file, no line is named."""
    bad = KEYS | {"closure": {"undermine_cm": 6}, "mesh": {"edge_mm": "fine"}, "beds": {}}
    with pytest.raises(flatseam.BadCase) as error:
        flatseam.case(**bad)
    about = [line.split(": ")[:2] for line in str(error.value).splitlines()]
    assert [place for _, place in about] == [
        "closure",
        "mesh.edge_mm",
        "unknown key 'beds'; did you mean 'bed'? allowed",
    ]
    assert "unknown key 'undermine_cm'; did you mean 'undermine_mm'" in str(error.value)
    with pytest.raises(flatseam.BadCase, match=r"case: bed\.pull_kPa_per_mm\.typical: 'pull_kPa_per_mm' has no keys"):
        flatseam.varied(case(SMALL), "other", {"bed.pull_kPa_per_mm.typical": 1})


def test_varied():
    """What followed from a value follows anew: triangles grow with a wider wound, those that were given stay."""
    arm = flatseam.case(
        name="arm", wound={"outline": {"kind": "lens", "length_mm": 30, "width_mm": 10}}, skin={"site": "forearm"}
    )
    wider = flatseam.varied(arm, "wider", {"wound.outline": {"kind": "circle", "diameter_mm": 40}})
    assert wider.name == "wider" and wider.mesh.edge_mm > arm.mesh.edge_mm
    assert flatseam.varied(arm, "back", {"skin.site": "back"}).skin.thickness_mm > arm.skin.thickness_mm
    assert flatseam.varied(case(SMALL), "longer", {"wound.outline.length_mm": 36}).mesh.edge_mm == 3


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """The same closure in memory, and from its folder."""
    into = tmp_path_factory.mktemp("results")
    result_of(case(SMALL), into)
    return flatseam.close(case(SMALL)), flatseam.load(into / "small")


def test_fields(both):
    """Arrays of one closure fit together, and a folder gives them back in single precision."""
    for result in both:
        n, t = result.positions.shape[1], result.triangles.shape[1]
        assert result.uncut.shape == (2, n) and result.gaping.shape == (3, n)
        assert result.heights.shape == result.stress.shape == (n,) and result.stretch.shape == (t,)
        assert np.unique(result.triangles).size == n and 1 < result.stretch.min() < result.stretch.max() < 2
        assert result.seams[0]["arc_mm"].size == 2 * result.seams[0]["line_tension_N_per_m"].size + 1
        assert len(result.cones) == 2
    memory, folder = both
    for name in ("positions", "uncut", "gaping", "stress", "stretch"):
        assert getattr(folder, name) == pytest.approx(getattr(memory, name), rel=1e-6, abs=1e-5)
    assert folder.measures == memory.measures and folder.folder.name == "small" and memory.folder is None


def test_stretch_belongs_to_its_triangle(both):
    """Pure tension stretches where it stresses: over the triangles stretch and mean stress go together."""
    result = both[0]
    of_corners = result.stress[result.triangles].mean(axis=0)
    assert np.corrcoef(of_corners, result.stretch)[0, 1] > 0.9


def test_measures_have_units(both):
    """What is asked first comes first, each with label, unit and its text as on pages."""
    result = both[0]
    assert next(iter(result.measures)) == "cone_height_mm" and result.measures.keys() <= result.numbers.keys()
    force = result.measures["closing_force_N"]
    assert (force.label, force.unit, force.value) == ("closing force", "N", result.numbers["closing_force_N"])
    assert str(force) == f"closing force: {force.value:.2f} N"
    assert repr(result).startswith("<small, closed: cone height: ")


def test_in_a_notebook(both, monkeypatch):
    """A table of what is asked first; names of cases cannot be markup, but warnings might hold any text."""
    monkeypatch.setitem(both[0]._held.run, "warnings", ["<script>alert(1)</script>"])
    html = both[0]._repr_html_()
    assert "<th>small</th>" in html and "closing force" in html and "not a medical device" in html
    assert "<script>" not in html and "&lt;script&gt;" in html


@pytest.mark.parametrize(
    ("what", "label"),
    [("plan", ""), ("along", "height, mm"), ("tension", "line tension, N/m"), ("across", "height, mm")],
)
def test_plots(both, what, label):
    """A figure of matplotlib of each kind, which notebooks show; charts say what their axes are."""
    figure = both[1].plot(what)
    assert figure.axes[0].get_ylabel() == label and figure._repr_png_().startswith(b"\x89PNG")


def test_charts_of_flat_skin(both):
    """Round-off is a level line, not waves; what the axes are is not cut off."""
    held = both[1]._held
    level = {
        kind: [line | {"height_mm": [1e-16 * high for high in line["height_mm"]]} for line in held.profiles[kind]]
        for kind in ("seams", "cones")
    }
    for what in ("along", "across"):
        figure = flatseam.Result(replace(held, profiles=level)).plot(what)
        assert figure.axes[0].get_ylim() == (-0.5, 0.5)
        figure.draw_without_rendering()
        words = figure.axes[0].xaxis.label.get_window_extent()
        assert figure.bbox.x0 <= words.x0 and words.x1 <= figure.bbox.x1


def test_pictures(both):
    """Height and stress are drawn with their scales; the skin is pyvista's, with both at its points."""
    assert [both[0].plot(what).axes[1].get_ylabel() for what in ("height", "stress")] == [
        "height, mm", "greatest principal stress, kPa",
    ]  # fmt: skip
    skin = both[0].skin()
    x = both[0].positions[0]
    assert skin.bounds[:2] == pytest.approx((x.min(), x.max()), rel=1e-3)
    assert skin["stress_kPa"].mean() == pytest.approx(both[0].stress.mean(), rel=0.1)
    with pytest.raises(ValueError, match="no plot 'hight'; did you mean 'height'"):
        both[0].plot("hight")


def test_example(tmp_path, monkeypatch, capsys):
    """The example, its shortest lens only and on coarse triangles: what it prints is in its table and on its page."""
    monkeypatch.chdir(tmp_path)
    main = runpy.run_path(str(ROOT / "examples/longer_wound.py"))["main"]
    mesh = {"edge_mm": 5, "tip_mm": 5, "far_mm": 14}
    compared = main([1.5], spread=False, mesh=mesh, patch={"radius_mm": 60})
    assert compared.failed == {} and compared.page == Path("results/longer-wound.html") and compared.page.is_file()
    assert compared.table["case"] == ["lens-1.5"] and compared.table["skin"] == ["as given"]
    (scar,), (cone,) = (compared.table[name] for name in ("scar_length_mm", "cone_height_mm"))
    assert (
        f"lens-1.5; scar length, along the skin: {scar:.1f} mm; cone height: {cone:.1f} mm" in capsys.readouterr().out
    )
    assert compared.results["lens-1.5"].numbers["cone_height_mm"] == cone > 2 and 40 < scar < 45
    assert Path("longer-wound.png").is_file() and "<th>lens-1.5</th>" in compared._repr_html_()


def test_heights_on_a_limb():
    """Are those above the limb: skin far from the wound, which falls away below the origin, is at 0, cones are not."""
    limb = flatseam.varied(case(SMALL), "limb", {"patch.surface": {"kind": "cylinder", "radius_mm": 45}})
    closed = flatseam.close(limb)
    far = np.hypot(*closed.uncut) > 35
    assert closed.heights[far] == pytest.approx(0, abs=0.02) and closed.positions[2].min() < -10
    heights = [
        value for name, value in closed.numbers.items() if name.startswith("cone") and name.endswith("height_mm")
    ]
    assert any(closed.heights.max() == pytest.approx(abs(height), abs=1e-4) for height in heights)


def test_comparisons_keep_to_their_folder(tmp_path):
    """A name that leads elsewhere, or a baseline that is not compared, is refused before anything is closed."""
    for options, complaint in [({"name": "../page"}, "name: got"), ({"baseline": "smal"}, "did you mean 'small'")]:
        with pytest.raises(ValueError, match=complaint):
            flatseam.compare([case(SMALL)], into=tmp_path, **options)
    with pytest.raises(ValueError, match=r"'comparison\.html' is written for the comparison and"):
        flatseam.compare([flatseam.varied(case(SMALL), "comparison.html", {})], into=tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_study(tmp_path):
    """A study from keys, its base a case, is the one in the file: all of it is there, and nothing is computed.

    Failures are rows with a reason, columns lists, and SQL reads them.
    """
    done, failed = cases_in(tmp_path, [12, 5])[0]
    folder = tmp_path / "stand-in" / "cases" / address(done)
    folder.mkdir(parents=True)
    named = done.model_copy(update={"name": folder.name})
    write_numbers(folder, named, {"cone_height_mm": 4.0, "dip_mm": 4e-16}, {"total_s": 1.0, "unknowns": 100})
    fail(tmp_path / "stand-in", failed.model_copy(update={"name": address(failed)}), "not converged", "stuck")
    lens = flatseam.case(
        name="lens", wound={"outline": {"kind": "lens", "length_mm": 60, "width_mm": 20}}, skin={"site": "forearm"},
        mesh={"edge_mm": 3, "far_mm": 12},
    )  # fmt: skip
    grid = {"closure.undermine_mm": [12, 5]}
    ended = flatseam.study({"name": "stand-in", "base": lens, "grid": grid}, into=tmp_path)
    assert ended.failures == {"not converged": 1} and ended.page is None
    assert ended.table["dip_mm"] == [0, None]  # without round-off
    assert ended.table["closure.undermine_mm"] == [12, 5] and ended.table["status"] == ["done", "failed"]
    assert ended.select("select cone_height_mm from study where status = 'done'") == {"cone_height_mm": [4.0]}
    assert ended.select("select key from study where false") == {"key": []}
    assert flatseam.study(tmp_path / "study.yaml", into=tmp_path).table == ended.table


def test_bad_study(tmp_path):
    """Of keys the complaint names the setting, of a file the line too."""
    lens = flatseam.case(**KEYS)
    with pytest.raises(flatseam.BadCase, match=r"study: .*with closure\.undermine_mm = -1: closure\.undermine_mm: "):
        flatseam.study({"name": "few", "base": lens, "grid": {"closure.undermine_mm": [-1]}}, into=tmp_path)
    (tmp_path / "few.yaml").write_text(text("few", [10]).replace("60", "sixty"))
    with pytest.raises(flatseam.BadCase, match=r"few\.yaml:3:"):
        flatseam.study(tmp_path / "few.yaml", into=tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["few.yaml"]
