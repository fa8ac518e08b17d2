"""Laws fitted to measured stresses: closed forms, recovery of known parameters, and how often intervals hold them."""

import re
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import trapezoid
from scipy.optimize import brentq
from scipy.stats import binom, t
from specimens import ALONG, GRID, SHEET, STRIPS, TRUE, law, scattered, states

from fem.case import physical
from fem.errors import NotFitted
from fem.fit import estimate
from fem.fit.estimate import fit, slopes, stresses, stretches
from fem.fit.search import Search, ranges
from fem.material.laws import EXPONENTS, LAWS

every_law = pytest.mark.parametrize("kind", LAWS)
both_ways = pytest.mark.parametrize("shape", [STRIPS, SHEET], ids=["strips", "sheet"])
WELL_POSED = [
    pytest.param(kind, STRIPS + SHEET, marks=pytest.mark.slow) if "fibre_kPa" in keys else (kind, STRIPS)
    for kind, keys in TRUE.items()
]


def test_every_law_is_tried():
    """A law that is added takes part in the tests below."""
    assert set(TRUE) == set(LAWS)


def search(kind):
    """The search for all parameters of a law, in the last of its ranges."""
    known = ranges(kind)
    return Search(kind, {}, tuple(known), *np.array([parts[-1] for parts in known.values()]).T)


def coordinates(kind):
    """Coordinates of the TRUE parameters."""
    sought = search(kind)
    return np.array([
        np.log10(TRUE[kind][key]) if np.isinf(high) else 2 * (TRUE[kind][key] - low) / (high - low) - 1
        for key, low, high in zip(sought.keys, sought.low, sought.high, strict=True)
    ])  # fmt: skip


# Stresses of a law --------------------------------------------------------------------------------------------


def test_strip_of_neo_hooke():
    """A strip narrows by a^(-1/2): P = mu (a - a^-2), sigma = mu (a^2 - 1/a), along and across alike."""
    for nominal, wanted in [(True, 30 * (GRID - GRID**-2)), (False, 30 * (GRID**2 - 1 / GRID))]:
        specimen = states(STRIPS, nominal=nominal)
        assert stresses(law("neo-hooke"), specimen) == approx(np.tile(wanted, 2), rel=1e-12)


def test_sheet_of_ogden():
    """Stretched by a both ways: sigma = 2 mu/alpha (a^alpha - a^(-2 alpha)), P = sigma / a."""
    specimen = states([(a, a) for a in GRID])
    wanted = 2 * 20 / 9 * (GRID**9 - GRID**-18) / GRID
    assert stresses(law("ogden"), specimen) == approx(np.repeat(wanted, 2), rel=1e-12)


@every_law
@pytest.mark.parametrize("axis", [0, 1])
def test_sides_of_a_strip_are_free(kind, axis):
    """At the stretch found for the sides, a sheet that is stretched so carries no stress there."""
    pairs = STRIPS[:12] if axis == 0 else STRIPS[12:]
    result = stretches(law(kind), states(pairs))
    pulled = stresses(law(kind), states(result.T.tolist())).reshape(-1, 2).T
    assert np.abs(pulled[1 - axis]).max() < 1e-12 * pulled[axis].max()
    assert (pulled[axis] > 0).all()


@every_law
@both_ways
def test_derivatives(kind, shape):
    """Derivatives by the coordinates agree with differences, whose truncation is step^2 f'''/6, free sides included."""
    sought, z, specimen, step = search(kind), coordinates(kind), states(shape), 1e-4
    exact = slopes(sought, z, stretches(law(kind), specimen), specimen)
    for column, delta in zip(exact.T, step * np.eye(z.size), strict=True):
        ahead, behind = (stresses(sought.law(z + way), specimen) for way in (delta, -delta))
        assert column == approx((ahead - behind) / (2 * step), rel=1e-5, abs=1e-5 * np.abs(exact).max())


# Ranges -------------------------------------------------------------------------------------------------------


def test_ranges():
    """They are those of a case: stiffness above 0, two ranges of Ogden's exponent, a third of dispersion."""
    assert ranges("ogden") == {"shear_kPa": [(np.nextafter(0, 1), np.inf)], "exponent": list(EXPONENTS)}
    assert ranges("gasser-ogden-holzapfel")["dispersion"] == [(0, 1 / 3)]
    assert ranges("gasser-ogden-holzapfel")["fibre_angle_deg"] == [(0, 90)]


@every_law
def test_coordinates(kind):
    """The law at the coordinates of its parameters is the law; limits are the ends of its ranges."""
    sought, z = search(kind), coordinates(kind)
    assert sought.law(z).keywords == approx(law(kind).keywords)
    low, high = (sought.values(end) for end in sought.limits)
    limited = np.isfinite(sought.high)
    assert low[limited] == approx(sought.low[limited])
    assert high[limited] == approx(sought.high[limited])
    assert low[~limited] == approx(1e-6) and high[~limited] == approx(1e9)


# Recovery of known parameters ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("kind", "shape"), [*WELL_POSED, ("ogden", ALONG), ("ogden", SHEET), ("neo-hooke", SHEET)])
@pytest.mark.parametrize("nominal", [True, False])
def test_without_scatter(kind, shape, nominal):
    """Exact data give the exact parameters back."""
    result = fit(scattered(kind, shape, nominal=nominal), kind)
    assert result.values == approx(TRUE[kind], rel=1e-6)
    assert result.r2 == approx(1, abs=1e-12) and result.rms_kPa < 1e-6
    assert result.why == {}


@pytest.mark.parametrize("exponent", [-6.0, 2.0, 25.0])
def test_exponents(exponent):
    """Ogden's exponent is found in either of its ranges; sheets tell 2 from -2."""
    specimen = states(SHEET)
    specimen = replace(specimen, stress=stresses(law("ogden", exponent=exponent), specimen))
    assert fit(specimen, "ogden").values == approx(TRUE["ogden"] | dict(exponent=exponent), rel=1e-6)


@pytest.mark.parametrize(("kind", "shape"), WELL_POSED)
def test_error_is_proportional_to_scatter(kind, shape):
    """A hundred times less scatter of the same pattern: a hundred times less error, up to the scatter squared."""
    coarse, fine = (
        np.array(list(fit(scattered(kind, shape, scatter=scatter, seed=3), kind).values.values()))
        - list(TRUE[kind].values())
        for scatter in (1e-4, 1e-6)
    )
    assert fine == approx(coarse / 100, rel=0.02, abs=1e-3 * np.abs(coarse / 100).max())


def test_units_do_not_matter():
    """The same data in a unit a million times smaller: moduli a million times greater, the rest as it was."""
    specimen = scattered("ogden", STRIPS, scatter=0.02)
    small, large = fit(specimen, "ogden"), fit(replace(specimen, stress=1e6 * specimen.stress), "ogden")
    assert large.values["exponent"] == approx(small.values["exponent"], rel=1e-6)
    assert large.values["shear_kPa"] == approx(1e6 * small.values["shear_kPa"], rel=1e-6)
    assert large.intervals["exponent"] == approx(small.intervals["exponent"], rel=1e-6)
    assert large.r2 == approx(small.r2, rel=1e-9)


def test_two_powers_of_a_strip():
    """A strip hardly tells an exponent from about -2 times it: both are named, until one range is known.

    P = 2 mu/alpha (a^(alpha - 1) - a^(-alpha/2 - 1)), whose powers change places.
    """
    specimen = scattered("ogden", ALONG, scatter=0.02, seed=1)
    result = fit(specimen, "ogden")
    assert result.intervals == {}
    both = sorted([result.values["exponent"], float(re.search(r"undetermined, (\S+) fits", result.why["exponent"])[1])])
    assert both[1] == approx(9, abs=1) and both[0] == approx(-18, abs=2)
    result = fit(specimen, "ogden", within=dict(exponent=(1.0, 50.0)))
    assert result.values["exponent"] == approx(both[1], rel=1e-3)  # it was named with four digits
    assert result.why == {} and result.intervals.keys() == TRUE["ogden"].keys()


def test_held():
    """A parameter that is held has its value and no interval; the others are found with it."""
    result = fit(scattered("gasser-ogden-holzapfel", STRIPS), "gasser-ogden-holzapfel",
                held=dict(dispersion=0.15, fibre_kPa=50.0))  # fmt: skip
    assert result.values == approx(TRUE["gasser-ogden-holzapfel"], rel=1e-6)
    assert result.why == {"dispersion": "held", "fibre_kPa": "held"}
    assert result.intervals.keys() == {"shear_kPa", "stiffening", "fibre_angle_deg"}


# Intervals ----------------------------------------------------------------------------------------------------


def test_interval_in_closed_form():
    """Stress mu f of a strip: mu = sum f s / sum f^2 with standard error s / sqrt(sum f^2), here as a share of mu."""
    specimen = scattered("neo-hooke", ALONG, scatter=0.02)
    f = GRID - GRID**-2
    mu = f @ specimen.stress / (f @ f)
    squares = ((specimen.stress - mu * f) ** 2).sum()
    half = t.ppf(0.975, 11) * np.sqrt(squares / 11 / (f @ f)) / mu
    result = fit(specimen, "neo-hooke")
    assert result.values["shear_kPa"] == approx(mu, rel=1e-9)
    assert result.intervals["shear_kPa"] == approx((mu * np.exp(-half), mu * np.exp(half)), rel=1e-6)
    assert result.rms_kPa == approx(np.sqrt(squares / 12))
    assert result.r2 == approx(1 - squares / ((specimen.stress - specimen.stress.mean()) ** 2).sum())


@pytest.mark.parametrize(
    ("kind", "shape", "scatter", "n"),
    [
        pytest.param("neo-hooke", ALONG, 0.02, 300, marks=pytest.mark.slow),
        pytest.param("neo-hooke", SHEET, 0.02, 300, marks=pytest.mark.slow),
        pytest.param("ogden", SHEET, 0.02, 100, marks=pytest.mark.slow),
        pytest.param("ogden", ALONG, 0.02, 60, marks=pytest.mark.slow),
        pytest.param("gasser-ogden-holzapfel", SHEET, 0.02, 60, marks=pytest.mark.slow),
        pytest.param("gasser-ogden-holzapfel", ALONG + SHEET[:12], 0.02, 12, marks=pytest.mark.slow),
    ],
)
def test_coverage(kind, shape, scatter, n, monkeypatch):
    """In n fits to scattered data, each interval holds the true value 95 times in 100, give or take chance.

    A count outside these limits has a chance of 1 in 1000. Parameters without interval are not claimed to be known;
    at least half are. Two strips without a sheet leave most of the five parameters of fibres undetermined. Fewer
    starts are looked at and two followed, not six, for more fits in the same time: one that misses the minimum counts
    as a miss.
    """
    monkeypatch.setattr(estimate, "TRIES", 2)
    monkeypatch.setattr(estimate, "POLISHED", 2)
    within = dict(exponent=(1.0, 50.0)) if kind == "ogden" else {}
    fits = [fit(scattered(kind, shape, scatter=scatter, seed=seed), kind, within=within) for seed in range(n)]
    for key, true in TRUE[kind].items():
        claimed = [result.intervals[key] for result in fits if key in result.intervals]
        held = sum(low <= true <= high for low, high in claimed)
        low, high = binom.interval(0.999, len(claimed), 0.95)
        assert low <= held <= high, (key, held, len(claimed))
        assert len(claimed) >= n / 2, key


@pytest.mark.slow
def test_what_a_strip_does_not_tell(monkeypatch):
    """One strip settles no more than its curve: of five parameters some are undetermined, and said to be.

    With two of them known, the other three are. Few starts lead there as well.
    """
    monkeypatch.setattr(estimate, "TRIES", 2)
    specimen = scattered("gasser-ogden-holzapfel", ALONG, scatter=0.01, seed=2)
    result = fit(specimen, "gasser-ogden-holzapfel")
    assert any(why.startswith("undetermined") for why in result.why.values())
    assert result.intervals.keys() == TRUE["gasser-ogden-holzapfel"].keys() - result.why.keys()
    result = fit(specimen, "gasser-ogden-holzapfel", held=dict(dispersion=0.15, fibre_angle_deg=40.0, stiffening=2.0))
    assert result.intervals.keys() == {"shear_kPa", "fibre_kPa"}


def test_fibres_in_all_directions_have_no_angle():
    """At a dispersion of 1/3 no stress depends on the angle, even without scatter."""
    specimen = states(SHEET)
    isotropic = law("gasser-ogden-holzapfel", dispersion=1 / 3)
    result = fit(replace(specimen, stress=stresses(isotropic, specimen)), "gasser-ogden-holzapfel",
                held=dict(dispersion=1 / 3))  # fmt: skip
    assert result.why == {"dispersion": "held", "fibre_angle_deg": "undetermined"}
    assert result.values["fibre_kPa"] == approx(50, rel=1e-6)


@pytest.mark.parametrize(
    ("keys", "seed", "rest"), [({"dispersion": 0.0}, 0, "fibre_angle_deg"), ({"fibre_angle_deg": 0.0}, 1, "dispersion")]
)
def test_at_a_limit(keys, seed, rest):
    """True values at the end of a range, and scatter that leads beyond it: the end is taken, and said to be it.

    The others are found with it held there, and have intervals.
    """
    kind, specimen = "gasser-ogden-holzapfel", states(SHEET)
    s = stresses(law(kind, **keys), specimen)
    result = fit(replace(specimen, stress=s + 0.005 * s.max() * np.random.default_rng(seed).normal(size=s.size)), kind)
    assert result.why == dict.fromkeys(keys, "at its limit")
    assert {key: result.values[key] for key in keys} == approx(keys, abs=1e-6)
    assert result.values[rest] == approx(TRUE[kind][rest], rel=0.02)
    assert rest in result.intervals


# What cannot be fitted ----------------------------------------------------------------------------------------


def test_too_few():
    """As many stresses as parameters leave nothing to judge the scatter by."""
    with pytest.raises(ValueError, match=r"2 stresses for 2 parameters \(shear_kPa, exponent\); wanted 3 or more"):
        fit(scattered("ogden", ALONG[:2]), "ogden")
    assert fit(scattered("ogden", ALONG[:3]), "ogden").values == approx(TRUE["ogden"], rel=1e-6)
    assert fit(scattered("ogden", ALONG[:2]), "ogden", held=dict(exponent=9.0)).values == approx(TRUE["ogden"])


def test_all_the_same():
    with pytest.raises(ValueError, match="all stresses are 5 kPa"):
        fit(replace(states(ALONG), stress=np.full(12, 5.0)), "neo-hooke")


@every_law
def test_stress_that_falls(kind):
    """Skin that pushes when it is pulled is none."""
    specimen = scattered(kind, SHEET)
    with pytest.raises(NotFitted, match=f"no {kind} skin has stresses of these signs"):
        fit(replace(specimen, stress=-specimen.stress), kind)


# Published figures --------------------------------------------------------------------------------------------

# 56 strips of human back skin: mean and standard deviation (Ní Annaidh 2012, J Mech Behav Biomed Mater 5:139), MPa, -.
STRENGTH, FAILURE, INITIAL, FINAL, WORK = (21.6, 8.4), (0.54, 0.17), (1.18, 0.88), (83.3, 34.9), (3.6, 1.6)


def published():
    """A strip with the means of Ní Annaidh (2012), as nominal stress and engineering strain: two straight lines.

    The curves themselves were not read. Assumed: the initial slope holds until the line of the final modulus, which
    ends at strength and failure strain, begins; 27 evenly spaced points, whatever the direction of the strip.
    """
    bend = (FINAL[0] * FAILURE[0] - STRENGTH[0]) / (FINAL[0] - INITIAL[0])
    strain = np.linspace(0, FAILURE[0], 28)[1:]
    stress = INITIAL[0] * np.minimum(strain, bend) + FINAL[0] * np.maximum(strain - bend, 0)
    return replace(states([(1 + e, None) for e in strain]), stress=1e3 * stress)


def tensile_figures(law):
    """Initial slope, slope of the upper half of stress, stress at mean failure strain, all MPa; work to it, MJ/m3."""

    def pulled(strain):
        return 1e-3 * stresses(law, states([(1 + e, None) for e in strain]))

    strain = np.linspace(1e-4, FAILURE[0], 500)
    curve = pulled(strain)
    half = brentq(lambda e: pulled([e])[0] - curve[-1] / 2, 0.01, FAILURE[0])
    return curve[0] / strain[0], curve[-1] / 2 / (FAILURE[0] - half), curve[-1], trapezoid(curve, strain)


def test_two_lines_do_the_published_work():
    """The work under the two lines, in which it has no part, is that of the paper: 3.6 +- 1.6 MJ/m3."""
    specimen = published()
    work = trapezoid(np.append(0, 1e-3 * specimen.stress), np.append(1, specimen.stretch[0]))
    assert work == approx(WORK[0], abs=WORK[1])


@pytest.mark.slow
def test_fibres_fit_the_published_figures():
    """Dispersed fibres meet initial slope, final modulus, strength and work within the spread of the 56 strips.

    Ground substance (201.4 kPa) and dispersion (0.1404) are held at the values that the same authors give for the
    same skin (Ann Biomed Eng 40:1666); the interval of the fibres' stiffness holds their k1 = 243.6 if that, printed
    without a unit, is in units of the ground substance's 0.2014 MPa. Their angle is not known here and is fitted.
    """
    result = fit(published(), "gasser-ogden-holzapfel", held=dict(shear_kPa=201.4, dispersion=0.1404))
    figures = tensile_figures(physical.law({"kind": result.kind} | result.values))
    for value, (mean, deviation) in zip(figures, (INITIAL, FINAL, STRENGTH, WORK), strict=True):
        assert value == approx(mean, abs=deviation)
    low, high = result.intervals["fibre_kPa"]
    assert low < 243.6 * 201.4 < high


def test_one_power_does_not_fit_the_published_figures():
    """One term of Ogden's that follows the same strip starts stiffer than the mean by more than two deviations.

    It has one exponent for the whole curve; the figures ask for a stiffness that grows 70 times.
    """
    result = fit(published(), "ogden")
    initial, _, strength, work = tensile_figures(physical.law({"kind": result.kind} | result.values))
    assert strength == approx(STRENGTH[0], abs=STRENGTH[1])
    assert work == approx(WORK[0], abs=WORK[1])
    assert initial > INITIAL[0] + 2 * INITIAL[1]
