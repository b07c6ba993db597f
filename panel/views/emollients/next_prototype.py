"""Which prototype to make next, what to expect from a blend nobody made, and how earlier predictions turned out."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel.models.emollients.next_prototype import NextPrototypes
from panel.models.emollients.predictions import IN, LIKELY_IN, LIKELY_OUT, OUT, PredictionRecord, WhatIf
from panel.stats.comparing.multiplicity import LEVEL
from panel.study import shown
from panel.study.naming import Naming
from panel.views.emollients.causes import WANTED, short_swap
from panel.views.pictures import BROAD, INK, Marker, interval_figure, marker_of, needed_limits
from panel.views.told import Picture, Told, drawer
from panel.words import counted, format_change, format_list, format_number, format_share, level_words, quoted

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_PURPOSES = {
    "target": "nearest to the target",
    "learn": "tells most",
    "untangle": "moves apart what always changed together",
}
_NO_RESULT = "A prediction is no result: make the prototype and test it."
_CANNOT = (
    _NO_RESULT,
    "Outside the region that was tested nothing but a direction can be told.",
    "Nothing here says whether the cream will be stable, safe, or liked.",
)

_PROPOSALS = shown.Table(
    "proposals",
    "The candidates, per cent of the formula",
    "blends",
    (shown.text("Emollient", "ingredient"),),
    key=("ingredient",),
    across=shown.Across(
        "proposal", shown.number("", "percent", 2), lambda value, about: f"{value}. {_purpose(about.result, value)}"
    ),
)
_STAGES = ("appearance", "pick-up", "rub-out", "after-feel", "later after-feel")  # of use, in their order


def _purpose(result: NextPrototypes, proposal: Any) -> str:
    rows = result.proposals
    return _PURPOSES[str(rows.loc[rows["proposal"] == proposal, "purpose"].iloc[0])]


def tell_next(result: NextPrototypes, names: Naming) -> Told:
    """Tell what to make next, and whether any of it is expected to beat what there is."""
    warnings = [f"Candidate {row['proposal']}: {_warning(row)}" for row in result.warnings.to_dict("records")]
    return Told(
        result,
        names,
        _next_headline(result),
        _next_picture(result, names) if result.proposals["windows"].gt(0).any() else None,
        tuple(_candidate(row, result, names) for row in result.proposals.to_dict("records")),
        _PROPOSALS,
        (drawer("The candidates in numbers", _PROPOSALS), drawer("What to mind when making them", *warnings)),
        _CANNOT,
    )


def _next_headline(result: NextPrototypes) -> str:
    """Return whether a candidate is expected to come nearer to the target than the best prototype there is."""
    rows = result.proposals
    asked = rows.loc[rows["windows"] > 0]
    if asked.empty:
        made = counted(len(rows), "candidate")
        return f"{made} to make next, chosen for what can be learnt: no target is set to come nearer to."
    best = result.tested.loc[result.tested["best"]].iloc[0]
    has = f"{format_number(best['expected'], 1)} of {int(asked['windows'].iloc[0])} targets"
    nearer = asked.loc[asked["nearer"]]
    if nearer.empty:
        return (
            f"No prototype you could make from these is expected to come nearer than {best['prototype']} (about {has})."
        )
    first = nearer.sort_values("expected", ascending=False, kind="stable").iloc[0]
    return (
        f"Candidate {first['proposal']} is expected to come nearer than {best['prototype']}: about "
        f"{format_number(first['expected'], 1)} against {has}."
    )


def _candidate(row: Mapping[Any, Any], result: NextPrototypes, names: Naming) -> str:
    number, teaches = row["proposal"], _teaches(result.teaches.loc[result.teaches["proposal"] == row["proposal"]])
    told = f"Candidate {number} ({_PURPOSES[str(row['purpose'])]})"
    if not row["inside"]:
        return f"{told}: outside the tested region, so nothing can be predicted. {teaches}"
    if not row["windows"]:
        return f"{told}. {teaches}"
    return f"{told}: {_likely(result.profiles.loc[result.profiles['proposal'] == number], names)}. {teaches}"


def _likely(profile: pd.DataFrame, names: Naming) -> str:
    told = []
    asked = counted((profile["place"] != "").sum(), "target")
    for head, places in ((f"likely meets {{}} of {asked}", (IN, LIKELY_IN)), ("doubtful", (LIKELY_OUT, OUT))):
        named = [quoted(names.attribute(str(name))) for name in profile.loc[profile["place"].isin(places), "attribute"]]
        if named:
            told.append(f"{head.format(len(named))}: {format_list(named)}")
    return "; ".join(told) or "nothing is wanted of what can be predicted"


def _next_picture(result: NextPrototypes, names: Naming) -> Picture:
    told = [f"{row['prototype']} {format_number(row['expected'], 1)}" for row in result.tested.to_dict("records")]
    known = result.proposals.dropna(subset=["expected"])
    told += [f"candidate {row['proposal']} {format_number(row['expected'], 1)}" for row in known.to_dict("records")]
    windows = int(result.proposals["windows"].max())
    title = f"How many of {windows} targets each is expected to meet"
    return Picture("next", title, f"{title}: {format_list(told)}.", partial(_next_figure, result, names))


def _next_figure(result: NextPrototypes, names: Naming, width: float = BROAD) -> Figure:
    """Return the prototypes there are, then the candidates, by how many targets each is expected to meet."""
    made = [str(name) for name in result.tested["prototype"]]
    known = result.proposals.dropna(subset=["expected"])
    labels = [*made, *(f"candidate {number}" for number in known["proposal"])]
    looks = [marker_of(names, name) for name in made] + [Marker(INK, "D")] * len(known)
    heights = [_ROW * (place + 0.5 + 0.4 * (place >= len(made))) for place in range(len(labels))]
    rows = pd.DataFrame(
        {
            "y": heights,
            "estimate": [*result.tested["expected"], *known["expected"]],
            "ci_low": np.nan,
            "ci_high": np.nan,
            "colour": [look.colour for look in looks],
            "shape": [look.shape for look in looks],
            "filled": [True] * len(made) + [False] * len(known),
            "stands_for": made + [""] * len(known),
        }
    )
    windows = int(result.proposals["windows"].max())
    figure, axes = interval_figure(
        rows,
        heights[-1] + _ROW,
        list(zip(heights, labels, strict=True)),
        remarks=[(y, format_number(value, 1)) for y, value in zip(heights, rows["estimate"], strict=True)],
        width=width,
        limits=(0, windows),
        x_title=f"Targets it is expected to meet, of {windows} (sum of the chances)",
    )
    best = float(result.tested["expected"].max())
    axes.axvline(best, color=INK, linewidth=0.8, linestyle=(0, (4, 3)), zorder=1)
    return figure


def _teaches(teaches: pd.DataFrame) -> str:
    levels = [short_swap(str(about)) for about in teaches.loc[teaches["kind"] == "new level", "about"]]
    broken = [str(about) for about in teaches.loc[teaches["kind"] == "alias broken", "about"]]
    told = []
    if levels:
        told.append(f"what an untried amount of {format_list(levels)} does")
    if (teaches["kind"] == "curvature").any():
        told.append("whether half a swap gives half the change")
    if broken:
        told.append(f"which of the emollients that always changed together matters ({'; '.join(broken)})")
    return f"Would show {format_list(told)}." if told else "No untried amount: would make what the swaps do surer."


def _warning(row: Mapping[Any, Any]) -> str:
    kind, value, versus = str(row["kind"]), float(row["value"]), float(row["versus"])
    if kind in ("solid", "volatile"):
        share, base = (format_number(part, 0) for part in (value, versus))
        about = f" ({row['about']})" if row["about"] else ""
        return f"{kind.capitalize()} share of the emollients {share} %, in the base {base} %{about}."
    if kind == "cost":
        off = format_change(100 * (value / versus - 1), 0) if versus > 0 else ""
        return (
            f"Cost of the emollients {format_number(value, 2)} for 100 units of formula, base "
            f"{format_number(versus, 2)}" + (f" ({off} %)." if off else ".")
        )
    if kind == "assessors":
        return f"Must not be given to {row['words']}, who avoid {row['about']}."
    return f"{row['about']}: {row['words']}"


_RECORD = shown.Table(
    "predictions",
    "Predictions and outcomes",
    "outcomes",
    (
        shown.PROTOTYPE,
        shown.ATTRIBUTE,
        shown.number("Expected", "estimate", shown.SCALE),
        shown.INTERVAL,
        shown.number("Outcome", "outcome", shown.SCALE),
        shown.change("Off by", "error"),
        shown.change("Off by, as difference from the base", "error_from_base"),
        shown.yes_no("In the interval", "within"),
    ),
    key=("prototype", "attribute"),
)


def tell_record(record: PredictionRecord, names: Naming) -> Told:
    """Tell how the predictions that were written down turned out."""
    each = [
        f"{row['prototype']}: {int(row['within'])} of {int(row['n'])} ({format_share(float(row['share']))}), where "
        f"{format_share(float(row['level']))} was promised."
        for row in record.summary.loc[record.summary["prototype"] != ""].to_dict("records")
    ]
    total = record.summary.loc[record.summary["prototype"] == ""]
    waiting = (f"Predicted, not tested yet: {format_list(record.waiting)}.",) if record.waiting else ()
    if total.empty:
        return Told(record, names, "No prediction has been held against an outcome yet.", mind=waiting)
    whole = total.iloc[0]
    headline = (
        f"{int(whole['within'])} of {int(whole['n'])} means fell into the interval that was predicted "
        f"({format_share(float(whole['share']))})."
    )
    drawers = (drawer("Prototype by prototype", *each), drawer("Predictions beside outcomes", _RECORD))
    return Told(record, names, headline, mind=waiting, table=_RECORD, drawers=drawers)


# What to expect from a blend that nobody made.


_DIRECTIONS = {1: "higher", -1: "lower", 0: "not known"}
_WHAT_IF = shown.Table(
    "what_if",
    "What to expect",
    "profile",
    lambda result: (
        (
            shown.ATTRIBUTE,
            shown.number("Expected mean{scale}", "estimate", shown.SCALE),
            shown.INTERVAL,
            shown.number("Base", "base", shown.SCALE),
            WANTED,
            shown.share("Chance to meet it", "chance"),
        )
        if result.inside
        else (
            shown.ATTRIBUTE,
            shown.text("Compared with the base", "direction", {1: "higher", -1: "lower", 0: "not known"}),
        )
    ),
    key=("attribute",),
)


def tell_what_if(result: WhatIf, names: Naming, base: str) -> Told:
    """Tell what to expect from a blend, or outside the tested region the directions alone, compared with `base`."""
    return Told(
        result,
        names,
        _what_if_headline(result, names, base),
        _profile_picture(result, names) if result.inside else None,
        () if result.inside else tuple(_outside(result, names)),
        _WHAT_IF,
        (drawer("The same as a table", _WHAT_IF),),
        (_NO_RESULT,),
    )


def _what_if_headline(result: WhatIf, names: Naming, base: str) -> str:
    if result.made_as:
        return f"This blend was made: it is {result.made_as}. Look at its own scores rather than at a prediction."
    if result.inside:
        if (result.profile["place"] == "").all():
            return "Inside the tested region: this is what to expect. No target is set to hold it against."
        return f"This blend {_likely(result.profile, names)}."
    if (result.profile["direction"] == 0).all():
        return "Outside the tested region: no number can be given, and no direction either."
    return f"Outside the tested region: no number can be given, only directions, compared with {base}."


def _outside(result: WhatIf, names: Naming) -> list[str]:
    heads = {1: "Likely higher than the base", -1: "Likely lower than the base", 0: "Direction not known"}
    sentences = []
    for sign, head in heads.items():
        rows = result.profile.loc[result.profile["direction"] == sign, "attribute"]
        if told := [names.attribute(str(name)) for name in rows]:
            sentences.append(f"{head}: {format_list(told)}.")
    return sentences


def _profile_picture(result: WhatIf, names: Naming) -> Picture:
    told = []
    for row in result.profile.to_dict("records"):
        name = str(row["attribute"])
        wanted = names.window(name, row["target_low"], row["target_high"])
        ends = f"{names.interval(name, row['ci_low'], row['ci_high'])}{f', wanted {wanted}, ' if row['place'] else ''}"
        told.append(f"{names.attribute(name)} {names.number(name, row['estimate'])} ({ends}{row['place']})")
    alt = f"Means to expect with intervals and targets: {'; '.join(told)}."
    return Picture("what_if", "What to expect from this blend", alt, partial(_figure, result, names))


_ROW, _HEADING = 0.27, 0.24  # inches
_WINDOW = "#d9ead3"


def _figure(result: WhatIf, names: Naming, width: float = BROAD) -> Figure:
    """Return the means to expect; filled dots have the whole interval in the window, small lines are the base."""
    profile = _in_order(result.profile, names)
    heights, headings = _places(profile, names)
    filled = profile["place"] == IN
    profile, behind = shown.own_lines(profile, names, "base", "target_low", "target_high")
    rows = profile.assign(y=heights, colour=INK, shape="o", filled=filled).dropna(subset=["estimate"])
    ends = profile[["base", "target_low", "target_high"]].to_numpy(dtype=float).ravel()
    limits = needed_limits(rows, *ends[np.isfinite(ends)])
    figure, axes = interval_figure(
        rows,
        (heights[-1] if heights else 0.0) + _ROW,
        [(y, f"{names.attribute(name)}{behind[name]}") for y, name in zip(heights, profile["attribute"], strict=True)],
        headings=headings,
        width=width,
        limits=limits,
        key=_key(windows=bool(profile[["target_low", "target_high"]].notna().any(axis=None))),
        x_title=names.with_scale("Expected mean with its interval"),
        names=names,
    )
    for y, row in zip(heights, profile.to_dict("records"), strict=True):
        _window(axes, y, float(row["target_low"]), float(row["target_high"]), limits)
        axes.plot([row["base"]] * 2, [y - 0.3 * _ROW, y + 0.3 * _ROW], color=INK, linewidth=1.2, zorder=2)
    return figure


def _in_order(profile: pd.DataFrame, names: Naming) -> pd.DataFrame:
    order = {stage: place for place, stage in enumerate(_STAGES)}
    place = profile["attribute"].map(lambda name: order.get(names.stage(str(name)), len(order)))
    return profile.iloc[place.argsort(kind="stable")].reset_index(drop=True)


def _places(profile: pd.DataFrame, names: Naming) -> tuple[list[float], list[tuple[float, str]]]:
    heights: list[float] = []
    headings: list[tuple[float, str]] = []
    depth, stage = 0.0, None
    for name in profile["attribute"]:
        if names.stage(str(name)) != stage:
            stage = names.stage(str(name))
            headings.append((depth + _HEADING / 2, stage or "other"))
            depth += _HEADING
        heights.append(depth + _ROW / 2)
        depth += _ROW
    return heights, headings


def _window(axes: Axes, y: float, low: float, high: float, limits: tuple[float, float]) -> None:
    """Shade the target window of one line, open ends reaching to the end of the scale."""
    from matplotlib.patches import Rectangle

    if np.isnan(low) and np.isnan(high):
        return
    start = limits[0] if np.isnan(low) else max(low, limits[0])
    end = limits[1] if np.isnan(high) else min(high, limits[1])
    if end > start:
        tall = 0.84 * _ROW
        axes.add_patch(
            Rectangle((start, y - tall / 2), end - start, tall, facecolor=_WINDOW, edgecolor="none", zorder=0.8)
        )


def _key(*, windows: bool) -> list[Artist]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    lines: list[Artist] = [
        Line2D([], [], color=INK, linewidth=1.5, label=f"{level_words(LEVEL)}"),
        Line2D([], [], linestyle="none", marker="|", markersize=9, markeredgewidth=1.2, color=INK, label="base"),
    ]
    if not windows:
        return lines
    inside = Line2D([], [], linestyle="none", marker="o", markersize=6, color=INK, label="all of it in the window")
    return [Patch(facecolor=_WINDOW, label="wanted"), *lines, inside]
