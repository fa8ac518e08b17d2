"""All checks, run one after the other; and what was observed on skin, of closures that are there already."""

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from fem.study import validation
from fem.study.study import addressed
from fem.study.table import row
from fem.verification import bed, closures, contact, library, material, plane, plates, sewing, shells, validity
from fem.verification.check import Check, Outcome, outcome

CHECKS: tuple[Check, ...] = (
    *material.CHECKS, *library.CHECKS, *plane.CHECKS, *plates.CHECKS, *shells.CHECKS, *sewing.CHECKS, *closures.CHECKS,
    *contact.CHECKS, *bed.CHECKS,
)  # fmt: skip
NAMES = tuple(check.name for check in CHECKS)


def outcomes(names: Sequence[str], fine: int, watch: Callable[..., None] = lambda **state: None) -> Iterable[Outcome]:
    """What comes of the checks of these names, or of all, in their order, each as it ends.

    watch   told before each what is `done`, `of` how many, and its `state`
    """
    wanted = [check for check in CHECKS if not names or check.name in names]
    for done, check in enumerate(wanted):
        watch(done=done, of=len(wanted), state=f"{done + 1} of {len(wanted)}: {check.title}")
        yield outcome(check, fine)


def observed(folder: Path, printed: Path) -> dict[str, list[validation.Line]]:
    """What was observed on skin beside the closures that `flatseam validate` keeps in a folder.

    If it lacks some, beside the tables of it that are in a text that was `printed`; empty if there is none.
    """
    rows = {case: row(folder, addressed(case).name) for case in validation.cases().values()}
    if any(of["status"] not in ("done", "failed") for of in rows.values()):
        return validity.recorded(printed.read_text(encoding="utf-8")) if printed.is_file() else {}
    return validation.table(lambda cases, **_: iter([rows[case] for case in cases]))
