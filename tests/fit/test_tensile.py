"""Tension tests from CSV: what the columns become, and what is said about bad ones."""

import numpy as np
import pytest
from pytest import approx
from specimens import SHEET, STRIPS, csv, scattered

from fem.errors import BadCase
from fem.fit.tensile import MAX_ROWS, columns, measured

GOOD = """\
# a strip along the lines, one across, a sheet
test,stretch_along,stretch_across,nominal_stress_along_kPa,nominal_stress_across_kPa
strip 1,1.1,,12.5,

strip 2,,1.2,,7
# the sheet
sheet,1.1,1.05,20,14
sheet,1.1,1.06,,15
"""


def read(tmp_path, written, **options):
    """What the text becomes."""
    path = tmp_path / "a.csv"
    path.write_text(written)
    return measured(path, **options)


def bad(tmp_path, written, **options):
    """The complaints about a text, without the file's name."""
    with pytest.raises(BadCase) as caught:
        read(tmp_path, written, **options)
    return str(caught.value).replace(f"{tmp_path / 'a.csv'}:", "").split("\n")


def test_every_value_arrives(tmp_path):
    """A cell left empty is a direction that was not measured; comments and empty lines are skipped."""
    result, left_out = read(tmp_path, GOOD)
    assert left_out == 0
    assert result.stretch.tolist() == [[1.1, 1, 1.1, 1.1], [1, 1.2, 1.05, 1.06]]
    assert result.free.tolist() == [[False, True, False, False], [True, False, False, False]]
    assert result.label.tolist() == ["strip 1", "strip 2", "sheet", "sheet"]
    assert result.state.tolist() == [0, 1, 2, 2, 3]
    assert result.axis.tolist() == [0, 1, 0, 1, 1]
    assert result.stress.tolist() == [12.5, 7, 20, 14, 15]
    assert result.nominal.all()


@pytest.mark.parametrize(
    ("header", "row", "stretch", "stress", "nominal"),
    [
        ("stretch_along,nominal_stress_along_MPa", "1.2,0.05", 1.2, 50, True),
        ("stretch_along,cauchy_stress_along_kPa", "1.2,50", 1.2, 50, False),
        ("cauchy_stress_along_MPa,strain_along_percent", "5e-2,20", 1.2, 50, False),
        ("strain_along_percent,force_along_N", "20,0.6", 1.2, 50, True),  # 0.6 N on 12 mm2
        (" stretch_along , nominal_stress_along_kPa ", '"1.2", -50 ', 1.2, -50, True),
    ],
)  # fmt: skip
def test_units(tmp_path, header, row, stretch, stress, nominal):
    """Stresses in kPa or MPa, nominal or Cauchy, or forces on a cross-section; stretches, or strains in percent."""
    result, _ = read(tmp_path, f"{header}\n{row}\n", area=12.0)
    assert result.stretch[0] == approx([stretch], rel=1e-15)
    assert result.stress == approx([stress], rel=1e-15)
    assert result.nominal.tolist() == [nominal]


def test_up_to(tmp_path):
    """Rows beyond a stretch are left out, and counted; the one at it stays."""
    result, left_out = read(tmp_path, GOOD, up_to=1.1)
    assert left_out == 1
    assert result.label.tolist() == ["strip 1", "sheet", "sheet"]
    assert result.state.tolist() == [0, 1, 1, 2]


@pytest.mark.parametrize("quantity", ["nominal_stress", "cauchy_stress", "force"])
def test_states_that_start_in_place(tmp_path, quantity):
    """The same forces on the same specimen, reported from either state, are the same stretches and stresses."""
    start, specimen = (1.206, 1.114), scattered("gasser-ogden-holzapfel", STRIPS + SHEET)
    unloaded, _ = measured(csv(tmp_path / "a.csv", specimen, quantity=quantity), area=8.0)
    path = csv(tmp_path / "b.csv", specimen, quantity=quantity, start=start)
    in_place, _ = measured(path, area=8.0, start=start)
    assert in_place.stretch == approx(specimen.stretch, rel=1e-12)
    assert in_place.stress == approx(unloaded.stress, rel=1e-12)
    if quantity != "cauchy_stress":
        assert unloaded.stress == approx(specimen.stress, rel=1e-12)
    assert (in_place.free == specimen.free).all() and (in_place.nominal == unloaded.nominal).all()


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_other_editors(tmp_path, end):
    """A byte order mark and line ends of other systems change nothing, places included."""
    path = tmp_path / "a.csv"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", end).encode())
    assert measured(path)[0].stress.tolist() == [12.5, 7, 20, 14, 15]
    path.write_bytes(GOOD.replace("\n", end).replace("1.06", "x").encode())
    with pytest.raises(BadCase, match=r"a\.csv:8: stretch_across: got 'x', wanted a number"):
        measured(path)


def test_columns_carry_their_unit():
    """Every column with a unit ends in it; both directions have all of them."""
    known = columns()
    assert {"stretch_along", "strain_across_percent", "cauchy_stress_along_MPa", "force_across_N", "test"} < set(known)
    assert sum(axis == 0 for _, axis in known.values()) == sum(axis == 1 for _, axis in known.values()) == 7


NUMBER = "wanted a number, or nothing if it was not measured"
ALLOWED = "; allowed: " + ", ".join(columns())


@pytest.mark.parametrize(
    ("old", "new", "messages"),
    [
        ("nominal_stress_along_kPa", "nominal_stress_along_psi", [
            "2: unknown column 'nominal_stress_along_psi'; did you mean 'nominal_stress_along_kPa', in kPa?"
            " allowed" + ALLOWED.removeprefix("; allowed")]),
        ("test,", "Test,", ["2: unknown column 'Test'; did you mean 'test'? " + ALLOWED.removeprefix("; ")]),
        ("test,", "specimen number,", ["2: unknown column 'specimen number'" + ALLOWED]),
        ("test,", "stretch_along,", ["2: column 'stretch_along' is given twice"]),
        ("test,", "strain_along_percent,", [
            "2: columns strain_along_percent and stretch_along both give the stretch along"]),
        ("test,", "cauchy_stress_along_MPa,", [
            "2: columns cauchy_stress_along_MPa and nominal_stress_along_kPa both give the stress along"]),
        ("nominal_stress_along_kPa", "force_along_N", ["2: forces need --width-mm and --thickness-mm of the specimen"]),
        ("1.1,,12.5", "1,1,,12.5", ["3: 6 values in 5 columns"]),
        ("12.5", "12;5", [f"3: nominal_stress_along_kPa: got '12;5', {NUMBER}"]),
        ("12.5", "nan", [f"3: nominal_stress_along_kPa: got 'nan', {NUMBER}"]),
        ("12.5", "1e999", [f"3: nominal_stress_along_kPa: got '1e999', {NUMBER}"]),
        ("1.1,,12.5", "0,,12.5", ["3: stretch_along: got 0, a stretch of 0; wanted a stretch of 0.2 to 5"]),
        ("1.1,,12.5", "-1.1,,12.5", ["3: stretch_along: got -1.1, a stretch of -1.1; wanted a stretch of 0.2 to 5"]),
        ("1.1,,12.5", "10,,12.5", ["3: stretch_along: got 10, a stretch of 10; wanted a stretch of 0.2 to 5"]),
        ("1.1,,12.5,", ",,12.5,", ["3: no stretch in this row"]),
        ("1.1,,12.5,", "1.1,,,", ["3: no stress in this row"]),
        ("1.1,,12.5,", "1.1,,,12.5", [
            "3: a stress across the lines without a stretch across; where no stretch is given, there is no stress"]),
        ("strip 1", "$x$", ["3: test: got '$x$', wanted at most 40 letters, digits, spaces, - _ ."]),
        ("strip 1", '"strip', ["3: not a line of CSV: unexpected end of data"]),
    ],
)  # fmt: skip
def test_bad_input(tmp_path, old, new, messages):
    """One mistake in a good file: the line, the column, the value, what is allowed."""
    assert old in GOOD
    assert bad(tmp_path, GOOD.replace(old, new, 1)) == messages


def test_all_messages_at_once(tmp_path):
    """Mistakes in every row are told together, in order; a hundred are enough."""
    written = GOOD.replace("12.5", "x").replace(",7", ",y").replace("1.05", "0")
    assert [message.split(":")[0] for message in bad(tmp_path, written)] == ["3", "5", "7"]
    many = bad(tmp_path, "stretch_along,nominal_stress_along_kPa\n" + "x,1\n" * 150)
    assert len(many) == 101
    assert many[-1].endswith("50 more")


@pytest.mark.parametrize(
    ("header", "message"),
    [
        ("test,stretch_along", "no column of a stress; wanted one or two of nominal_stress_along_kPa, "),
        ("nominal_stress_along_kPa", "no column of a stretch; wanted one or two of stretch_along, stretch_across, "),
    ],
)
def test_columns_that_are_needed(tmp_path, header, message):
    (result,) = bad(tmp_path, f"{header}\n" + ",".join("1" * len(header.split(","))) + "\n")
    assert result.startswith(f"1: {message}")


def test_bad_files(tmp_path):
    """No such file, nothing in it, too much in it."""
    with pytest.raises(BadCase, match="No such file"):
        measured(tmp_path / "none.csv")
    for written in ("", "# only a comment\n", "stretch_along,nominal_stress_along_kPa\n"):
        assert bad(tmp_path, written)[0].endswith("wanted a line of column names and a line of numbers for each state")
    rows = "stretch_along,nominal_stress_along_kPa\n" + "1.1,1\n" * (MAX_ROWS + 1)
    assert "10001 rows; wanted 10000 at most" in bad(tmp_path, rows)[0]
    assert np.unique(read(tmp_path, rows.removesuffix("1.1,1\n"))[0].stress) == [1]
