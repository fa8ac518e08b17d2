"""The table of a study: a row a case, made from its results folder at any time; asked in SQL through duckdb."""

import json
import os
import tempfile
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

from fem.results.result import numbers
from fem.study.task import paths

Row = dict[str, Any]  # key, status, failure, reason, seconds; inputs by dotted path; measures


def row(into, key) -> Row:
    """The row of a case: key, status (done, failed or missing), failure, reason, seconds; inputs; measures."""
    folder, failed, _ = paths(into, key)
    with suppress(OSError, ValueError, KeyError):
        run = json.loads((folder / "run.json").read_text())
        measures = json.loads((folder / "measures.json").read_text())
        plain = {"key": key, "status": "done", "failure": None, "reason": None, "seconds": run["total_s"]}
        return plain | {"unknowns": run["unknowns"]} | run["inputs"] | numbers(measures)
    with suppress(OSError, ValueError, KeyError):
        told = json.loads(failed.read_text())
        plain = {name: told[name] for name in ("failure", "reason", "seconds")}
        return {"key": key, "status": "failed", **plain, **told["inputs"]}
    return {"key": key, "status": "missing", "failure": None, "reason": None, "seconds": None}


def rows(into, keys=None) -> Iterable[Row]:
    """Rows of the cases with these keys, or of all that are in the folder."""
    if keys is None:
        cases = sorted((Path(into) / "cases").glob("[!.]*"))
        keys = dict.fromkeys(path.name.removesuffix(".failed.json") for path in cases if path.suffix != ".begun")
    return (row(into, key) for key in keys)


def write_table(into, keys=None):
    """Path of study.parquet, written anew from the folders; arguments as for `rows`."""
    import duckdb

    path = Path(into) / "study.parquet"
    with tempfile.TemporaryDirectory(prefix=".study-", dir=into) as room:
        lines, columns = Path(room) / "rows.jsonl", {}
        with open(lines, "w", encoding="utf-8") as stream:
            for one in rows(into, keys):
                for name, value in one.items():
                    columns[name] = _type(value, columns.get(name))
                stream.write(json.dumps(one, allow_nan=False) + "\n")
        with duckdb.connect() as base:
            read = base.read_json(
                str(lines), columns={n: t or "VARCHAR" for n, t in columns.items()}, format="newline_delimited"
            )
            read.write_parquet(str(Path(room) / "study.parquet"))
        os.replace(Path(room) / "study.parquet", path)
    return path


def _type(value, before):
    """Type of a column that holds such a value and those before; None for one that has held nothing."""
    if value is None:
        return before
    kind = {bool: "BOOLEAN", str: "VARCHAR"}.get(type(value), "DOUBLE")
    return kind if before in (None, kind) else "VARCHAR"


def selected(table, query):
    """Names of the columns and the rows that SQL selects from the table `study`; it reaches no file.

    Raises ValueError with duckdb's words.
    """
    import duckdb

    with duckdb.connect() as base:
        base.execute("CREATE TABLE study AS SELECT * FROM read_parquet(?)", [str(table)])
        base.execute("SET enable_external_access = false")
        base.execute("SET lock_configuration = true")
        try:
            found = base.sql(query)
            return (found.columns, found.fetchall()) if found is not None else ([], [])
        except duckdb.Error as error:
            raise ValueError(str(error)) from error
