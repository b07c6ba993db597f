"""Do the differences between prototypes stand when each assessor's use of the scale is taken into account?

A sensitivity analysis beside the additive model, never in its place.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.prototypes.differences import LEVEL, attribute_rows
from panel.models.prototypes.panel_design import PanelFit, fit_study, score_array
from panel.stats.arrays import Array
from panel.stats.assessors.agreement import OwnTables, own_tables
from panel.stats.assessors.scaling import FEWEST_PROTOTYPES, Scaling, scaling_model
from panel.stats.comparing.multiplicity import below
from panel.stats.mixed.inference import inference
from panel.study.study import Study, those_in

FEWEST_ASSESSORS = 2


@dataclass(frozen=True, eq=False, slots=True)
class ScaleUse:
    """The additive and the scaling model side by side; all frames tidy and unrounded.

    Parameters
    ----------
    attributes
        One row per attribute. The test that no prototype differs, by the scaling model: `statistic df df_error
        p_value`, and by the additive mixed model: `additive_statistic additive_df_error additive_p_value`. Whether all
        use the scale alike: `scaling_statistic scaling_df scaling_p_value`; whether anybody sees the prototypes
        differently beyond that: `disagreement_statistic disagreement_df disagreement_p_value`. `n_assessors`,
        `n_prototypes` in the scaling model, `approximate` where cells hold different numbers of scores, `suppressed`
        where the prototypes do not differ, so that factors mean nothing. `changes`: only one of both models says that
        they differ; `scaling_differs` (told only where they do) and `disagree` at the level of the result.
    factors
        `attribute assessor estimate`: how much of the scale each assessor uses, 1 being the panel's mean; NaN where
        suppressed.
    not_estimated
        `attribute why` for attributes without a scaling model.
    """

    attributes: pd.DataFrame
    factors: pd.DataFrame
    not_estimated: pd.DataFrame
    level: float
    method: str
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False, slots=True)
class _Fitted:
    """The scaling model of one attribute and what went into it."""

    attribute: str
    assessors: tuple[str, ...]
    dropped: tuple[str, ...]
    approximate: bool
    model: Scaling


def find_scale_use(study: Study, *, level: float = LEVEL, fitted: PanelFit | None = None) -> ScaleUse:
    """Fit the scaling model beside the additive one on every attribute of `study`.

    Parameters
    ----------
    level
        Factors are shown where the additive model tells the prototypes apart at 1 - `level`.
    fitted
        The panel's model where it is at hand already.

    Raises
    ------
    ModelError
        If no attribute can be compared at all, by either model.
    """
    fitted = fit_study(study) if fitted is None else fitted
    scores, fits, left_out = fitted.used.frame, fitted.fits, fitted.left_out
    if not fits:
        reasons = "; ".join(f"{name} ({why})" for name, why in left_out) or "there are no scores"
        raise ModelError(f"No attribute can be compared: {reasons}. Check the scores on the Study page.")
    scores = scores.loc[~scores["attribute"].isin([name for name, _ in left_out])]
    additive = pd.concat([attribute_rows(d, f, inference(f)) for d, f in fits]).set_index("attribute")
    scaled, why_not = _fit_all(study, scores)
    rows = [_row(one, additive, level) for one in scaled]
    missing = pd.DataFrame([*left_out, *why_not], columns=["attribute", "why"], dtype="str")
    return ScaleUse(
        attributes=pd.DataFrame(rows, columns=_COLUMNS),
        factors=_factors(scaled, rows),
        not_estimated=missing,
        level=level,
        method=(
            "Scaling model (Brockhoff, Schlich & Skovgaard 2015) of each assessor's means: assessor x prototype is "
            "split into use of the scale (slope on the panel's means) and disagreement, and prototypes are tested "
            "against disagreement. Shown beside the additive mixed model, which remains the result."
        ),
        notes=tuple(_notes(scaled, missing)),
    )


def _fit_all(study: Study, scores: pd.DataFrame) -> tuple[list[_Fitted], list[tuple[str, str]]]:
    """Fit every attribute that has a table without holes; return the others with the reason."""
    attributes = those_in(study.attributes, scores["attribute"])
    prototypes = those_in(study.prototypes, scores["prototype"])
    array = score_array(scores, prototypes, attributes)
    own = own_tables(array.scores, array.assessor, array.prototype, array.session)
    fitted, why_not = [], []
    for place, attribute in enumerate(attributes):
        there = np.isfinite(own.means[place])
        people = there.any(axis=1)
        whole = there[people].all(axis=0)
        if people.sum() < FEWEST_ASSESSORS or whole.sum() < FEWEST_PROTOTYPES:
            why_not.append((attribute, _too_few(int(people.sum()), int(whole.sum()))))
            continue
        dropped = tuple(name for name, kept in zip(prototypes, whole, strict=True) if not kept)
        names = tuple(name for name, scored in zip(array.assessors, people, strict=True) if scored)
        cells = own.counts[place][np.ix_(people, whole)]
        approximate = bool(cells.min() != cells.max())
        fitted.append(_Fitted(attribute, names, dropped, approximate, _one(own, place, np.ix_(people, whole), cells)))
    return fitted, why_not


def _one(own: OwnTables, place: int, held: tuple[np.ndarray, ...], cells: Array) -> Scaling:
    df_error = own.df_error[place].sum()
    within = own.within[place][own.df_error[place] > 0].sum()
    error = within / df_error if df_error > 0 else np.nan
    harmonic = 1 / (1 / cells).mean()
    return scaling_model(own.means[place][held][None], np.array([harmonic]), np.array([error]), np.array([df_error]))


def _too_few(people: int, whole: int) -> str:
    if people < FEWEST_ASSESSORS:
        return "fewer than two assessors scored it"
    return f"only {whole} prototypes were scored by every assessor; the scaling model needs {FEWEST_PROTOTYPES}"


_COLUMNS = [
    "attribute", "statistic", "df", "df_error", "p_value", "additive_statistic", "additive_df_error",
    "additive_p_value", "scaling_statistic", "scaling_df", "scaling_p_value", "disagreement_statistic",
    "disagreement_df", "disagreement_p_value", "n_assessors", "n_prototypes", "approximate", "suppressed",
    "changes", "scaling_differs", "disagree",
]  # fmt: skip


def _row(one: _Fitted, additive: pd.DataFrame, level: float) -> dict[str, object]:
    model, beside, alpha = one.model, additive.loc[one.attribute], 1 - level
    suppressed = not below(beside["p_value"], alpha)
    return {
        "attribute": one.attribute,
        "statistic": model.f_prototype[0],
        "df": float(model.df_prototype),
        "df_error": float(model.df_disagreement),
        "p_value": model.p_prototype[0],
        "additive_statistic": beside["statistic"],
        "additive_df_error": beside["df_error"],
        "additive_p_value": beside["p_value"],
        "scaling_statistic": model.f_scaling[0],
        "scaling_df": float(model.df_scaling),
        "scaling_p_value": model.p_scaling[0],
        "disagreement_statistic": model.f_disagreement[0],
        "disagreement_df": float(model.df_disagreement),
        "disagreement_p_value": model.p_disagreement[0],
        "n_assessors": len(one.assessors),
        "n_prototypes": model.df_prototype + 1,
        "approximate": one.approximate,
        "suppressed": suppressed,
        "changes": bool(below(model.p_prototype[0], alpha)) == suppressed,
        "scaling_differs": bool(below(model.p_scaling[0], alpha)) and not suppressed,
        "disagree": bool(below(model.p_disagreement[0], alpha)),
    }


def _factors(fitted: list[_Fitted], rows: list[dict[str, object]]) -> pd.DataFrame:
    parts = [
        pd.DataFrame(
            {
                "attribute": one.attribute,
                "assessor": one.assessors,
                "estimate": np.nan if row["suppressed"] else one.model.factors[0],
            }
        )
        for one, row in zip(fitted, rows, strict=True)
    ]
    blank = pd.DataFrame({"attribute": [], "assessor": [], "estimate": []}).astype(
        {"attribute": "str", "assessor": "str", "estimate": "float64"}
    )
    return pd.concat(parts, ignore_index=True) if parts else blank


def _notes(fitted: list[_Fitted], missing: pd.DataFrame) -> Iterator[str]:
    for name, why in missing.itertuples(index=False):
        yield f"{name} has no scaling model: {why}."
    for dropped in dict.fromkeys(one.dropped for one in fitted if one.dropped):
        who = ", ".join(one.attribute for one in fitted if one.dropped == dropped)
        yield f"Not every assessor scored {', '.join(dropped)}: left out of the scaling model ({who})."
    uneven = [one.attribute for one in fitted if one.approximate]
    if uneven:
        yield (
            f"Cells hold different numbers of scores ({', '.join(uneven)}): every assessor's mean counts alike, and "
            "the tests of the scaling model are approximate."
        )
    if any(one.model.df_prototype < 3 for one in fitted):
        yield "With three prototypes the scaling model has few degrees of freedom left and can be the weaker test."
