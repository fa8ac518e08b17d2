"""Checks run with a bar on a terminal, their table printed, their book written."""

from collections.abc import Sequence
from pathlib import Path

from fem.cli import printing, progress
from fem.cli.files import fail, known

FAILED = 1  # the exit code
SOURCE = Path("tests", "VERIFICATION.md")  # of the source tree, written by all checks at full resolution
MEASURED = SOURCE.with_name("MEASURED.md")  # has what `flatseam validate` printed last


def verified(names: Sequence[str], *, quick: bool, into: Path) -> int:
    """Exit code of the checks of these names, or of all."""
    from fem.verification import book, page
    from fem.verification.check import FULL, QUICK

    known("verify", names, book.NAMES)
    fine = QUICK if quick else FULL
    progress.first_time("verify")
    with progress.bar("verify", seldom=0.0) as update:
        done = list(book.outcomes(names, fine, update))
    printing.print_table(page.HEADINGS, map(page.summary, done), justify="right")
    if names:
        for outcome in done:
            print(f"\n{outcome.check.title}. {outcome.check.problem}\n")
            printing.print_table(page.COLUMNS, page.lines(outcome), justify="right")
        return _code(done)
    try:
        table = book.observed(into / "validation", MEASURED)
        written = [into / ("verification-quick.html" if quick else "verification.html")]
        page.write(page.html(done, fine, table), written[0])
        if not quick and SOURCE.is_file():
            written.append(SOURCE)
            page.write(page.markdown(done, fine, table), SOURCE)
    except OSError as error:
        fail(f"flatseam verify: {error}")
    print(page.result(done, fine), *written, sep="\n")
    return _code(done)


def _code(done):
    return 0 if all(outcome.good for outcome in done) else FAILED
