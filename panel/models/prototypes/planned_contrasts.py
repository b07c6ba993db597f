"""Do the differences that were planned beforehand show, each tested for itself?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.prototypes.panel_design import PanelDesign, fit_panel
from panel.stats.comparing.multiplicity import benjamini_hochberg, holm
from panel.stats.mixed.kenward_roger import SMALL_SAMPLE_WORDS, SmallSample, inference
from panel.stats.mixed.reml import MixedFit
from panel.study.scores_used import scores_used
from panel.study.study import Study

Adjustment = Literal["none", "holm", "benjamini_hochberg"]
Family = Literal["each attribute", "all attributes"]
LEVEL = 0.95
SUM_TO_ZERO = 1e-9  # of weights near 1
_ADJUST = {"holm": holm, "benjamini_hochberg": benjamini_hochberg}
_WORDS = {
    "none": "not adjusted",
    "holm": "adjusted by Holm",
    "benjamini_hochberg": "adjusted by Benjamini and Hochberg",
}


@dataclass(frozen=True, eq=False, slots=True)
class PlannedContrasts:
    """Contrasts between prototypes that were planned before the scores were seen.

    Parameters
    ----------
    contrasts
        `attribute contrast estimate std_error df statistic p_value p_adjusted ci_low ci_high`; the intervals are those
        of each contrast alone; `p_adjusted` equals `p_value` where nothing is adjusted.
    weights
        `contrast prototype weight`, as given.
    family
        Which tests were adjusted together, in words.
    """

    contrasts: pd.DataFrame
    weights: pd.DataFrame
    family: str
    level: float
    method: str
    notes: tuple[str, ...]


def planned_contrasts(
    study: Study,
    contrasts: Mapping[str, Mapping[str, float]],
    *,
    adjust: Adjustment = "none",
    family: Family = "each attribute",
    level: float = LEVEL,
    small_sample: SmallSample = "satterthwaite",
) -> PlannedContrasts:
    """Estimate and test planned contrasts on every attribute.

    Parameters
    ----------
    contrasts
        Name of the contrast to weights by prototype, summing to zero: `{"fast slot": {"P2": 1, "P1": -1}}`.
    adjust
        `none`, `holm` or `benjamini_hochberg`, within the family.
    family
        The tests adjusted together: the contrasts on `each attribute`, or those on `all attributes`.
    level
        Level of the intervals, each for its contrast alone.
    small_sample
        Method for standard errors and degrees of freedom.

    Raises
    ------
    ModelError
        If a contrast names an unknown prototype, has weights that do not sum to zero, or nothing can be fitted.
    """
    _ask(study, contrasts)
    fits, left_out = fit_panel(study, scores_used(study).frame)
    parts = [_rows(design, fit, contrasts, level, small_sample) for design, fit in fits]
    if not any(len(part) for part in parts):
        raise ModelError(
            "No planned contrast has all its prototypes scored on an attribute that can be modelled. Check the scores "
            "on the Study page."
        )
    rows = pd.concat(parts, ignore_index=True)
    order = {name: place for place, name in enumerate(study.attributes)}
    rows = rows.sort_values("attribute", key=lambda names: names.map(order), kind="stable", ignore_index=True)
    rows.insert(list(rows.columns).index("p_value") + 1, "p_adjusted", _adjusted(rows, adjust, family))
    words = _family_words(rows, contrasts, adjust, family)
    models = "; ".join(dict.fromkeys(design.sentence for design, _ in fits))
    return PlannedContrasts(
        contrasts=rows,
        weights=pd.DataFrame(
            [(name, prototype, float(w)) for name, own in contrasts.items() for prototype, w in own.items()],
            columns=["contrast", "prototype", "weight"],
        ),
        family=words,
        level=level,
        method=(
            f"Contrasts of the mixed model per attribute ({models}), {SMALL_SAMPLE_WORDS[small_sample]} degrees of "
            f"freedom; {words}."
        ),
        notes=tuple(_notes(fits, left_out, contrasts)),
    )


def _adjusted(rows: pd.DataFrame, adjust: Adjustment, family: Family) -> pd.Series:
    """Return the p-values adjusted within their family."""
    if adjust == "none":
        return rows["p_value"]
    together = rows["attribute"] if family == "each attribute" else pd.Series("", index=rows.index)
    return rows.groupby(together, sort=False)["p_value"].transform(lambda p: _ADJUST[adjust](p.to_numpy()))


def _ask(study: Study, contrasts: Mapping[str, Mapping[str, float]]) -> None:
    if not contrasts:
        raise ModelError("No contrast was planned. Name at least one, with a weight for each of its prototypes.")
    for name, weights in contrasts.items():
        unknown = [prototype for prototype in weights if prototype not in study.prototypes]
        if unknown:
            raise ModelError(
                f"The contrast {name!r} names {', '.join(unknown)}, which the study does not have. Choose among "
                f"{', '.join(study.prototypes)}."
            )
        values = np.array(list(weights.values()), dtype=float)
        if abs(values.sum()) > SUM_TO_ZERO * max(1.0, np.abs(values).sum()) or not values.any():
            raise ModelError(
                f"The weights of the contrast {name!r} must sum to zero and not all be zero, such as 1 and -1; they "
                f"sum to {values.sum():g}."
            )


def _rows(
    design: PanelDesign,
    fit: MixedFit,
    contrasts: Mapping[str, Mapping[str, float]],
    level: float,
    small_sample: SmallSample,
) -> pd.DataFrame:
    """Return one row for each attribute of the model and each contrast it can estimate."""
    held = design.prototypes
    possible = [name for name, weights in contrasts.items() if set(_weighted(weights)) <= set(held)]
    matrix = np.zeros((len(possible), design.fixed.shape[1]))
    for row, name in enumerate(possible):
        for prototype, weight in _weighted(contrasts[name]).items():
            matrix[row, held.index(prototype)] = weight
    told = design.told(matrix) if possible else np.zeros(0, dtype=bool)
    possible, matrix = [name for name, known in zip(possible, told, strict=True) if known], matrix[told]
    found = inference(fit, small_sample).estimate(matrix)
    low, high = found.interval(level)
    q = len(design.attributes)
    return pd.DataFrame(
        {
            "attribute": pd.Series(np.repeat(np.array(design.attributes, dtype=object), len(possible)), dtype="str"),
            "contrast": pd.Series(possible * q, dtype="str"),
            "estimate": found.estimate.ravel(),
            "std_error": found.std_error.ravel(),
            "df": found.df.ravel(),
            "statistic": found.statistic.ravel(),
            "p_value": found.p_value.ravel(),
            "ci_low": low.ravel(),
            "ci_high": high.ravel(),
        }
    )


def _weighted(weights: Mapping[str, float]) -> dict[str, float]:
    return {prototype: float(weight) for prototype, weight in weights.items() if weight}


def _family_words(
    rows: pd.DataFrame, contrasts: Mapping[str, Mapping[str, float]], adjust: Adjustment, family: Family
) -> str:
    n = len(contrasts)
    each = f"{n} planned contrast{'' if n == 1 else 's'} on each of {rows['attribute'].nunique()} attributes"
    if adjust == "none":
        return f"{each}, {_WORDS[adjust]}"
    together = "the contrasts on each attribute" if family == "each attribute" else "all contrasts on all attributes"
    return f"{each}, {_WORDS[adjust]} over {together}"


def _notes(
    fits: list[tuple[PanelDesign, MixedFit]],
    left_out: list[tuple[str, str]],
    contrasts: Mapping[str, Mapping[str, float]],
) -> list[str]:
    notes = [f"{name} is not tested: {why}." for name, why in left_out]
    for design, _ in fits:
        for name, weights in contrasts.items():
            absent = [prototype for prototype in _weighted(weights) if prototype not in design.prototypes]
            if absent:
                notes.append(
                    f"The contrast {name} is not tested on {', '.join(design.attributes)}: {', '.join(absent)} "
                    "was not scored."
                )
    notes.append(
        "Unadjusted p-values hold only for contrasts written down before the scores were seen; whatever the scores "
        "themselves suggest belongs under all pairs (Tukey)."
    )
    return notes
