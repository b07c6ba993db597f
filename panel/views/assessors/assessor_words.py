"""What the panel check says of each person, in plain sentences made from the numbers shown beside them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from panel.models.assessors import performance
from panel.models.assessors.performance import EVERYBODY, PanelCheck
from panel.models.prototypes.scale_use import ScaleUse
from panel.study.naming import Naming
from panel.words import (
    NOTHING,
    format_change,
    format_interval,
    format_list,
    format_number,
    format_p,
    format_share,
    p_words,
)

JUDGED = {performance.RETRAIN: "train first", performance.LOOK_AGAIN: "look again", performance.NONE: "in line"}
"""What a judgement is called on screen."""

MARKS = {
    performance.REVERSED: "reversed",
    performance.NOT_FOLLOWING: "does not follow the others",
    performance.NOT_FELT: "perhaps not felt",
    performance.FEELS_LITTLE: "feels little",
    performance.NARROW: "uses a small part of the scale",
    performance.WIDE: "uses more of the scale",
    performance.SCATTERS: "scatters more",
    performance.OWN_VIEW: "own view",
    performance.DRIFTS: "drifts",
    performance.HIGH: "sits high",
    performance.LOW: "sits low",
}
"""What a pattern is called in tables and pictures."""


def panel_headline(result: PanelCheck) -> str:
    """Return the answer in one sentence: who is in line, who should train first, at whom to look again."""
    judged = result.people.set_index("assessor")["judgement"]
    train = [str(name) for name in judged.index[judged == performance.RETRAIN]]
    look = [str(name) for name in judged.index[judged == performance.LOOK_AGAIN]]
    rest = len(judged) - len(train) - len(look)
    if rest == len(judged):
        return f"All {len(judged)} assessors are in line with the panel, as far as these scores can tell."
    parts = [f"{rest} of {len(judged)} assessors are in line with the panel"]
    parts += [f"train first: {format_list(train)}"] if train else []
    parts += [f"look again at: {format_list(look)}"] if look else []
    return f"{'; '.join(parts)}."


def what_the_assessors_show(result: PanelCheck, names: Naming) -> list[str]:
    """Return one line for each person, in the order of the panel."""
    return [assessor_sentence(result, names, str(who)) for who in result.people["assessor"]]


def assessor_sentence(result: PanelCheck, names: Naming, assessor: str) -> str:
    """Return what the numbers say of one person, with advice where there is any; training comes first."""
    own = result.patterns.loc[result.patterns["assessor"] == assessor]
    parts = [
        _TOLD[str(pattern)](rows, result, names)
        for (pattern, _), rows in own.groupby(["pattern", "quality"], sort=False)
    ]
    return f"{assessor}: {' '.join([*parts, _separation(result, assessor, alone=not parts)])}"


def _separation(result: PanelCheck, assessor: str, *, alone: bool) -> str:
    """Return on how many attributes the person alone tells the prototypes apart."""
    person = result.people.loc[result.people["assessor"] == assessor].iloc[0]
    if person["n_judged"] == 0:
        return "Agreement with the others cannot be judged here."
    told = f"tells the prototypes apart alone on {person['n_separated']} of {person['n_judged']} attributes"
    return f"in line with the panel; {told}." if alone else f"Otherwise: {told}."


def _reversed(rows: pd.DataFrame, result: PanelCheck, names: Naming) -> str:
    told = [_slope(row, result, names) for row in rows.to_dict("records")]
    return (
        f"scores {format_list(told)} the other way round, while telling the prototypes apart clearly. Train first: go "
        "through both ends of this scale together, then let a blind pair show whether it is settled."
    )


def _not_following(rows: pd.DataFrame, result: PanelCheck, names: Naming) -> str:
    if (rows["attribute"] == "").any():
        return (
            f"scores do not follow the others over the attributes ({_scale(rows, result)}). Train first: words, "
            "strokes and anchors of all attributes."
        )
    told = [_slope(row, result, names) for row in rows.to_dict("records")]
    return f"does not follow the others on {format_list(told)}. Look again: repeat with the anchors of this scale."


def _not_felt(rows: pd.DataFrame, result: PanelCheck, names: Naming) -> str:
    told = [_slope(row, result, names) for row in rows.to_dict("records")]
    quality = str(rows["quality"].iloc[0])
    what = f"{quality} may not be felt at any stage" if quality else "an attribute may not be felt"
    return (
        f"{what}: the scores hardly differ between the prototypes on {format_list(told)}, where the others' do "
        f"(adjusted {p_words(rows['p_adjusted'].iloc[0])}). Look again: serve the low and the high anchor blind."
    )


def _feels_little(rows: pd.DataFrame, result: PanelCheck, names: Naming) -> str:
    return (
        f"hardly follows the differences that the others find ({_scale(rows, result)}). Train first: anchors, strokes "
        "and pairs that differ clearly."
    )


def _narrow(rows: pd.DataFrame, result: PanelCheck, names: Naming) -> str:
    return (
        f"uses a small part of the scale: own means spread {_times(rows)} times as widely as the others', in the same "
        "direction. Train first: score the anchors at both ends."
    )


def _wide(rows: pd.DataFrame, result: PanelCheck, names: Naming) -> str:
    return (
        f"uses more of the scale than the others ({_scale(rows, result)}): harmless for the direction of differences, "
        "but the means lean on this person more."
    )


def _scatters(rows: pd.DataFrame, result: PanelCheck, names: Naming) -> str:
    if (rows["attribute"] == "").any():
        action = rows["action"].iloc[0]
        advice = "Train first" if action == performance.RETRAIN else "Look again"
        times = _times(rows[rows["attribute"] == ""])
        return (
            f"scatters {times} times as much as the others when repeating. {advice}: same dose, strokes and times, "
            "with blind duplicates."
        )
    told = [
        f"{names.attribute(str(row['attribute']))} ({_number(row['estimate'])} times)" for _, row in rows.iterrows()
    ]
    return f"scatters more than the others, and than elsewhere, on {format_list(told)}. Look again at this scale."


def _own_view(rows: pd.DataFrame, result: PanelCheck, names: Naming) -> str:
    told = [
        f"{names.attribute(str(row['attribute']))} ({format_share(row['estimate'])} of all disagreement)"
        for _, row in rows.iterrows()
    ]
    return (
        f"sees other differences than the others on {format_list(told)}. Look again: ask what was judged, and whether "
        "the others feel it too."
    )


def _drifts(rows: pd.DataFrame, result: PanelCheck, names: Naming) -> str:
    told = [
        f"{names.attribute(str(row['attribute']))} ({_number(row['estimate'])} per session)"
        for row in rows.to_dict("records")
    ]
    return f"drifts against the others on {format_list(told)}. Look again: start each session with the anchors."


def _sits(rows: pd.DataFrame, result: PanelCheck, names: Naming) -> str:
    share = float(rows["estimate"].iloc[0])
    side = "high" if share > 0 else "low"
    size = format_number(100 * abs(share), 0)
    return f"sits {side}, by {size} % of the scale: harmless for differences, nothing to do."


_TOLD: dict[str, Callable[[pd.DataFrame, PanelCheck, Naming], str]] = {
    performance.REVERSED: _reversed,
    performance.NOT_FOLLOWING: _not_following,
    performance.NOT_FELT: _not_felt,
    performance.FEELS_LITTLE: _feels_little,
    performance.NARROW: _narrow,
    performance.WIDE: _wide,
    performance.SCATTERS: _scatters,
    performance.OWN_VIEW: _own_view,
    performance.DRIFTS: _drifts,
    performance.HIGH: _sits,
    performance.LOW: _sits,
}


def _slope(row: Mapping[Any, Any], result: PanelCheck, names: Naming) -> str:
    """Return an attribute with the slope on the others' means, its interval and what would be expected."""
    cells = result.assessors
    cell = cells.loc[(cells["assessor"] == row["assessor"]) & (cells["attribute"] == row["attribute"])].iloc[0]
    interval = format_interval(cell["ci_low"], cell["ci_high"], 1)
    expected = f", about {_number(cell['slope_expected'])} expected" if pd.notna(cell["slope_expected"]) else ""
    words = names.attribute(str(row["attribute"]))
    return f"{words} (slope {_number(cell['slope'])}, {100 * result.level:g} % interval {interval}{expected})"


def _scale(rows: pd.DataFrame, result: PanelCheck) -> str:
    row = rows.iloc[0]
    interval = format_interval(row["ci_low"], row["ci_high"], 1)
    return f"slope {_number(row['estimate'])} on their means, {100 * result.level:g} % interval {interval}"


def _times(rows: pd.DataFrame) -> str:
    return _number(rows["estimate"].iloc[0])


def _number(value: float) -> str:
    return format_number(value, 1)


def what_would_be_noticed(result: PanelCheck, names: Naming) -> str:
    """Return what this panel could have found of a reversed scale, and what not, in one or two sentences."""
    rows = result.panel.dropna(subset="reversal_noticed").sort_values("reversal_noticed", ascending=False)
    if rows.empty:
        return "On no attribute would a scale used backwards have been noticed: nothing here tells it from chance."
    count = result.means["prototype"].nunique()
    best, worst = rows.iloc[0], rows.iloc[-1]
    told = (
        f"With {count} prototypes a scale used backwards by one person would be noticed in about "
        f"{_chance(best)} of panels like this one on {names.attribute(str(best['attribute']))}"
    )
    if len(rows) > 1:
        told += f", where it shows best, and in about {_chance(worst)} on {names.attribute(str(worst['attribute']))}"
    unjudged = len(result.panel) - len(rows)
    rest = f" On {unjudged} of {len(result.panel)} attributes it would not be noticed at all." if unjudged else ""
    return f"{told}.{rest}"


def _chance(row: Mapping[Any, Any] | pd.Series) -> str:
    """Return a chance in steps of 5 %: it is known no better."""
    return f"{5 * round(20 * float(row['reversal_noticed']))} %"


def what_the_panel_check_cannot_show(result: PanelCheck) -> tuple[str, ...]:
    """Return what a reader must not take from these numbers."""
    return (
        "Nobody is wrong for seeing something else: a person who stands alone may feel what the others miss.",
        "Honest people show a correlation near zero on an attribute now and then, above all where the prototypes "
        "hardly differ; only what chance does not bring about is named, judged by the pattern over all attributes.",
        "What is not named is not proven to be in order: with two or three replicates only strong quirks show.",
        "Training comes first. Scores leave the analysis only by a rule recorded before unblinding or with a written "
        "reason, and both results are shown.",
    )


# The panel check as tables a person reads.


_SMALL_P = 0.001


def people_table(result: PanelCheck) -> pd.DataFrame:
    """Return one row per assessor: what stands out, what to do, and the numbers over all attributes."""
    people = result.people
    told = result.patterns.groupby("assessor")["pattern"].agg(
        lambda found: ", ".join(MARKS[p] for p in dict.fromkeys(found))
    )
    ends = zip(people["scale_low"], people["scale_high"], strict=True)
    return pd.DataFrame(
        {
            "Assessor": list(people["assessor"]),
            "What to do": [JUDGED[judgement] for judgement in people["judgement"]],
            "What stands out": [told.get(name, NOTHING) for name in people["assessor"]],
            "Tells apart alone": [
                f"{own} of {judged}" if judged else NOTHING
                for own, judged in zip(people["n_separated"], people["n_judged"], strict=True)
            ],
            "Use of the scale (1 = the others')": [format_number(value, 2) for value in people["scale"]],
            _interval(result.level): [format_interval(low, high, 2) for low, high in ends],
            "Scatter against the others'": [format_number(value, 2) for value in people["repeat_ratio"]],
            "Level (% of the scale)": [format_change(100 * value, 0) for value in people["level_share"]],
        },
        dtype="str",
    )


def assessor_table(result: PanelCheck, names: Naming, assessor: str) -> pd.DataFrame:
    """Return one row per attribute for one assessor."""
    rows = result.assessors.loc[result.assessors["assessor"] == assessor]
    told = _marks(result)
    ends = zip(rows["ci_low"], rows["ci_high"], rows["judged"], strict=True)
    judged = rows["judged"].to_numpy()
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "Tells apart alone, p": [format_p(value) for value in rows["p_value"]],
            "Scatter against the others'": [format_number(value, 2) for value in rows["repeat_ratio"]],
            "Correlation with the others": _where(judged, [format_number(value, 2) for value in rows["correlation"]]),
            "Slope on the others": _where(judged, [format_number(value, 2) for value in rows["slope"]]),
            _interval(result.level): [format_interval(low, high, 2) if show else NOTHING for low, high, show in ends],
            names.with_scale("Level"): [format_change(value, names.digits) for value in rows["level"]],
            "Change per session": [format_change(value, names.digits) for value in rows["drift"]],
            "What stands out": [told.get((assessor, name), NOTHING) for name in rows["attribute"]],
        },
        dtype="str",
    )


def panel_table(result: PanelCheck, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: how well the panel as a whole measures it."""
    panel = result.panel
    own = zip(panel["n_separating"], panel["n_assessors"], strict=True)
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in panel["attribute"]],
            "Do prototypes differ? p": [format_p(value) for value in panel["p_value"]],
            "Reliability of the means": [format_number(value, 2) for value in panel["reliability"]],
            "Assessors who tell apart alone": [f"{count} of {whole}" for count, whole in own],
            "Share of disagreement": [format_share(value) for value in panel["interaction_share"]],
            "Assessors differ in what they see, p": [format_p(value) for value in panel["interaction_p_value"]],
            names.with_scale("Repeatability, SD"): [format_number(v, names.digits) for v in panel["repeatability"]],
            names.with_scale("Reproducibility, SD"): [format_number(v, names.digits) for v in panel["reproducibility"]],
        },
        dtype="str",
    )


def without_table(tests: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: F with everybody and without each assessor, with p where it is not very small."""
    cells = {(row["attribute"], row["assessor"]): _test(row) for row in tests.to_dict("records")}
    people = [name for name in dict.fromkeys(tests["assessor"]) if name != EVERYBODY]
    attributes = list(dict.fromkeys(tests["attribute"]))
    columns = {f"F (p unless below {_SMALL_P:g})": [names.attribute(str(name)) for name in attributes]}
    for who in (EVERYBODY, *people):
        columns[f"Without {who}" if who else "Everybody"] = [cells.get((name, who), NOTHING) for name in attributes]
    return pd.DataFrame(columns, dtype="str")


def _test(row: Mapping[Any, Any]) -> str:
    """Return F, followed by p in brackets unless that is below `_SMALL_P`."""
    if pd.isna(row["statistic"]):
        return NOTHING
    f = format_number(row["statistic"], 1)
    return f if row["p_value"] < _SMALL_P else f"{f} ({format_p(row['p_value'])})"


def without_differences_table(differences: pd.DataFrame, names: Naming, level: float = 0.95) -> pd.DataFrame:
    """Return one row per difference from the benchmark, with everybody or without an assessor."""
    ends = zip(differences["ci_low"], differences["ci_high"], strict=True)
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in differences["attribute"]],
            "Without": [name or "nobody" for name in differences["assessor"]],
            "Prototype": list(differences["prototype"]),
            "Compared with": list(differences["versus"]),
            "Difference (scale units)": [format_change(value, names.digits) for value in differences["estimate"]],
            _interval(level): [format_interval(low, high, names.digits) for low, high in ends],
            "p": [format_p(value) for value in differences["p_value"]],
        },
        dtype="str",
    )


def duplicates_table(result: PanelCheck, names: Naming) -> pd.DataFrame:
    """Return one row per assessor and attribute: how far two samples that are the same were put apart."""
    rows = result.duplicates
    return pd.DataFrame(
        {
            "Assessor": list(rows["assessor"]),
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "Pairs": [f"{count:d}" for count in rows["n_pairs"]],
            names.with_scale("Apart"): [format_number(value, names.digits) for value in rows["distance"]],
            names.with_scale("The others"): [format_number(value, names.digits) for value in rows["others_distance"]],
            "Against the others": [format_number(value, 2) for value in rows["ratio"]],
        },
        dtype="str",
    )


def scale_use_table(result: ScaleUse, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: the test of the prototypes by either model, of scaling and of disagreement."""
    rows = result.attributes
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "F, as compared": [format_number(value, 2) for value in rows["additive_statistic"]],
            "p, as compared": [format_p(value) for value in rows["additive_p_value"]],
            "F, with use of the scale": [format_number(value, 2) for value in rows["statistic"]],
            "p, with use of the scale": [format_p(value) for value in rows["p_value"]],
            "All use the scale alike? p": [format_p(value) for value in rows["scaling_p_value"]],
            "All see the same differences? p": [format_p(value) for value in rows["disagreement_p_value"]],
        },
        dtype="str",
    )


def scale_factors_table(result: ScaleUse, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and one column per assessor: use of the scale, 1 being the panel's mean."""
    people = list(dict.fromkeys(result.factors["assessor"]))
    cells = {
        (row["attribute"], row["assessor"]): format_number(row["estimate"], 2)
        for row in result.factors.to_dict("records")
    }
    attributes = list(dict.fromkeys(result.factors["attribute"]))
    columns = {"Attribute": [names.attribute(str(name)) for name in attributes]}
    columns |= {str(who): [cells.get((name, who), NOTHING) for name in attributes] for who in people}
    return pd.DataFrame(columns, dtype="str")


def _marks(result: PanelCheck) -> dict[tuple[str, str], str]:
    """Return what stands out of each assessor on each attribute."""
    rows = result.patterns.loc[result.patterns["attribute"] != ""]
    told: dict[tuple[str, str], list[str]] = {}
    for who, attribute, pattern in zip(rows["assessor"], rows["attribute"], rows["pattern"], strict=True):
        told.setdefault((who, attribute), []).append(MARKS[pattern])
    return {key: ", ".join(dict.fromkeys(found)) for key, found in told.items()}


def _where(shown: np.ndarray, cells: list[str]) -> list[str]:
    return [cell if show else NOTHING for show, cell in zip(shown, cells, strict=True)]


def _interval(level: float) -> str:
    return f"{100 * level:g} % interval"


# The F tests with and without the scores that were set aside or corrected, side by side.


_HEADINGS = {True: "As analysed", False: "With every score as it came in"}


def both_ways_table(both_ways: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return one row per attribute with changed scores: F and p after the changes, and with the scores as they came."""
    columns: dict[str, list[str]] = {"Attribute": [], **{heading: [] for heading in _HEADINGS.values()}}
    for attribute, rows in both_ways.groupby("attribute", sort=False):
        columns["Attribute"].append(names.attribute(str(attribute)))
        for rules, heading in _HEADINGS.items():
            row = rows.loc[rows["rules"] == rules]
            columns[heading].append(_both_ways_test(row.iloc[0]) if len(row) else NOTHING)
    return pd.DataFrame(columns, dtype="str")


def _both_ways_test(row: pd.Series) -> str:
    df, error = format_number(row["df"], 0), format_number(row["df_error"], 1)
    return f"F({df}; {error}) = {format_number(row['statistic'], 2)}, {p_words(row['p_value'])}"


# What becomes of the differences when use of the scale is taken into account, in plain sentences.


def scale_use_headline(result: ScaleUse, names: Naming) -> str:
    """Return in one sentence whether the answer stands."""
    rows = result.attributes
    if rows.empty:
        return "Use of the scale cannot be taken into account on any attribute."
    limit = round(1 - result.level, 12)
    changed = rows.loc[(rows["p_value"] < limit) != (rows["additive_p_value"] < limit)]
    if changed.empty:
        count = len(rows)
        return f"Taking each assessor's use of the scale into account changes the answer on none of {count} attributes."
    told = [names.attribute(str(name)) for name in changed["attribute"]]
    return (
        f"Taking each assessor's use of the scale into account changes the answer on {format_list(told)}: the result "
        "there hangs on how it is analysed."
    )


def what_scale_use_shows(result: ScaleUse, names: Naming) -> list[str]:
    """Return one line for each attribute on which people use the scale, or see the prototypes, differently."""
    limit = round(1 - result.level, 12)
    lines = [_line(row, names, limit) for row in map(pd.Series, result.attributes.to_dict("records"))]
    return [line for line in lines if line]


def _line(row: pd.Series, names: Naming, limit: float) -> str:
    parts = []
    if row["scaling_p_value"] < limit and not row["suppressed"]:
        parts.append(f"assessors use the scale differently ({p_words(row['scaling_p_value'])})")
    if row["disagreement_p_value"] < limit:
        parts.append(f"some see other differences than the rest ({p_words(row['disagreement_p_value'])})")
    if not parts:
        return ""
    before, after = format_number(row["additive_statistic"], 1), format_number(row["statistic"], 1)
    return (
        f"{names.attribute(str(row['attribute']))}: {format_list(parts)}; F is {before} as compared, {after} with it."
    )


def what_scale_use_cannot_show() -> tuple[str, ...]:
    """Return what a reader must not take from these numbers."""
    return (
        "It stands beside the comparison and never takes its place: choosing the model by its result would be choosing "
        "the result.",
        "Where the prototypes do not differ, use of the scale means nothing and is not shown.",
    )
