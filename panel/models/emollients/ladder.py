"""How far can differences be traced to the formulas? Step by step, and no further than the data carry."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.models.emollients.descriptors import BlendDescriptors, descriptor_words, find_descriptors, listed_descriptors
from panel.models.emollients.prediction_model import (
    LinkColumns,
    PredictionModel,
    PrototypeLevel,
    link_columns,
    mixture_links,
    model_of,
    predict_from_descriptors,
    prototype_level,
    swap_effects,
)
from panel.models.emollients.swaps import TracedSwaps, swap_verdicts, trace_swaps
from panel.models.prototypes.differences import Differences, find_differences
from panel.models.prototypes.verdict import why_not_apart, with_deciding
from panel.stats.arrays import Array
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, below, benjamini_hochberg, holm
from panel.stats.formulas.composition import independent_moves
from panel.stats.maps.links import name_drivers, needed_correlation, p_over_moves, single_links
from panel.study.formulas import SAME_AMOUNT, expected_directions
from panel.study.study import Study

_DRAWS = 1000


@dataclass(frozen=True, eq=False, slots=True)
class Ladder:
    """What the data say about the formulas, step by step.

    Parameters
    ----------
    steps
        Numbers of each step: moves, swaps (assessors as the units), swaps (prototypes as the units), aliases, one
        descriptor at a time, all descriptors at once, mixture model, reliability ceiling. A step that cannot be taken
        has none.
    stopped
        Why each step cannot be taken; empty where it can.
    verdicts
        `attribute verdict driver swaps doubtful running along`; see `panel.models.emollients.ladder`.
    named, facts
        Of the step `descriptors`: `attribute descriptor` that may be named, and one row of what such links take; see
        `_find_links`.
    copies
        Descriptors left out because they are copies of another in these blends.
    """

    steps: Mapping[str, pd.DataFrame]
    stopped: Mapping[str, str]
    verdicts: pd.DataFrame
    named: pd.DataFrame
    facts: pd.DataFrame
    copies: dict[str, str]
    method: str
    notes: tuple[str, ...]

    def standing_out(self, name: str) -> tuple[int, int]:
        """Return how many rows of a step stand out after adjusting, and of how many."""
        numbers = self.steps[name]
        return int(below(numbers["p_adjusted"]).sum()), len(numbers)

    def mixture_models(self) -> pd.DataFrame:
        """Return `model describes misses asked`: on how many attributes each describes the blends, and misses some."""
        rows = [
            (
                str(model),
                int((below(part["p_value"]) & (part["q2"] > 0)).sum()),
                int(below(part["lack_p"]).sum()),
                len(part),
            )
            for model, part in self.steps["mixture"].groupby("model", sort=False)
        ]
        return pd.DataFrame(rows, columns=["model", "describes", "misses", "asked"])

    @property
    def prediction(self) -> pd.DataFrame:
        """The numbers of the step that predicts from all descriptors, without rows where it was not taken."""
        return self.steps["prediction"]


def find_ladder(
    study: Study,
    *,
    rng: np.random.Generator,
    draws: int = _DRAWS,
    differences: Differences | None = None,
    traced: TracedSwaps | None = None,
) -> Ladder:
    """Climb the ladder as far as the data of `study` carry.

    Parameters
    ----------
    rng
        Source of the orders of the prototypes that the predictions are held against.
    draws
        How many such orders; all of them where they are no more than that.
    differences, traced
        Answers that are at hand already.

    Raises
    ------
    ModelError
        If there are no scores or fewer than two different blends of one base.
    """
    told = find_differences(study) if differences is None else differences
    swaps = trace_swaps(study) if traced is None else traced
    blends = prototype_level(study, told)
    descriptors = find_descriptors(study)
    columns = link_columns(blends, descriptors)
    model, why_no_model = _model(study, blends)
    not_apart = why_not_apart(told.attributes)
    made = None
    if model is not None:
        effects = with_deciding(swap_effects(model), benjamini_hochberg)
        made = swap_verdicts(effects, swaps.confounds, not_apart)
        if made.empty:
            made, why_no_model = None, "the blends hold no swap whose effect could be told apart"
    why_no_links = _too_little(blends, columns, _FEWEST_FOR_LINKS, "set an attribute against a property")
    links, running, named, facts = (pd.DataFrame(),) * 4 if why_no_links else _find_links(blends, columns)
    predicted, why_no_prediction = _prediction(blends, columns, model, draws, rng)
    no_pair = "" if len(swaps.swaps) else "no two prototypes differ by exactly one emollient swap"
    steps = {
        "moves": (swaps.moves, ""),
        "swaps": (swaps.swaps, no_pair),
        "prototypes": (pd.DataFrame() if made is None else made, why_no_model),
        "aliases": (swaps.aliases, ""),
        "descriptors": (links, why_no_links),
        "prediction": (predicted, why_no_prediction),
        "mixture": mixture_links(blends),
        "ceiling": (blends.ceiling.rename("ceiling").rename_axis("attribute").reset_index(), ""),
    }
    return Ladder(
        steps={name: numbers for name, (numbers, _) in steps.items()},
        stopped={name: why for name, (_, why) in steps.items()},
        verdicts=attribute_verdicts(blends, swaps.swaps, made, named, running),
        named=named,
        facts=facts,
        copies=columns.copies,
        method=_method(swaps, draws),
        notes=(*blends.notes, *_notes(blends, columns, descriptors), *swaps.notes),
    )


def _model(study: Study, blends: PrototypeLevel) -> tuple[PredictionModel | None, str]:
    try:
        return model_of(study, blends), ""
    except ModelError as error:
        return None, str(error).rstrip(".")


def _prediction(
    blends: PrototypeLevel, columns: LinkColumns, model: PredictionModel | None, draws: int, rng: np.random.Generator
) -> tuple[pd.DataFrame, str]:
    purpose = "predict left-out ones from several properties"
    if why := _too_little(blends, columns, _FEWEST_FOR_PREDICTION, purpose):
        return pd.DataFrame(), why
    return predict_from_descriptors(blends, columns, model, draws, rng), ""


def _too_little(blends: PrototypeLevel, columns: LinkColumns, fewest: int, purpose: str) -> str:
    if (n := len(blends.means)) < fewest:
        return f"{n} blends are too few to {purpose}; at least {fewest} are needed"
    if not columns.is_descriptor.any():
        return "no property of these blends is known well enough and differs between them"
    return ""


def _method(swaps: TracedSwaps, draws: int) -> str:
    return (
        f"{swaps.method} With prototypes as the units: least squares of the panel means on the swaps, p-values "
        "adjusted by Benjamini and Hochberg over attributes x swaps. One descriptor at a time: Pearson's correlation "
        "of the panel means over the blends, p-values adjusted by Holm over attributes x descriptors. A property is "
        "named only if its direction was said beforehand; it stands out over as many rows as the blends differ in "
        "independent ways and one more, adjusted by Holm over all pairs said beforehand; no other property or "
        "emollient explains the attribute as well (Williams' test); it moves with no other; and its slope keeps its "
        "sign without any one blend. All descriptors at once: partial least squares with one or two components, "
        f"standardised anew without the left-out prototype; its Q2 is held against {draws} other orders of the "
        "prototypes. Reliability ceiling: 1 - 1/F of the prototypes."
    )


def _notes(blends: PrototypeLevel, columns: LinkColumns, descriptors: BlendDescriptors) -> Iterator[str]:
    if columns.copies:
        told = "; ".join(
            f"{descriptor_words(copy)} is {descriptor_words(first)}" for copy, first in columns.copies.items()
        )
        yield f"The same property in these blends, so counted once: {told}."
    weak = [name for name in descriptors.wide.columns if name not in descriptors.sound]
    if weak:
        yield f"Known for too little of the mass to be set against attributes: {listed_descriptors(weak)}."
    if not blends.same_total:
        yield "The emollient total differs between the prototypes; richness and kind of emollient change together."


# One descriptor at a time: does an attribute go with a property of the blend, and may that property be named?


_FEWEST_FOR_LINKS, _FEWEST_FOR_PREDICTION = 5, 6
# Adjusted p-value below which the prototypes count as told apart on an attribute.
_DIFFERS = 0.05


def _find_links(
    level: PrototypeLevel, columns: LinkColumns
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Set every attribute against every column; at least five blends are needed.

    Returns
    -------
    links
        `attribute descriptor r slope std_error df p_value p_adjusted slope_low slope_high aliased expected agrees
        p_named`: correlation and slope over the blends, the range of the slope when each blend in turn is left out,
        Holm's adjustment over all of them; `expected` +1, -1 or 0 (nothing said beforehand), `agrees` 1, 0 or NaN.
        `p_named` holds the correlation to as many rows as the blends differ in independent ways, and one more; it is
        adjusted over the pairs with a direction said beforehand that could be named, NaN for the others.
    running
        `attribute descriptor kind`: for attributes where a descriptor stands out, all columns that explain it as well.
    named
        `attribute descriptor`: said beforehand, the only one in the running, free of aliases and steady.
    facts
        One row: `n moves descriptors questions beforehand r_needed r_to_name r_by_chance by_chance below_5_percent`;
        `r_to_name` is what a single pair would have to reach, given the moves; `by_chance` is how many of the questions
        would show p < 0.05 if nothing went with anything.
    """
    Y = level.means.to_numpy(dtype=float)
    found = single_links(columns.values, Y)
    n, own = len(Y), columns.is_descriptor
    adjusted = np.full(found["r"].shape, np.nan)
    adjusted[own] = holm(found["p_value"][own])
    attributes = [str(name) for name in level.means.columns]
    expected = _expected(columns.names, attributes)
    differs = (level.error["p_adjusted"] < _DIFFERS).to_numpy()
    moves = independent_moves(level.amounts.to_numpy(dtype=float), SAME_AMOUNT)
    asked = (expected != 0) & (columns.is_descriptor & ~columns.aliased)[:, None]
    p_named = holm(np.where(asked, p_over_moves(found["r"], moves), np.nan))
    refused = _refused(columns, found, expected, differs)
    between = np.corrcoef(columns.values, rowvar=False).reshape(len(columns.names), -1)
    with np.errstate(invalid="ignore"):
        possible = below(found["p_value"])
    best, in_running = name_drivers(
        found["r"], adjusted, p_named, between, moves, candidate=own, possible=possible, refused=refused
    )
    named = [(a, columns.names[k]) for a, k in zip(attributes, best, strict=True) if k >= 0]
    return (
        _link_frame(columns, found, adjusted, p_named, expected, attributes),
        _running(columns, in_running, attributes),
        pd.DataFrame(named, columns=["attribute", "descriptor"], dtype="str"),
        _facts(found["p_value"][own], (n, moves), int(own.sum()), int(np.isfinite(p_named).sum())),
    )


def _refused(
    columns: LinkColumns, found: dict[str, Array], expected: NDArray[np.int64], differs: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Return where a name would be wrong: aliases, a slope that hangs on one blend, unexpected, no difference."""
    steady = np.sign(found["slope_low"]) == np.sign(found["slope_high"])
    as_said = (expected != 0) & (np.sign(found["r"]) == expected)
    return columns.aliased[:, None] | ~steady | ~as_said | ~differs[None]


def _expected(names: tuple[str, ...], attributes: list[str]) -> NDArray[np.int64]:
    """Return +1, -1 or 0 for each column and attribute, as said beforehand."""
    table = expected_directions().set_index(["descriptor", "attribute"])["sign"]
    return np.array([[table.get((name, attribute), 0) for attribute in attributes] for name in names], dtype=np.int64)


def _link_frame(
    columns: LinkColumns,
    found: dict[str, Array],
    adjusted: Array,
    p_named: Array,
    expected: NDArray[np.int64],
    attributes: list[str],
) -> pd.DataFrame:
    own = columns.is_descriptor
    names = [name for name, is_own in zip(columns.names, own, strict=True) if is_own]
    agrees = np.where(expected == 0, np.nan, (np.sign(found["r"]) == expected).astype(float))
    numbers = {
        name: values[own].T.ravel()
        for name, values in {
            **{name: found[name] for name in ("r", "slope", "std_error", "p_value")},
            "p_adjusted": adjusted,
            **{name: found[name] for name in ("slope_low", "slope_high")},
            "expected": expected,
            "agrees": agrees,
            "p_named": p_named,
        }.items()
    }
    return pd.DataFrame(
        {
            "attribute": pd.Series(np.repeat(attributes, len(names)), dtype="str"),
            "descriptor": pd.Series(names * len(attributes), dtype="str"),
            "df": len(columns.values) - 2,
            "aliased": np.tile(columns.aliased[own], len(attributes)),
            **numbers,
        }
    )


def _running(columns: LinkColumns, in_running: NDArray[np.bool_], attributes: list[str]) -> pd.DataFrame:
    rows = [
        (attribute, columns.names[column], "descriptor" if columns.is_descriptor[column] else "emollient")
        for response, attribute in enumerate(attributes)
        for column in np.flatnonzero(in_running[:, response])
    ]
    return pd.DataFrame(rows, columns=["attribute", "descriptor", "kind"], dtype="str")


def _facts(p: Array, size: tuple[int, int], descriptors: int, beforehand: int) -> pd.DataFrame:
    asked, (n, moves) = int(np.isfinite(p).sum()), size
    return pd.DataFrame(
        {
            "n": [n],
            "moves": [moves],
            "descriptors": [descriptors],
            "questions": [asked],
            "beforehand": [beforehand],
            "r_needed": [float(needed_correlation(n, LEVEL))],
            "r_to_name": [float(needed_correlation(moves + 1, LEVEL)) if moves > 1 else float("nan")],
            # the best of so many of pure noise is larger in half of all studies
            "r_by_chance": [float(needed_correlation(n, 0.5 ** (1 / descriptors))) if descriptors else float("nan")],
            "by_chance": [ALPHA * asked],
            "below_5_percent": [int((p < _DIFFERS).sum())],
        }
    )


# Attribute by attribute: how far up the ladder does the evidence reach, and may anything be named?


JOIN = "; "
WITH = " | "  # between a swap and what it cannot be told from


def attribute_verdicts(
    level: PrototypeLevel, judged: pd.DataFrame, made: pd.DataFrame | None, named: pd.DataFrame, running: pd.DataFrame
) -> pd.DataFrame:
    """Return `attribute verdict driver swaps doubtful running along`, one row per attribute.

    Verdicts: `driver`, a property may be named; `swaps`, these swaps did it, also judged from prototype to prototype;
    `assessors`, the assessors agree on these swaps, another batch might not; `along`, what stands out goes wholly along
    with something else, such as the making day; `unclear`, prototypes differ and no swap stands out; `alike`, the
    prototypes are not told apart.

    Parameters
    ----------
    judged
        Swap effects with assessors as the units: `attribute swap seen goes_along`; without rows where no two
        prototypes form a matched pair.
    made
        Swap effects with prototypes as the units: the same columns; None where there are too few.
    named, running
        As by `_find_links`; empty where there are too few prototypes.

    `swaps` are seen both ways (or by the prototypes alone where there are no pairs), `doubtful` by the assessors only;
    `along` are swaps that stand out and cannot be told from something else, with what that is; they are never among
    the others. `running` are the columns that explain the attribute equally well. Names are joined by "; ".
    """
    by_assessors, beside = _seen(judged)
    drivers, explaining = (_by_attribute(rows, "descriptor") for rows in (named, running))
    by_prototypes, beside_too = _seen(made) if made is not None else ({}, {})
    rows = []
    for attribute, p_adjusted in level.error["p_adjusted"].items():
        name = str(attribute)
        heard, repeated = by_assessors.get(name, []), by_prototypes.get(name, [])
        swaps = [swap for swap in repeated if judged.empty or swap in heard]
        doubtful = [swap for swap in heard if swap not in swaps]
        driver = next(iter(drivers.get(name, [])), "")
        along = list(dict.fromkeys([*beside.get(name, []), *beside_too.get(name, [])]))
        reached = {"driver": driver, "swaps": swaps, "assessors": doubtful, "along": along}
        reached["unclear"] = "differs" if below(p_adjusted) else ""
        verdict = next((word for word, there in reached.items() if there), "alike")
        joined = [JOIN.join(each) for each in (swaps, doubtful, explaining.get(name, []), along)]
        rows.append((name, verdict, driver, *joined))
    columns = ["attribute", "verdict", "driver", "swaps", "doubtful", "running", "along"]
    return pd.DataFrame(rows, columns=columns, dtype="str")


def _seen(effects: pd.DataFrame) -> tuple[dict[str, list[str]], dict[str, list[str]]]:
    """Return by attribute the swaps that stand out, and those that do but cannot be told from something else."""
    seen = effects.loc[effects["seen"].astype(bool)]
    if "goes_along" not in seen:
        seen = seen.assign(goes_along="")
    alone, along = seen.loc[seen["goes_along"] == ""], seen.loc[seen["goes_along"] != ""]
    named = [f"{swap}{WITH}{factor}" for swap, factor in zip(along["swap"], along["goes_along"], strict=True)]
    along = along.assign(swap=pd.Series(named, index=along.index, dtype="str"))
    return _by_attribute(alone), _by_attribute(along)


def _by_attribute(rows: pd.DataFrame, column: str = "swap") -> dict[str, list[str]]:
    if rows.empty:
        return {}
    return {str(name): list(part[column]) for name, part in rows.groupby("attribute", sort=False)}
