"""Which sensation is dominant at which moment, beyond chance, and when do two prototypes differ in that?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from panel.checks.confounds import Confounds, answer_confounds, untold_findings
from panel.errors import ModelError
from panel.models.consumers.answers import in_study_order
from panel.stats.arrays import Array
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, below
from panel.stats.curves.over_time import DRAWS, SAME, chance_line, difference_p, standardised
from panel.study.scores_used import named_rows
from panel.study.study import Study
from panel.words import typed_share

_STOP = "stop"
_GRID = np.linspace(0.0, 1.0, 101)
_WHO = ["assessor", "session", "replicate"]
_DIFFERENCES = ["attribute", "prototype", "versus", "time", "estimate", "p_adjusted", "paired", "differs"]


@dataclass(frozen=True, eq=False, slots=True)
class Dominances:
    """Dominant sensations over standardised time: 0 is the first choice, 1 the end; frames tidy and unrounded.

    Parameters
    ----------
    rates
        `prototype attribute time rate n`: share of the n evaluations in which the attribute is dominant.
    lines
        `prototype n people chance line`: evaluations and people, chance 1 / k, and the rate that chance alone passes
        anywhere, for some of all prototypes, in at most 1 - level of studies.
    periods
        `prototype attribute start end highest share_of_time`: stretches of time above the line.
    differences
        `attribute prototype versus time estimate p_adjusted paired differs`: rate of prototype minus versus and its
        p-value over all prototypes, times and sensations at once, none where the session goes wholly along with the
        pair; `paired` where the same people evaluated both.
    left_out
        `prototype assessor session replicate why`.
    attributes
        The sensations to choose from.
    untold
        What pairs cannot be told from, in words.
    """

    rates: pd.DataFrame
    lines: pd.DataFrame
    periods: pd.DataFrame
    differences: pd.DataFrame
    left_out: pd.DataFrame
    attributes: tuple[str, ...]
    untold: tuple[str, ...]
    method: str
    notes: tuple[str, ...]


def follow_dominance(study: Study, *, rng: np.random.Generator) -> Dominances:
    """Follow which sensations are dominant for each prototype of a study, beside the benchmark, else the first.

    Parameters
    ----------
    rng
        Draws the panels that chance alone would give.

    Raises
    ------
    ModelError
        If the study has no such table, or no evaluation can be read.
    """
    table = named_rows(study, "dominances")
    rows = table.loc[table["seconds"].notna() & (table["attribute"] != "")]
    if rows.empty:
        raise ModelError(
            "The study has no dominant sensations. Add the table dominances: assessor, prototype, seconds, attribute "
            "(dominant from then on), and a last row with the attribute stop."
        )
    attributes, stated = _attributes(study, rows)
    evaluations, left_out = _evaluations(rows, attributes)
    if evaluations.empty:
        raise ModelError(f"No evaluation of dominance can be read: {left_out[0]['why']}")
    prototypes = in_study_order(study.prototypes, evaluations["prototype"])
    base = study.benchmark if study.benchmark in prototypes else prototypes[0]
    if len(attributes) < 2:
        raise ModelError("Dominance needs two sensations or more to choose from.")
    people = {
        name: _by_person(evaluations.loc[evaluations["prototype"] == name], len(attributes)) for name in prototypes
    }
    confounds = answer_confounds(evaluations.assign(position=np.nan), study.prototypes)
    rates = _rates(evaluations, people, attributes)
    lines = _lines(evaluations, people, rng)
    return Dominances(
        rates=rates,
        lines=lines,
        periods=_periods(rates, lines),
        differences=_differences(people, str(base), attributes, rng, confounds),
        left_out=pd.DataFrame(left_out, columns=["prototype", *_WHO, "why"], dtype="str"),
        attributes=attributes,
        untold=tuple(finding.message for finding in untold_findings(confounds)),
        method=_method(),
        notes=tuple(_notes(evaluations, left_out, lines, stated, attributes, rates)),
    )


def _attributes(study: Study, rows: pd.DataFrame) -> tuple[tuple[str, ...], bool]:
    """Return the sensations to choose from, and whether the study lists them."""
    chosen = [str(name) for name in rows["attribute"].unique() if name != _STOP]
    listed = study.facts.get("dominance_attributes")
    if isinstance(listed, list | tuple) and listed:
        names = [str(name) for name in listed]
        return tuple(dict.fromkeys([*names, *chosen])), True
    order = [name for name in study.attributes if name in chosen]
    return tuple(dict.fromkeys([*order, *chosen])), False


def _evaluations(rows: pd.DataFrame, attributes: tuple[str, ...]) -> tuple[pd.DataFrame, list[dict[str, str]]]:
    """Return `prototype assessor session replicate dominant` (numbers on the grid), and what could not be read."""
    found: list[dict[str, Any]] = []
    left_out = []
    for key, own in rows.groupby(["prototype", *_WHO], sort=False):
        names = dict(zip(["prototype", *_WHO], map(str, key), strict=True))
        own = own.sort_values("seconds", kind="stable")
        stops = own.loc[own["attribute"] == _STOP, "seconds"]
        chosen = own.loc[own["attribute"] != _STOP]
        try:
            if stops.empty:
                raise ModelError("there is no stop, so its time cannot be standardised.")
            codes = pd.Index(attributes).get_indexer(pd.Index(chosen["attribute"]))
            found.append(names | {"dominant": standardised(chosen["seconds"], codes, float(stops.iloc[0]), _GRID)})
        except ModelError as error:
            left_out.append(names | {"why": str(error)})
    return pd.DataFrame(found), left_out


def _by_person(evaluations: pd.DataFrame, k: int) -> dict[str, Array]:
    """Return for each person (times, attributes), the share of the person's evaluations in which each is dominant."""
    found: dict[str, Array] = {}
    for who, own in evaluations.groupby("assessor", sort=False):
        dominant = np.stack(own["dominant"].to_list())
        found[str(who)] = (dominant[:, :, None] == np.arange(k)).mean(axis=0)
    return found


def _rates(
    evaluations: pd.DataFrame, people: Mapping[str, Mapping[str, Array]], attributes: tuple[str, ...]
) -> pd.DataFrame:
    """Return the mean over people of their own rates; n counts evaluations."""
    n = evaluations["prototype"].value_counts()
    parts = [
        _over_time(np.mean(list(own.values()), axis=0), attributes, "rate").assign(
            prototype=prototype, n=int(n[prototype])
        )
        for prototype, own in people.items()
    ]
    return pd.concat(parts, ignore_index=True)[["prototype", "attribute", "time", "rate", "n"]]


def _over_time(values: Array, attributes: tuple[str, ...], name: str) -> pd.DataFrame:
    """Return (times, attributes) as rows `attribute time name`."""
    return pd.DataFrame(
        {
            "attribute": np.repeat(np.array(attributes, dtype=object), len(_GRID)),
            "time": np.tile(_GRID, len(attributes)),
            name: values.T.ravel(),
        }
    )


def _lines(
    evaluations: pd.DataFrame, people: Mapping[str, Mapping[str, Array]], rng: np.random.Generator
) -> pd.DataFrame:
    n, level = evaluations["prototype"].value_counts(), 1 - (1 - LEVEL) / len(people)  # Bonferroni over prototypes
    rows = [
        (prototype, int(n[prototype]), len(own), 1 / _sensations(own), chance_line(list(own.values()), level, rng))
        for prototype, own in people.items()
    ]
    return pd.DataFrame(rows, columns=["prototype", "n", "people", "chance", "line"])


def _sensations(people: Mapping[str, Array]) -> int:
    return next(iter(people.values())).shape[1]


def _periods(rates: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """Return the stretches of time above the line."""
    bars = dict(zip(lines["prototype"], lines["line"], strict=True))
    found = []
    for (prototype, attribute), own in rates.groupby(["prototype", "attribute"], sort=False):
        rate, time = own["rate"].to_numpy(), own["time"].to_numpy()
        above = rate > bars[prototype] + SAME
        edges = np.flatnonzero(np.diff(np.r_[False, above, False].astype(int)))
        for first, after in zip(edges[::2], edges[1::2], strict=True):
            stretch = slice(first, after)
            found.append(
                (prototype, attribute, time[first], time[after - 1], rate[stretch].max(), (after - first) / len(time))
            )
    return pd.DataFrame(found, columns=["prototype", "attribute", "start", "end", "highest", "share_of_time"])


def _differences(
    people: Mapping[str, Mapping[str, Array]],
    base: str,
    attributes: tuple[str, ...],
    rng: np.random.Generator,
    confounds: Confounds,
) -> pd.DataFrame:
    """Return the differences from one prototype; paired over the people who evaluated both, if they are two or more."""
    parts = []
    for prototype, own in people.items():
        if prototype == base:
            continue
        both = [who for who in own if who in people[base]]
        paired = len(both) > 1
        ours = np.stack([own[who] for who in (both if paired else own)])
        theirs = np.stack([people[base][who] for who in (both if paired else people[base])])
        estimate, p_value = difference_p(ours, theirs, rng, paired=paired)
        told = _over_time(estimate, attributes, "estimate").assign(prototype=prototype, versus=base, paired=paired)
        lost = len(confounds.untold("", prototype, base)) > 0
        told["p_adjusted"] = np.nan if lost else np.minimum((len(people) - 1) * p_value, 1.0).T.ravel()
        parts.append(told.assign(differs=below(told["p_adjusted"])))
    return pd.concat(parts, ignore_index=True)[_DIFFERENCES] if parts else pd.DataFrame(columns=_DIFFERENCES)


def _method() -> str:
    return (
        "Time of each evaluation is standardised from its first choice (0) to its stop (1). Dominance rate: mean over "
        "people of the share of their evaluations in which a sensation is dominant at that moment. The line is what "
        f"chance alone passes for any prototype, at any time and with any sensation in {typed_share(ALPHA)} of "
        "studies: each person's sensations change names at random, the same in all of that person's evaluations of a "
        "prototype (Bonferroni over the prototypes). Differences between prototypes: "
        f"{DRAWS} permutations over people (paired where the same people evaluated both), each p-value from "
        "the largest difference over all times and sensations, times the number of prototypes compared "
        "(Bonferroni)."
    )


def _notes(
    evaluations: pd.DataFrame,
    left_out: list[dict[str, str]],
    lines: pd.DataFrame,
    stated: bool,
    attributes: tuple[str, ...],
    rates: pd.DataFrame,
) -> list[str]:
    notes = [f"{row['prototype']}, {row['assessor']}: left out, {row['why']}" for row in left_out]
    few = lines.loc[lines["line"] >= 1 - SAME, "prototype"]
    if len(few):
        notes.append(f"Too few people for anything to rise above chance: {', '.join(few)}.")
    if not stated:
        notes.append(
            f"The study does not list the sensations people could choose from; the {len(attributes)} that were chosen "
            "are taken. If more were on the list, chance is smaller. List them in the fact dominance_attributes."
        )
    never = [name for name in attributes if rates.loc[rates["attribute"] == name, "rate"].max() == 0]
    if never:
        notes.append(f"Never dominant: {', '.join(never)}.")
    if evaluations.duplicated(["prototype", "assessor"]).any():
        notes.append(
            "Some people evaluated a prototype more than once. Each person counts once, with the mean of the own "
            "evaluations."
        )
    return notes
