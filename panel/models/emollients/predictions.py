"""Predictions written down before the prototype was tested, and what came of them: the tool's own record."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit

from panel.errors import ModelError, StudyError
from panel.models.emollients.prediction_model import PredictionModel
from panel.models.prototypes.differences import Differences, find_differences
from panel.stats.arrays import Array
from panel.stats.comparing.multiplicity import LEVEL
from panel.stats.formulas.composition import hull_place
from panel.stats.formulas.mixtures import predict_rows
from panel.study.formulas import FLOAT_SLACK, SAME_AMOUNT, canonical_ingredient
from panel.study.study import Study

_FACT = "predictions"
IN, LIKELY_IN, LIKELY_OUT, OUT = "in", "likely in", "likely out", "out"
_NUMBERS = ("estimate", "std_error", "df", "ci_low", "ci_high", "base")


@dataclass(frozen=True, eq=False, slots=True)
class PredictionRecord:
    """What came of the predictions of a study.

    Parameters
    ----------
    outcomes
        `prototype attribute estimate ci_low ci_high outcome error error_from_base within`: `error` is outcome minus
        prediction, `error_from_base` the same for the difference from the base (free of a drift of the panel's level),
        `within` whether the outcome lies in the interval.
    summary
        `prototype n within share level`, and a last row for all together (prototype empty).
    waiting
        Predicted prototypes that have no scores yet.
    notes
        Predictions that do not count, and why.
    method
        How they are held against what came.
    """

    outcomes: pd.DataFrame
    summary: pd.DataFrame
    waiting: tuple[str, ...]
    notes: tuple[str, ...]
    method: str = "Each mean is held against the interval that was written down before the prototype was tested."


def keep_prediction(study: Study, model: PredictionModel, told: WhatIf, prototype: str, predicted_on: str) -> Study:
    """Return the study with the prediction among its facts.

    Raises
    ------
    ModelError
        If it holds no numbers, or the prototype has scores already: then it is no prediction any more.
    StudyError
        If a prediction kept earlier cannot be read.
    """
    if not told.inside:
        raise ModelError("Outside the tested region there are no numbers to keep. Make the prototype and test it.")
    if prototype in set(study.scores["prototype"]):
        raise ModelError(f"{prototype} has scores already, so this would be no prediction. Give a new short name.")
    if not prototype:
        raise ModelError("Give the short name that the new prototype will have.")
    numbers = told.profile[["attribute", *_NUMBERS]]
    kept = {
        "prototype": prototype,
        "predicted_on": predicted_on,
        "blend": {name: amount for name, amount in told.blend.items() if amount > 0},
        "base": model.level.base,
        "based_on": [str(name) for name in model.level.means.index],
        "level": LEVEL,
        "method": told.method,
        "profile": [
            {"attribute": str(row["attribute"])} | {name: float(row[name]) for name in _NUMBERS}
            for row in numbers.to_dict("records")
        ],
    }
    kept_predictions(study)  # what is there already must be sound
    others = [each for each in study.facts.get(_FACT, []) if each["prototype"] != prototype]
    return replace(study, facts={**study.facts, _FACT: [*others, kept]})


def kept_predictions(study: Study) -> list[dict[str, Any]]:
    """Return the predictions among the facts of `study`, as they were written down; StudyError if one cannot be read.

    `prototype`, the short name the new prototype will have; `predicted_on`, a date; `blend`, emollient to per cent of
    the formula; `base`, the prototype it is compared with, and `based_on`, the blends whose scores it rests on;
    `level`; `profile`, a frame `attribute estimate std_error df ci_low ci_high base`; `method`.
    """
    kept = study.facts.get(_FACT, [])
    if not isinstance(kept, list):
        raise StudyError(f"The fact {_FACT!r} of the study is not a list; restore it or take it out.")
    return [_read(number, entry) for number, entry in enumerate(kept, start=1)]


def _read(number: int, entry: Any) -> dict[str, Any]:
    try:
        profile = pd.DataFrame(entry["profile"])[["attribute", *_NUMBERS]].astype({"attribute": "str"})
        return {name: str(entry[name]) for name in ("prototype", "predicted_on", "base", "method")} | {
            "blend": {str(name): float(amount) for name, amount in entry["blend"].items()},
            "based_on": tuple(map(str, entry["based_on"])),
            "level": float(entry["level"]),
            "profile": profile.astype(dict.fromkeys(_NUMBERS, "float64")),
        }
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise StudyError(
            f"Prediction {number} among the facts of the study cannot be read ({error!r}); restore it or take it out."
        ) from error


def judge_predictions(study: Study, differences: Differences | None = None) -> PredictionRecord:
    """Hold the predictions of `study` against the scores that came in since."""
    kept = kept_predictions(study)
    told = find_differences(study) if differences is None and kept else differences
    means = pd.DataFrame() if told is None else _wide(told)
    parts, waiting, notes = [], [], []
    for prediction in kept:
        members = {name for label in prediction["based_on"] for name in label.split(" = ")}
        if prediction["prototype"] in members:
            notes.append(
                f"{prediction['prototype']} was among the prototypes the prediction rests on; it does not count."
            )
        elif prediction["prototype"] not in means.index:
            waiting.append(prediction["prototype"])
        else:
            parts.append(_outcome(prediction, means))
    outcomes = pd.concat(parts, ignore_index=True) if parts else _no_outcomes()
    return PredictionRecord(outcomes, _summary(outcomes, kept), tuple(waiting), tuple(notes))


def _wide(told: Differences) -> pd.DataFrame:
    return told.means.pivot_table(index="prototype", columns="attribute", values="estimate")


def _outcome(prediction: Mapping[str, Any], means: pd.DataFrame) -> pd.DataFrame:
    profile = prediction["profile"].loc[prediction["profile"]["attribute"].isin(means.columns)]
    names = profile["attribute"].tolist()
    outcome = means.loc[prediction["prototype"], names].to_numpy(dtype=float)
    base = prediction["base"].split(" = ")[0]
    now = means.loc[base, names].to_numpy(dtype=float) if base in means.index else np.full(len(names), np.nan)
    error = outcome - profile["estimate"].to_numpy(dtype=float)
    return pd.DataFrame(
        {
            "prototype": pd.Series([prediction["prototype"]] * len(names), dtype="str"),
            "attribute": pd.Series(names, dtype="str"),
            "estimate": profile["estimate"].to_numpy(dtype=float),
            "ci_low": profile["ci_low"].to_numpy(dtype=float),
            "ci_high": profile["ci_high"].to_numpy(dtype=float),
            "outcome": outcome,
            "error": error,
            "error_from_base": error - (now - profile["base"].to_numpy(dtype=float)),
            "within": (outcome >= profile["ci_low"].to_numpy()) & (outcome <= profile["ci_high"].to_numpy()),
        }
    ).dropna(subset=["outcome"])


def _no_outcomes() -> pd.DataFrame:
    numbers = ("estimate", "ci_low", "ci_high", "outcome", "error", "error_from_base")
    kinds = {"prototype": "str", "attribute": "str", **dict.fromkeys(numbers, "float64"), "within": "bool"}
    return pd.DataFrame(columns=list(kinds)).astype(kinds)


def _summary(outcomes: pd.DataFrame, kept: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    level = {prediction["prototype"]: prediction["level"] for prediction in kept}
    rows = [
        (str(name), len(part), int(part["within"].sum()), float(part["within"].mean()), level[str(name)])
        for name, part in outcomes.groupby("prototype", sort=False)
    ]
    if rows:
        mean_level = float(np.mean([row[4] for row in rows]))
        within = int(outcomes["within"].sum())
        rows.append(("", len(outcomes), within, within / len(outcomes), mean_level))
    frame = pd.DataFrame(rows, columns=["prototype", "n", "within", "share", "level"])
    return frame.astype({"prototype": "str", "n": "int64", "within": "int64", "share": "float64", "level": "float64"})


# How would a blend that nobody made be scored, and how far off may that be?


# Formulas are written to 0.01 %: a blend this close to those that were made, in every emollient, is one of them.
REGION_TOLERANCE = 0.01
# The linear programme is solved to 1e-7 of the spread of the amounts.
_SOLVED = 1e-5
# An emollient that moved by less than this against the tested moves moved along with them.
_ALONG = 2 * SAME_AMOUNT


@dataclass(frozen=True, eq=False, slots=True)
class WhatIf:
    """The profile to expect from a blend, or, outside the tested region, only the directions.

    Parameters
    ----------
    blend
        Emollient to per cent of the formula.
    inside
        True if the blend lies among those that were made (within 0.01 % in every emollient).
    made_as
        Prototype that has exactly this blend already, or the empty string.
    profile
        `attribute estimate std_error df ci_low ci_high base direction target_low target_high chance place`. The
        interval is that of the mean this panel would give the new prototype beside the others. Outside the region
        there are no numbers, only `direction`: +1 above the base, -1 below, 0 not known. `chance` is the chance that
        the mean falls into the target window; `place` is `in` or `out` where the whole interval is, else `likely in`
        (chance of one half or more) or `likely out`, empty without a window or outside the region.
    """

    blend: Mapping[str, float]
    inside: bool
    made_as: str
    profile: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def what_if(
    model: PredictionModel, blend: Mapping[str, float], targets: Targets | None = None, *, inside: bool = False
) -> WhatIf:
    """Predict the profile of `blend` (emollient to per cent of the formula), judged by the same panel.

    `inside` says that the blend is known to lie among those that were made; else it is found out.

    Raises
    ------
    ModelError
        If it names an emollient that no prototype holds, an amount below zero, or another emollient total than the
        prototypes have.
    """
    amounts = _amounts(model, blend)
    tested = model.level.amounts.to_numpy(dtype=float)
    distance = 0.0 if inside else hull_place(tested, amounts)[0]
    inside = distance <= REGION_TOLERANCE + _SOLVED
    names = model.level.emollients
    same = np.abs(tested - amounts).max(axis=1) <= SAME_AMOUNT + FLOAT_SLACK
    return WhatIf(
        blend=dict(zip(names, amounts.tolist(), strict=True)),
        inside=inside,
        made_as=str(model.level.amounts.index[same][0]) if same.any() else "",
        profile=_profile(model, amounts, targets or {}, inside=inside),
        method=model.method,
        notes=tuple(_notes(model, amounts, distance, inside=inside)),
    )


def _amounts(model: PredictionModel, blend: Mapping[str, float]) -> Array:
    """Return the blend as amounts in the order of the tested emollients, or say what is wrong with it."""
    held = {name: column for column, name in enumerate(model.level.emollients)}
    named = {canonical_ingredient(name) or name.strip(): float(amount) for name, amount in blend.items()}
    new = [name for name, amount in named.items() if name not in held and amount != 0]
    if new:
        raise ModelError(
            f"No prototype holds {', '.join(new)}, so nothing about it can be predicted. Make and test one that does; "
            f"tested are {', '.join(held)}."
        )
    wrong = [name for name, amount in named.items() if not amount >= 0]
    if wrong:
        raise ModelError(f"The amount of {', '.join(wrong)} must be zero or more, per cent of the formula.")
    amounts = np.zeros(len(held))
    for name, amount in named.items():
        if name in held:
            amounts[held[name]] = amount
    total = float(model.level.base_amounts.sum())
    if abs(amounts.sum() - total) > REGION_TOLERANCE + FLOAT_SLACK:
        raise ModelError(
            f"The emollients add up to {amounts.sum():.2f} %, the prototypes hold {total:.2f} %. Keep the emollient "
            "total, or richness changes together with the kind of emollient."
        )
    return amounts


def _profile(model: PredictionModel, amounts: Array, targets: Targets, *, inside: bool) -> pd.DataFrame:
    attributes = model.level.attributes
    found = predict_rows(model.fit, model.rows(amounts), model.variance, model.df)
    ends = found.interval(LEVEL)
    low, high = target_ends(targets, attributes)
    numbers = {
        "estimate": found.estimate[0],
        "std_error": found.std_error[0],
        "df": found.df[0],
        "ci_low": ends[0][0],
        "ci_high": ends[1][0],
    }
    chance = np.where(np.isnan(low) & np.isnan(high), np.nan, found.chance_between(low, high)[0])
    if not inside:
        numbers = {name: np.full(len(attributes), np.nan) for name in numbers}
        chance = np.full(len(attributes), np.nan)
    return pd.DataFrame(
        {
            "attribute": pd.Series(attributes, dtype="str"),
            **numbers,
            "base": model.level.means.loc[[model.level.base]].to_numpy(dtype=float)[0],
            "direction": _directions(model, amounts),
            "target_low": low,
            "target_high": high,
            "chance": chance,
            "place": _placed(numbers["ci_low"], numbers["ci_high"], low, high, chance),
        }
    )


def _placed(ci_low: Array, ci_high: Array, low: Array, high: Array, chance: Array) -> NDArray[np.str_]:
    """Return where each mean to expect lies beside its window."""
    all_in = ~(ci_low < low) & ~(ci_high > high)
    all_out = (ci_high < low) | (ci_low > high)
    return np.select([np.isnan(chance), all_in, all_out, chance >= 0.5], ["", IN, OUT, LIKELY_IN], LIKELY_OUT)


def _directions(model: PredictionModel, amounts: Array) -> NDArray[np.int64]:
    """Return +1 or -1 where the model's change from the base is clear of zero, 0 where it is not or not known."""
    if model.moves.coordinates(amounts)[1][0] > _ALONG:
        return np.zeros(model.level.means.shape[1], dtype=np.int64)
    step = (model.rows(amounts) - model.rows(model.level.base_amounts))[0]
    change = step @ model.fit.coefficients
    std_error = np.sqrt(step @ model.fit.inverse @ step * model.variance)
    clear = np.abs(change) > stdtrit(model.df, 0.5 + LEVEL / 2) * std_error
    return np.where(clear, np.sign(change), 0).astype(np.int64)


def _notes(model: PredictionModel, amounts: Array, distance: float, *, inside: bool) -> Iterator[str]:
    yield from model.level.notes
    off = model.moves.coordinates(amounts)[1][0]
    if inside:
        yield (
            "The interval is for the mean of the same panel, judging the new prototype beside the others; it holds "
            "what the model misses from prototype to prototype. Make it and test it."
        )
    elif off > _ALONG:
        yield (
            "This blend moves emollients apart that always changed together in the prototypes, so not even a direction "
            "is known. Only making it can tell."
        )
    else:
        yield (
            f"Outside the tested region: the nearest blend inside differs by {distance:.2f} % of the formula. "
            "No number is given, only the direction the model points to from the base."
        )
    if not model.level.same_total:
        yield "The emollient total differs between the prototypes; the prediction is for that of the base."


# What is wanted of each attribute: the window of the target profile, and the direction.


Targets = Mapping[str, tuple[float, float]]
"""Lowest and highest wanted mean by attribute, NaN where there is no limit on that side."""


def target_ends(targets: Targets, attributes: Sequence[str]) -> tuple[Array, Array]:
    """Return the lower and upper ends for these attributes, NaN where nothing is wanted."""
    ends = np.array([targets.get(name, (np.nan, np.nan)) for name in attributes], dtype=float).reshape(-1, 2)
    return ends[:, 0], ends[:, 1]


def study_targets(study: Study) -> Targets:
    """Return the windows of the study's attributes table; attributes without a limit are left out."""
    attributes = study.table("attributes")
    ends = attributes[["target_low", "target_high"]].to_numpy(dtype=float)
    stated = np.isfinite(ends).any(axis=1)
    names = attributes["attribute"].to_numpy()[stated]
    return {str(name): (float(low), float(high)) for name, (low, high) in zip(names, ends[stated], strict=True)}
