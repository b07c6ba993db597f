"""What the panel check says of each person, in plain sentences made from the numbers shown beside them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd

from panel.models.assessors import patterns as found
from panel.models.assessors.performance import PanelCheck
from panel.views.drawing.formats import format_interval, format_list, format_number, format_share, p_words
from panel.views.drawing.naming import Naming

ONE_REPEAT = "can't be told with one repeat"
"""Said of every measure that needs somebody to have scored a prototype twice."""

JUDGED = {found.RETRAIN: "train first", found.LOOK_AGAIN: "look again", found.NONE: "in line"}
"""What a judgement is called on screen."""

MARKS = {
    found.REVERSED: "reversed",
    found.NOT_FOLLOWING: "does not follow the others",
    found.NOT_FELT: "perhaps not felt",
    found.FEELS_LITTLE: "feels little",
    found.NARROW: "uses a small part of the scale",
    found.WIDE: "uses more of the scale",
    found.SCATTERS: "scatters more",
    found.OWN_VIEW: "own view",
    found.DRIFTS: "drifts",
    found.HIGH: "sits high",
    found.LOW: "sits low",
}
"""What a pattern is called in tables and pictures."""


def panel_headline(result: PanelCheck) -> str:
    """Return the answer in one sentence: who is in line, who should train first, at whom to look again."""
    judged = result.people.set_index("assessor")["judgement"]
    train = [str(name) for name in judged.index[judged == found.RETRAIN]]
    look = [str(name) for name in judged.index[judged == found.LOOK_AGAIN]]
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
    if person["n_tested"] == 0:
        told = f"whether this person tells the prototypes apart alone {ONE_REPEAT}"
    else:
        told = f"tells the prototypes apart alone on {person['n_separated']:.0f} of {person['n_tested']} attributes"
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
        advice = "Train first" if action == found.RETRAIN else "Look again"
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
    found.REVERSED: _reversed,
    found.NOT_FOLLOWING: _not_following,
    found.NOT_FELT: _not_felt,
    found.FEELS_LITTLE: _feels_little,
    found.NARROW: _narrow,
    found.WIDE: _wide,
    found.SCATTERS: _scatters,
    found.OWN_VIEW: _own_view,
    found.DRIFTS: _drifts,
    found.HIGH: _sits,
    found.LOW: _sits,
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
