"""Which sensation is dominant at which moment, beyond chance, and when do two prototypes differ in that?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.stats.answers.dominance import significance_line, standardised
from panel.stats.answers.mcnemar import mcnemar_exact
from panel.stats.comparing.planned_looks import same_share_p
from panel.study.named_rows import named_rows
from panel.study.study import Study

STOP = "stop"
GRID = np.linspace(0.0, 1.0, 101)
_WHO = ["assessor", "session", "replicate"]
_DIFFERENCES = ["attribute", "prototype", "versus", "time", "estimate", "p_value", "paired"]
_PERIODS = ["prototype", "attribute", "start", "end", "highest", "share_of_time"]


@dataclass(frozen=True, eq=False, slots=True)
class Dominances:
    """Dominant sensations over standardised time: 0 is the first choice, 1 the end; frames tidy and unrounded.

    Parameters
    ----------
    rates
        `prototype attribute time rate n`: share of the n evaluations in which the attribute is dominant.
    lines
        `prototype n chance line exact`: chance 1 / k, the share that lies above it at the level, and whether that is
        the exact binomial count (few evaluations) instead of the normal formula.
    periods
        `prototype attribute start end highest share_of_time`: stretches of time above the line.
    differences
        `attribute prototype versus time estimate p_value paired`: rate of prototype minus versus and its exact p-value
        at that moment alone; McNemar's test where the same evaluations can be paired, else Fisher's.
    left_out
        `prototype assessor session replicate why`.
    attributes
        The sensations to choose from; `stated` says whether the study lists them (fact `dominance_attributes`).
    """

    rates: pd.DataFrame
    lines: pd.DataFrame
    periods: pd.DataFrame
    differences: pd.DataFrame
    left_out: pd.DataFrame
    attributes: tuple[str, ...]
    stated: bool
    level: float
    method: str
    notes: tuple[str, ...]


def follow_dominance(study: Study, *, level: float = 0.95, versus: str | None = None) -> Dominances:
    """Follow which sensations are dominant for each prototype of a study.

    Parameters
    ----------
    versus
        Prototype the others are compared with; by default the benchmark, else the first.

    Raises
    ------
    ModelError
        If the study has no such table, no evaluation can be read, or `versus` is not among the prototypes.
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
    prototypes = list(study.in_order(evaluations["prototype"]))
    base = versus or (study.benchmark if study.benchmark in prototypes else prototypes[0])
    if base not in prototypes:
        raise ModelError(f"{base} has no dominance evaluations. Choose among {', '.join(prototypes)}.")
    rates = _rates(evaluations, prototypes, attributes)
    lines = _lines(evaluations, prototypes, len(attributes), level)
    return Dominances(
        rates=rates,
        lines=lines,
        periods=_periods(rates, lines),
        differences=_differences(evaluations, prototypes, str(base), attributes),
        left_out=pd.DataFrame(left_out, columns=["prototype", *_WHO, "why"], dtype="str"),
        attributes=attributes,
        stated=stated,
        level=level,
        method=_method(level),
        notes=tuple(_notes(evaluations, left_out, lines, stated, attributes, rates)),
    )


def _attributes(study: Study, rows: pd.DataFrame) -> tuple[tuple[str, ...], bool]:
    """Return the sensations to choose from, and whether the study lists them."""
    chosen = [str(name) for name in rows["attribute"].unique() if name != STOP]
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
        stops = own.loc[own["attribute"] == STOP, "seconds"]
        chosen = own.loc[own["attribute"] != STOP]
        try:
            if stops.empty:
                raise ModelError("there is no stop, so its time cannot be standardised.")
            codes = pd.Index(attributes).get_indexer(pd.Index(chosen["attribute"]))
            found.append(names | {"dominant": standardised(chosen["seconds"], codes, float(stops.iloc[0]), GRID)})
        except ModelError as error:
            left_out.append(names | {"why": str(error)})
    return pd.DataFrame(found), left_out


def _held(evaluations: pd.DataFrame, k: int) -> np.ndarray:
    """Return (evaluations, attributes, times), whether the attribute is dominant."""
    dominant = np.stack(evaluations["dominant"].to_list())
    return np.asarray(dominant[:, None, :] == np.arange(k)[:, None])


def _rates(evaluations: pd.DataFrame, prototypes: list[str], attributes: tuple[str, ...]) -> pd.DataFrame:
    parts = []
    for prototype in prototypes:
        held = _held(evaluations.loc[evaluations["prototype"] == prototype], len(attributes))
        parts.append(
            pd.DataFrame(
                {
                    "prototype": prototype,
                    "attribute": np.repeat(np.array(attributes, dtype=object), len(GRID)),
                    "time": np.tile(GRID, len(attributes)),
                    "rate": held.mean(axis=0).ravel(),
                    "n": len(held),
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _lines(evaluations: pd.DataFrame, prototypes: list[str], k: int, level: float) -> pd.DataFrame:
    n = evaluations["prototype"].value_counts().loc[prototypes].to_numpy()
    if k < 2:
        raise ModelError("Dominance needs two sensations or more to choose from.")
    line, exact = significance_line(n, k, level)
    return pd.DataFrame({"prototype": prototypes, "n": n, "chance": 1 / k, "line": line, "exact": exact})


def _periods(rates: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """Return the stretches of time above the line; at it counts where the line is an exact count."""
    bars = {row["prototype"]: (float(row["line"]), bool(row["exact"])) for row in lines.to_dict("records")}
    found = []
    for (prototype, attribute), own in rates.groupby(["prototype", "attribute"], sort=False):
        bar, exact = bars[prototype]
        rate, time = own["rate"].to_numpy(), own["time"].to_numpy()
        above = np.asarray(rate >= bar - 1e-12 if exact else rate > bar)
        edges = np.flatnonzero(np.diff(np.r_[False, above, False].astype(int)))
        for first, after in zip(edges[::2], edges[1::2], strict=True):
            stretch = slice(first, after)
            found.append(
                (prototype, attribute, time[first], time[after - 1], rate[stretch].max(), (after - first) / len(time))
            )
    return pd.DataFrame(found, columns=_PERIODS)


def _differences(
    evaluations: pd.DataFrame, prototypes: list[str], base: str, attributes: tuple[str, ...]
) -> pd.DataFrame:
    parts = []
    second = evaluations.loc[evaluations["prototype"] == base].set_index(_WHO)
    for prototype in prototypes:
        if prototype == base:
            continue
        first = evaluations.loc[evaluations["prototype"] == prototype].set_index(_WHO)
        paired = first.index.is_unique and second.index.is_unique and set(first.index) == set(second.index)
        ours = _held(first, len(attributes))
        theirs = _held(second.loc[first.index] if paired else second, len(attributes))
        p_value = _paired_p(ours, theirs) if paired else _fisher_p(ours, theirs)
        parts.append(
            pd.DataFrame(
                {
                    "attribute": np.repeat(np.array(attributes, dtype=object), len(GRID)),
                    "prototype": prototype,
                    "versus": base,
                    "time": np.tile(GRID, len(attributes)),
                    "estimate": (ours.mean(axis=0) - theirs.mean(axis=0)).ravel(),
                    "p_value": p_value.ravel(),
                    "paired": paired,
                }
            )
        )
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=_DIFFERENCES)


def _paired_p(ours: np.ndarray, theirs: np.ndarray) -> np.ndarray:
    return mcnemar_exact((ours & ~theirs).sum(axis=0), (~ours & theirs).sum(axis=0))


def _fisher_p(ours: np.ndarray, theirs: np.ndarray) -> np.ndarray:
    """Return Fisher's p-values; each table is worked out once."""
    counts = np.stack([ours.sum(axis=0), theirs.sum(axis=0)], axis=-1)
    distinct, place = np.unique(counts.reshape(-1, 2), axis=0, return_inverse=True)
    n = (len(ours), len(theirs))
    p_values = [same_share_p((a, b), n)[0] for a, b in distinct]
    return np.array(p_values)[place.reshape(-1)].reshape(counts.shape[:2])


def _method(level: float) -> str:
    return (
        "Time of each evaluation is standardised from its first choice (0) to its stop (1). Dominance rate: share of "
        "the evaluations in which a sensation is dominant at that moment. Chance is 1 over the number of sensations; "
        f"the line is the share above chance at {100 * (1 - level):g} %, one-sided: normal formula where "
        "n P0 (1 - P0) exceeds 5, else the exact binomial count. Differences between prototypes: exact tests at each "
        "moment by itself (McNemar's for the same evaluations, else Fisher's), not adjusted over the moments."
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
    if lines["exact"].any():
        notes.append("With so few evaluations the normal formula for the line does not hold; the exact count is used.")
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
            "Some people evaluated a prototype more than once. Their evaluations go together, so the line and the "
            "differences are somewhat too easy to pass."
        )
    return notes
