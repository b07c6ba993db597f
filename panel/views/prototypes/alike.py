"""What was planned beforehand, what is alike within the margin, and what is not worse: in sentences and tables."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from panel import words
from panel.models.prototypes import alike
from panel.models.prototypes.verdict import EQUIVALENT, WOULD_BE
from panel.study import shown
from panel.study.naming import Naming
from panel.views.told import Told, drawer


def _not_worse(row: Mapping[str, Any], about: shown.Shown) -> str:
    """Return whether it is worse, and the worst that is still credible."""
    if row["not_worse"] == alike.NO_DIRECTION:
        return words.NOTHING
    return f"{row['not_worse']} ({words.format_change(row['bound'], about.names.digits_of(row['attribute']))} at worst)"


_ALIKE = shown.Table(
    name="alike",
    title="Two one-sided tests of each difference against the margin",
    rows="differences",
    columns=(
        *(shown.ATTRIBUTE, shown.PROTOTYPE, shown.VERSUS, shown.change("Difference", digits=shown.SCALE)),
        shown.deciding("deciding_low", "deciding_high", "deciding_level", "Interval that decides likeness"),
        shown.p_value("p for likeness", "p_adjusted"),
        shown.text("Alike?", "verdict"),
        shown.each_row("Not worse?", _not_worse, "not_worse"),
    ),
    key=("attribute", "prototype", "versus"),
)
_PLANNED_ONES = shown.Table(
    name="planned_differences",
    title="Differences planned beforehand",
    rows="differences",
    columns=(
        *(shown.ATTRIBUTE, shown.PROTOTYPE, shown.VERSUS, shown.change("Difference"), shown.deciding()),
        *(shown.p_value("p, alone", "p_value"), shown.P_HOLM, shown.VERDICT),
    ),
    key=("attribute", "prototype", "versus"),
)


def tell_alike(result: alike.Alike, names: Naming) -> Told:
    """Return which differences are shown to lie within the margin, and which prototypes are not worse."""
    there = len(result.differences) > 0
    return Told(
        result,
        names,
        _alike_headline(result),
        table=_ALIKE if there else None,
        drawers=(drawer("Prototype by prototype", *_alike_lines(result, names), *([_ALIKE] if there else [])),),
        cannot=_alike_cannot(result),
    )


def tell_planned(result: alike.PlannedDifferences, names: Naming) -> Told:
    """Return which of the differences planned beforehand are shown."""
    rows = result.differences
    lines = [_planned_line(row, names) for row in rows.to_dict("records")]
    return Told(
        result,
        names,
        _planned_headline(result),
        table=_PLANNED_ONES if len(rows) else None,
        drawers=(drawer("One by one", *lines, *([_PLANNED_ONES] if len(rows) else [])),),
        cannot=("Not shown does not mean equal. To show that two are alike, set a margin.",),
    )


def _alike_headline(result: alike.Alike) -> str:
    """Return in one sentence for how many differences it is shown that they lie within the margin."""
    rows = result.differences
    if rows.empty:
        return result.notes[0] if result.notes else "There is nothing to compare."
    within = int(rows["verdict"].isin([EQUIVALENT, WOULD_BE]).sum())
    beyond = int((rows["verdict"] == alike.BEYOND).sum())
    sizes = rows["margin"].unique()
    margin = words.scale_units(float(sizes[0])) if len(sizes) == 1 else "the margin of its attribute"
    limits = f"within {margin} either way"
    if within and not result.margin_stated:
        return (
            f"{within} of {len(rows)} differences would be alike, {limits}. The margin was typed in after the "
            "scores, so nothing is shown."
        )
    if len(rows) == 1:
        if within or beyond:
            return f"The difference is shown to lie {limits if within else f'beyond {margin}'}."
        return f"The difference is not shown to lie {limits}. That does not show that it lies beyond."
    if not within:
        told = f"Not one of {len(rows)} differences, adjusted over all of them (Holm), is shown to lie {limits}"
        return (
            f"{told}; {beyond} {'is' if beyond == 1 else 'are'} shown to lie beyond."
            if beyond
            else f"{told}. That does not show that they lie beyond."
        )
    seen = f"{within} of {len(rows)} differences {'is' if within == 1 else 'are'} shown to lie {limits}"
    return f"{seen}, adjusted over all of them (Holm)."


def _alike_lines(result: alike.Alike, names: Naming) -> list[str]:
    """Return one line for each pair of prototypes: on what it is alike, not worse, or beyond the margin."""
    lines = []
    for (prototype, versus), rows in result.differences.groupby(["prototype", "versus"], sort=False):
        parts = [
            _told(rows, "verdict", EQUIVALENT, f"alike with {versus} on", names),
            _told(rows, "verdict", WOULD_BE, f"would be within the margin of {versus} on", names),
            _told(rows, "verdict", alike.BEYOND, "further apart than the margin on", names),
            _told(rows, "not_worse", alike.NOT_WORSE, "not worse on", names),
            _told(rows, "not_worse", alike.WORSE, "worse by more than the margin on", names),
        ]
        told = "; ".join(part for part in parts if part)
        lines.append(f"{prototype}: {told}." if told else f"{prototype}: nothing is shown against {versus}.")
    return lines


def _told(rows: pd.DataFrame, column: str, verdict: str, said: str, names: Naming) -> str:
    chosen = rows.loc[rows[column] == verdict, "attribute"]
    if chosen.empty:
        return ""
    if len(chosen) == len(rows) > 1:
        return f"{said} {words.all_of(len(rows), 'attribute')}"
    return f"{said} {words.format_list([names.attribute(str(name)) for name in chosen])}"


def _alike_cannot(result: alike.Alike) -> tuple[str, ...]:
    set_when = (
        "The margin is the one the study states; nothing here shows that it was written before the scores were seen."
        if result.margin_stated
        else "This margin was typed in, not stated by the study: chosen with the scores in sight it proves nothing."
    )
    return (
        "'Not shown' is no verdict of difference: too small a panel shows neither difference nor likeness.",
        "Alike for these trained assessors is not alike for consumers: a claim of parity needs many more people.",
        *([set_when] if len(result.differences) else []),
    )


def _planned_headline(result: alike.PlannedDifferences) -> str:
    planned = result.differences
    if planned.empty:
        return "The study states no difference that was planned beforehand."
    told = int((planned["verdict"] == alike.SHOWN).sum())
    total = len(planned)
    if total == 1:
        return f"The one difference planned beforehand {'is shown' if told else 'is not shown'}."
    seen = {0: "None", total: f"All {total}"}.get(told, f"{told} of {total}")
    if seen == "None":
        return f"None of the {total} differences planned beforehand is shown. That does not show that there is none."
    verb = "is" if told == 1 else "are"
    return f"{seen} differences planned beforehand {verb} shown."


def _planned_line(row: Mapping[Any, Any], names: Naming) -> str:
    attribute = str(row["attribute"])
    interval = f"{words.level_words(row['told_level'])} {names.interval(attribute, row['told_low'], row['told_high'])}"
    return (
        f"{names.attribute(attribute)}: {row['prototype']} minus {row['versus']} is "
        f"{names.change(attribute, row['estimate'])} ({interval}; "
        f"{words.p_after_holm(row['p_adjusted'])}), {row['verdict']}."
    )


SMALLEST = shown.Table(
    name="smallest_differences",
    title=f"Smallest true difference seen with probability {alike.POWER:g}",
    rows="medians",
    columns=(shown.attribute_column("Attribute{scale}"),),
    key=("attribute", "family"),
    across=shown.Across(
        "family", shown.number("", "smallest_difference", shown.SCALE), lambda family, _: words.capital(str(family))
    ),
    code="Z",
    sources=(shown.Source("scores", same={"attribute": "attribute"}),),
)


def tell_sensitivity(result: alike.Sensitivity, names: Naming) -> Told:
    """Return what this panel could have seen."""
    rows = result.medians.loc[result.medians["family"].str.startswith("all pairs")]
    ends = rows.loc[[rows["smallest_difference"].idxmin(), rows["smallest_difference"].idxmax()]]
    low, high = map(names.number, ends["attribute"], ends["smallest_difference"])
    told = f"With {words.format_share(alike.POWER)} probability this panel shows a true difference of {low} on "
    one = names.attribute(str(rows["attribute"].iloc[0])) if len(rows) == 1 else ""
    return Told(
        result,
        names,
        f"{told}{one or f'the attribute it sees best, of {high} on the one it sees worst, each tested alone'}.",
        table=SMALLEST,
        drawers=(drawer("Attribute by attribute", SMALLEST),),
    )
