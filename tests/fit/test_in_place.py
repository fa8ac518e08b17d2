"""What a fit says of skin in place: closed forms, intervals against sampling, and tests that start in place."""

import json
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy.optimize import brentq
from scipy.stats import binom
from specimens import ALONG, GRID, SHEET, STRIPS, TRUE, csv, law, scattered, states

from fem.case import physical
from fem.case.case import Case
from fem.case.document import parse
from fem.errors import BadCase
from fem.fit import estimate
from fem.fit.estimate import fit, stresses
from fem.fit.fit import block, fitted, numbers, table, warnings
from fem.fit.in_place import GREATEST, LEAST, carried, in_place, natural_stretch
from fem.fit.tensile import AXES

A, B = 1.206, 1.114  # natural stretches along and across the lines
RETRACTION = 100 * (1 - 1 / A), 100 * (1 - 1 / B)
CASE = "name: a\nwound: {outline: {kind: lens, length_mm: 30, width_mm: 10}}\n"


def hand(a, b, *, mu, alpha=2.0, h=1.0):
    """Line tension, stress and modulus by hand, with psi = 2 mu/alpha^2 (a^alpha + b^alpha + c^alpha - 3), c = 1/ab.

    sigma_a = 2 mu/alpha (a^alpha - c^alpha);    K_aa = 2 mu (a^alpha + c^alpha), K_ab = 2 mu c^alpha;
    E_a = K_aa - K_ab^2 / K_bb.    Neo-Hooke's skin is that with alpha = 2.
    """
    a, b, c = a**alpha, b**alpha, (a * b) ** -alpha
    sigma = 2 * mu / alpha * np.array([a - c, b - c])
    E = 2 * mu * np.array([a + c - c**2 / (b + c), b + c - c**2 / (a + c)])
    return np.concatenate([h * sigma, sigma, E])  # kPa mm is N/m


def of(result):
    """The numbers of skin in place, in the order of `hand`."""
    return np.array(list(result.values.values()))


def sheet_of(kind, **options):
    """A fit to a sheet of that skin, and the sheet."""
    specimen = scattered(kind, SHEET, **options)
    return fit(specimen, kind), specimen


# Closed forms -------------------------------------------------------------------------------------------------


def test_retraction():
    """100 mm that become 83 were stretched 1.2048 times; what kept its length was not; what grew was squeezed."""
    assert natural_stretch((17, 0)) == approx([100 / 83, 1], rel=1e-15)
    assert natural_stretch((-25, 50)) == approx([0.8, 2], rel=1e-15)


@pytest.mark.parametrize(
    ("kind", "known"), [("neo-hooke", dict(mu=30)), ("ogden", dict(mu=20, alpha=9)), ("ogden", dict(mu=20, alpha=-6))]
)  # fmt: skip
@pytest.mark.parametrize("stretch", [(A, B), (1.0, 1.3), (0.9, 1.2)])
def test_by_hand(kind, known, stretch):
    """Line tensions, stresses and moduli of the law are those of the formulas."""
    changes = {"exponent": float(known["alpha"])} if "alpha" in known else {}
    values = carried(law(kind, **changes), np.array(stretch), h=1.5)
    assert list(values) == [
        f"{what}_{way}_{unit}"
        for what, unit in (("line_tension", "N_per_m"), ("stress", "kPa"), ("modulus", "kPa"))
        for way in AXES
    ]
    assert list(values.values()) == approx(hand(*stretch, h=1.5, **known), rel=1e-10)


@pytest.mark.parametrize("axis", [0, 1])
def test_modulus_by_pulling(axis):
    """Skin with fibres is pulled on by a little more, its sides at the stress they had: the modulus is the slope."""
    skin, natural, e = law("gasser-ogden-holzapfel"), np.array([A, B]), 1e-4

    def stress(along, other):
        stretch = natural * np.exp([along, other] if axis == 0 else [other, along])
        values = carried(skin, stretch, h=1.0)
        return np.array([values[f"stress_{AXES[i]}_kPa"] for i in (axis, 1 - axis)])

    kept = stress(0, 0)[1]
    ends = [stress(d, brentq(lambda o, d=d: stress(d, o)[1] - kept, -0.1, 0.1, xtol=1e-14))[0] for d in (-e, e)]
    modulus = carried(skin, natural, h=1.0)[f"modulus_{AXES[axis]}_kPa"]
    assert (ends[1] - ends[0]) / (2 * e) == approx(modulus, rel=1e-6)


@pytest.mark.parametrize("kind", ["neo-hooke", "ogden"])
def test_round_trip(tmp_path, kind):
    """From exact data of invented skin to what it carries in place, 2 mm thick unloaded and 2 / AB there."""
    known = dict(zip(("mu", "alpha"), TRUE[kind].values(), strict=False))
    path = csv(tmp_path / "a.csv", scattered(kind, SHEET))
    result = fitted(path, kind, thickness=2.0, retraction=RETRACTION).in_place
    assert result.stretch == approx([A, B], rel=1e-12)
    assert result.thickness == approx(2 / (A * B), rel=1e-12)
    assert of(result) == approx(hand(A, B, h=2 / (A * B), **known), rel=1e-6)
    assert result.why == {}


def test_block_is_the_skin_of_a_case(tmp_path):
    """A case takes thickness, law and tension from the block: it is as thick, stretched and taut as was printed."""
    path = csv(tmp_path / "a.csv", scattered("ogden", SHEET, scatter=0.02))
    result = fitted(path, "ogden", thickness=2.0, retraction=RETRACTION)
    written = block(result)
    skin = parse(CASE + written, Case, "a.yaml").skin
    assert skin.thickness_mm == approx(2 / (A * B), rel=1e-5)
    assert physical.prestretch(skin.tension, skin.law, h=skin.thickness_mm) == approx([A, B], rel=1e-5)
    tensions = skin.tension.along_N_per_m, skin.tension.across_N_per_m
    assert tensions == approx(of(result.in_place)[:2], rel=1e-4)  # six digits of parameters
    assert "  # In place skin" not in written
    assert "# in place; 2 unloaded\n" in written
    assert "  tension:   # natural: retracted by 17.0813 % along and 10.2334 % across when excised\n" in written


@pytest.mark.parametrize("percent", [LEAST, GREATEST])
def test_greatest_retraction(tmp_path, percent):
    """What is allowed is what a case allows, up to its ends."""
    path = csv(tmp_path / "a.csv", scattered("neo-hooke", SHEET))
    result = fitted(path, "neo-hooke", thickness=2.0, retraction=(percent, 0.0))
    parse(CASE + block(result), Case, "a.yaml")


# Intervals ----------------------------------------------------------------------------------------------------


def test_as_well_known_as_the_modulus():
    """All that neo-Hooke's skin carries is proportional to its one modulus, and so are the ends of its interval."""
    best, specimen = sheet_of("neo-hooke", scatter=0.05)
    result = in_place(best, specimen, retraction_percent=RETRACTION, thickness=2.0)
    ratio = np.array(best.intervals["shear_kPa"]) / best.values["shear_kPa"]
    for name, value in result.values.items():
        assert result.intervals[name] == approx(value * ratio, rel=1e-6)


def sampled(kind, specimen, best, n=4_000):
    """Ends (6, 2) between which 95 % lie of what skin in place carries, parameters drawn about those of the fit.

    Drawn from Student's distribution with covariance s^2 (J^T J)^-1, J by differences of stresses by log parameters.
    """
    p = np.array(list(best.values.values()))

    def skin(log):
        return law(kind, **dict(zip(best.values, np.exp(log), strict=True)))

    J = np.stack([
        (stresses(skin(np.log(p) + d), specimen) - stresses(skin(np.log(p) - d), specimen)) / 2e-5
        for d in 1e-5 * np.eye(p.size)
    ], axis=1)  # fmt: skip
    degrees = specimen.stress.size - p.size
    size = np.sqrt(((best.stress - specimen.stress) ** 2).sum() / degrees)
    rng = np.random.default_rng(5)
    drawn = size * np.linalg.solve(np.linalg.qr(J).R, rng.normal(size=(p.size, n))).T  # J^T J = R^T R
    drawn *= np.sqrt(degrees / rng.chisquare(degrees, n))[:, None]
    values = [list(carried(skin(np.log(p) + d), np.array([A, B]), h=2 / (A * B)).values()) for d in drawn]
    return np.quantile(values, [0.025, 0.975], axis=0).T


@pytest.mark.slow
@pytest.mark.parametrize(
    ("kind", "shape", "scatter"),
    [("ogden", SHEET, 0.02), ("ogden", STRIPS, 0.02), ("gasser-ogden-holzapfel", SHEET, 1e-4)],
)
def test_intervals_by_sampling(kind, shape, scatter):
    """Intervals are those that parameters drawn from their distribution give, to 5 % of their width.

    Of 4000 drawn, a quantile has a standard error of 1.1 % of the width. Five parameters have little scatter, for what
    is carried is linear only near them; `test_coverage` has more.
    """
    specimen = scattered(kind, shape, scatter=scatter, seed=2)
    best = fit(specimen, kind, within=dict(exponent=(1.0, 50.0)) if kind == "ogden" else {})
    result = in_place(best, specimen, retraction_percent=RETRACTION, thickness=2.0)
    for pair, ends in zip(result.intervals.values(), sampled(kind, specimen, best), strict=True):
        assert pair == approx(ends, abs=0.05 * (ends[1] - ends[0]))


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "n"), [("ogden", 100), ("gasser-ogden-holzapfel", 60)])
def test_coverage(kind, n, monkeypatch):
    """In n fits to scattered sheets, each interval holds the true number 95 times in 100, give or take chance.

    A count outside these limits has a chance of 1 in 1000. Fewer starts are looked at, for more fits in the same time.
    """
    monkeypatch.setattr(estimate, "TRIES", 2)
    monkeypatch.setattr(estimate, "POLISHED", 2)
    true, held = np.array([*carried(law(kind), np.array([A, B]), h=2 / (A * B)).values()]), np.zeros(6)
    for seed in range(n):
        best, specimen = sheet_of(kind, scatter=0.02, seed=seed)
        result = in_place(best, specimen, retraction_percent=RETRACTION, thickness=2.0)
        low, high = np.array(list(result.intervals.values())).T
        held += (low <= true) & (true <= high)
    low, high = binom.interval(0.999, n, 0.95)
    assert (low <= held).all() and (held <= high).all()


def test_another_law_that_fits_as_well():
    """A strip does not tell Ogden's exponent from about -2 times it, and the two carry different loads in place."""
    specimen = scattered("ogden", ALONG, scatter=0.02, seed=1)
    result = in_place(fit(specimen, "ogden"), specimen, retraction_percent=RETRACTION, thickness=2.0)
    reason = result.why["stress_across_kPa"]
    other = float(reason.removeprefix("undetermined, ").removesuffix(" fits as well"))
    both = sorted([other, result.values["stress_across_kPa"]])
    # P = 2 mu/alpha (a^(alpha - 1) - a^(-alpha/2 - 1)) of a strip, whose powers change places with 2 mu and -2 alpha
    wanted = sorted([hand(A, B, mu=20, alpha=9)[3], hand(A, B, mu=40, alpha=-18)[3]])
    assert both == approx(wanted, rel=0.25)
    assert not result.intervals.keys() & result.why.keys()


def test_known_though_a_parameter_is_not():
    """Fibres in all directions have no angle, yet what they carry is known."""
    kind, held = "gasser-ogden-holzapfel", dict(dispersion=1 / 3)
    specimen = states(SHEET)
    specimen = replace(specimen, stress=stresses(law(kind, **held), specimen))
    best = fit(specimen, kind, held=held)
    result = in_place(best, specimen, retraction_percent=RETRACTION, thickness=2.0)
    assert best.why["fibre_angle_deg"] == "undetermined"
    assert result.why == {} and len(result.intervals) == 6


def test_no_retraction():
    """Skin that does not retract carries nothing, for certain, and is as thick as the specimen."""
    best, specimen = sheet_of("neo-hooke", scatter=0.05)
    result = in_place(best, specimen, retraction_percent=(0.0, 0.0), thickness=2.0)
    assert result.thickness == 2
    assert of(result)[:4].tolist() == [0, 0, 0, 0]
    assert result.intervals["stress_along_kPa"] == (0, 0)
    assert result.values["modulus_along_kPa"] == approx(3 * best.values["shear_kPa"])


# Tests that start in place ------------------------------------------------------------------------------------


@pytest.mark.parametrize("quantity", ["nominal_stress", pytest.param("force", marks=pytest.mark.slow)])
def test_same_law_from_either_state(tmp_path, quantity):
    """Strips and a sheet with scatter, reported from either state: one law, one certainty, one skin in place."""
    specimen = scattered("ogden", STRIPS + SHEET, scatter=0.02)
    options = dict(thickness=2.0, width=4.0, retraction=RETRACTION)
    one = fitted(csv(tmp_path / "a.csv", specimen, quantity=quantity), "ogden", **options)
    path = csv(tmp_path / "b.csv", specimen, quantity=quantity, start=(A, B))
    two = fitted(path, "ogden", **options, starts_in_place=True)
    assert two.fit.values == approx(one.fit.values, rel=1e-8)
    assert np.array([*two.fit.intervals.values()]) == approx(np.array([*one.fit.intervals.values()]), rel=1e-6)
    assert of(two.in_place) == approx(of(one.in_place), rel=1e-8)
    assert numbers(two)["in_place"]["tests_start_in_place"] and not numbers(one)["in_place"]["tests_start_in_place"]
    wrong = fitted(path, "ogden", **options)  # as if they counted from the unloaded specimen
    assert wrong.fit.values != approx(one.fit.values, rel=0.1)


def test_stretch_left_out_counts_from_the_unloaded_state(tmp_path):
    """--up-to-stretch means the stretch that is fitted and drawn, whatever the file counts from."""
    path = csv(tmp_path / "a.csv", scattered("neo-hooke", ALONG), start=(A, B))
    result = fitted(path, "neo-hooke", thickness=2.0, retraction=RETRACTION, starts_in_place=True, up_to=1.21)
    assert result.left_out == (GRID > 1.21).sum() > 0
    assert result.measured.stretch[0].max() <= 1.21


# What is said -------------------------------------------------------------------------------------------------


def said(tmp_path, stretches, retraction):
    """The warnings of a fit to exact data of neo-Hooke's skin."""
    path = csv(tmp_path / "a.csv", scattered("neo-hooke", stretches))
    return warnings(fitted(path, "neo-hooke", thickness=2.0, retraction=retraction))


def test_within_what_was_tested(tmp_path):
    """A sheet stretched both ways up to 1.4 covers all skin in place up to 1.4, itself included."""
    assert said(tmp_path, SHEET, RETRACTION) == []
    assert said(tmp_path, SHEET, (100 * (1 - 1 / 1.4), 0.0)) == []


def test_beyond_what_was_tested(tmp_path):
    """Which way, how far skin in place is stretched, and where the tests end."""
    assert said(tmp_path, SHEET, (40.0, 0.0)) == [
        "in place skin is stretched 1.667 times along the lines, but the tests end at 1.4: the law is extrapolated"
    ]
    assert said(tmp_path, SHEET, (0.0, -25.0)) == [
        "in place skin is stretched 0.8 times across the lines, but the tests end at 1: the law is extrapolated"
    ]


BOTH = "in place skin is taut both ways at once, but in no test was it, as strips narrow: "
BOTH += "add a sheet, or trust the law there"


def test_strips_alone(tmp_path):
    """Strips along and across reach as far as skin in place does, but not both ways at once."""
    assert said(tmp_path, STRIPS, RETRACTION) == [BOTH]
    assert said(tmp_path, STRIPS, (17.0, 0.0)) == []
    assert said(tmp_path, ALONG, RETRACTION) == [
        "in place skin is stretched 1.114 times across the lines, but no test measured a stretch that way: "
        "the law is extrapolated", BOTH]  # fmt: skip


def test_narrowing_that_was_measured(tmp_path):
    """A strip whose sides were watched is no sheet."""
    assert said(tmp_path, [(a, a**-0.5) for a in GRID], (10.0, 0.0)) == []
    assert BOTH in said(tmp_path, [(a, a**-0.5) for a in GRID], RETRACTION)


def test_what_is_printed(tmp_path):
    """Every number with its unit in its name and its interval, in the table, the block and fit.json alike."""
    path = csv(tmp_path / "a.csv", scattered("ogden", STRIPS, scatter=0.02))
    result = fitted(path, "ogden", thickness=2.0, retraction=(17.0, 10.0), held=["exponent=1:50"])
    lines, written, kept = table(result).split("\n"), block(result), json.loads(json.dumps(numbers(result)))["in_place"]
    assert (
        lines[4] == "  in place, having retracted by 17 % along and 10 % across: stretch 1.205 and 1.111, 1.49 mm thick"
    )
    assert len(lines) == 11
    for line, (name, value) in zip(lines[5:], result.in_place.values.items(), strict=True):
        low, high = result.in_place.intervals[name]
        interval = f"95% confidence: {low:.4g} to {high:.4g}"
        assert line == f"    {name:<27}  {value:<10.4g}{interval}"
        assert f"    # in place {name}: {value:.4g}, {interval}\n" in written
        assert kept["carries"][name] == {"value": value, "interval": [low, high], "why_none": None}
    assert f"    # Warning: {BOTH}.\n" in written
    assert kept["warnings"] == [BOTH]
    assert kept["thickness_mm"] == approx(2 * 0.83 * 0.9) and kept["along_stretch"] == approx(1 / 0.83)


def test_without_retraction(tmp_path):
    """The thickness is said to be that of the unloaded specimen, and how to have it in place; there is no tension."""
    result = fitted(csv(tmp_path / "a.csv", scattered("ogden", SHEET)), "ogden", thickness=2.0)
    written = block(result)
    assert "  thickness_mm: 2   # of the specimen, unloaded\n" in written
    assert "--retraction-along-percent and --retraction-across-percent" in written
    assert "tension:" not in written
    assert warnings(result) == [] and "in_place" not in numbers(result) and "in place" not in table(result)


# Bad input ----------------------------------------------------------------------------------------------------

RANGE = "wanted -150 to 80, of the length in place"
ALONG_OPTION, ACROSS_OPTION = (f"--retraction-{way}-percent" for way in AXES)


@pytest.mark.parametrize(
    ("options", "messages"),
    [
        ({"retraction": (100.0, 10.0), "thickness": 2.0}, [f"{ALONG_OPTION}: got 100, {RANGE}"]),
        ({"retraction": (17.0, float("nan")), "thickness": 2.0}, [f"{ACROSS_OPTION}: got nan, {RANGE}"]),
        ({"retraction": (-151.0, 81.0), "thickness": 2.0}, [
            f"{ALONG_OPTION}: got -151, {RANGE}", f"{ACROSS_OPTION}: got 81, {RANGE}"]),
        ({"retraction": (17.0, None), "thickness": 2.0}, [
            f"{ACROSS_OPTION}: missing; 0 if the skin kept its length that way"]),
        ({"retraction": (None, 0.0), "thickness": 2.0}, [
            f"{ALONG_OPTION}: missing; 0 if the skin kept its length that way"]),
        ({"retraction": (17.0, 10.0)}, [f"{ALONG_OPTION}: needs --thickness-mm as well, of the unloaded specimen"]),
        ({"starts_in_place": True}, [f"--starts-in-place: needs {ALONG_OPTION} and {ACROSS_OPTION} as well"]),
    ],
)  # fmt: skip
def test_bad_options(tmp_path, options, messages):
    """What was given and what is allowed."""
    path = csv(tmp_path / "a.csv", scattered("neo-hooke", ALONG))
    with pytest.raises(BadCase) as caught:
        fitted(path, "neo-hooke", **options)
    assert str(caught.value).split("\n") == messages


def test_command(tmp_path, monkeypatch, flatseam):
    """The table on stdout, warnings on stderr; `flatseam check` takes the block."""
    monkeypatch.chdir(tmp_path)
    csv(tmp_path / "a.csv", scattered("neo-hooke", STRIPS), start=(A, B))
    options = ["a.csv", "--law", "neo-hooke", "--thickness-mm", "2", "--starts-in-place"]
    options += [ALONG_OPTION, RETRACTION[0], ACROSS_OPTION, RETRACTION[1]]
    code, out, err = flatseam("fit", *options)
    assert (code, err) == (0, f"a.csv: warning: {BOTH}\n")
    assert "  shear_kPa  30  " in out and "line_tension_along_N_per_m" in out
    (tmp_path / "a.yaml").write_text(CASE + (tmp_path / "results" / "a-neo-hooke" / "fit.yaml").read_text())
    assert flatseam("check", "a.yaml")[0] == 0
    assert flatseam("fit", *options[:-2], ACROSS_OPTION, "-5")[0] == 0
    code, out, err = flatseam("fit", *options[:-2])
    assert (code, out, err) == (2, "", f"{ACROSS_OPTION}: missing; 0 if the skin kept its length that way\n")
