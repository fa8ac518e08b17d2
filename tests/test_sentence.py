"""Sentences say what the numbers say, and nothing else: each condition on both of its sides."""

from dataclasses import replace

import numpy as np
import pytest
from comparison import case, text

from fem import case as cases
from fem import ledger, sentence
from fem.result import Result

NUMBERS = {
    "cone_height_mm": 4.0,
    "cones": [{"height_mm": 4.0}, {"height_mm": 4.0}],
    "dip_mm": 0.1,
    "scar_length_mm": 34.0,
    "closing_force_N": 1.5,
    "line_tension_mid_N_per_m": 40.0,
    "suture_forces_N": None,
    "suture_forces_final_N": None,
    "removed_area_mm2": 200.0,
    "push_out_mm": [1.0, 2.0],
}
FLAP = text("flap", 1).replace("kind: lens, length_mm: 1, width_mm: 10", "kind: circle, diameter_mm: 15").replace(
    "{undermine_mm: 6}", "{technique: rhombic, undermine_mm: 6}"
).replace("radius_mm: 40", "radius_mm: 90")  # fmt: skip
TIED = text("tied", 30).replace("{undermine_mm: 6}", "{sutures: {kind: interrupted}}")


def result(written=None, **changed):
    """A result of a lens of 30 x 10 mm, or of a text, with some of NUMBERS changed."""
    one = case(written or text("lens", 30))
    met = [m.places[:, 0] for m in ledger.meetings(cases.plan(one)) if m.places.shape[1] == 1]
    stages = {"X": np.array(sorted(map(tuple, met))).T, "tips": np.arange(len(met))}
    return Result(one, measures=NUMBERS | changed, stages=stages)


def of(**numbers):
    return result(**numbers)


def heights(*values):
    """The sentences on cones of some heights, of which the highest is the highest place."""
    return sentence.cones(of(cones=[{"height_mm": h} for h in values], cone_height_mm=max(values)))


def test_cones():
    """Equal as printed: said once; unequal: both; below 0.5 mm: none stands."""
    assert heights(4.04, 3.96) == ["Two cones stand at the tips, each 4.0 mm high."]
    assert heights(4.0, 3.1) == ["Two cones stand at the tips, 4.0 mm and 3.1 mm high."]
    assert heights(4.0, 0.2) == ["One cone stands at the tips, 4.0 mm high."]
    assert heights(0.2, 0.1) == ["No cone stands at a tip: skin is less than 0.5 mm high there."]


def test_highest_elsewhere():
    """That the highest skin is not at a tip is said only if it is higher as printed."""
    assert sentence.cones(of(cone_height_mm=5.2))[1:] == ["The highest skin, 5.2 mm, is not at a tip."]
    assert sentence.cones(of(cone_height_mm=4.04))[1:] == []


@pytest.mark.parametrize(
    ("length", "words"),
    [
        (34.0, "34.0 mm long, 4.0 mm longer than the wound was."),
        (28.0, "28.0 mm long, 2.0 mm shorter than the wound was."),
        (30.04, "30.0 mm long, as long as the wound was."),
    ],
)
def test_scar(length, words):
    """The wound is 30 mm long."""
    assert sentence.scar(of(scar_length_mm=length)) == f"The scar is {words}"


def test_dip():
    """A dip is told from 0.5 mm on."""
    assert not any("dips" in line for line in sentence.outcome(of(dip_mm=0.44)))
    assert "Beside that, skin dips by up to 0.6 mm." in sentence.outcome(of(dip_mm=0.6))


def test_pull():
    """The middle of the seam is told of edges sewn side to side all along, not of a flap, nor of single sutures."""
    assert (
        sentence.outcome(of())[-1]
        == "Closing takes 1.50 N in all; in the middle of the seam the skin pulls with 40 N/m."
    )
    assert sentence.outcome(result(FLAP))[-1] == "Closing takes 1.50 N in all."
    tied = result(TIED, suture_forces_N=[0.9, 0.5], suture_forces_final_N=[0.4, 0.3])
    assert "Closing" not in " ".join(sentence.outcome(tied))


def test_tied():
    """Sutures: the most that any carries; relief of the first is told only if its force falls as printed."""
    lines = sentence.tied(result(TIED, suture_forces_N=[0.9, 0.5], suture_forces_final_N=[0.4, 0.52]))
    assert lines[0].endswith("2 sutures are tied one by one; at the end they carry 0.52 N or less each.")
    assert lines[1].startswith("The first carries 0.90 N as it is tied and 0.40 N when all are")
    assert len(sentence.tied(result(TIED, suture_forces_N=[0.4], suture_forces_final_N=[0.401]))) == 1


def test_wound():
    """What is cut, in numbers of the plan: a lens of 30 x 10 mm takes 205 mm2; a slit takes none."""
    area = cases.geometry(case(text("lens", 30)))["removed_area_mm2"]
    assert sentence.wound(of()) == [
        "The wound is a lens, 30.0 mm long and 10.0 mm wide; it is closed side to side.",
        f"{area:.0f} mm² of skin are taken away.",
    ]
    assert "by the technique “rhombic”" in sentence.wound(result(FLAP))[0]
    slit = FLAP.replace("kind: circle, diameter_mm: 15", "kind: slit, length_mm: 20").replace("rhombic", "z-plasty")
    assert sentence.wound(result(slit))[1] == "No skin is taken away."
    lesion = text("lens", 30).replace("width_mm: 10}", "width_mm: 10}, lesion: {diameter_mm: 6}")
    healthy = f"{area - np.pi * 9:.0f} mm² of that are healthy"
    assert sentence.wound(result(lesion))[2].startswith(healthy)


def test_missing():
    """Angles that lack skin, grouped: 74 degrees at both tips of the lens, 60 at both of the flap."""
    (line,) = sentence.missing(of())
    assert line.startswith("At each of two places where edges meet, 74° of skin are missing")
    assert "60° of skin" in sentence.missing(result(FLAP))[0]
    thin = text("lens", 60).replace("width_mm: 10", "width_mm: 0.2").replace("radius_mm: 40", "radius_mm: 90")
    assert "no cone is to be expected" in sentence.missing(result(thin))[0]


def test_skin():
    """Tension along and across, the same every way, or none; freed, not freed, or nothing below."""
    words = " ".join(sentence.skin(of()))
    assert "invented: 1.5 mm thick" in words and "2 N/m along the skin tension lines and 1 N/m across" in words
    assert "they run along the long axis" in words and "are freed from the bed" in words
    flat = text("lens", 30).replace("{along_N_per_m: 2, across_N_per_m: 1}", "{}")
    assert "without tension" in " ".join(sentence.skin(result(flat)))
    same = text("lens", 30).replace("along_N_per_m: 2", "along_N_per_m: 1")
    assert "1 N/m every way" in " ".join(sentence.skin(result(same)))
    assert "not freed" in sentence.skin(result(text("lens", 30).replace("undermine_mm: 6", "undermine_mm: 0")))[-1]
    bare = text("lens", 30).replace("bed: {normal_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}\n", "")
    assert sentence.skin(result(bare))[-1] == "Nothing lies below it."


def test_material():
    """Whose skin it is: invented, a site's, or no skin at all."""
    assert sentence.material(None) == "The skin is invented"
    assert sentence.material("upper-arm") == "The skin is that of a typical upper arm"
    assert sentence.material("foam-sheet") == "What is called skin here is a foam sheet"


@pytest.mark.parametrize(
    ("angle", "words"), [(0, "along"), (180, "along"), (90, "across"), (-90, "across"), (150, "30°")]
)
def test_direction(angle, words):
    assert words in sentence.direction(angle)


# Several closures ---------------------------------------------------------------------------------------------


def order(*pairs, **more):
    """Closures (words, Result) of scars and cones, named a, b, c."""
    return [
        (name, of(scar_length_mm=scar, cone_height_mm=high, **more))
        for name, (scar, high) in zip("abc", pairs, strict=False)
    ]


def cone_trend(*pairs):
    return sentence.trend(order(*pairs), "cone_height_mm", "cones", "lower", "higher")


def test_trend():
    """Falling, rising, alike, neither; and no claim on longer scars where two are alike as printed."""
    assert cone_trend((30, 5), (40, 4), (50, 3)) == "The longer the scar, the lower the cones: 5.0, 4.0, 3.0 mm."
    assert cone_trend((30, 3), (40, 4), (50, 5)) == "The longer the scar, the higher the cones: 3.0, 4.0, 5.0 mm."
    assert cone_trend((30, 3.01), (40, 2.99), (50, 3)) == "The cones are alike: 3.0, 3.0, 3.0 mm."
    mixed = cone_trend((30, 3), (40, 5), (50, 4))
    assert mixed == "The cones are not ordered as the scars are: lowest in “a”, highest in “b” (3.0, 5.0, 4.0 mm)."
    assert cone_trend((30, 5), (30.01, 4), (50, 3)).startswith("The cones are not ordered")
    tie = cone_trend((30, 5), (40, 4), (50, 4))
    assert "lowest in “b” and “c”, highest in “a”" in tie


def test_price():
    """5.0 to 4.0 mm of cone for 15.0 mm of scar: 15 mm for each mm; nothing where the scar buys nothing."""
    one, other = order((30, 5), (45, 4))
    words = sentence.price(one, other)
    assert words.endswith("cones fall by 1.0 mm and the scar grows by 15.0 mm: 15 mm of scar for each mm of cone.")
    assert sentence.price(*order((30, 5), (45, 5.04))) == ""
    assert sentence.price(*order((30, 4), (45, 5))) == ""
    assert sentence.price(*order((30, 5), (30.01, 4))) == ""


def test_trade_off():
    """Sorted by scar; a closure that failed is told of, whatever else there is; the middle only of even seams."""
    named = order((50, 3), (30, 5))
    failed = ("f", replace(of(), reason="it never met."))
    lines = sentence.trade_off([*named, failed])
    assert lines[0].endswith("5.0, 3.0 mm.") and lines[-1] == "“f” could not be closed: it never met."
    assert any("pull in the middle" in line for line in lines)
    assert sentence.trade_off([named[0], failed])[0] == "“f” could not be closed: it never met."
    assert sentence.trade_off(named[:1]) == ["There is nothing to compare with."]
    mixed = [named[0], ("flap", result(FLAP, scar_length_mm=70.0))]
    assert not any("pull in the middle" in line for line in sentence.trade_off(mixed))


def test_skin_taken_away():
    """Told only where closures differ in it as printed."""
    same = order((30, 5), (40, 4))
    assert not any("taken away" in line for line in sentence.trade_off(same))
    more = [same[0], ("b", of(scar_length_mm=40.0, removed_area_mm2=300.0))]
    assert "The longer the scar, the more the skin taken away: 200, 300 mm²." in sentence.trade_off(more)


# Questions ----------------------------------------------------------------------------------------------------


def test_three_questions():
    """Three of them, each ends as a question and has an answer, for one closure, several, a flap, single sutures."""
    tied = result(TIED, suture_forces_N=[0.9, 0.5], suture_forces_final_N=[0.4, 0.3])
    for one, named in [(of(), []), (of(), order((30, 5), (45, 4))), (result(FLAP), []), (tied, [])]:
        asked = sentence.questions(one, [("this", one), *named])
        assert len(asked) == 3 and all("?" in question and answer for question, answer in asked)


def test_best():
    """One that has both, one that is paid for with the other, and cones that are alike."""
    assert "No closure has both" in sentence.ask_best(order((30, 5), (45, 4)))[1]
    assert "One closure has both" in sentence.ask_best(order((30, 4), (45, 5)))[1]
    assert sentence.ask_best(order((30, 5), (45, 5)))[1] == "The cones are alike; the shortest scar has “a”."
    assert sentence.ask_best(order((30, 5))) is None


def test_sutures():
    """40 N/m times 5 mm are 0.20 N; of single sutures, the one that carries most."""
    assert sentence.ask_sutures(of())[1].endswith("40 N/m × 0.005 m = 0.20 N.")
    tied = result(TIED, suture_forces_N=[0.9, 0.5, 0.4], suture_forces_final_N=[0.4, 0.3, 0.401])
    assert sentence.ask_sutures(tied)[1] == "Numbers 1 and 3 of 3: 0.40 N."
    assert sentence.ask_sutures(result(FLAP)) is None


def test_push_out():
    """That tips travel outward is said only if all do."""
    assert "outward, by 1.0 mm and 2.0 mm" in sentence.ask_scar(of())[1]
    assert "outward" not in sentence.ask_scar(of(push_out_mm=[1.0, -0.2]))[1]
    assert "outward" not in sentence.ask_scar(of(push_out_mm=[]))[1]


def test_as_printed():
    """What is subtracted is subtracted as printed: 5.04 - 3.96 is told as 1.0, for the table has 5.0 and 4.0."""
    assert "fall by 1.0 mm" in sentence.price(*order((30, 5.04), (45, 3.96)))
    assert sentence.printed("cone_height_mm", -0.26) == -0.3
