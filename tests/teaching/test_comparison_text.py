"""What is said of closures side by side, and asked of them: each condition on both of its sides."""

from dataclasses import replace

from ranged import made
from small_cases import text
from synthetic import FLAP, LEFT_OPEN, PURSE, TIED, of, result

from fem.comparison.wording import printed
from fem.teaching import comparison_text, sentence
from fem.teaching.comparison_text import SCAR, By


def order(*pairs, **more):
    """Closures (label, Result) of scars and cones, named a, b, c."""
    return [
        (name, of(scar_length_mm=scar, cone_height_mm=high, **more))
        for name, (scar, high) in zip("abc", pairs, strict=False)
    ]


def asked(what, sample):
    """A question on a closure alone."""
    return comparison_text.ask(what, sentence.values(sample))


def cone_trend(*pairs):
    return comparison_text.trend(order(*pairs), SCAR, "cone_height_mm", "cones", "lower", "higher")


def each(*values, names="abc"):
    """Each cone behind the name of its closure."""
    return ", ".join(f"“{name}” {value:.1f} mm" for name, value in zip(names, values, strict=False))


def test_trend():
    """Falling, rising, alike, neither; and no claim on longer scars where two are alike as printed."""
    assert cone_trend((30, 5), (40, 4), (50, 3)) == f"The longer the scar, the lower the cones: {each(5, 4, 3)}."
    assert cone_trend((30, 3), (40, 4), (50, 5)) == f"The longer the scar, the higher the cones: {each(3, 4, 5)}."
    assert cone_trend((30, 3.01), (40, 2.99), (50, 3)) == f"The cones are alike: {each(3, 3, 3)}."
    mixed = cone_trend((30, 3), (40, 5), (50, 4))
    assert mixed == f"The cones are lowest in “a”, highest in “b”: {each(3, 5, 4)}."
    alike = cone_trend((30, 5), (30.01, 4), (50, 3))
    assert alike == f"The cones are lowest in “c”, highest in “a”: {each(5, 4, 3)}."
    tie = cone_trend((30, 5), (40, 4), (50, 4))
    assert "lowest in “b” and “c”, highest in “a”" in tie


def test_price():
    """5.0 to 4.0 mm of cone for 15.0 mm of scar: 15 mm for each mm; nothing where the scar buys nothing."""
    sample, other = order((30, 5), (45, 4))
    text = comparison_text.price(sample, other)
    assert text.endswith("cones fall by 1.0 mm and the scar grows by 15.0 mm: 15 mm of scar for each mm of cone.")
    assert comparison_text.price(*order((30, 5), (45, 5.04))) == ""
    assert comparison_text.price(*order((30, 4), (45, 5))) == ""
    assert comparison_text.price(*order((30, 5), (30.01, 4))) == ""


def test_trade_off():
    """Sorted by scar; a closure that failed is told of, whatever else there is; the middle only of even seams."""
    named = order((50, 3), (30, 5))
    failed = ("f", replace(of(), reason="it never met."))
    lines = comparison_text.trade_off([*named, failed])
    assert lines[0].endswith("“b” 5.0 mm, “a” 3.0 mm.")
    assert comparison_text.others([*named, failed], SCAR) == ["“f” could not be closed: it never met."]
    assert any("pull in the middle" in line for line in lines)
    assert comparison_text.trade_off([named[0], failed]) == []
    assert comparison_text.others([named[0], failed], SCAR)[1] == "There is nothing else to compare with."
    assert comparison_text.others(named[:1], SCAR) == ["There is nothing to compare with."]
    mixed = [named[0], ("flap", result(FLAP, scar_length_mm=70.0))]
    assert not any("pull in the middle" in line for line in comparison_text.trade_off(mixed))


def test_without_a_scar():
    """A purse-string has no place among the scars, and is told of by what stays open."""
    purse = ("purse", result(PURSE, **LEFT_OPEN))
    lines = comparison_text.trade_off([*order((50, 3), (30, 5)), purse])
    assert lines[0] == f"The longer the scar, the lower the cones: {each(5, 3, names='ba')}."
    (line,) = comparison_text.others([*order((50, 3), (30, 5)), purse], SCAR)
    assert line == "“purse”: Nothing is sewn edge to edge: 60 mm² stay open, of 200 mm² cut out."
    assert comparison_text.others([purse], SCAR)[-1] == "There is nothing else to compare with."
    assert [text for text, _ in comparison_text.unordered([*order((50, 3)), purse], SCAR)] == ["purse"]


def test_skin_taken_away():
    """Told only where closures differ in it as printed."""
    same = order((30, 5), (40, 4))
    assert not any("taken away" in line for line in comparison_text.trade_off(same))
    more = [same[0], ("b", of(scar_length_mm=40.0, removed_area_mm2=300.0))]
    assert "The longer the scar, the more the skin taken away: “a” 200 mm², “b” 300 mm²." in comparison_text.trade_off(
        more
    )


# Questions ----------------------------------------------------------------------------------------------------


def test_three_questions():
    """Three of them, each ends as a question and has an answer, for one closure, several, a flap, single sutures."""
    tied = result(TIED, suture_forces_N=[0.9, 0.5], suture_forces_final_N=[0.4, 0.3])
    for sample, named in [
        (of(), []),
        (of(), order((30, 5), (45, 4))),
        (result(FLAP), []),
        (tied, []),
        (result(PURSE, **LEFT_OPEN), []),
    ]:
        wanted = comparison_text.questions(sample, [("this", sample), *named])
        assert len(wanted) == 3 and all("?" in question and answer for question, answer in wanted)


def test_best():
    """One that has both, also where two are alike; one that is paid for with the other; cones that are alike."""
    assert comparison_text.ask_best(order((30, 5), (45, 4)))[1].endswith(
        "None has both: one is paid for with the other."
    )
    assert comparison_text.ask_best(order((30, 4), (45, 5)))[1] == "Lowest cones: “a”; shortest scar: “a”. Both: “a”."
    tie = comparison_text.ask_best(order((30, 4), (40, 5), (45, 4)))[1]
    assert tie == "Lowest cones: “a” and “c”; shortest scar: “a”. Both: “a”."
    assert comparison_text.ask_best(order((30, 5), (45, 5)))[1] == "The cones are alike; shortest scar: “a”."
    assert comparison_text.ask_best(order((30, 5))) is None


def test_best_in_slack_skin():
    """Cones that are as low in the skin of the case are told apart by slack skin."""
    known = {name: made(name, heights) for name, heights in {"a": (5.3, 0, 0), "b": (3.5, 0, 0)}.items()}
    named, spread = [(name, own) for name, (own, _) in known.items()], {name: ends for name, (_, ends) in known.items()}
    wanted = "The cones are as high in the skin of the case; lowest in slack skin “b” (3.5 mm); shortest scar: "
    assert comparison_text.ask_best(named, SCAR, spread)[1].startswith(wanted)
    third, ends = made("c", (6, 4, 0))
    more = comparison_text.ask_best([*named, ("c", third)], SCAR, spread | {"c": ends})[1]
    assert more.startswith("Lowest cones: “a” and “b”, of these in slack skin “b” (3.5 mm); shortest scar: ")


def test_by_another_number():
    """Put in order by how far they are undermined: sentences begin with that, cones are weighed against the force."""
    undermined = {"far": 30.0, "near": 5.0, "middle": 15.0}
    force = {"far": 1.6, "near": 2.2, "middle": 1.9}
    named = [(text, of(closing_force_N=force[text], cone_height_mm=1 + undermined[text] / 10)) for text in undermined]
    key = {id(result): undermined[text] for text, result in named}
    then = ("closing_force_N", "smallest force to close")
    by = By("the farther it is undermined", lambda result: key[id(result)], then)
    assert [text for text, _ in comparison_text.ordered(named, by)] == ["near", "middle", "far"]
    lines = comparison_text.trade_off(named, by)
    assert (
        lines[0] == "The farther it is undermined, the higher the cones: “near” 1.5 mm, “middle” 2.5 mm, “far” 4.0 mm."
    )
    assert (
        "The farther it is undermined, the smaller the force to close: “near” 2.20 N, “middle” 1.90 N, “far” 1.60 N."
        in lines
    )
    assert any(line.startswith("The scar is alike: “near” 34.0 mm") for line in lines)
    assert not any("each mm of cone" in line for line in lines)
    wanted = comparison_text.questions(named[0][1], named, by)
    assert wanted[1][1].startswith("Lowest cones: “near”; smallest force to close: “far”. None has both")


def test_sutures():
    """40 N/m times 5 mm are 0.20 N; of single sutures, the one that carries most."""
    assert asked("sutures", of())[1].endswith("40 N/m × 0.005 m = 0.20 N.")
    tied = result(TIED, suture_forces_N=[0.9, 0.5, 0.4], suture_forces_final_N=[0.4, 0.3, 0.401])
    assert asked("sutures", tied)[1] == "Numbers 1 and 3 of 3: 0.40 N."
    assert asked("sutures", result(FLAP)) is None


def test_push_out():
    """That tips travel outward is said only if all do."""
    assert "outward, by 1.0 mm and 2.0 mm" in asked("scar", of())[1]
    assert "outward" not in asked("scar", of(push_out_mm=[1.0, -0.2]))[1]
    assert "outward" not in asked("scar", of(push_out_mm=[]))[1]


def test_as_printed():
    """What is subtracted is subtracted as printed: 5.04 - 3.96 is told as 1.0, for the table has 5.0 and 4.0."""
    assert "fall by 1.0 mm" in comparison_text.price(*order((30, 5.04), (45, 3.96)))
    assert printed("cone_height_mm", -0.26) == -0.3


def test_whose_skin():
    """The shortest scar in each skin among those that lie flat there, 30 mm twice in tense skin, or none."""
    closures = [made("b", (4, 0.2, 0)), made("a", (5, 3, 0.4)), made("c", (3, 0.1, 0))]
    named, spread = [(own.name, own) for own, _ in closures], {own.name: ends for own, ends in closures}
    named = [
        (name, replace(r, measures=r.measures | {"scar_length_mm": at}))
        for (name, r), at in zip(named, (40, 30, 50), strict=True)
    ]
    ask, answer = comparison_text.ask_flat(comparison_text.ordered(named, SCAR), SCAR, spread)
    assert ask.endswith("in slack, in typical and in tense skin? How long is long enough?")
    assert answer == (
        "Those that lie flat, with cones under 1 mm (a limit of our choice): none in slack skin; “b” and “c” in "
        "typical skin; all in tense skin. The shortest scar that lies flat: none of these in slack skin; “b” in "
        "typical skin; “b” and “c” in tense skin."
    )
    by_force = By("the more", lambda result: result.numbers["scar_length_mm"], ("closing_force_N", "least force"))
    ask, answer = comparison_text.ask_flat(named, by_force, spread)
    assert "long enough" not in ask and "shortest" not in answer
    assert comparison_text.ask_flat(named, SCAR, {}) is None
    assert comparison_text.ask_flat(named[:1], SCAR, spread) is None


LIMB = text("limb", 30).replace("radius_mm: 40", "radius_mm: 40, surface: {kind: cylinder, radius_mm: 45}")


def test_bodies():
    """Of the same wound in the same skin: lower, higher or as high, and how deep the seam lies if it shows."""
    flat = ("flat", of(scar_length_mm=30.0, cone_height_mm=3.0))

    def said(height, depth):
        on_limb = result(LIMB, cone_height_mm=height, seam_depth_mm=depth, contour_mm=height + depth)
        return comparison_text.bodies([flat, ("limb", on_limb)])

    same = "“limb”: of the same wound in the same skin, cones are "
    assert said(2.0, 0.5) == [
        f"{same}1.0 mm lower than those of “flat”, and the seam lies up to 0.5 mm below where the skin was: above that "
        "they stand 2.5 mm."
    ]
    assert said(3.24, 0.04) == [f"{same}0.2 mm higher than those of “flat”."]
    assert said(3.04, 0.0) == [f"{same}as high as those of “flat”."]
    assert comparison_text.bodies([flat, ("longer", result(text("longer", 40)))]) == []
    other = result(LIMB.replace("length_mm: 30", "length_mm: 40"), seam_depth_mm=0.0, contour_mm=4.0)
    assert comparison_text.bodies([flat, ("longer limb", other)]) == []


def test_no_price_from_one_body_to_another():
    """A scar that is longer on a limb has bought nothing there."""
    flat, limb = of(scar_length_mm=30.0, cone_height_mm=5.0), result(LIMB, scar_length_mm=45.0, cone_height_mm=4.0)
    assert comparison_text.prices([("flat", flat), ("limb", limb)]) == []
