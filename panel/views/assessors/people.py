"""Whom to talk to, and about what: the panel check in a headline, a picture of everybody, tables; one person apart."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel.models.assessors.measures import AGAINST, NOT_JUDGED, WITH
from panel.models.assessors.performance import EVERYBODY, NARROWEST, WIDEST, Action, LeftOut, PanelCheck, Pattern
from panel.stats.comparing.multiplicity import LEVEL
from panel.study import shown
from panel.study.naming import Naming
from panel.views.pictures import BROAD, FAINT, GREY, INK, interval_figure, line_by_line, needed_limits
from panel.views.told import Item, Picture, Told, drawer
from panel.words import (
    NOTHING,
    capital,
    counted,
    first_few,
    format_interval,
    format_list,
    format_number,
    format_p,
    format_share,
    level_words,
    p_after_holm,
    with_interval,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_CANNOT_BE_TOLD = "cannot be told with one repeat"
_TO_DO = {Action.RETRAIN: "train first", Action.LOOK_AGAIN: "look again", Action.NONE: "nothing"}
_PATTERNS = {
    Pattern.REVERSED: "scored backwards",
    Pattern.NOT_FOLLOWING: "does not follow the others",
    Pattern.NOT_FELT: "perhaps not felt",
    Pattern.FEELS_LITTLE: "feels little",
    Pattern.NARROW: "uses a small part of the scale",
    Pattern.WIDE: "uses more of the scale",
    Pattern.SCATTERS: "scatters more",
    Pattern.OWN_VIEW: "own view",
    Pattern.DRIFTS: "drifts",
    Pattern.HIGH: "sits high",
    Pattern.LOW: "sits low",
}
_OVER_ALL = {
    Pattern.NOT_FOLLOWING: "all attributes (does not follow the others)",
    Pattern.FEELS_LITTLE: "the differences that the others feel",
    Pattern.NARROW: "using the whole scale",
    Pattern.SCATTERS: "repeating",
}
_NAMED = 4  # people in the headline
_ROUND_TO = 20  # chances of finding something are known to about 5 %


def _alone(name: str, base: str) -> Callable[[Mapping[str, Any], shown.Shown], str]:
    def write(row: Mapping[str, Any], _: shown.Shown) -> str:
        if not row[base]:
            return NOTHING
        return _CANNOT_BE_TOLD if np.isnan(row[name]) else f"{row[name]:.0f} of {row[base]}"

    return write


def patterns_of(result: PanelCheck, assessor: str, attribute: str = "") -> str:
    """Return the patterns of a person, or of a person on one attribute."""
    rows = result.patterns.loc[result.patterns["assessor"] == assessor]
    if attribute:
        rows = rows.loc[rows["attribute"] == attribute]
    return ", ".join(dict.fromkeys(_PATTERNS[name] for name in rows["pattern"])) or NOTHING


def _scale_used(row: Mapping[str, Any], _: shown.Shown) -> str:
    width = row["scale_high"] - row["scale_low"]
    digits = 0 if width > 10 else 1 if width > 1 else 2  # no finer than it is known
    return with_interval(row["scale"], row["scale_low"], row["scale_high"], digits)


STANDS_OUT = shown.each_row(
    "What stands out",
    lambda row, about: patterns_of(about.result, row["assessor"], row.get("attribute", "")),
    "assessor",
)
_OF_ATTRIBUTE = shown.Source("scores", same={"attribute": "attribute"})

_PEOPLE = shown.Table(
    name="people",
    title="Each assessor",
    rows="people",
    columns=(
        *(shown.ASSESSOR, shown.text("What to do", "judgement", _TO_DO), STANDS_OUT),
        shown.each_row("Tells apart alone", _alone("n_separated", "n_judged"), "n_separated", "n_judged", figure=True),
        shown.each_row("Use of the scale (1 = the others'), {level}", _scale_used, "scale", "scale_low", figure=True),
        shown.number("Scatter against the others'", "repeat_ratio", 2),
        shown.change("Level (% of the scale)", "level_share", 0, 100),
    ),
    key=("assessor",),
    code="P",
    sources=(shown.Source("scores", same={"assessor": "assessor"}),),
)
_MEASURED = shown.Table(
    name="panel",
    title="How well the panel measures each attribute",
    rows="panel",
    columns=(
        *(shown.ATTRIBUTE, shown.P_HOLM, shown.number("Reliability of the means", "reliability", 2)),
        shown.each_row("Tell apart alone", _alone("n_separating", "n_assessors"), "n_separating", figure=True),
        shown.share("Share of disagreement", "interaction_share"),
        shown.p_value("p, assessors see different things", "interaction_p_value"),
        shown.number("Repeatability, SD{scale}", "repeatability", shown.SCALE),
        shown.number("Reproducibility, SD{scale}", "reproducibility", shown.SCALE),
    ),
    key=("attribute",),
    code="Q",
    sources=(_OF_ATTRIBUTE,),
)


def _f_and_p(row: Mapping[str, Any], _: shown.Shown) -> str:
    """Return F, with its p in brackets where the prototypes do not differ by it."""
    f = format_number(row["statistic"], 1)
    return f if row["differ"] or f == NOTHING else f"{f} ({format_p(row['p_adjusted'])})"


_WITHOUT = shown.Table(
    name="without",
    title="F of each attribute with everybody, and without each assessor (adjusted p where no difference is shown)",
    rows="without",
    columns=(shown.ATTRIBUTE,),
    key=("attribute", "assessor"),
    across=shown.Across(
        "assessor",
        shown.each_row("", _f_and_p, "statistic", figure=True),
        lambda who, _: "Everybody" if who == EVERYBODY else f"Without {who}",
    ),
    code="W",
    sources=(_OF_ATTRIBUTE,),
    none="The comparison without each assessor was not possible.",
)
_EACH_ON_EACH = shown.Table(
    name="assessors",
    title="Each assessor on each attribute",
    rows="assessors",
    columns=(shown.ASSESSOR, shown.text("Attribute", "attribute")),
    key=("assessor", "attribute"),
    code="PA",
    sources=(shown.Source("scores", same={"assessor": "assessor", "attribute": "attribute"}),),
    printed=False,
)
NUMBERS = (_PEOPLE, _MEASURED, _WITHOUT, _EACH_ON_EACH)
_DUPLICATES = shown.Table(
    name="duplicates",
    title="How far each assessor puts two samples apart that are the same",
    rows="duplicates",
    columns=(
        shown.ASSESSOR,
        shown.ATTRIBUTE,
        shown.count("Pairs", "n_pairs"),
        shown.number("Apart{scale}", "distance", shown.SCALE),
        shown.number("The others{scale}", "others_distance", shown.SCALE),
        shown.number("Against the others", "ratio", 2),
    ),
    key=("assessor", "attribute"),
)


def differences_without(who: str) -> shown.Table:
    """Return the table of the differences from the benchmark with everybody and without one assessor."""

    def rows(result: LeftOut) -> pd.DataFrame:
        return result.differences.loc[result.differences["assessor"].isin([EVERYBODY, who])]

    without = shown.text("Without", "assessor", {EVERYBODY: "nobody", who: who})
    columns = (shown.ATTRIBUTE, without, shown.PROTOTYPE, shown.VERSUS, shown.change("Difference"))
    title = f"Differences from the benchmark, with and without {who}"
    return shown.Table("without_differences", title, rows, (*columns, shown.INTERVAL, shown.P))


def tell_people(result: PanelCheck, names: Naming) -> Told:
    """Tell whom to talk to and about what, with a picture of everybody."""
    told = [sentence(result, names, str(who)) for who in result.people["assessor"]]
    in_line = list(result.people.loc[~result.people["assessor"].isin(result.patterns["assessor"]), "assessor"])
    rest = [f"Nothing stands out: {format_list(in_line)}."] if in_line else []
    return Told(
        result,
        names,
        _headline(result, names),
        picture=_strip(result, names),
        mind=(_noticed(result, names),),
        table=_PEOPLE,
        drawers=(
            drawer("What each assessor shows", *(line for line in told if line), *rest, _PEOPLE),
            drawer("The panel as a whole", _MEASURED),
            drawer("With and without each assessor", *_without_words(result, names), _WITHOUT),
            drawer("Blind duplicates", *([_DUPLICATES] if len(result.duplicates) else [])),
        ),
        cannot=(
            "Nobody is wrong for seeing something else: a person who stands alone may feel what the others miss.",
            "Only what chance does not bring about is named, judged by the pattern over all attributes; what is not "
            "named is not proven to be in order.",
            "Training comes first. Scores leave the analysis only by a rule recorded before unblinding or with a "
            "written reason, and both results are shown.",
        ),
    )


def _one_repeat(result: PanelCheck) -> bool:
    return not result.panel["n_separating"].notna().any()


def _headline(result: PanelCheck, names: Naming) -> str:
    """Return whom to talk to about what; those to train first come first."""
    people = result.people
    order = [*people.loc[people["judgement"] == Action.RETRAIN, "assessor"]]
    order += [*people.loc[people["judgement"] == Action.LOOK_AGAIN, "assessor"]]
    repeats = f"who repeats, and who tells the prototypes apart alone, {_CANNOT_BE_TOLD}"
    if not order and _one_repeat(result):
        return f"{capital(repeats)}."
    if not order and not people["n_judged"].any():
        return "Whether the assessors agree cannot be judged from these scores."
    if not order:
        return f"All {len(people)} assessors are in line with the panel, as far as these scores can tell."
    said = [f"{who} about {_topics(result, names, who)[0]}" for who in order[:_NAMED]]
    if len(order) > _NAMED:
        said.append(counted(len(order) - _NAMED, "other"))
    rest = len(people) - len(order)
    others = repeats if _one_repeat(result) else "the others are in line" if rest else ""
    return f"Talk to {', '.join(said)}{f'; {others}' if others else ''}."


def _topics(result: PanelCheck, names: Naming, who: str) -> list[str]:
    """Return in short what to talk about with a person, what calls for training first."""
    own = result.patterns.loc[(result.patterns["assessor"] == who) & (result.patterns["action"] != Action.NONE)]
    grave = own["action"].map({Action.RETRAIN: 0, Action.LOOK_AGAIN: 1})
    own = own.loc[grave.sort_values(kind="stable").index]
    return list(dict.fromkeys(_topic(row, names) for row in own.to_dict("records")))


def _topic(row: Mapping[Any, Any], names: Naming) -> str:
    if not row["attribute"]:
        return _OVER_ALL.get(row["pattern"], _PATTERNS[row["pattern"]])
    return f"{row['quality'] or names.attribute(str(row['attribute']))} ({_PATTERNS[row['pattern']]})"


def sentence(result: PanelCheck, names: Naming, who: str) -> str:
    """Return what the numbers say of one person, with advice; empty if nothing stands out."""
    own = result.patterns.loc[result.patterns["assessor"] == who]
    each = own.groupby(["pattern", "quality"], sort=False)
    parts = [_SAID[str(pattern)](rows, result, names) for (pattern, _), rows in each]
    return f"{who}: {' '.join(parts)}" if parts else ""


def _not_following(rows: pd.DataFrame, result: PanelCheck, names: Naming) -> str:
    if (rows["attribute"] == "").any():
        return (
            f"scores do not follow the others over the attributes ({_scale(rows, result)}). Train first: words, "
            "strokes and anchors of all attributes."
        )
    slopes = _slopes(rows, result, names)
    return f"does not follow the others on {slopes}. Look again: repeat with the anchors of this scale."


def _not_felt(rows: pd.DataFrame, result: PanelCheck, names: Naming) -> str:
    quality = str(rows["quality"].iloc[0])
    what = f"{quality} may not be felt at any stage" if quality else "an attribute may not be felt"
    return (
        f"{what}: the scores hardly differ between the prototypes on {_slopes(rows, result, names)}, where the others' "
        f"do ({p_after_holm(rows['p_adjusted'].iloc[0])}). Look again: serve the low and the high anchor blind."
    )


def _scatters(rows: pd.DataFrame, _: PanelCheck, names: Naming) -> str:
    whole = rows.loc[rows["attribute"] == ""]
    if len(whole):
        advice = "Train first" if whole["action"].iloc[0] == Action.RETRAIN else "Look again"
        return (
            f"scatters {format_number(whole['estimate'].iloc[0])} times as much as the others when repeating. "
            f"{advice}: same dose, strokes and times, with blind duplicates."
        )
    told = _each(rows, names, lambda value: f"{format_number(value)} times")
    return f"scatters more than the others, and than elsewhere, on {told}. Look again at this scale."


def _sits(rows: pd.DataFrame, _: PanelCheck, __: Naming) -> str:
    side = "high" if rows["pattern"].iloc[0] == Pattern.HIGH else "low"
    size = format_share(abs(float(rows["estimate"].iloc[0])))
    return f"sits {side}, by {size} of the scale: harmless for differences, nothing to do."


_SAID: Mapping[str, Callable[[pd.DataFrame, PanelCheck, Naming], str]] = {
    Pattern.REVERSED: lambda rows, result, names: (
        f"scores {_slopes(rows, result, names)} the other way round, while telling the prototypes apart clearly. Train "
        "first: go through both ends of this scale together, then let a blind pair show whether it is settled."
    ),
    Pattern.NOT_FOLLOWING: _not_following,
    Pattern.NOT_FELT: _not_felt,
    Pattern.FEELS_LITTLE: lambda rows, result, _: (
        f"hardly follows the differences that the others find ({_scale(rows, result)}). Train first: anchors, strokes "
        "and pairs that differ clearly."
    ),
    Pattern.NARROW: lambda rows, _, __: (
        f"uses a small part of the scale: own means spread {format_number(rows['estimate'].iloc[0])} times as widely "
        "as the others', in the same direction. Train first: score the anchors at both ends."
    ),
    Pattern.WIDE: lambda rows, result, _: (
        f"uses more of the scale than the others ({_scale(rows, result)}): harmless for the direction of differences, "
        "but the means lean on this person more."
    ),
    Pattern.SCATTERS: _scatters,
    Pattern.OWN_VIEW: lambda rows, _, names: (
        "sees other differences than the others on "
        f"{_each(rows, names, lambda value: f'{format_share(value)} of all disagreement')}. Look again: ask what was "
        "judged, and whether the others feel it too."
    ),
    Pattern.DRIFTS: lambda rows, _, names: (
        f"drifts against the others on {_each(rows, names, lambda value: f'{format_number(value)} per session')}. Look "
        "again: start each session with the anchors."
    ),
    Pattern.HIGH: _sits,
    Pattern.LOW: _sits,
}


def _each(rows: pd.DataFrame, names: Naming, write: Callable[[float], str]) -> str:
    told = zip(rows["attribute"], rows["estimate"], strict=True)
    return format_list([f"{names.attribute(str(name))} ({write(float(value))})" for name, value in told])


def _slopes(rows: pd.DataFrame, result: PanelCheck, names: Naming) -> str:
    """Return attributes, each with the slope on the others' means, its interval and what would be expected."""
    cells = result.assessors.set_index(["assessor", "attribute"])
    told = []
    for name in rows["attribute"]:
        cell = cells.loc[(rows["assessor"].iloc[0], name)]
        likely = format_number(cell["slope_expected"])
        slope = f"slope {format_number(cell['slope'])}, {_interval(cell)}"
        slope += "" if likely == NOTHING else f", about {likely} expected"
        told.append(f"{names.attribute(str(name))} ({slope})")
    return format_list(told)


def _scale(rows: pd.DataFrame, result: PanelCheck) -> str:
    return f"slope {format_number(rows['estimate'].iloc[0])} on their means, {_interval(rows.iloc[0])}"


def _interval(row: pd.Series) -> str:
    return f"{level_words(LEVEL)} {format_interval(row['ci_low'], row['ci_high'])}"


def _noticed(result: PanelCheck, names: Naming) -> str:
    """Return where a scale used backwards would have been noticed, and where it would not."""
    rows = result.panel.dropna(subset="reversal_noticed").sort_values("reversal_noticed", ascending=False)
    if rows.empty:
        return "A scale used backwards would not have been noticed on any attribute."
    chances = [f"{round(_ROUND_TO * value) * 100 // _ROUND_TO} %" for value in rows["reversal_noticed"]]
    best, worst = (names.attribute(str(rows["attribute"].iloc[place])) for place in (0, -1))
    told = f"A scale used backwards by one person would be noticed in about {chances[0]} of such panels on {best}"
    if len(rows) > 1:
        told += f", where it shows best, and in about {chances[-1]} on {worst}"
    never = len(result.panel) - len(rows)
    rest = f"; on {never} of {counted(len(result.panel), 'attribute')} it would not be noticed at all" if never else ""
    return f"{told}{rest}."


def _without_words(result: PanelCheck, names: Naming) -> list[str]:
    """Return on which attributes the answer hangs on one person."""
    rows = result.without.dropna(subset="statistic")
    whole = rows.loc[rows["assessor"] == EVERYBODY].set_index("attribute")["differ"]
    other = rows.loc[(rows["assessor"] != EVERYBODY) & (rows["differ"] != rows["attribute"].map(whole))]
    told = [
        f"{names.attribute(str(name))}: the prototypes {'no longer differ' if whole[name] else 'differ'} without "
        f"{first_few(list(part['assessor']))}."
        for name, part in other.groupby("attribute", sort=False)
    ]
    told = told or ["On no attribute does the answer hang on one person."]
    return [*told, "Leaving somebody out needs a rule recorded before unblinding."]


_LINE = 0.26  # inches
_BAND = "#eef2f4"
_NO_INTERVAL = {"ci_low": np.nan, "ci_high": np.nan}
_NEAR, _FAR = -1.5, 2.0  # slopes beyond these are drawn at the edge


def _strip_rows(result: PanelCheck) -> pd.DataFrame:
    """Return what the strip draws: a dot for each judged attribute of each person, `assessor attribute estimate y`.

    `filled` and dark: named in the words; the others are quiet rings.
    """
    cells = result.assessors.loc[result.assessors["sees"] != NOT_JUDGED].dropna(subset="slope")
    place = {who: _LINE * (number + 0.75) for number, who in enumerate(result.people["assessor"])}
    told = result.patterns.loc[(result.patterns["attribute"] != "") & (result.patterns["action"] != Action.NONE)]
    named = pd.MultiIndex.from_frame(cells[["assessor", "attribute"]]).isin(
        pd.MultiIndex.from_frame(told[["assessor", "attribute"]])
    )
    drawn = cells[["assessor", "attribute"]].assign(
        estimate=cells["slope"].clip(_NEAR, _FAR),
        y=cells["assessor"].map(place),
        colour=np.where(named, INK, GREY),
        shape=np.where(named, "D", "o"),
        filled=named,
        **_NO_INTERVAL,
    )
    return drawn.sort_values("filled", kind="stable", ignore_index=True)


def _strip(result: PanelCheck, names: Naming) -> Picture | None:
    """Return the picture of everybody; none where agreement is judged nowhere and nothing stands out."""
    rows = _strip_rows(result)
    if rows.empty:
        return None
    said = {str(who): _topics(result, names, str(who)) for who in result.people["assessor"]}
    heard = "; ".join(f"{who}: {', '.join(told)}" for who, told in said.items() if told)
    alt = f"A row a person, a dot an attribute, by how closely it follows the others. Marked: {heard or 'nobody'}."
    return Picture("assessors", "Everybody beside the others", alt, partial(_strip_figure, rows, said))


def _strip_figure(rows: pd.DataFrame, said: Mapping[str, list[str]], width: float = BROAD) -> Figure:
    heights = {who: _LINE * (number + 0.75) for number, who in enumerate(said)}
    figure, axes = interval_figure(
        rows,
        _LINE * (len(said) + 0.5),
        [(y, who) for who, y in heights.items()],
        remarks=[(heights[who], first_few(told, 1)) for who, told in said.items() if told],
        width=width,
        limits=needed_limits(rows, _NEAR, _FAR),
        title="How each person follows the others, a dot an attribute; dark: talk about it",
    )
    axes.axvspan(NARROWEST, WIDEST, color=_BAND, zorder=0)
    axes.axvline(0, color=INK, linewidth=1.0, zorder=1)
    ends = ["the other\nway round", "not\nat all", "like the\nothers"]
    axes.set_xticks([-1, 0, 1], ends, linespacing=1.0)
    for label, told in zip(axes.get_yticklabels(), said.values(), strict=True):
        label.set_fontweight("bold" if told else "normal")
    return figure


# One person beside the others: a sentence, the slopes, the means on one attribute, and the table.


def person_items(result: PanelCheck, names: Naming, who: str, attribute: str) -> tuple[Item, ...]:
    """Return what there is of one person: a sentence, the slopes, the means on one attribute, the table."""
    items: list[Item] = [sentence(result, names, who) or f"{who}: nothing stands out."]
    slopes = _slope_rows(result, names, who)
    if len(slopes):
        heard = "; ".join(f"{row['label']} {format_number(row['estimate'])}" for row in slopes.to_dict("records"))
        alt = f"Slope on the others' means by attribute: {heard}."
        items.append(Picture("slopes", f"{who} against the others", alt, partial(_slopes_figure, slopes, who)))
    return (*items, _means_picture(result, names, who, attribute), _person_table(who))


def _person_table(who: str) -> shown.Table:
    return shown.Table(
        name="assessor",
        title=f"{shown.literal(who)} on every attribute",
        rows=lambda result: result.assessors.loc[result.assessors["assessor"] == who].reset_index(drop=True),
        columns=(
            *(shown.ATTRIBUTE, shown.p_value("p, tells apart alone", "p_value")),
            shown.number("Scatter against the others'", "repeat_ratio", 2),
            shown.number("Correlation with the others", "correlation", 2),
            shown.each_row("Slope on the others, {level}", _slope_cell, "slope", "ci_low", figure=True),
            *(shown.change("Level{scale}", "level"), shown.change("Change per session", "drift"), STANDS_OUT),
        ),
        key=("attribute",),
    )


def _slope_cell(row: Mapping[str, Any], _: shown.Shown) -> str:
    return with_interval(row["slope"], row["ci_low"], row["ci_high"], 2) if row["judged"] else NOTHING


def _slope_rows(result: PanelCheck, names: Naming, who: str) -> pd.DataFrame:
    """Return what the picture of slopes draws: judged attributes with `estimate ci_low ci_high label remark`."""
    cells = result.assessors
    rows = cells.loc[(cells["assessor"] == who) & (cells["sees"] != NOT_JUDGED) & cells["slope"].notna()]
    remarks = [patterns_of(result, who, str(name)) for name in rows["attribute"]]
    return rows.assign(
        estimate=rows["slope"],
        label=[names.attribute(str(name)) for name in rows["attribute"]],
        remark=["" if remark == NOTHING else remark for remark in remarks],
        colour=[GREY if remark == NOTHING else INK for remark in remarks],
        shape=np.where(rows["sees"] == AGAINST, "v", "o"),
        filled=rows["sees"].isin([WITH, AGAINST]),
    ).reset_index(drop=True)


def _slopes_figure(rows: pd.DataFrame, who: str, width: float = BROAD) -> Figure:
    """Return one person's slope on the others' means, attribute by attribute: 1 is the others', 0 no relation."""
    figure, axes = line_by_line(
        rows,
        _LINE,
        rows["label"],
        remarks=rows["remark"],
        free=0.25,
        width=width,
        limits=needed_limits(rows, 0.0, WIDEST),
        title=f"{who} against the others",
        x_title="Slope on the others' means (hollow: alone does not tell the prototypes apart)",
    )
    axes.axvspan(NARROWEST, WIDEST, color=_BAND, zorder=0)
    for place in (0.0, 1.0):
        axes.axvline(place, color=INK, linewidth=1.0, linestyle="-" if place == 0 else (0, (4, 3)), zorder=1)
    return figure


def _means_picture(result: PanelCheck, names: Naming, who: str, attribute: str) -> Picture:
    rows = _mean_rows(result, who, attribute)
    words, digits = names.attribute(attribute), names.digits_of(attribute)
    heard = "; ".join(
        f"{row['prototype']} {format_number(row['estimate'], digits)} and {format_number(row['others'], digits)}"
        for row in rows.to_dict("records")
    )
    alt = f"Means of {who} and of the others, less their own average: {heard}."
    axis = f"{words}: above or below the own average ({names.units.get(attribute) or names.scale or 'scale units'})"
    return Picture("assessor_means", f"{who} and the others on {words}", alt, partial(_means_figure, rows, who, axis))


def _mean_rows(result: PanelCheck, who: str, attribute: str) -> pd.DataFrame:
    """Return what the picture of means draws: `prototype estimate others y`, highest of the others first."""
    rows = result.means
    rows = rows.loc[(rows["assessor"] == who) & (rows["attribute"] == attribute)]
    rows = rows.sort_values("others", ascending=False, kind="stable", ignore_index=True)
    return rows.assign(y=_LINE * (np.arange(len(rows)) + 0.75))


def _means_figure(rows: pd.DataFrame, who: str, axis: str, width: float = BROAD) -> Figure:
    """Return one person's means beside the others', both above or below their own average.

    Prototypes come in the order of the others: somebody who reads the scale the other way round runs against it.
    """
    others = rows.assign(estimate=rows["others"], colour=GREY, shape="o", filled=False, **_NO_INTERVAL)
    own = rows.assign(colour=INK, shape="D", filled=True, **_NO_INTERVAL)
    both = pd.concat([others, own], ignore_index=True)
    figure, axes = interval_figure(
        both,
        _LINE * (len(rows) + 0.5),
        [(row["y"], str(row["prototype"])) for row in rows.to_dict("records")],
        width=width,
        limits=needed_limits(both, 0.0),
        title=f"Dark: {who}. Ring: the others",
        x_title=axis,
    )
    for row in rows.to_dict("records"):
        axes.plot([row["others"], row["estimate"]], [row["y"]] * 2, color=FAINT, linewidth=1.5, zorder=1)
    axes.axvline(0, color=INK, linewidth=1.0, zorder=1)
    return figure
