"""Sentences say what the numbers say, and nothing else: each condition on both of its sides."""

import numpy as np
import pytest
from small_cases import case, text
from synthetic import FLAP, LEFT_OPEN, PURSE, TIED, of, result

from fem.case import case as cases
from fem.teaching import sentence


def heights(*values):
    """The sentences on cones of some heights, of which the highest is the highest place."""
    return sentence.say("cones", of(cones=[{"height_mm": h} for h in values], rise_mm=max(0.0, *values)))


def test_cones():
    """Equal as printed: said once; unequal: both; below 0.5 mm: none stands."""
    assert heights(4.04, 3.96) == ["Two cones stand at the tips, each 4.0 mm high."]
    assert heights(4.0, 3.1) == ["Two cones stand at the tips, 4.0 mm and 3.1 mm high."]
    assert heights(4.0, 0.2) == ["One cone stands at the tips, 4.0 mm high."]
    assert heights(0.2, -0.1) == ["No cone stands at a tip: skin is less than 0.5 mm off the level there."]


def test_sunk_cones():
    """A tip that is 2 mm below the level is sunk, not low; its depth is no further dip, a deeper place is."""
    assert heights(-2.0, -2.01) == ["Two cones are sunk at the tips, each 2.0 mm deep."]
    assert heights(3.0, -0.5) == [
        "One cone stands at the tips, 3.0 mm high.",
        "One cone is sunk at the tips, 0.5 mm deep.",
    ]
    sunk = {"cones": [{"height_mm": 3.0}, {"height_mm": -2.0}]}
    assert not any("dips" in line for line in sentence.say("outcome", of(**sunk, dip_mm=2.0)))
    assert "Beside that, skin dips by up to 2.1 mm." in sentence.say("outcome", of(**sunk, dip_mm=2.1))


def test_highest_elsewhere():
    """That the highest skin is not at a tip is said only if it is higher as printed."""
    assert sentence.say("cones", of(rise_mm=5.2))[1:] == ["The highest skin, 5.2 mm, is not at a tip."]
    assert sentence.say("cones", of(rise_mm=4.04))[1:] == []


@pytest.mark.parametrize(
    ("length", "phrase"),
    [
        (34.0, "34.0 mm long, 4.0 mm longer than the wound was."),
        (28.0, "28.0 mm long, 2.0 mm shorter than the wound was."),
        (30.04, "30.0 mm long, as long as the wound was."),
    ],
)
def test_scar(length, phrase):
    """The wound is 30 mm long."""
    assert sentence.say("scar", of(scar_length_mm=length))[0] == f"The scar is {phrase}"


def test_dip():
    """A dip is told from 0.5 mm on."""
    assert not any("dips" in line for line in sentence.say("outcome", of(dip_mm=0.44)))
    assert "Beside that, skin dips by up to 0.6 mm." in sentence.say("outcome", of(dip_mm=0.6))


def test_pull():
    """The middle of the seam is told of edges sewn side to side all along, not of a flap, nor of single sutures."""
    assert (
        sentence.say("outcome", of())[-1]
        == "Closing takes 1.50 N in all; in the middle of the seam the skin pulls with 40 N/m."
    )
    assert sentence.say("outcome", result(FLAP))[-1] == "Closing takes 1.50 N in all."
    tied = result(TIED, suture_forces_N=[0.9, 0.5], suture_forces_final_N=[0.4, 0.3])
    assert "Closing" not in " ".join(sentence.say("outcome", tied))


def test_tied():
    """Sutures: the most that any carries; relief of the first is told only if its force falls as printed."""
    lines = sentence.say("tied", result(TIED, suture_forces_N=[0.9, 0.5], suture_forces_final_N=[0.4, 0.52]))
    assert lines[0].endswith("2 sutures are tied one by one; at the end they carry 0.52 N or less each.")
    assert lines[1].startswith("The first carries 0.90 N as it is tied and 0.40 N when all are")
    assert len(sentence.say("tied", result(TIED, suture_forces_N=[0.4], suture_forces_final_N=[0.401]))) == 1


def test_trimmed():
    """What was cut off, what that added and took, as measured; nothing of a closure that was not trimmed."""
    cut = {"trim_cut_mm": [10.0, 8.0], "trim_cones_before_mm": [6.2, -6.1]}
    lines = sentence.say("trimmed", of(**cut, trim_scar_added_mm=18.04, trim_skin_removed_mm2=150.4))
    assert lines == [
        "Closed for the first time, its cones are 6.2 mm high and 6.1 mm deep. They are cut off, 10.0 mm and 8.0 mm "
        "beyond the tips from left to right. That adds 18.0 mm of scar and takes 150 mm² more of skin."
    ]
    assert "longer than the trimmed wound was" in sentence.say("scar", of(**cut))[0]
    assert sentence.say("trimmed", of(trim_cut_mm=None)) == [] == sentence.say("trimmed", of())


def test_left_open():
    """A purse-string has no cone at a tip, no scar and no seam; a flap beside which some stays open has both."""
    assert sentence.say("outcome", result(PURSE, **LEFT_OPEN)) == [
        "At its edge the skin is up to 4.0 mm high.",
        "Nothing is sewn edge to edge: 60 mm² stay open, of 200 mm² cut out.",
        "The thread pulls with 0.80 N.",
    ]
    assert "60 mm² stay open." in sentence.say("outcome", result(FLAP, open_area_mm2=60.4))
    assert not any("open" in line for line in sentence.say("outcome", of()))


def test_wound():
    """What is cut, in numbers of the plan: a lens of 30 x 10 mm takes 205 mm2; a slit takes none."""
    area = cases.geometry(case(text("lens", 30)))["removed_area_mm2"]
    assert sentence.say("wound", of()) == [
        "The wound is a lens, 30.0 mm long and 10.0 mm wide; it is closed side to side.",
        f"{area:.0f} mm² of skin are taken away.",
    ]
    assert "by the technique “rhombic”" in sentence.say("wound", result(FLAP))[0]
    slit = FLAP.replace("kind: circle, diameter_mm: 15", "kind: slit, length_mm: 20").replace("rhombic", "z-plasty")
    assert sentence.say("wound", result(slit))[1] == "No skin is taken away."
    lesion = text("lens", 30).replace("width_mm: 10}", "width_mm: 10}, lesion: {diameter_mm: 6}")
    healthy = f"{area - np.pi * 9:.0f} mm² of that are healthy"
    assert sentence.say("wound", result(lesion))[2].startswith(healthy)


def test_surplus():
    """Angles that are taken out, grouped: 74 degrees at both tips of the lens, 60 at both of the flap."""
    (line,) = sentence.surplus(of())
    assert line.startswith("At each of two places where edges meet, the wound takes an angle of 74° out")
    assert "an angle of 60° out" in sentence.surplus(result(FLAP))[0]
    thin = text("lens", 60).replace("width_mm: 10", "width_mm: 0.2").replace("radius_mm: 40", "radius_mm: 90")
    assert "no cone is to be expected" in sentence.surplus(result(thin))[0]


def test_skin():
    """Tension along and across, the same every way, or none; undermined, not undermined, or nothing below."""
    phrase = " ".join(sentence.say("skin", of()))
    assert "invented: 1.5 mm thick" in phrase and "2 N/m along the skin tension lines and 1 N/m across" in phrase
    assert "they run along the long axis" in phrase and "are undermined" in phrase
    flat = text("lens", 30).replace("{along_N_per_m: 2, across_N_per_m: 1}", "{}")
    assert "without tension" in " ".join(sentence.say("skin", result(flat)))
    same = text("lens", 30).replace("along_N_per_m: 2", "along_N_per_m: 1")
    assert "1 N/m every way" in " ".join(sentence.say("skin", result(same)))
    assert (
        "not undermined"
        in sentence.say("skin", result(text("lens", 30).replace("undermine_mm: 6", "undermine_mm: 0")))[-1]
    )
    bare = text("lens", 30).replace("bed: {pull_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}\n", "")
    assert sentence.say("skin", result(bare))[-1] == "Nothing lies below it."


def test_material():
    """Whose skin it is: invented, a site's, or no skin at all."""
    arm, foam = (text("lens", 30).replace("skin: {", f"skin: {{site: {site}, ") for site in ("upper-arm", "foam-sheet"))
    assert sentence.say("skin", of())[0].startswith("The skin is invented: ")
    assert sentence.say("skin", result(arm))[0].startswith("The skin is that of a typical upper arm: ")
    assert sentence.say("skin", result(foam))[0].startswith("What is called skin here is a foam sheet: ")


@pytest.mark.parametrize(
    ("angle", "phrase"),
    [(0, "along"), (180, "along"), (90, "straight across"), (-90, "straight across"), (150, "at 30°")],
)
def test_direction(angle, phrase):
    turned = text("lens", 30).replace("across_N_per_m: 1", f"across_N_per_m: 1, lines_deg: {angle}")
    assert f"they run {phrase}" in sentence.say("skin", result(turned))[1]


def test_circle():
    """A circle is so far across and has no long axis: lines run along the seam, or where none is, on the plan."""
    outline = "kind: circle, diameter_mm: 15"
    round_one = text("a", 30).replace("kind: lens, length_mm: 30, width_mm: 10", outline)
    assert sentence.say("wound", result(round_one))[0].startswith("The wound is a circle, 15.0 mm across; it is closed")
    turned = round_one.replace("across_N_per_m: 1", "across_N_per_m: 1, lines_deg: 90")
    assert [sentence.say("skin", result(one))[1].split("they run ")[1] for one in (round_one, turned, FLAP)] == [
        "along the seam.", "straight across the seam.", "along the horizontal of the plan.",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("surface", "said"),
    [
        ("{kind: flat}", None),
        ("{kind: cylinder, radius_mm: 45}",
         "on a limb with a radius of 45 mm, whose axis runs along the long axis of the wound"),
        ("{kind: cylinder, radius_mm: -45, axis_deg: 90}",
         "in the hollow of a limb with a radius of 45 mm, whose axis runs straight across the wound"),
        ("{kind: sphere, radius_mm: 85}", "on a ball with a radius of 85 mm"),
        ("{kind: ellipsoid, radius_along_mm: 90, radius_across_mm: 60}", "on an ellipsoid with radii of 90 and 60 mm"),
        ("{kind: saddle, radius_along_mm: -90, radius_across_mm: 60}", "on a saddle with radii of 90 and 60 mm"),
    ],
)  # fmt: skip
def test_body(surface, said):
    """What a plan is laid on is said, of a flat one nothing."""
    lines = sentence.say("skin", result(text("a", 30).replace("radius_mm: 40", f"radius_mm: 40, surface: {surface}")))
    assert [line for line in lines if line.startswith("The plan is laid")] == [f"The plan is laid {said}."] * bool(said)
