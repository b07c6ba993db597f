"""What the differences between prototypes say, one plain line per attribute, and what they cannot say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from panel.models.prototypes.differences import Differences
from panel.models.prototypes.sensitivity import Sensitivity
from panel.models.prototypes.verdict import ALIKE, CANNOT_TELL, DIFFERS, WOULD_BE, WOULD_BE_SMALL
from panel.study.naming import Naming
from panel.views.drawing.interval_picture import interval_figure, marker_legend, needed_limits
from panel.views.drawing.pictures import COLOURS, GREY, INK, MOST_COLOURED, STAGES, markers, svg_text
from panel.words import (
    MINUS,
    format_change,
    format_interval,
    format_list,
    format_number,
    format_p,
    p_after_holm,
    p_words,
)

_CLEAREST = 3  # pairs named in one line; the table has them all


def what_the_differences_show(result: Differences, names: Naming) -> list[str]:
    """Return one plain line per attribute, in the order of the study, from the numbers of `result`."""
    return [_line(row, result, names) for row in result.attributes.to_dict("records")]


def headline(result: Differences, names: Naming) -> str:
    """Return the answer in one sentence: on how many attributes the prototypes differ, and on which not."""
    apart = result.attributes["verdict"] == DIFFERS
    total, differing = len(apart), int(apart.sum())
    open_ones = [names.attribute(str(name)) for name in result.attributes.loc[~apart, "attribute"]]
    if differing == total:
        return f"The prototypes differ on {'the attribute' if total == 1 else f'all {total} attributes'}."
    if not differing:
        return "On no attribute can the prototypes be told apart. That does not show that they are alike."
    return f"The prototypes differ on {differing} of {total} attributes; not told apart on {format_list(open_ones)}."


def _line(row: Mapping[Any, Any], result: Differences, names: Naming) -> str:
    attribute = str(row["attribute"])
    words = names.attribute(attribute)
    test = f"F {format_number(row['statistic'], 1)}, {p_after_holm(row['p_adjusted'])}"
    if row["because"]:
        return f"{words}: cannot tell ({test}); {row['because']}."
    if row["verdict"] != DIFFERS:
        return f"{words}: no difference shown ({test}). {_seen_at_best(attribute, result, names)}"
    source = result.versus if result.benchmark in set(result.means["prototype"]) else result.pairs
    source = source.loc[source["attribute"] == attribute]
    told = source.loc[source["verdict"] == DIFFERS]
    alike = source.loc[source["verdict"] == ALIKE]
    would = source.loc[source["said"].str.startswith((WOULD_BE, WOULD_BE_SMALL))]
    against = f" than {result.benchmark}" if result.benchmark else ""
    parts = [f"{words}: the prototypes differ ({test})."]
    if result.benchmark:
        parts += _sides(told, against)
    else:
        parts += _clearest_pairs(told, names)
    if len(told) == 0:
        parts.append(f"No single difference{f' from {result.benchmark}' if result.benchmark else ''} stands out alone.")
    of_benchmark = f" of {result.benchmark}" if result.benchmark else ""
    for words_of, rows in (("Within the margin", alike), ("Would be within the margin", would)):
        if len(rows):
            parts.append(f"{words_of}{of_benchmark}: {format_list(_in_intervals(rows, result, names))}.")
    return " ".join(parts)


def _in_intervals(rows: pd.DataFrame, result: Differences, names: Naming) -> list[str]:
    """Return who is alike, each with the interval that decides it."""
    return [
        f"{row['prototype']}{'' if result.benchmark else ' and ' + row['versus']} ({100 * row['alike_level']:.3g} % "
        f"interval {format_interval(row['alike_low'], row['alike_high'], names.digits)})"
        for row in rows.to_dict("records")
    ]


def _sides(told: pd.DataFrame, against: str) -> list[str]:
    """Return who scores higher and who lower than the benchmark."""
    sides = []
    for word, rows in (("Higher", told[told["estimate"] > 0]), ("Lower", told[told["estimate"] < 0])):
        if len(rows):
            ordered = rows.reindex(rows["estimate"].abs().sort_values(ascending=False).index)
            sides.append(f"{word}{against}: {format_list([str(name) for name in ordered['prototype']])}.")
    return sides


def _clearest_pairs(told: pd.DataFrame, names: Naming) -> list[str]:
    """Return the widest of the differences told apart, as higher over lower."""
    if told.empty:
        return []
    widest = told.reindex(told["estimate"].abs().sort_values(ascending=False).index).head(_CLEAREST)
    ends = zip(widest["prototype"], widest["versus"], widest["estimate"], strict=True)
    pairs = [
        f"{first if size > 0 else second} above {second if size > 0 else first} "
        f"by {format_number(abs(size), names.digits)}"
        for first, second, size in ends
    ]
    rest = len(told) - len(pairs)
    return [f"Widest: {format_list(pairs)}{f'; {rest} more pairs told apart' if rest else ''}."]


def _seen_at_best(attribute: str, result: Differences, names: Naming) -> str:
    """Return what size of difference would have stood out, from the intervals of this very panel."""
    pairs = result.pairs.loc[result.pairs["attribute"] == attribute]
    half = float(((pairs["ci_high"] - pairs["ci_low"]) / 2).median())
    return f"Two prototypes would have to lie about {format_number(half, names.digits)} apart to be told apart here."


def what_the_differences_cannot_show(result: Differences) -> tuple[str, ...]:
    """Return what a reader must not take from these numbers."""
    if result.margin is not None and not result.margin_stated:
        margin = (
            f"The margin of {format_number(result.margin, 1)} was typed in after the scores: it shows nothing, and "
            "tells only what would lie within it. State it in the study before the next test."
        )
    else:
        margin = _margin_words(result)
    return (
        "They say how these assessors perceive these batches, not how consumers like them.",
        "With one batch of a prototype nothing shows whether another batch would come out the same."
        if result.confounds.one_batch(*dict.fromkeys(result.means["prototype"]))
        else "Each prototype was scored from two batches or more; what differs between batches is in the intervals.",
        "'Not told apart' is not 'the same': that needs a margin and an interval within it.",
        margin,
    )


def _margin_words(result: Differences) -> str:
    return (
        f"A difference up to {format_number(result.margin, 1)} is taken as too small to matter; that margin was set by "
        "people, not by the data."
        if result.margin is not None
        else "No margin was set, so the differences are not judged as large or small. Set the smallest difference that "
        "matters before the next test."
    )


# Differences, means and the map as tables a person reads: rounded, in words, with units.


def means_table(means: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and one column per prototype: mean and, where given, its letters."""
    letters = means["letters"] if "letters" in means else pd.Series("", index=means.index)
    cells = [
        f"{format_number(estimate, names.digits)} {letter}".strip()
        for estimate, letter in zip(means["estimate"], letters, strict=True)
    ]
    written = dict(zip(zip(means["attribute"], means["prototype"], strict=True), cells, strict=True))
    prototypes = list(dict.fromkeys(means["prototype"]))
    rows = [
        [names.attribute(attribute), *(written.get((attribute, prototype), "–") for prototype in prototypes)]
        for attribute in dict.fromkeys(means["attribute"])
    ]
    return pd.DataFrame(rows, columns=[_means_heading(names), *prototypes], dtype="str")


def mean_intervals_table(means: pd.DataFrame, names: Naming, level: float = 0.95) -> pd.DataFrame:
    """Return one row per attribute and prototype: mean, standard error, interval, letters where given."""
    table = {
        "Attribute": _attributes(means, names),
        "Prototype": list(means["prototype"]),
        names.with_scale("Mean"): _numbers(means["estimate"], names.digits),
        "Standard error": _numbers(means["std_error"], names.digits + 1),
        _interval_heading(level): _intervals(means, names.digits),
    }
    if "letters" in means:
        table["Not told apart if they share a letter"] = list(means["letters"])
    return pd.DataFrame(table, dtype="str")


def pairs_table(pairs: pd.DataFrame, names: Naming, level: float = 0.95) -> pd.DataFrame:
    """Return one row per difference: estimate, interval, adjusted p-value and, where given, the verdict."""
    table = {
        "Attribute": _attributes(pairs, names),
        "Prototype": list(pairs["prototype"]),
        "Compared with": list(pairs["versus"]),
        "Difference (scale units)": [format_change(value, names.digits) for value in pairs["estimate"]],
        _interval_heading(level): _intervals(pairs, names.digits),
        "p, adjusted": [format_p(value) for value in pairs["p_adjusted"]],
    }
    if "said" in pairs:
        table["In words"] = list(pairs["said"])
    return pd.DataFrame(table, dtype="str")


def attributes_table(attributes: pd.DataFrame, names: Naming, level: float = 0.95) -> pd.DataFrame:
    """Return one row per attribute: the F test that no prototype differs, and what it says."""
    return pd.DataFrame(
        {
            "Attribute": _attributes(attributes, names),
            "Stage": [names.stage(str(name)) or "–" for name in attributes["attribute"]],
            "F": _numbers(attributes["statistic"], 2),
            "Degrees of freedom": [
                f"{format_number(df, 0)}; {format_number(df_error, 1)}"
                for df, df_error in zip(attributes["df"], attributes["df_error"], strict=True)
            ],
            "p": [format_p(value) for value in attributes["p_value"]],
            "p after Holm": [format_p(value) for value in attributes["p_adjusted"]],
            "Do prototypes differ?": [
                "–" if np.isnan(value) else "yes" if verdict == DIFFERS else CANNOT_TELL
                for value, verdict in zip(attributes["p_adjusted"], attributes["verdict"], strict=True)
            ],
        },
        dtype="str",
    )


def variances_table(variances: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: how much scores scatter, and why, as standard deviations in scale units."""
    headings = {
        "assessor": "Assessors use other levels",
        "assessor_prototype": "Assessors see prototypes differently",
        "session": "An assessor's level changes between sessions",
        "residual": "Left over",
    }
    columns = {
        f"{heading} (scale units)": [
            format_number(np.sqrt(value) if value >= 0 else float("nan"), names.digits) for value in variances[column]
        ]
        for column, heading in headings.items()
        if column in variances
    }
    return pd.DataFrame({"Attribute": _attributes(variances, names)} | columns, dtype="str")


def _attributes(frame: pd.DataFrame, names: Naming) -> list[str]:
    return [names.attribute(str(name)) for name in frame["attribute"]]


def _numbers(values: pd.Series, digits: int) -> list[str]:
    return [format_number(value, digits) for value in values]


def _intervals(frame: pd.DataFrame, digits: int) -> list[str]:
    ends = zip(frame["ci_low"], frame["ci_high"], strict=True)
    return [format_interval(low, high, digits) for low, high in ends]


def _means_heading(names: Naming) -> str:
    return f"Attribute (means, {names.scale})" if names.scale else "Attribute (means)"


def _interval_heading(level: float) -> str:
    return f"{100 * level:g} % interval"


# How small a difference could this panel have seen, as a table and in words.


def smallest_difference_table(result: Sensitivity, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and one column per family: the smallest true difference likely to be seen."""
    medians = result.medians
    wide = medians.pivot_table(index="attribute", columns="family", values="smallest_difference", sort=False)
    cells = {
        f"{str(family)[0].upper()}{str(family)[1:]}": [format_number(value, names.digits) for value in wide[family]]
        for family in wide.columns
    }
    attributes = [names.attribute(str(attribute)) for attribute in wide.index]
    return pd.DataFrame({names.with_scale("Attribute"): attributes} | cells, dtype="str")


def what_could_have_been_seen(result: Sensitivity, names: Naming) -> str:
    """Return the range over the attributes, in one sentence, for all pairs."""
    rows = result.medians.loc[result.medians["family"].str.startswith("all pairs")]
    low, high = rows["smallest_difference"].min(), rows["smallest_difference"].max()
    return (
        f"With {100 * result.power:.0f} % probability this panel shows a true difference between two prototypes of "
        f"{format_number(low, names.digits)} or more on the attribute it sees best, and of "
        f"{format_number(high, names.digits)} or more on the one it sees worst."
    )


# Differences between prototypes with their intervals, as a picture.


_LINE = 0.24  # inches for one difference
_X_TITLE = "Difference with its interval; adjusted p-value at the right"
_MARGIN_COLOUR = "#e8eef2"


def difference_rows(differences: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return what the picture draws: the differences given, with `label remark clear y`.

    The label names what is not the same for all rows: the attribute, the two prototypes, or both. `clear` is True
    where the interval leaves zero out. Rows of one attribute come largest difference first, otherwise in order.
    """
    rows = differences.dropna(subset=["estimate"])
    one_attribute = len(set(rows["attribute"])) <= 1
    one_pair = rows[["prototype", "versus"]].drop_duplicates().shape[0] <= 1
    if one_attribute and not one_pair:
        rows = rows.sort_values("estimate", ascending=False, kind="stable")
    labels = []
    for row in rows.to_dict("records"):
        attribute, pair = names.attribute(row["attribute"]), _pair(row["prototype"], row["versus"])
        labels.append(attribute if one_pair else pair if one_attribute else f"{attribute}: {pair}")
    remarks = [p_words(p_value) for p_value in rows["p_adjusted"]]
    clear = (rows["ci_low"] > 0) | (rows["ci_high"] < 0)
    y = _LINE * (np.arange(len(rows)) + 0.75)
    return rows.assign(label=labels, remark=remarks, clear=clear, y=y).reset_index(drop=True)


def difference_figure(differences: pd.DataFrame, names: Naming, *, margin: float | None = None) -> Figure:
    """Return a line for each difference: filled where its interval leaves zero out, hollow where it does not.

    Parameters
    ----------
    differences
        `attribute prototype versus estimate ci_low ci_high p_adjusted`, the rows to be shown.
    margin
        Largest difference that does not matter; drawn as a band around zero.
    """
    rows = difference_rows(differences, names)
    rows = rows.assign(colour=np.where(rows["clear"], COLOURS[0], GREY), shape="o", filled=rows["clear"])
    ends = (0.0, margin, -margin) if margin is not None else (0.0,)
    figure, axes = interval_figure(
        rows,
        _LINE * (len(rows) + 0.5),
        list(zip(rows["y"], rows["label"], strict=True)),
        remarks=list(zip(rows["y"], rows["remark"], strict=True)),
        limits=needed_limits(rows, *ends),
        title=_title(rows, names),
        x_title=_X_TITLE + (f" (shaded: within ±{margin:g})" if margin is not None else ""),
    )
    if margin is not None:
        axes.axvspan(-margin, margin, color=_MARGIN_COLOUR, zorder=0)
    axes.axvline(0, color=INK, linewidth=1.0, zorder=1)
    return figure


def difference_svg(
    differences: pd.DataFrame, names: Naming, *, margin: float | None = None, text_as_paths: bool = True
) -> str:
    """Return the picture of the differences as SVG text."""
    rows = difference_rows(differences, names)
    heard = "; ".join(
        f"{row['label']} {format_number(row['estimate'], names.digits)}"
        f" ({format_interval(row['ci_low'], row['ci_high'], names.digits)})"
        for row in rows.to_dict("records")
    )
    return svg_text(
        difference_figure(differences, names, margin=margin),
        title=_title(rows, names) or "Differences",
        description=f"Differences with intervals: {heard}.",
        text_as_paths=text_as_paths,
    )


def _pair(prototype: str, versus: str) -> str:
    return f"{prototype} {MINUS} {versus}"


def _title(rows: pd.DataFrame, names: Naming) -> str:
    """Say once what is the same for every row."""
    if rows.empty:
        return ""
    parts = []
    if len(set(rows["attribute"])) == 1:
        parts.append(names.attribute(str(rows["attribute"].iloc[0])))
    if rows[["prototype", "versus"]].drop_duplicates().shape[0] == 1:
        parts.append(_pair(rows["prototype"].iloc[0], rows["versus"].iloc[0]))
    return ", ".join(parts)


# Profiles: estimated means of chosen prototypes with their intervals, attribute by attribute.


# Inches: one prototype's line, free room between attributes, a stage's heading.
_PROFILES_LINE, _BETWEEN, _HEADING = 0.13, 0.14, 0.24

PROFILE_CAUTION = (
    "The interval of a mean holds how assessors differ in level. Two intervals that overlap can belong to"
    " prototypes that clearly differ: compare prototypes by their differences."
)


def profile_rows(means: pd.DataFrame, names: Naming, chosen: Sequence[str] = ()) -> pd.DataFrame:
    """Return what the profile draws: `attribute label stage prototype estimate ci_low ci_high y`.

    `y` counts inches from the top. Attributes come stage by stage in the order of use, prototypes in the order of
    `chosen`; without a choice the first seven prototypes. Means that are not there have no row.
    """
    shown = _shown(means, chosen)
    rows = means[means["prototype"].isin(shown)].dropna(subset=["estimate"])
    middles, _ = _places(rows, names, len(shown))
    step = {prototype: (place - (len(shown) - 1) / 2) * _PROFILES_LINE for place, prototype in enumerate(shown)}
    rows = rows.assign(
        label=[names.attribute(str(name)) for name in rows["attribute"]],
        stage=[names.stage(str(name)) for name in rows["attribute"]],
        y=rows["attribute"].map(middles).astype("float64") + rows["prototype"].map(step).astype("float64"),
    )
    columns = ["attribute", "label", "stage", "prototype", "estimate", "ci_low", "ci_high", "y"]
    return rows[columns].sort_values("y", ignore_index=True)


def profile_figure(
    means: pd.DataFrame,
    names: Naming,
    chosen: Sequence[str] = (),
    *,
    limits: tuple[float, float] | None = None,
) -> Figure:
    """Return the profile of the chosen prototypes, seven at the most.

    Parameters
    ----------
    means
        `attribute prototype estimate ci_low ci_high`.
    limits
        Ends of the scale; by default what the intervals need.
    """
    shown = _shown(means, chosen)
    rows = profile_rows(means, names, shown)
    middles, headings = _places(rows, names, len(shown))
    drawn = markers(shown)
    rows = rows.assign(
        colour=[drawn[str(name)].colour for name in rows["prototype"]],
        shape=[drawn[str(name)].shape for name in rows["prototype"]],
        filled=True,
    )
    depth = max(middles.values(), default=0.0) + (_PROFILES_LINE * len(shown) + _BETWEEN) / 2
    figure, axes = interval_figure(
        rows,
        depth,
        [(y, names.attribute(attribute)) for attribute, y in middles.items()],
        headings=headings,
        limits=limits or needed_limits(rows),
        x_title=names.with_scale("Estimated mean with its interval"),
    )
    marker_legend(axes, drawn)
    return figure


def profile_svg(
    means: pd.DataFrame,
    names: Naming,
    chosen: Sequence[str] = (),
    *,
    limits: tuple[float, float] | None = None,
    text_as_paths: bool = True,
) -> str:
    """Return the profile as SVG text."""
    shown = ", ".join(_shown(means, chosen))
    return svg_text(
        profile_figure(means, names, chosen, limits=limits),
        title="Profile of estimated means",
        description=f"Estimated means of {shown} with intervals, attribute by attribute; the table holds the numbers.",
        text_as_paths=text_as_paths,
    )


def _shown(means: pd.DataFrame, chosen: Sequence[str]) -> list[str]:
    scored = [str(name) for name in dict.fromkeys(means["prototype"])]
    return [name for name in (chosen or scored) if name in scored][:MOST_COLOURED]


def _places(rows: pd.DataFrame, names: Naming, lines: int) -> tuple[dict[str, float], list[tuple[float, str]]]:
    """Return the height of each attribute and of each stage's heading, in inches from the top."""
    order = {stage: place for place, stage in enumerate(STAGES)}
    attributes = [str(name) for name in dict.fromkeys(rows["attribute"])]
    attributes.sort(key=lambda name: order.get(names.stage(name), len(order)))
    middles: dict[str, float] = {}
    headings: list[tuple[float, str]] = []
    depth, stage = 0.0, ""
    for attribute in attributes:
        if names.stage(attribute) != stage:
            stage = names.stage(attribute)
            headings.append((depth + _HEADING / 2, stage or "other"))
            depth += _HEADING
        middles[attribute] = depth + (_PROFILES_LINE * lines + _BETWEEN) / 2
        depth += _PROFILES_LINE * lines + _BETWEEN
    return middles, headings
