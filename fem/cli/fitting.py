"""The command that fits a law to measurements."""

import sys
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from fem.cli.files import NO_CONVERGENCE, Into, fail
from fem.errors import BadCase, NotFitted


def fit(
    file: Annotated[Path, Parameter(help="measurement, CSV")],
    /,
    *,
    law: str,
    hold: Annotated[tuple[str, ...], Parameter(show_default=False)] = (),
    thickness_mm: float | None = None,
    width_mm: float | None = None,
    up_to_stretch: float | None = None,
    retraction_along_percent: float | None = None,
    retraction_across_percent: float | None = None,
    starts_in_place: bool = False,
    into: Into = Path("results"),
) -> None:
    """Fit a law of elasticity to tension tests; write the skin of a case, a picture and the numbers.

    Example: flatseam fit configs/measurements/invented-skin.csv --law gasser-ogden-holzapfel --thickness-mm 2
    --retraction-along-percent 17 --retraction-across-percent 10

    Columns: stretch_along, stretch_across or strain_along_percent and so on; nominal_stress_along_kPa and so on, or
    cauchy, or in MPa; or force_along_N and so on; and test, a name for the rows of one test. Along is along the skin
    tension lines. A direction whose stretch is not given is free of stress, as the sides of a strip are.

    Parameters
    ----------
    law
        neo-hooke, ogden or gasser-ogden-holzapfel.
    hold
        A parameter that is known, as fibre_angle_deg=45, or known to lie between two values, as exponent=1:50; may be
        repeated.
    thickness_mm
        Thickness of the unloaded specimen.
    width_mm
        Its width unloaded, if forces were measured.
    up_to_stretch
        Leave out rows beyond this stretch from the unloaded state.
    retraction_along_percent
        What the skin lost of its length in place, along the lines, when it was excised: 17 if 100 mm became 83. With it
        the block has the thickness and the natural tension of skin in place, and what it carries there is printed.
    retraction_across_percent
        The same across the lines.
    starts_in_place
        Stretches in the file count from skin in place, not from the unloaded specimen, and nominal stresses are per
        section in place; stresses are whole, not above that in place.
    """
    from fem.fit.fit import fitted, save, table, warnings
    from fem.results.folder import sweep

    sweep(into)
    try:
        result = fitted(
            file, law, held=hold, thickness=thickness_mm, width=width_mm, up_to=up_to_stretch,
            retraction=(retraction_along_percent, retraction_across_percent), starts_in_place=starts_in_place,
        )  # fmt: skip
        folder = save(result, into)
    except (BadCase, OSError) as error:
        fail(f"{error}")
    except NotFitted as error:
        print(f"{file}: not fitted: {error}", file=sys.stderr)
        sys.exit(NO_CONVERGENCE)
    for line in warnings(result):
        print(f"{file}: warning: {line}", file=sys.stderr)
    print(table(result))
    print(f"  {folder / 'fit.yaml'}: the skin of a case; fit.png, fit.json")
