"""Cases that the page of a study shows: best designs of its searches, its own with the lowest and the highest cones."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from matplotlib import rc_context

from fem.case import physical
from fem.case.case import Case
from fem.comparison import chart, style
from fem.comparison.case_page import PAGE
from fem.comparison.html import uri
from fem.comparison.images import webp
from fem.comparison.wording import printed, sentence, told_apart
from fem.plan.plan import opened
from fem.render.canvas import HEIGHT_ENDS, SHAPE
from fem.render.plan_figure import legend
from fem.render.projection import MARGIN
from fem.results.identity import address
from fem.results.quantities import magnitude
from fem.results.result import Result, read
from fem.study.answers.finding import Finding
from fem.study.answers.naming import measured, settings_text
from fem.study.sweep import Study, case_at, points
from fem.study.task import paths

MOST = 6  # cases, each with pictures of some 100 kB; our choice
CONE = "cone_height_mm"
SHOWN = {CONE: "cone", "scar_length_mm": "scar"}


def chosen(study: Study, answers: Sequence[Finding], evaluate: Callable) -> list[tuple[str, Case]]:
    """Cases to show, and what each is: designs that a search found first, then of the study's own the ends of cones."""
    named = [(sentence("study/shared", "best", a.title, settings_text(a.best)), a.best) for a in answers if a.best]
    if (own := points(study)) != [{}]:
        rows = list(evaluate([case_at(study, settings) for settings in own]))
        known = [
            (magnitude(CONE, printed(CONE, row[CONE])), k) for k, row in enumerate(rows) if row.get(CONE) is not None
        ]
        for which, end in {"lowest": min, "highest": max}.items() if known else ():
            height, k = end(known)
            ties = sum(other == height for other, _ in known)
            named.append((sentence("study/shared", "own", which, settings_text(own[k]), ties), own[k]))
    cases: dict[str, tuple[str, Case]] = {}
    for words, settings in named[:MOST]:
        case = case_at(study, settings)
        before = cases.get(address(case), ("", case))[0]
        cases[address(case)] = "; ".join(filter(None, [before, words])), case
    return list(cases.values())


def pictured(named: Sequence[tuple[str, Case]], evaluate: Callable, into: Path) -> dict[str, Any]:
    """What the page shows of cases (words, case): plans, and what of their closed skin lies in the study's folder.

    They are closed once more if their pictures were not kept.
    """
    if not named:
        return {"shown": []}
    cases = [case for _, case in named]
    rows: list[Any] = list(evaluate(cases, keep="pictures"))
    results = [_result(into, case) for case in cases]
    there = [result for result in results if result]
    half_width = max([_half_width(case) for case in cases] + [r.stages.half_width for r in there])
    with rc_context(style.STYLE):
        plans = [style.svg(chart.plan_of(case, half_width)) for case in cases]
        scale = style.svg(chart.colour_scale("height", HEIGHT_ENDS))
    images = chart.height_images(there, chart.common_ranges(there)) if there else []
    skins = iter([(uri(webp(image)), image.shape[1::-1]) for image in images])
    shown = [
        {
            "words": words,
            "plan": uri(plan),
            "skin": next(skins) if result else None,
            "numbers": ", ".join(
                f"{word} {measured(m, row[m])}" for m, word in SHOWN.items() if row.get(m) is not None
            ),
            "reason": row.get("reason") or "",
            "page": _page(into, case),
        }
        for (words, case), plan, result, row in zip(named, plans, results, rows, strict=True)
    ]
    return {"shown": shown, "plan_key": legend(cases), "scale": uri(scale), "wide": 2 * half_width}


def pages(study: Study, into: Path) -> list[tuple[str, str]]:
    """What each of the study's own cases is, and the address of its page from that of the study, if it was kept."""
    if study.keys.keep != "pictures":
        return []
    own = points(study)
    words = told_apart(own, settings_text, digits=4)
    found = ((word, _page(into, case_at(study, settings))) for word, settings in zip(words, own, strict=True))
    return [(word, page) for word, page in found if page]


def _half_width(case):
    """Half-width in mm of a view of a case's plan, about the middle of what is cut."""
    plan = physical.plan(case)
    reach = np.ptp(np.reshape(shapely.union_all([opened(plan), plan.undermined]).bounds, (2, 2)), axis=0) / 2
    return float(MARGIN * max(reach[0], reach[1] / SHAPE))


def _result(into, case) -> Result | None:
    """The result of a case if its skin was kept."""
    folder = paths(into, address(case))[0]
    try:
        return read(folder, case.model_copy(update={"name": folder.name}))
    except (OSError, ValueError):
        return None


def _page(into, case):
    """Address of a case's page from that of its study, or None."""
    page = paths(into, address(case))[0] / PAGE
    return page.relative_to(into).as_posix() if page.is_file() else None
