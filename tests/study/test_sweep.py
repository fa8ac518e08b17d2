"""Study files: their points, the case at each, and complaints with the place of what is wrong."""

import os
import re
from pathlib import Path

import numpy as np
import pytest
from pytest import approx

from fem.case import case as cases
from fem.case.document import parse
from fem.errors import BadCase
from fem.results.identity import address
from fem.study import keys, spread, sweep

ROOT = Path(__file__).parents[2]
BASE = """\
base:
  wound: {outline: {kind: lens, length_mm: 60, width_mm: 20}, lesion: {diameter_mm: 10}}
  skin: {site: forearm}
  mesh: {edge_mm: 2}
"""


def study(folder, more, base=BASE):
    """The study in a file of a folder."""
    (folder / "study.yaml").write_text(f"name: some\n{base}{more}")
    return keys.read(folder / "study.yaml")


def complaints(folder, more, base=BASE):
    """Complaints about a study, without the lines that show the place, as `line:column: message`."""
    with pytest.raises(BadCase) as bad:
        sweep.cases(study(folder, more, base))
    return re.findall(rf"^{re.escape(str(folder))}/study.yaml:(.*)$", str(bad.value), re.MULTILINE)


# Points ---------------------------------------------------------------------------------------------------


def test_points_in_order(tmp_path):
    """All combinations of the grid, its first key slowest; rows of `zip` side by side within each."""
    more = "grid: {a.b: [1, 2], c: [x, y]}\nzip: {d: [1, 2], e: [3, 4]}\n"
    expected = [
        {"a.b": a, "c": c, "d": d, "e": e} for a in (1.0, 2.0) for c in "xy" for d, e in ((1.0, 3.0), (2.0, 4.0))
    ]
    assert sweep.points(study(tmp_path, more)) == expected


def test_watched(tmp_path):
    """Whoever waits for many cases to be checked is told of each before it is."""
    seen = []
    wanted = study(tmp_path, "grid: {wound.outline.length_mm: [60, 70, 80]}\n")
    sweep.cases(wanted, watch=lambda done, of: seen.append((done, of)))
    assert seen == [(0, 3), (1, 3), (2, 3)]


def test_base_alone_is_one_point(tmp_path):
    """A study that varies nothing has the base case."""
    (only,) = sweep.cases(study(tmp_path, ""))
    assert only.name == "some" and only.wound.outline.length_mm == 60


def test_case_at_a_point_is_the_case_written_by_hand(tmp_path):
    """A block is replaced before what is inside it is set; what the base leaves out may be set; a site is filled in."""
    more = """\
grid:
  skin.tension.lines_deg: [90]
  wound.outline.length_mm: [50]
  wound.outline: [{kind: rhombus, width_mm: 20}]
  skin.site: [scalp]
"""
    by_hand = """\
name: some
wound: {outline: {kind: rhombus, length_mm: 50, width_mm: 20}, lesion: {diameter_mm: 10}}
skin: {site: scalp, tension: {lines_deg: 90}}
mesh: {edge_mm: 2}
"""
    assert sweep.cases(study(tmp_path, more)) == [parse(by_hand, cases.Case, "by hand")]


def test_case_of_any_settings(tmp_path):
    """A search sets what it likes; what is wrong with it is said with the setting."""
    wanted = study(tmp_path, "grid: {wound.outline.length_mm: [60]}\n")
    assert sweep.case_at(wanted, {"wound.outline.length_mm": 47.5}).wound.outline.length_mm == 47.5
    text = r"study.yaml:6:\d+: with wound.outline.length_mm = 10: wound.outline: width_mm 20 is more than length_mm 10"
    with pytest.raises(BadCase, match=text):
        sweep.case_at(wanted, {"wound.outline.length_mm": 10.0})


def test_base_in_a_file_beside_the_study(tmp_path):
    """A base in a file, which names another, is the same as one in the study; its mistakes are shown in its file."""
    (tmp_path / "lens.csv").write_text("x_mm,y_mm\n0,0\n20,-8\n40,0\n20,8\n")
    wound = "wound: {outline: {kind: traced, file: lens.csv}}\nskin: {site: forearm}\n"
    (tmp_path / "base.yaml").write_text(f"name: other\n{wound}")
    (case,) = sweep.cases(study(tmp_path, "", "base: base.yaml\n"))
    inline = "base:\n  " + wound.replace("\n", "\n  ", 1)
    assert sweep.cases(study(tmp_path, "", inline)) == [case]
    (tmp_path / "base.yaml").write_text(
        "name: other\nwound: {outline: {kind: lens, length_mm: 40}}\nskin: {site: back}\n"
    )
    with pytest.raises(BadCase, match=r"base.yaml:2:18: wound.outline: missing key 'width_mm'"):
        sweep.cases(study(tmp_path, "grid: {skin.site: [scalp, back]}\n", "base: base.yaml\n"))


@pytest.mark.parametrize("name", ["../base.yaml", "/etc/passwd", "base.txt", "none.yaml", "link.yaml"])
def test_base_stays_in_the_folder(tmp_path, name):
    """No base from elsewhere, however it is named."""
    (tmp_path / "in").mkdir()
    for path in (tmp_path / "base.yaml", tmp_path / "in/base.txt"):
        path.write_text("name: a\n")
    os.symlink(tmp_path / "base.yaml", tmp_path / "in/link.yaml")
    with pytest.raises(BadCase, match=r"study.yaml:2:7: base: .*(is no file below|no file|a link out of)"):
        study(tmp_path / "in", "", f"base: {name}\n")


# Samples --------------------------------------------------------------------------------------------------


def sampled(folder, method, n, over):
    """Points (n, d) of a sample."""
    wanted = study(folder, f"sample: {{method: {method}, n: {n}, seed: 3, over: {over}}}\n")
    return np.array([list(point.values()) for point in sweep.points(wanted)])


def test_latin_hypercube_has_one_point_in_each_stratum(tmp_path):
    """Of ten points in [2, 4], one lies in each tenth, whichever way one looks."""
    result = sampled(tmp_path, "latin-hypercube", 10, "{a: [2, 4], b: [0, 1]}")
    strata = np.floor((result - [2, 0]) / [2, 1] * 10)
    assert [sorted(column) for column in strata.T.tolist()] == [list(range(10))] * 2


def test_sobol_points_are_balanced_and_the_same_again(tmp_path):
    """Of 64 points in a square, 16 lie in each quarter; a study gives the same points whenever it is read."""
    result = sampled(tmp_path, "sobol", 64, "{a: [0, 1], b: [0, 1]}")
    quarters = 2 * (result[:, 0] > 0.5) + (result[:, 1] > 0.5)
    assert np.bincount(quarters).tolist() == [16] * 4
    assert (sampled(tmp_path, "sobol", 64, "{a: [0, 1], b: [0, 1]}") == result).all()


@pytest.mark.parametrize(
    "block, cumulative",
    [
        ("[2, 6]", lambda x: (x - 2) / 4),
        ("{distribution: log-uniform, low: 1, high: 100}", lambda x: np.log10(x) / 2),
        ("{distribution: triangular, low: 0, typical: 1, high: 1}", lambda x: x**2),
    ],
)
def test_distributions_with_bounds(tmp_path, block, cumulative):
    """Of 256 points, as many lie below x as the distribution says, to one or two points."""
    result = np.sort(sampled(tmp_path, "sobol", 256, f"{{a: {block}}}")[:, 0])
    assert cumulative(result) == approx((np.arange(256) + 0.5) / 256, abs=1 / 256)


def test_normal_distributions(tmp_path):
    """Mean and deviation of a normal one and of the logarithm of a lognormal one, to the error of 1024 points."""
    over = "{a: {distribution: normal, mean: 5, sd: 2}, b: {distribution: lognormal, median: 3, sigma: 0.5}}"
    result = sampled(tmp_path, "sobol", 1024, over)
    result[:, 1] = np.log(result[:, 1])
    assert result.mean(axis=0) == approx([5, np.log(3)], abs=0.01)
    assert result.std(axis=0) == approx([2, 0.5], rel=0.01)


def test_every_distribution_is_tested():
    """Those above are all there are."""
    assert set(spread.DISTRIBUTIONS) == {"uniform", "log-uniform", "triangular", "normal", "lognormal"}


# Complaints -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "more, expected",
    [
        (
            "grid: {wound.outline.length_mm: [60, 10]}\n",
            ["6:38: with wound.outline.length_mm = 10: wound.outline: width_mm 20 is more than length_mm 10; the"],
        ),
        (
            "grid: {wound.outlin.length_mm: [60]}\n",
            ["6:33: with wound.outlin.length_mm = 60: wound: unknown key 'outlin'; did you mean 'outline'?"],
        ),
        (
            "grid:\n  skin.site: [back, scalpp]\n  closure.undermine_mm: [1, 2, 3]\n",
            ["7:21: with skin.site = scalpp: skin.site: got 'scalpp'; did you mean 'scalp'?"],
        ),
        (
            "zip: {wound.lesion.diameter_mm: [12, 30], bed.fat_mm: [1, 2]}\n",
            ["6:38: with wound.lesion.diameter_mm = 30: wound.lesion: lesion and margin reach 15 mm"],
        ),
        (
            "sample: {n: 2, over: {skin.thickness_mm: {distribution: normal, mean: 1, sd: 20}}}\n",
            ["6:42: with skin.thickness_mm = "],
        ),
        (
            "grid: {wound.outline: [{kind: lens, length_mm: 60, width: 20}]}\n",
            ["6:24: with wound.outline = {kind: lens, length_mm: 60, width: 20}: wound.outline: missing", "6:52: with"],
        ),
        ("grid: {skin.site.name: [1]}\n", ["6:25: skin.site.name: 'site' has no keys, so none can be set"]),
        ("grid: {name: [a]}\n", ["6:14: grid.name: cases are named by what is in them"]),
        ("grid: {skin.site: []}\n", ["6:19: grid.skin.site: wanted at least one value"]),
        ("grid: {skin.site: back}\n", ["6:19: grid.skin.site: got 'back', wanted a list"]),
        ("gird: {skin.site: [back]}\n", ["6:1: unknown key 'gird'; did you mean 'grid'?"]),
        ("zip: {a: [1, 2], b: [1]}\n", ["6:21: zip.b: 1 values, the first list has 2"]),
        ("grid: {a: [1]}\nzip: {a: [1]}\n", ["7:10: zip.a: also set by grid"]),
        ("sample: {n: 100, over: {a: [0, 1]}}\n", ["6:13: sample.n: got 100, wanted a power of two"]),
        ("sample: {n: 4, over: {a: [1, 0]}}\n", ["6:26: sample.over.a: wanted low < high"]),
        ("sample: {n: 4, over: {a: [1]}}\n", ["6:26: sample.over.a: wanted [low, high]"]),
        ("sample: {n: 4, over: {}}\n", ["6:22: sample.over: wanted at least one path"]),
        (
            "sample: {n: 4, over: {a: {distribution: triangle, low: 0}}}\n",
            [
                "6:26: sample.over.a: missing key 'high'",
                "6:26: sample.over.a: missing key 'typical'",
                "6:41: sample.over.a.distribution: got 'triangle'; did you mean 'triangular'?",
            ],
        ),
        (
            "sample: {n: 4, over: {a: {distribution: normal, mean: 0, std: 1}}}\n",
            ["6:26: sample.over.a: missing key 'sd'", "6:58: sample.over.a: unknown key 'std'; did you mean 'sd'?"],
        ),
        ("keep: all\n", ["6:7: keep: got 'all'; allowed: measures, fields, pictures"]),
        ("limits: {second: 3}\n", ["6:10: limits: unknown key 'second'; did you mean 'seconds'"]),
        (
            "cluster: {kind: slurm, walltime: 2h, memory_GB: 1, workers: 1.5}\n",
            ["6:34: cluster.walltime", "6:61: cluster"],
        ),
        ("answers: [{kind: map, measure: 1, over: [a, b]}]\n", ["6:32: answers[0].measure: got 1, wanted text"]),
        (f"grid: {{a: [{'1, ' * 1000}1], b: [{'1, ' * 1000}1]}}\n", ["1:1: 1e+06 points; at most 1000000"]),
    ],
)
def test_complaints(tmp_path, more, expected):
    """Each at the value that is wrong, with the setting and what is allowed."""
    result = complaints(tmp_path, more)
    assert len(result) == len(expected)
    for message, start in zip(result, expected, strict=True):
        assert message.startswith(start)


def test_a_complaint_is_made_once(tmp_path):
    """What is wrong at many points is said once, with their number; what is wrong with the base, at its place."""
    result = complaints(
        tmp_path,
        "grid: {skin.thickness_mm: [1, thin], closure.undermine_mm: [5, 6, 7]}\n",
        BASE.replace("mesh: {edge_mm: 2}", "mesh: {edge: 2}"),
    )
    assert result[0].startswith("5:10: mesh: unknown key 'edge'; did you mean 'edge_mm', in mm?")
    assert result[1:] == [
        "6:31: with skin.thickness_mm = thin: skin.thickness_mm: got 'thin', wanted a number (and at 2 more points)"
    ]


# Addresses ------------------------------------------------------------------------------------------------


def test_address(tmp_path):
    """Alike for a case of another name or with its defaults written out, different for any other value."""
    sample, two = sweep.cases(study(tmp_path, "grid: {wound.outline.length_mm: [60, 60.000001]}\n"))
    renamed = sample.model_copy(update={"name": "renamed"})
    assert address(sample) == address(renamed) == address(parse(cases.text(sample), cases.Case, "text")) != address(two)


# What is shipped ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", sorted((ROOT / "configs/studies").glob("*.yaml")), ids=lambda path: path.stem)
def test_studies_that_are_shipped(path):
    """Every case of every study is good, and no two are the same."""
    result = sweep.cases(keys.read(path))
    assert len({address(case) for case in result}) == len(result)
