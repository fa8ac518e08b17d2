"""HTML pages: each one file that needs no network and runs nothing but its own scripts; all extend `base.html`.

The policy names every script and style sheet by its hash, so text that slipped through the escaping of jinja2 could
not run.
"""

import base64
import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from markupsafe import Markup

import fem
from fem.closure.measures.cones import TIP_ZONE
from fem.comparison.wording import environment, sentence, sentences

PAGE_STYLE = "comparison/page.css"


@dataclass(frozen=True)
class Note:
    """What others observed, which helps to read a number."""

    measure: str
    text: str
    source: str


def notes(measures: Iterable[str]) -> list[Note]:
    """The notes on some measures."""
    every = [Note(*line.split(" | ")) for line in sentences("comparison/reading", "notes")]
    return [note for note in every if note.measure in measures]


def caution() -> str:
    """What every page and sheet warns of."""
    return sentence("comparison/reading", "caution")


def rendered(
    template: str, *, title: str, styles: Sequence[str] = (PAGE_STYLE,), scripts: Sequence[str] = (), **values: Any
) -> str:
    """A page from its template, which extends `base.html`.

    styles    names of style sheets, in folders of this package
    scripts   texts
    """
    style, *scripts = (Markup(text) for text in ("".join(map(text_of, styles)), *scripts))
    return environment().get_template(template).render(
        values, title=title, policy=policy([style], scripts), style=style, scripts=scripts, version=fem.__version__,
        caution=caution(), uri=uri, left_out=sentences("comparison/reading", "left_out", TIP_ZONE),
        meanings=[line.split(": ", 1) for line in sentences("comparison/reading", "meanings")],
    )  # fmt: skip


def text_of(name: str) -> str:
    """The text of a file of this package."""
    return (files("fem") / name).read_text(encoding="utf-8")


def policy(styles: Iterable[str], scripts: Iterable[str]) -> str:
    """Content security policy that lets nothing in but these texts and pictures inside the page."""

    def hashes(texts: Iterable[str]) -> str:
        sums = (base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in texts)
        return " ".join(f"'sha256-{digest}'" for digest in sums) or "'none'"

    return (
        f"default-src 'none'; img-src data:; style-src {hashes(styles)}; script-src {hashes(scripts)}; "
        "base-uri 'none'; form-action 'none'"
    )


def uri(content: str | bytes) -> str:
    """A data: address of an SVG text or of the bytes of a WebP or PNG image."""
    kind, raw = ("svg+xml", content.encode()) if isinstance(content, str) else ("webp", content)
    kind = "png" if raw.startswith(b"\x89PNG") else kind
    return f"data:image/{kind};base64,{base64.b64encode(raw).decode()}"
