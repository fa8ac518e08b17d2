"""The table of a study: a row a case, made from its results folder at any time; asked in SQL through duckdb."""

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from fem.results import accuracy, identity
from fem.results.folder import whole_files
from fem.results.quantities import error_name, numbers, tabled
from fem.study.task import paths

Row = dict[str, Any]  # key, status, failure, reason, seconds; inputs by dotted path; measures


def row(into: Path | str, key: str) -> Row:
    """The row of a case: key, status, failure, reason, seconds; inputs; measures; their errors if they are there.

    status   done, failed, or that of a folder without a result: missing, out of date, damaged
    """
    folder, failed, _ = paths(into, key)
    state = identity.state(folder, keep="measures")
    if state.complete:
        run, measures = (json.loads((folder / name).read_text()) for name in ("run.json", "measures.json"))
        plain = {"key": key, "status": "done", "failure": None, "reason": None, "seconds": run["total_s"]}
        errors = {error_name(name): error.total for name, error in accuracy.read(folder).errors.items()}
        return plain | {"unknowns": run["unknowns"]} | run["inputs"] | numbers(measures) | errors
    if (note := identity.failure(failed)) and {"failure", "reason", "seconds", "inputs"} <= note.keys():
        plain = {name: note[name] for name in ("failure", "reason", "seconds")}
        return {"key": key, "status": "failed", **plain, **note["inputs"]}
    return {"key": key, "status": str(state.kind), "failure": None, "reason": state.reason or None, "seconds": None}


def rows(into: Path | str, keys: Iterable[str] | None = None) -> Iterable[Row]:
    """Rows of the cases with these keys, or of all that are in the folder."""
    if keys is None:
        cases = sorted((Path(into) / "cases").glob("[!.]*"))
        keys = dict.fromkeys(path.name.removesuffix(".failed.json") for path in cases if path.suffix != ".begun")
    return (row(into, key) for key in keys)


def write_table(into: Path | str, keys: Iterable[str] | None = None) -> Path:
    """Path of study.parquet, written anew from the folders, with study.csv beside it; arguments as for `rows`.

    Numbers are as `quantities.tabled`.
    """
    import duckdb

    path = Path(into) / "study.parquet"
    with whole_files(path, path.with_suffix(".csv"), failure=duckdb.IOException) as (draft, csv):
        lines, columns = draft.with_suffix(".jsonl"), dict[str, str | None]()
        with open(lines, "w", encoding="utf-8") as stream:
            for full in rows(into, keys):
                case = {name: tabled(name, value) for name, value in full.items()}
                for name, value in case.items():
                    columns[name] = _type(value, columns.get(name))
                stream.write(json.dumps(case, allow_nan=False) + "\n")
        with duckdb.connect() as base:
            read = base.read_json(
                str(lines), columns={n: t or "VARCHAR" for n, t in columns.items()}, format="newline_delimited"
            )
            read.write_parquet(str(draft))
            read.write_csv(str(csv))
    return path


def outdated(into: Path | str) -> int:
    """How many results in the folder were computed by another solver; no case of today has their addresses."""
    return sum(case["status"] == identity.Kind.OUT_OF_DATE for case in rows(into))


def _type(value, before):
    """Type of a column that holds such a value and those before; None for one that has held nothing."""
    if value is None:
        return before
    kind = {bool: "BOOLEAN", str: "VARCHAR"}.get(type(value), "DOUBLE")
    return kind if before in (None, kind) else "VARCHAR"


def selected(table: Path, query: str) -> tuple[list[str], list[tuple]]:
    """Columns and rows that one SQL select finds in the table `study`; it reaches no file. Raises ValueError."""
    import duckdb

    with duckdb.connect() as base:
        base.execute("CREATE TABLE study AS SELECT * FROM read_parquet(?)", [str(table)])
        base.execute("SET enable_external_access = false")
        base.execute("SET lock_configuration = true")
        try:
            if [statement.type for statement in base.extract_statements(query)] != [duckdb.StatementType.SELECT]:
                raise ValueError("this reads only; wanted one select, as: select key, cone_height_mm from study")
            answer = base.sql(query)
            return answer.columns, answer.fetchall()
        except duckdb.Error as error:
            raise ValueError(str(error)) from error
