"""Other ways to compare the prototypes: by ranks alone, and with use of the scale taken out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from panel.models.prototypes.ranks import FRIEDMAN, RankComparison, ScaleUse
from panel.models.prototypes.verdict import DIFFERS
from panel.study.naming import Naming
from panel.study.shown import ATTRIBUTE, Across, Source, Table, number, p_value, text
from panel.views.told import Told, drawer
from panel.words import all_of, format_list, format_number, p_after_holm, p_words

_ENDS = 2  # prototypes named at each end of the order

RANKS = Table(
    name="ranks",
    title="The order of the prototypes alone, beside the mixed model",
    rows="attributes",
    columns=(
        ATTRIBUTE,
        text("Test of the ranks", "method"),
        number("Statistic", "statistic", 2),
        p_value("p of the ranks, Holm", "p_adjusted"),
        number("Agreement (W)", "kendall_w", 2),
        p_value("Mixed model, p after Holm", "mixed_p_adjusted"),
    ),
    key=("attribute",),
    code="K",
    sources=(Source("scores", same={"attribute": "attribute"}),),
)


def tell_ranks(result: RankComparison, names: Naming) -> Told:
    """Return what is told of the order of the prototypes."""
    lines = [_line(row, result, names) for row in result.attributes.to_dict("records")]
    return Told(
        result,
        names,
        _headline(result, names),
        mind=_mind(result),
        table=RANKS,
        drawers=(drawer("Attribute by attribute", *lines, RANKS),),
        cannot=_CANNOT,
    )


_CANNOT = (
    "Ranks say in which order, never how far apart: a difference everybody can just feel ranks like a huge one.",
    "Ranks forget what repetitions say about an assessor's own scatter, and see less in a small panel than the "
    "mixed model does.",
    "They are a check of the mixed model that needs no equal steps on the scale. The sizes, intervals and verdicts "
    "are the mixed model's.",
)


def _mind(result: RankComparison) -> tuple[str, ...]:
    """Return what it may come from where only one of the two finds a difference."""
    ranks, mixed = (result.attributes[name] == DIFFERS for name in ("verdict", "mixed_verdict"))
    known = result.attributes["mixed_verdict"].notna()
    told = (
        (
            (known & mixed & ~ranks).any(),
            "Only the mixed model: the ranks see too little with so few assessors, or a few large scores make the "
            "difference. Look at the single assessors.",
        ),
        (
            (known & ranks & ~mixed).any(),
            "Only the ranks: the order is steady but the distances are not. Look for an assessor with a wide spread or "
            "an odd score.",
        ),
    )
    return tuple(words for there, words in told if there)


def _headline(result: RankComparison, names: Naming) -> str:
    """Return one sentence: on which attributes ranks and mixed model come to the same answer."""
    ranks, mixed = (result.attributes[name] == DIFFERS for name in ("verdict", "mixed_verdict"))
    known = result.attributes["mixed_verdict"].notna()
    only_ranks = _words(result.attributes.loc[known & ranks & ~mixed], names)
    only_mixed = _words(result.attributes.loc[known & mixed & ~ranks], names)
    total = int(known.sum())
    if not total:
        return "There is no answer of the mixed model to compare the ranks with."
    if not only_ranks and not only_mixed:
        return f"Ranks and mixed model agree on {all_of(total, 'attribute')}."
    parts = [f"Ranks and mixed model agree on {total - len(only_ranks) - len(only_mixed)} of {total} attributes."]
    if only_mixed:
        parts.append(f"Only the mixed model finds a difference on {format_list(only_mixed)}.")
    if only_ranks:
        parts.append(f"Only the ranks find a difference on {format_list(only_ranks)}.")
    return " ".join(parts)


def _line(row: Mapping[Any, Any], result: RankComparison, names: Naming) -> str:
    attribute, apart = str(row["attribute"]), row["verdict"] == DIFFERS
    found = "the ranks tell the prototypes apart" if apart else "the ranks show no difference"
    parts = [f"{names.attribute(attribute)}: {found} ({_test(row)})."]
    if apart:
        parts.append(_order(attribute, result))
    if row["agreement"]:
        parts.append(
            f"Agreement of the assessors on the order is {row['agreement']} (W {format_number(row['kendall_w'], 2)})."
        )
    if row["n_lost"]:
        parts.append(f"Lost for the ranks: {format_list(_lost(attribute, result))}.")
    if pd.notna(row["mixed_verdict"]):
        same = row["verdict"] == row["mixed_verdict"]
        answer = "says the same" if same else f"says otherwise ({p_after_holm(row['mixed_p_adjusted'])})"
        parts.append(f"The mixed model {answer}.")
    return " ".join(parts)


def _test(row: Mapping[Any, Any]) -> str:
    exact = f"{'exact' if row['exact'] else 'approximate'} " if row["method"] == FRIEDMAN else ""
    statistic = format_number(row["statistic"], 1)
    return f"{row['method']}, chi-square {statistic}, {exact}{p_after_holm(row['p_adjusted'])}"


def _order(attribute: str, result: RankComparison) -> str:
    own = result.mean_ranks.loc[result.mean_ranks["attribute"] == attribute].sort_values(
        "mean_rank", ascending=False, kind="stable"
    )
    ordered = [str(name) for name in own["prototype"]]
    if len(ordered) <= 2 * _ENDS:
        return f"From high to low: {', '.join(ordered)}."
    return f"Ranked high: {format_list(ordered[:_ENDS])}; low: {format_list(ordered[-_ENDS:])}."


def _lost(attribute: str, result: RankComparison) -> list[str]:
    gaps = result.gaps
    return [str(name) for name in gaps.loc[(gaps["attribute"] == attribute) & gaps["lost"], "assessor"]]


def _words(rows: pd.DataFrame, names: Naming) -> list[str]:
    return [names.attribute(str(name)) for name in rows["attribute"]]


SCALE_USE = Table(
    name="scale_use",
    title="Both models side by side",
    rows="attributes",
    columns=(
        *(ATTRIBUTE, number("F, as compared", "additive_statistic", 2)),
        p_value("Adjusted p, as compared", "additive_p_adjusted"),
        number("F, with use of the scale", "statistic", 2),
        p_value("Adjusted p, with use of the scale", "p_adjusted"),
        p_value("p, all use the scale alike", "scaling_p_value"),
        p_value("p, all see the same differences", "disagreement_p_value"),
    ),
    key=("attribute",),
    code="U",
    sources=(Source("scores", same={"attribute": "attribute"}),),
)
_FACTORS = Table(
    name="scale_factors",
    title="How much of the scale each assessor uses, 1 being the panel's mean",
    rows="factors",
    columns=(ATTRIBUTE,),
    key=("attribute", "assessor"),
    across=Across("assessor", number("", "estimate", 2)),
)


def tell_scale_use(result: ScaleUse, names: Naming) -> Told:
    """Tell whether the differences stand when use of the scale is taken into account."""
    return Told(
        result,
        names,
        _scale_use_headline(result, names),
        table=SCALE_USE,
        drawers=(drawer("Attribute by attribute", *_scale_use_lines(result, names), SCALE_USE, _FACTORS),),
        cannot=(
            "It stands beside the comparison and never takes its place: choosing the model by its result would be "
            "choosing the result.",
            "Where the prototypes do not differ, use of the scale means nothing and is not shown.",
        ),
    )


def _scale_use_headline(result: ScaleUse, names: Naming) -> str:
    rows = result.attributes
    if rows.empty:
        return "Use of the scale cannot be taken into account on any attribute."
    changed = [names.attribute(str(name)) for name in rows.loc[rows["changes"], "attribute"]]
    if not changed:
        return "Correcting for use of the scale changes no answer."
    return (
        f"Correcting for use of the scale changes the answer on {format_list(changed)}: the result there hangs on how "
        "it is analysed."
    )


def _scale_use_lines(result: ScaleUse, names: Naming) -> list[str]:
    """Return one line for each attribute on which people use the scale, or see the prototypes, differently."""
    lines = []
    for row in result.attributes.to_dict("records"):
        parts = []
        if row["scaling_differs"]:
            parts.append(f"assessors use the scale differently ({p_words(row['scaling_p_value'])})")
        if row["disagree"]:
            parts.append(f"some see other differences than the rest ({p_words(row['disagreement_p_value'])})")
        if parts:
            before, after = format_number(row["additive_statistic"]), format_number(row["statistic"])
            told = f"{names.attribute(str(row['attribute']))}: {format_list(parts)}; F is {before} as compared"
            lines.append(f"{told}, {after} with it.")
    return lines
