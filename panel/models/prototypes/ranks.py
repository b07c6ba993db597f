"""Do the assessors put the prototypes in the same order? And what if each uses the scale in an own way?

Two checks beside the additive model, never in its place: ranks ask nothing of the distances on the scale, the scaling
model takes each assessor's use of the scale into account.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.prototypes.differences import Differences, ask_fits, attributes_tested, find_differences
from panel.models.prototypes.panel_design import fit_study, score_array
from panel.models.prototypes.verdict import CANNOT_TELL, DIFFERS
from panel.stats.answers.ranks import friedman_test, ranks_within_blocks, skillings_mack_test
from panel.stats.arrays import Array
from panel.stats.assessors.agreement import own_tables
from panel.stats.assessors.scaling import Scaling, scaling_model
from panel.stats.comparing.group_means import VarianceTables
from panel.stats.comparing.multiplicity import below, holm, serial_gatekeeping
from panel.study.naming import naming
from panel.study.scores_used import scores_used
from panel.study.study import Numbered, Study, those_in

# Ranks of one attribute as tables: the test its gaps allow, mean ranks, and who is lost.


FRIEDMAN, _SKILLINGS_MACK = "Friedman", "Skillings-Mack"


def rank_tables(attribute: str, means: pd.DataFrame) -> tuple[dict[str, Any], pd.DataFrame, pd.DataFrame]:
    """Return the rank tables of an attribute from its mean scores, assessors by prototypes, NaN for gaps.

    The row of the attribute, its mean ranks and gaps, in the columns of `RankComparison`.

    Raises
    ------
    ModelError
        If fewer than two assessors rank two prototypes, or the ranks cannot be compared.
    """
    scores = means.to_numpy(dtype=float)
    present = np.isfinite(scores)
    used = present.sum(axis=1) >= 2
    if used.sum() < 2 or scores.shape[1] < 2:
        raise ModelError("fewer than two assessors scored two prototypes or more, so there are no orders to compare.")
    test = _test(scores[used])
    ranks = ranks_within_blocks(scores[used])
    return (
        {"attribute": attribute} | test | {"n_assessors": int(used.sum()), "n_lost": int((~used).sum())},
        pd.DataFrame(
            {"attribute": attribute, "prototype": list(means.columns), "mean_rank": np.nanmean(ranks, axis=0)}
        ),
        _gaps(attribute, means, present, used),
    )


def _test(scores: Array) -> dict[str, Any]:
    """Return the test that the gaps of the scores allow."""
    if np.isfinite(scores).all():
        return {"method": FRIEDMAN, **friedman_test(scores)}
    return {"method": _SKILLINGS_MACK, **skillings_mack_test(scores), "exact": False, "kendall_w": np.nan}


def _gaps(attribute: str, means: pd.DataFrame, present: np.ndarray, used: np.ndarray) -> pd.DataFrame:
    """Return the assessors who did not score every prototype."""
    gapped = np.flatnonzero(~present.all(axis=1))
    missing = [", ".join(means.columns[~present[row]]) for row in gapped]
    frame = pd.DataFrame(
        {
            "attribute": attribute,
            "assessor": pd.Series(means.index[gapped], dtype="str"),
            "missing": pd.Series(missing, dtype="str"),
            "lost": ~used[gapped],
        }
    )
    return frame.astype({"attribute": "str"})


# Do the assessors put the prototypes in the same order? A check that asks nothing of the distances on the scale.


_TIE_DIGITS = 9  # decimals kept of a mean, so that the last bits of a sum do not break a tie
_COLUMNS = [
    *("attribute", "method", "statistic", "df", "p_value", "exact", "kendall_w"),
    *("n_assessors", "n_lost", "p_adjusted", "mixed_p_adjusted"),
    *("mixed_verdict", "verdict", "agreement"),
]
# Lowest W for each word: common practice, no source.
_AGREEMENT = ((0.7, "strong"), (0.4, "fair"), (0.0, "weak"))


@dataclass(frozen=True, eq=False, slots=True)
class RankComparison:
    """What the ranks within assessors say about the prototypes, beside the mixed model; frames tidy and unrounded.

    Parameters
    ----------
    attributes
        `attribute method statistic df p_value exact kendall_w n_assessors n_lost p_adjusted mixed_p_adjusted
        mixed_verdict verdict agreement`. Methods: Friedman where every assessor scored every prototype, else Skillings
        and Mack; `statistic` is chi-square. `exact` is True where the p-value is from the permutations of the ranks.
        `kendall_w` is the agreement of the assessors, 0 to 1.
        `p_adjusted` by Holm over the attributes; `mixed_...` the F test of the mixed model. `verdict` and
        `mixed_verdict` are `differs` or `cannot tell`; `agreement` is `kendall_w` in a word.
    mean_ranks
        `attribute prototype mean_rank`; 1 is the lowest score of an assessor.
    gaps
        `attribute assessor missing lost`: assessors who did not score every prototype, whom Friedman's
        test would lose; `lost` is True where the method used loses them too.
    """

    attributes: pd.DataFrame
    mean_ranks: pd.DataFrame
    gaps: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def compare_ranks(study: Study, differences: Differences | None = None) -> RankComparison:
    """Compare the prototypes by their ranks within each assessor, attribute by attribute.

    Scores of an assessor are averaged over repetitions, then ranked; ties keep their mean rank.

    Parameters
    ----------
    differences
        The mixed model's answer where it is at hand already.

    Raises
    ------
    ModelError
        As `find_differences`, or if no attribute can be ranked.
    """
    found = find_differences(study) if differences is None else differences
    frame = scores_used(study).frame
    tables: list[tuple[dict[str, Any], pd.DataFrame, pd.DataFrame]] = []
    left_out: list[tuple[str, str]] = []
    for attribute, means in _mean_scores(study, frame):
        try:
            tables.append(rank_tables(attribute, means))
        except ModelError as error:
            left_out.append((attribute, str(error)))
    ask_fits(tables, left_out, "ranked")
    rows, mean_ranks, gaps = zip(*tables, strict=True)
    attributes = pd.DataFrame(rows)
    mixed = found.attributes.set_index("attribute")
    return RankComparison(
        attributes=attributes.assign(
            p_adjusted=holm(attributes["p_value"].to_numpy()),
            mixed_p_adjusted=attributes["attribute"].map(mixed["p_adjusted"]).astype("float64"),
            mixed_verdict=attributes["attribute"].map(mixed["verdict"]),
            agreement=[_agreement(value) for value in attributes["kendall_w"]],
        ).assign(verdict=lambda rows: np.where(below(rows["p_adjusted"]), DIFFERS, CANNOT_TELL))[_COLUMNS],
        mean_ranks=pd.concat(mean_ranks, ignore_index=True),
        gaps=pd.concat(gaps, ignore_index=True),
        method=_method(attributes),
        notes=tuple(_notes(attributes, frame, left_out, naming(study).attribute)),
    )


def _agreement(kendall_w: float) -> str:
    """Return agreement on the order in a word; empty where there is no W."""
    return next((word for least, word in _AGREEMENT if kendall_w >= least), "")


def _mean_scores(study: Study, frame: pd.DataFrame) -> Iterator[tuple[str, pd.DataFrame]]:
    """Yield each attribute with the mean score of each assessor (rows) for each prototype (columns), NaN for gaps."""
    index = ["attribute", "assessor"]
    wide = frame.pivot_table(index=index, columns="prototype", values="score", aggfunc="mean", sort=False)
    wide = wide[[name for name in study.prototypes if name in wide.columns]].round(_TIE_DIGITS)
    scored = wide.index.get_level_values("attribute")
    for attribute in those_in(study.attributes, frame["attribute"]):
        rows = wide.loc[scored == attribute].droplevel("attribute")
        people = [name for name in study.assessors if name in rows.index]
        yield attribute, rows.loc[people].dropna(axis="columns", how="all")


_METHODS = {
    FRIEDMAN: (
        "Friedman's test of the ranks within each assessor, corrected for ties; the p-value is exact, from the "
        "permutations of the ranks themselves, where these are few enough, else from chi-square"
    ),
    _SKILLINGS_MACK: (
        "Skillings and Mack's test of the ranks within each assessor, who need not have scored every prototype; "
        "p-value from chi-square"
    ),
}


def _method(attributes: pd.DataFrame) -> str:
    used = [text for name, text in _METHODS.items() if name in set(attributes["method"])]
    return (
        f"{'; '.join(used)}. Scores are averaged over repetitions first; tests over attributes by Holm. "
        "The ranks use no distances on the scale; they "
        "stand beside the mixed model as a check and never replace it."
    )


def _notes(
    attributes: pd.DataFrame, frame: pd.DataFrame, left_out: list[tuple[str, str]], words: Callable[[str], str]
) -> list[str]:
    notes = [f"{words(name)} is not ranked: {why}" for name, why in left_out]
    repeats = frame.groupby(["attribute", "assessor", "prototype"], sort=False).size()
    if repeats.min() < repeats.max():
        notes.append(
            "Assessors scored some prototypes more often than others; the means that are ranked are not equally sure, "
            "and a session that was missed is not taken out of them. The mixed model weighs both."
        )
    gapped = attributes.loc[attributes["method"] == _SKILLINGS_MACK, "attribute"]
    if len(gapped):
        notes.append(
            f"With gaps ({_which(gapped, attributes, words)}) the rank test holds only if the gaps have nothing to do "
            "with the scores, and with few assessors its p-value is a rough guide."
        )
    lost = attributes.loc[attributes["n_lost"] > 0, "attribute"]
    if len(lost):
        notes.append(
            "Assessors with a single prototype say nothing about an order and are lost "
            f"({_which(lost, attributes, words)}); the mixed model uses them."
        )
    return notes


def _which(some: pd.Series, attributes: pd.DataFrame, words: Callable[[str], str]) -> str:
    return "all attributes" if len(some) == len(attributes) else ", ".join(map(words, some))


_FEWEST_ASSESSORS = 2
_FEWEST_PROTOTYPES = 3  # with two, a line through two points leaves no disagreement to test against


@dataclass(frozen=True, eq=False, slots=True)
class ScaleUse:
    """The additive and the scaling model side by side; all frames tidy and unrounded.

    Parameters
    ----------
    attributes
        One row per attribute. The test that no prototype differs, by the scaling model: `statistic df df_error
        p_value p_adjusted`, and by the additive mixed model: `additive_statistic additive_df_error additive_p_value
        additive_p_adjusted`, that of `find_differences`; both are adjusted over the same attributes. Whether all
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
    method: str
    notes: tuple[str, ...]


def find_scale_use(study: Study) -> ScaleUse:
    """Fit the scaling model beside the additive one on every attribute of `study`.

    Raises
    ------
    ModelError
        If no attribute can be compared at all, by either model.
    """
    fitted = fit_study(study)
    scores, fits, left_out = fitted.used.frame, fitted.fits, fitted.left_out
    ask_fits(fits, left_out)
    scores = scores.loc[~scores["attribute"].isin([name for name, _ in left_out])]
    additive = attributes_tested(study).set_index("attribute")
    rows, factors, why_not = _fit_all(study, scores, additive)
    missing = pd.DataFrame([*left_out, *why_not], columns=["attribute", "why"], dtype="str")
    blank = pd.DataFrame({"attribute": [], "assessor": [], "estimate": []}).astype(
        {"attribute": "str", "assessor": "str", "estimate": "float64"}
    )
    return ScaleUse(
        attributes=_with_changes(pd.DataFrame(rows, columns=_SCALING_COLUMNS), additive),
        factors=pd.concat(factors, ignore_index=True) if factors else blank,
        not_estimated=missing,
        method=(
            "Scaling model (Brockhoff, Schlich & Skovgaard 2015) of each assessor's means: assessor x prototype is "
            "split into use of the scale (slope on the panel's means) and disagreement, and prototypes are tested "
            "against disagreement; p-values are adjusted as those of the comparison. Shown beside the additive mixed "
            "model, which remains the result."
        ),
        notes=tuple(_scaling_notes(rows, missing, naming(study).attribute)),
    )


def _fit_all(
    study: Study, scores: pd.DataFrame, additive: pd.DataFrame
) -> tuple[list[dict[str, Any]], list[pd.DataFrame], list[tuple[str, str]]]:
    """Return a row for every attribute that has a table without holes and its factors; the others with the reason.

    A row says which prototypes were `dropped` as well.
    """
    attributes = those_in(study.attributes, scores["attribute"])
    prototypes = those_in(study.prototypes, scores["prototype"])
    array = score_array(Numbered(scores), prototypes, attributes)
    own, _ = own_tables(array.scores, array.assessor, array.prototype, array.session)
    rows: list[dict[str, Any]] = []
    factors, why_not = [], []
    for place, attribute in enumerate(attributes):
        there = np.isfinite(own.means[place])
        people = there.any(axis=1)
        whole = there[people].all(axis=0)
        if people.sum() < _FEWEST_ASSESSORS or whole.sum() < _FEWEST_PROTOTYPES:
            why_not.append((attribute, _too_few(int(people.sum()), int(whole.sum()))))
            continue
        cells = own.counts[place][np.ix_(people, whole)]
        model = _one(own, place, np.ix_(people, whole), cells)
        names = [name for name, scored in zip(array.assessors, people, strict=True) if scored]
        rows.append(
            _row(model, additive.loc[[attribute]].iloc[0])
            | {"attribute": attribute, "n_assessors": len(names), "approximate": bool(cells.min() != cells.max())}
            | {"dropped": ", ".join(name for name, kept in zip(prototypes, whole, strict=True) if not kept)}
        )
        estimate = np.nan if rows[-1]["suppressed"] else model.factors[0]
        factors.append(pd.DataFrame({"attribute": attribute, "assessor": names, "estimate": estimate}))
    return rows, factors, why_not


def _one(own: VarianceTables, place: int, held: tuple[np.ndarray, ...], cells: Array) -> Scaling:
    df_error = own.df_error[place].sum()
    within = own.within[place][own.df_error[place] > 0].sum()
    error = within / df_error if df_error > 0 else np.nan
    harmonic = 1 / (1 / cells).mean()
    return scaling_model(own.means[place][held][None], np.array([harmonic]), np.array([error]), np.array([df_error]))


def _too_few(people: int, whole: int) -> str:
    if people < _FEWEST_ASSESSORS:
        return "fewer than two assessors scored it"
    scored = "1 prototype was" if whole == 1 else f"{whole} prototypes were"
    return f"only {scored} scored by every assessor; the scaling model needs {_FEWEST_PROTOTYPES}"


_SCALING_COLUMNS = [
    "attribute", "statistic", "df", "df_error", "p_value", "additive_statistic", "additive_df_error",
    "additive_p_value", "additive_p_adjusted", "scaling_statistic", "scaling_df", "scaling_p_value",
    "disagreement_statistic", "disagreement_df", "disagreement_p_value", "n_assessors", "n_prototypes", "approximate",
    "suppressed", "scaling_differs", "disagree",
]  # fmt: skip


def _row(model: Scaling, beside: pd.Series) -> dict[str, Any]:
    suppressed = not below(beside["p_adjusted"])
    return {
        "statistic": model.f_prototype[0],
        "df": float(model.df_prototype),
        "df_error": float(model.df_disagreement),
        "p_value": model.p_prototype[0],
        "additive_statistic": beside["statistic"],
        "additive_df_error": beside["df_error"],
        "additive_p_value": beside["p_value"],
        "additive_p_adjusted": beside["p_adjusted"],
        "scaling_statistic": model.f_scaling[0],
        "scaling_df": float(model.df_scaling),
        "scaling_p_value": model.p_scaling[0],
        "disagreement_statistic": model.f_disagreement[0],
        "disagreement_df": float(model.df_disagreement),
        "disagreement_p_value": model.p_disagreement[0],
        "n_prototypes": model.df_prototype + 1,
        "suppressed": suppressed,
        "scaling_differs": bool(below(model.p_scaling[0])) and not suppressed,
        "disagree": bool(below(model.p_disagreement[0])),
    }


def _with_changes(rows: pd.DataFrame, additive: pd.DataFrame) -> pd.DataFrame:
    """Return the rows with `p_adjusted changes`; what has no scaling model keeps its place in the family."""
    own = rows.set_index("attribute")["p_value"].reindex(additive.index).fillna(additive["p_value"])
    adjusted = serial_gatekeeping(own, additive["test_order"].fillna(np.inf))
    told = pd.Series(adjusted, additive.index).reindex(rows["attribute"]).to_numpy()
    return rows.assign(p_adjusted=told, changes=below(told) == rows["suppressed"].to_numpy(dtype=bool))


def _scaling_notes(rows: list[dict[str, Any]], missing: pd.DataFrame, words: Callable[[str], str]) -> Iterator[str]:
    for name, why in missing.itertuples(index=False):
        yield f"{words(name)} has no scaling model: {why}."
    for dropped in dict.fromkeys(row["dropped"] for row in rows if row["dropped"]):
        who = ", ".join(words(row["attribute"]) for row in rows if row["dropped"] == dropped)
        yield f"Not every assessor scored {dropped}: left out of the scaling model ({who})."
    uneven = [words(row["attribute"]) for row in rows if row["approximate"]]
    if uneven:
        yield (
            f"Cells hold different numbers of scores ({', '.join(uneven)}): every assessor's mean counts alike, and "
            "the tests of the scaling model are approximate."
        )
    if any(row["n_prototypes"] < 4 for row in rows):
        yield "With three prototypes the scaling model has few degrees of freedom left and can be the weaker test."
