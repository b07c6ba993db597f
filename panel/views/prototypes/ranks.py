"""What the order of the prototypes says, one plain line per attribute, and whether the mixed model agrees."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from panel.models.prototypes.ranks import DURBIN, FRIEDMAN, RankComparison
from panel.stats.comparing.multiplicity import below
from panel.study.naming import Naming
from panel.words import format_list, format_number, p_after_holm

# Lowest W for each word: common practice, no source.
_AGREEMENT = ((0.7, "strong"), (0.4, "fair"), (0.0, "weak"))
_ENDS = 2  # prototypes named at each end of the order


def do_both_agree(result: RankComparison, names: Naming) -> str:
    """Return one sentence: on which attributes ranks and mixed model come to the same answer."""
    ranks, mixed = _apart(result, "p_adjusted"), _apart(result, "mixed_p_adjusted")
    known = result.attributes["mixed_p_adjusted"].notna()
    only_ranks = _words(result.attributes.loc[known & ranks & ~mixed], names)
    only_mixed = _words(result.attributes.loc[known & mixed & ~ranks], names)
    total = int(known.sum())
    if not total:
        return "There is no answer of the mixed model to compare the ranks with."
    if not only_ranks and not only_mixed:
        where = "the attribute" if total == 1 else f"all {total} attributes"
        return f"Ranks and mixed model agree on {where}."
    parts = [f"Ranks and mixed model agree on {total - len(only_ranks) - len(only_mixed)} of {total} attributes."]
    if only_mixed:
        parts.append(
            f"Only the mixed model finds a difference on {format_list(only_mixed)}: either the ranks see too little "
            "with so few assessors, or a few large scores make the difference. Look at the single assessors."
        )
    if only_ranks:
        parts.append(
            f"Only the ranks find a difference on {format_list(only_ranks)}: the order is steady but the distances "
            "are not. Look for an assessor with a wide spread or an odd score."
        )
    return " ".join(parts)


def what_the_ranks_show(result: RankComparison, names: Naming) -> list[str]:
    """Return one plain line per attribute, in the order of the study."""
    return [_line(row, result, names) for row in result.attributes.to_dict("records")]


def what_the_ranks_cannot_show(result: RankComparison) -> tuple[str, ...]:
    """Return what a reader must not take from ranks."""
    return (
        "Ranks say in which order, never how far apart: a difference everybody can just feel ranks like a huge one.",
        "Ranks forget what repetitions say about an assessor's own scatter, and see less in a small panel than the "
        "mixed model does.",
        "They are a check of the mixed model that needs no equal steps on the scale. The sizes, intervals and verdicts "
        "are the mixed model's.",
    )


def _line(row: Mapping[Any, Any], result: RankComparison, names: Naming) -> str:
    attribute, apart = str(row["attribute"]), bool(below(row["p_adjusted"], 1 - result.level))
    found = "the ranks tell the prototypes apart" if apart else "the ranks show no difference"
    parts = [f"{names.attribute(attribute)}: {found} ({_test(row)})."]
    if apart:
        parts.append(_order(attribute, result))
    if np.isfinite(row["kendall_w"]):
        words = next(text for least, text in _AGREEMENT if row["kendall_w"] >= least)
        parts.append(f"Agreement of the assessors on the order is {words} (W {format_number(row['kendall_w'], 2)}).")
    if row["n_lost"]:
        parts.append(f"Lost for the ranks: {format_list(_lost(attribute, result))}.")
    if np.isfinite(row["mixed_p_adjusted"]):
        same = apart == bool(below(row["mixed_p_adjusted"], 1 - result.level))
        answer = "says the same" if same else f"says otherwise ({p_after_holm(row['mixed_p_adjusted'])})"
        parts.append(f"The mixed model {answer}.")
    return " ".join(parts)


def _test(row: Mapping[Any, Any]) -> str:
    """Return the name of the test, its statistic and its p-value."""
    letter = "F" if row["method"] == DURBIN else "chi-square"
    exact = f"{'exact' if row['exact'] else 'approximate'} " if row["method"] == FRIEDMAN else ""
    statistic = format_number(row["statistic"], 1)
    return f"{row['method']}, {letter} {statistic}, {exact}{p_after_holm(row['p_adjusted'])}"


def _order(attribute: str, result: RankComparison) -> str:
    """Return the prototypes at both ends of the order."""
    own = result.rank_sums.loc[result.rank_sums["attribute"] == attribute].sort_values(
        "mean_rank", ascending=False, kind="stable"
    )
    ordered = [str(name) for name in own["prototype"]]
    if len(ordered) <= 2 * _ENDS:
        return f"From high to low: {', '.join(ordered)}."
    return f"Ranked high: {format_list(ordered[:_ENDS])}; low: {format_list(ordered[-_ENDS:])}."


def _lost(attribute: str, result: RankComparison) -> list[str]:
    gaps = result.gaps
    return [str(name) for name in gaps.loc[(gaps["attribute"] == attribute) & gaps["lost"], "assessor"]]


def _apart(result: RankComparison, column: str) -> pd.Series:
    return pd.Series(below(result.attributes[column], 1 - result.level), index=result.attributes.index)


def _words(rows: pd.DataFrame, names: Naming) -> list[str]:
    return [names.attribute(str(name)) for name in rows["attribute"]]
