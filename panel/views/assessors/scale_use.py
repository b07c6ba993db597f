"""Do the differences stand when each assessor's use of the scale is taken out? And without the changed scores?"""

from __future__ import annotations

from panel.models.prototypes.scale_use import ScaleUse
from panel.study.naming import Naming
from panel.study.shown import ATTRIBUTE, Across, Source, Table, number, p_value
from panel.views.told import Told, drawer
from panel.words import counted, format_list, format_number, p_words

SCALE_USE = Table(
    name="scale_use",
    title="Both models side by side",
    rows="attributes",
    columns=(
        *(ATTRIBUTE, number("F, as compared", "additive_statistic", 2), p_value("p, as compared", "additive_p_value")),
        number("F, with use of the scale", "statistic", 2),
        p_value("p, with use of the scale", "p_value"),
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
_HEADINGS = {True: "As analysed", False: "With every score as it came in"}


def tell_scale_use(result: ScaleUse, names: Naming) -> Told:
    """Tell whether the differences stand when use of the scale is taken into account."""
    return Told(
        result,
        names,
        _headline(result, names),
        table=SCALE_USE,
        drawers=(drawer("Attribute by attribute", *_lines(result, names), SCALE_USE, _FACTORS),),
        cannot=(
            "It stands beside the comparison and never takes its place: choosing the model by its result would be "
            "choosing the result.",
            "Where the prototypes do not differ, use of the scale means nothing and is not shown.",
        ),
    )


def _headline(result: ScaleUse, names: Naming) -> str:
    rows = result.attributes
    if rows.empty:
        return "Use of the scale cannot be taken into account on any attribute."
    changed = [names.attribute(str(name)) for name in rows.loc[rows["changes"], "attribute"]]
    if not changed:
        return f"Correcting for use of the scale changes none of {counted(len(rows), 'answer')}."
    return (
        f"Correcting for use of the scale changes the answer on {format_list(changed)}: the result there hangs on how "
        "it is analysed."
    )


def _lines(result: ScaleUse, names: Naming) -> list[str]:
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
