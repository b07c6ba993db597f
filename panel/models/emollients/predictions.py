"""Predictions written down before the prototype was tested, and what came of them: the tool's own record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import ModelError, StudyError
from panel.models.emollients.prediction_model import PredictionModel
from panel.models.emollients.what_if import WhatIf
from panel.models.prototypes.differences import Differences, find_differences
from panel.study.study import Study

FACT = "predictions"
_NUMBERS = ("estimate", "std_error", "df", "ci_low", "ci_high", "base")


@dataclass(frozen=True, eq=False, slots=True)
class KeptPrediction:
    """A prediction as it was written down.

    Parameters
    ----------
    prototype
        Short name that the new prototype will have.
    predicted_on
        Date, such as 2025-04-08.
    blend
        Emollient to per cent of the formula.
    base, based_on
        The prototype it is compared with, and the blends whose scores it rests on.
    profile
        `attribute estimate std_error df ci_low ci_high base`.
    """

    prototype: str
    predicted_on: str
    blend: Mapping[str, float]
    base: str
    based_on: tuple[str, ...]
    level: float
    profile: pd.DataFrame
    method: str


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
    """

    outcomes: pd.DataFrame
    summary: pd.DataFrame
    waiting: tuple[str, ...]
    notes: tuple[str, ...]


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
        "level": told.level,
        "method": told.method,
        "profile": [
            {"attribute": str(row["attribute"])} | {name: float(row[name]) for name in _NUMBERS}
            for row in numbers.to_dict("records")
        ],
    }
    kept_predictions(study)  # what is there already must be sound
    others = [each for each in study.facts.get(FACT, []) if each["prototype"] != prototype]
    return replace(study, facts={**study.facts, FACT: [*others, kept]})


def kept_predictions(study: Study) -> tuple[KeptPrediction, ...]:
    """Return the predictions among the facts of `study`; StudyError if one of them cannot be read."""
    kept = study.facts.get(FACT, [])
    if not isinstance(kept, list):
        raise StudyError(f"The fact {FACT!r} of the study is not a list; restore it or take it out.")
    return tuple(_read(number, entry) for number, entry in enumerate(kept, start=1))


def _read(number: int, entry: Any) -> KeptPrediction:
    try:
        profile = pd.DataFrame(entry["profile"])[["attribute", *_NUMBERS]].astype({"attribute": "str"})
        return KeptPrediction(
            prototype=str(entry["prototype"]),
            predicted_on=str(entry["predicted_on"]),
            blend={str(name): float(amount) for name, amount in entry["blend"].items()},
            base=str(entry["base"]),
            based_on=tuple(map(str, entry["based_on"])),
            level=float(entry["level"]),
            profile=profile.astype(dict.fromkeys(_NUMBERS, "float64")),
            method=str(entry["method"]),
        )
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
        members = {name for label in prediction.based_on for name in label.split(" = ")}
        if prediction.prototype in members:
            notes.append(f"{prediction.prototype} was among the prototypes the prediction rests on; it does not count.")
        elif prediction.prototype not in means.index:
            waiting.append(prediction.prototype)
        else:
            parts.append(_outcome(prediction, means))
    outcomes = pd.concat(parts, ignore_index=True) if parts else _no_outcomes()
    return PredictionRecord(outcomes, _summary(outcomes, kept), tuple(waiting), tuple(notes))


def _wide(told: Differences) -> pd.DataFrame:
    return told.means.pivot_table(index="prototype", columns="attribute", values="estimate", sort=False)


def _outcome(prediction: KeptPrediction, means: pd.DataFrame) -> pd.DataFrame:
    profile = prediction.profile.loc[prediction.profile["attribute"].isin(means.columns)]
    names = profile["attribute"].tolist()
    outcome = means.loc[prediction.prototype, names].to_numpy(dtype=float)
    base = prediction.base.split(" = ")[0]
    now = means.loc[base, names].to_numpy(dtype=float) if base in means.index else np.full(len(names), np.nan)
    error = outcome - profile["estimate"].to_numpy(dtype=float)
    return pd.DataFrame(
        {
            "prototype": pd.Series([prediction.prototype] * len(names), dtype="str"),
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
    empty = {"prototype": pd.Series(dtype="str"), "attribute": pd.Series(dtype="str")}
    empty |= {name: pd.Series(dtype="float64") for name in numbers}
    return pd.DataFrame({**empty, "within": pd.Series(dtype="bool")})


def _summary(outcomes: pd.DataFrame, kept: tuple[KeptPrediction, ...]) -> pd.DataFrame:
    level = {prediction.prototype: prediction.level for prediction in kept}
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
