"""Searches with known answers, through stand-ins for the solver that are formulas, and failing solves among them."""

import numpy as np
import pytest
from pytest import approx

from fem.study.design_search import MOST, best, bracket, front, least, trials

NAN = np.nan


def counted(f):
    """The excess as `least` asks for it, and the list of all values it asked for."""
    wanted = []

    def excess(values):
        wanted.extend(values)
        return [f(x) for x in values]

    return excess, wanted


# One input ----------------------------------------------------------------------------------------------------

CURVES = {  # excess over a limit, and the least value that keeps it
    "straight": (lambda x: 7 - 0.12 * x, 7 / 0.12),
    "straight, its halves and secants exact": (lambda x: 4 - 0.0625 * x, 64.0),
    "a hair above the limit where secants meet it": (lambda x: 1e-15 + (60 - x) * 0.08, 60 + 1.25e-14),
    "a fold that flattens": (lambda x: np.sqrt(max(0.0, 80 - x)) - 4, 64.0),
    "a jump": (lambda x: -1.5 if x >= 57.3 else 2.0, 57.3),
    "hyperbola": (lambda x: 400 / x - 6.3, 400 / 6.3),
    "steep at its start": (lambda x: np.exp(-(x - 20) / 4) - 1e-3, 20 + 4 * np.log(1000)),
}


@pytest.mark.parametrize("name", CURVES)
def test_least_value(name):
    """The value found keeps the limit, lies above the true one by the tolerance at most, and costs under 12 solves."""
    f, truth = CURVES[name]
    excess, wanted = counted(f)
    result = least(excess, 20, 100, tolerance=0.5)
    assert result.why == "found"
    assert f(result.value) <= 0 < f(result.too_low)
    assert result.too_low < truth <= result.value <= truth + 0.5
    assert len(wanted) == len(set(wanted)) == len(result.excess) < 12
    assert all(round(x, 2) == x for x in wanted)  # in digits that can be read


def test_ends_tell():
    """No value of the range keeps the limit, or all may: two solves tell."""
    for level, why, value in [(1.0, "nowhere", None), (-9.0, "everywhere", 20)]:
        excess, wanted = counted(lambda x, level=level: level + 1 / x)
        result = least(excess, 20, 100, tolerance=0.5)
        assert (result.why, result.value, result.too_low, len(wanted)) == (why, value, None, 2)


@pytest.mark.parametrize("bad", [20, 100])
def test_end_fails(bad):
    """A bracket with a failed end is none; nothing is looked for between."""
    excess, wanted = counted(lambda x: NAN if x == bad else 60 - x)
    result = least(excess, 20, 100, tolerance=0.5)
    assert (result.why, result.value, len(wanted)) == ("end failed", None, 2)


def test_failure_beside_the_answer():
    """Solves from 40 to 51 fail; the answer at 52 is found all the same, without asking anything twice."""
    excess, wanted = counted(lambda x: NAN if 40 < x < 51 else np.exp(-(x - 20) / 6) - np.exp(-32 / 6))
    result = least(excess, 20, 100, tolerance=0.5, budget=20)
    assert result.why == "found"
    assert 52 <= result.value <= 52.5
    assert np.isnan(list(result.excess.values())).any()
    assert len(wanted) == len(set(wanted))


def test_failure_around_the_answer():
    """Solves from 50 to 55 fail around the answer at 52: the bracket closes on them as far as the budget goes."""
    excess, wanted = counted(lambda x: NAN if 50 < x < 55 else 52 - x)
    result = least(excess, 20, 100, tolerance=0.5)
    assert result.why == "failed between"
    assert result.too_low <= 50 < 55 <= result.value
    assert len(wanted) <= MOST


def test_budget_ends():
    """Five solves do not halve 80 mm to 0.5: what is known so far is told, and it is right."""
    excess, wanted = counted(lambda x: 2.0 if x < 57.3 else -2.0)
    result = least(excess, 20, 100, tolerance=0.5, budget=5)
    assert result.why == "budget"
    assert result.too_low < 57.3 <= result.value
    assert len(wanted) == 5


def test_bracket():
    """The least that keeps, and the nearest below that does not; failures do not count."""
    assert bracket({20: 3, 30: 1, 35: NAN, 40: -1, 60: 2, 80: -3}) == (40, 30)[::-1]


# Several inputs -----------------------------------------------------------------------------------------------


def stand_in(points):
    """Scar, cone over 2 mm and tension over 50 N/m of an invented closure; wounds of kind a fail from 40 to 60 mm.

    With kind b cones are 1.5 mm lower and scars 3 mm longer. Freeing skin lowers cone and tension and adds a little.
    """
    rows = []
    for point in points:
        length, freed, b = point["length"], point["freed"], point["kind"] == "b"
        cone = 200 / length - 0.02 * freed - 1.5 * b
        tension = 62 - 0.5 * freed + 0.1 * length
        failed = not b and 40 < length < 60
        rows.append([NAN] * 3 if failed else [1.05 * length + 0.7 * freed + 3 * b, cone / 2 - 1, tension / 50 - 1])
    return rows


RANGES, CHOICES = {"length": (20, 120), "freed": (0, 40)}, {"kind": ["a", "b"]}


def exact(b):
    """Least scar of stand_in: both limits hold with equality, 0.5 f = 12 + 0.1 l and 200/l - 0.02 f - 1.5 b = 2."""
    length = max(np.roots([0.004, 2.48 + 1.5 * b, -200]).real)
    return length, 24 + 0.2 * length, 1.05 * length + 0.7 * (24 + 0.2 * length) + 3 * b


@pytest.mark.parametrize("seed", range(1, 6))
def test_shortest_scar(seed):
    """The search finds kind and scar length of the shortest scar to a percent, and keeps both limits.

    About the best point the scar hardly changes along the limit of the cones, so its length and freeing are less sharp.
    """
    done = trials(stand_in, RANGES, CHOICES, budget=80, seed=seed)
    result = best(done)
    length, freed, scar = exact(True)
    assert result.point["kind"] == "b"
    assert all(excess <= 0 for excess in result.excess)
    assert scar <= result.goal == approx(scar, rel=0.01)
    assert [result.point["length"], result.point["freed"]] == approx([length, freed], rel=0.2)
    assert len(done) <= 80


def test_every_combination_is_searched():
    """The best of the worse kind is found as well, around its failures."""
    done = trials(stand_in, RANGES, CHOICES, budget=80, seed=3)
    assert any(np.isnan(trial.goal) for trial in done)
    result = best([trial for trial in done if trial.point["kind"] == "a"])
    assert exact(False)[2] <= result.goal == approx(exact(False)[2], rel=0.01)


@pytest.mark.parametrize("seed", range(1, 8))
def test_mirror(seed):
    """The lowest cone of a scar within a length: the same numbers, goal and limit exchanged, come out again."""
    scar = exact(True)[2]

    def mirrored(points):
        return [[2 * (cone + 1), s / scar - 1, tension] for s, cone, tension in stand_in(points)]

    result = best(trials(mirrored, RANGES, CHOICES, budget=80, seed=seed))
    assert result.point["kind"] == "b"
    assert all(excess <= 0 for excess in result.excess)
    assert result.goal == approx(2, rel=0.01)


def test_nothing_keeps_the_limits():
    """No trial keeps a limit that cannot be kept; none is called best, and the nearest is known."""

    def strict(points):
        return [[scar, cone + 5, tension] for scar, cone, tension in stand_in(points)]

    done = trials(strict, RANGES, CHOICES, budget=40, seed=1)
    assert best(done) is None
    nearest = min(done, key=lambda trial: trial.worst)
    assert 0 < nearest.worst < 5


def test_failures_everywhere():
    """If every solve fails nothing is searched nearby and nothing is best."""
    done = trials(lambda points: [[NAN, NAN]] * len(points), RANGES, CHOICES, budget=40, seed=1)
    assert best(done) is None
    assert len(done) < 40


@pytest.mark.parametrize("budget", [6, 12, 20, 40])
def test_budget_is_kept(budget):
    """Never more designs than the budget, of two combinations half each, however few."""
    for seed in range(4):
        done = trials(stand_in, RANGES, CHOICES, budget=budget, seed=seed)
        assert budget / 2 < len(done) <= budget


def test_choices_alone():
    """Without ranges every combination is asked once."""
    done = trials(lambda points: [[p["a"] + p["b"]] for p in points], {}, {"a": [3, 1], "b": [5, 2]}, budget=99, seed=1)
    assert sorted(trial.goal for trial in done) == [3, 5, 6, 8]
    assert best(done).point == {"a": 1, "b": 2}


def test_first_points_are_one_batch():
    """All points that do not depend on each other are asked for at once, so that they can be solved side by side."""
    sizes = []

    def judge(points):
        sizes.append(len(points))
        return stand_in(points)

    trials(judge, RANGES, CHOICES, budget=60, seed=1)
    assert sizes[0] == 2 * 10
    assert set(sizes[1:]) == {1}


# The front ----------------------------------------------------------------------------------------------------


def test_front():
    """Of points in a plane those that no other beats in both; of equal ones a single one; failures are no points."""
    x = [1, 2, 2, 3, 4, NAN, 3, 1]
    y = [9, 5, 7, 5, 1, 0, 4, 9]
    places = front(x, y)
    assert [(x[i], y[i]) for i in places] == [(1, 9), (2, 5), (3, 4), (4, 1)]
    assert front([], []) == []


def test_front_beats_the_rest():
    """Every point that is not in the front is beaten by one that is."""
    x, y = np.random.default_rng(0).random((2, 200))
    places = front(x, y)
    rest = np.setdiff1d(np.arange(200), places)
    beaten = (x[places, None] <= x[rest]) & (y[places, None] <= y[rest])
    assert beaten.any(axis=0).all()
    assert (np.diff(x[places]) > 0).all()
    assert (np.diff(y[places]) < 0).all()
