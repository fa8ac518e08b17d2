"""Skins in which the designs of a search must keep their limits: the base's, some that are listed, or the worst."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.comparison.wording import sentence, sentences
from fem.results.quantities import known, magnitude
from fem.study.answers.finding import Ask, Settings, values
from fem.study.answers.naming import measured, name, settings_text
from fem.study.answers.uncertain_inputs import ranges_of, triangular
from fem.study.spread import sampled
from fem.study.sweep import Study

ROUND_OFF = 1e-6  # relative; our choice: what rises by less does not depend on the input
CHECKED = 16  # skins in which the best design for the worst is tried; our choice


@dataclass(frozen=True)
class Judge:
    """What designs are held against: the rows of a study, the limits, and the skins that must all keep them."""

    ask: Ask
    block: Any  # search.Search
    skins: tuple[Settings, ...]
    done: list[list[dict]]  # rows, one a skin, of every design judged so far, in order; grows

    def __call__(self, designs: list[Settings]) -> list[list[float]]:
        """Numbers (k, 1 + limits) of designs: the greatest goal and excess over all skins, NaN if any is not known."""
        rows, m = self.ask([design | skin for design in designs for skin in self.skins]), len(self.skins)
        tables = [rows[k : k + m] for k in range(0, len(rows), m)]
        self.done.extend(tables)
        return [self._judged(design, table) for design, table in zip(designs, tables, strict=True)]

    def _judged(self, design, rows):
        least, limits = self.block.least, self.block.limits
        goal = design[least] if least in design else _held(rows, least).max()
        excess = [(_held(rows, m) - limit).max() / (abs(limit) or 1.0) for m, limit in limits.items()]
        return [goal if np.isfinite(excess).all() else np.nan, *excess]

    def worst(self, measure: str) -> np.ndarray:
        """A measure of every design judged, as it is held to limits, in its worst skin."""
        return np.array([_held(rows, measure).max() for rows in self.done])


def _held(rows, measure):
    """A measure (n,) in rows as it is held to limits: the height of a sunk cone without its sign."""
    return magnitude(measure, values(rows, measure))


def chosen(block: Any, study: Study, ask: Ask) -> tuple[tuple[Settings, ...], tuple[str, ...]]:
    """Settings of every skin in which a design must keep the limits, and notes on them."""
    skins, lost = ({},) if block.skins == "typical" else block.skins, 0
    if block.skins == "worst":
        skins, lost = _corners(block, ask, ranges_of(study, block.middle))
    return skins, tuple(sentences("study/search", "skins", block.skins, list(map(settings_text, skins)), lost))


def _corners(block, ask, held):
    """The typical skin and a corner of the ranges for the goal and each limit, and how many trials failed."""
    ends = [(path, end) for path, range_ in held.items() for end in (range_.low, range_.high)]
    typical, *rows = ask([block.middle, *(block.middle | {path: end} for path, end in ends)])
    skins: list[Settings] = [{}]
    for measure in dict.fromkeys([*([block.least] if known(block.least) else []), *block.limits]):
        ys, start = _held(rows, measure), _held([typical], measure)[0]
        corner = {}
        for path in held:
            risen = [(y, end) for y, (p, end) in zip(ys, ends, strict=True) if p == path and np.isfinite(y)]
            if risen and (np.isnan(start) or max(risen)[0] > start + ROUND_OFF * abs(start)):
                corner[path] = max(risen)[1]
        if corner and corner not in skins:
            skins.append(corner)
    return tuple(skins), sum(row["status"] != "done" for row in rows)


def check(block: Any, study: Study, ask: Ask, best: Settings) -> list[str]:
    """Sentences on whether the best design keeps its limits in skins all over the ranges."""
    laws = {path: triangular(held) for path, held in ranges_of(study, best).items()}
    rows = ask([best | skin for skin in sampled(laws, n=CHECKED, seed=int(block.seed))])
    lines = []
    for measure, limit in block.limits.items():
        ys = _held(rows, measure)
        greatest = measured(measure, np.nanmax(ys, initial=-np.inf))
        counts = (ys <= limit).sum(), np.isnan(ys).sum()
        lines.append(sentence("study/search", "checked", CHECKED, name(measure), *counts, greatest))
    return lines
