"""How long must a wound be to lie flat? Lenses of one width on a forearm, in slack, typical and tense skin.

    python examples/longer_wound.py

prints a table and writes results/longer-wound.html and longer-wound.png; three minutes on two cores.
"""

from collections.abc import Sequence
from typing import Any

from matplotlib.figure import Figure

import flatseam


def main(ratios: Sequence[float] = (1.5, 2.0, 3.0, 4.0), *, spread: bool = True, **keys: Any) -> flatseam.Comparison:
    """Close the lenses, `ratios` being length to width, `keys` further ones of the case, as `mesh`.

    spread   in slack and tense skin too
    """
    lens = flatseam.case(
        name="lens",
        wound={"outline": {"kind": "lens", "length_mm": 60, "width_mm": 20}},
        closure={"undermine_mm": 15},
        skin={"site": "forearm"},
        **keys,
    )
    wounds = [flatseam.varied(lens, f"lens-{ratio:g}", {"wound.outline.length_mm": 20 * ratio}) for ratio in ratios]
    compared = flatseam.compare(wounds, name="longer-wound", spread=spread)
    for name, closed in compared.results.items():
        print(name, closed.measures["scar_length_mm"], closed.measures["cone_height_mm"], sep="; ")

    figure, table = Figure(layout="constrained"), compared.table
    axes = figure.add_subplot(xlabel="scar length, mm", ylabel="cone height, mm")
    for skin in dict.fromkeys(table["skin"]):
        rows = [row for row, of in enumerate(table["skin"]) if of == skin]
        scars, cones = ([table[name][row] for row in rows] for name in ("scar_length_mm", "cone_height_mm"))
        axes.plot(scars, cones, "o-", label=f"{skin} skin" if skin != "as given" else "typical skin")
    axes.legend()
    figure.savefig("longer-wound.png", dpi=150)
    return compared


if __name__ == "__main__":
    main()
