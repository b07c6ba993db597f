"""Which prototype to make next, in plain sentences and tables, and how earlier predictions turned out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from panel.models.emollients.next_prototype import NextPrototypes
from panel.models.emollients.predictions import PredictionRecord, WhatIf
from panel.study.naming import Naming
from panel.views.drawing.interval_picture import FONT, interval_figure, needed_limits
from panel.views.drawing.pictures import COLOURS, INK, STAGES, svg_text
from panel.views.emollients.swaps import swap_words
from panel.words import (
    NOTHING,
    format_change,
    format_interval,
    format_list,
    format_number,
    format_share,
)

_PURPOSES = {
    "target": "Nearest to the target",
    "learn": "Tells most",
    "untangle": "Moves apart what always changed together",
}


@dataclass(frozen=True, slots=True)
class ProposalWords:
    """One proposal: its title, the blend, what to expect, what it would teach, and what to mind."""

    title: str
    blend: str
    expect: str
    teaches: str
    mind: tuple[str, ...]


def proposal_words(result: NextPrototypes, names: Naming) -> tuple[ProposalWords, ...]:
    """Return every proposal in words, in order."""
    return tuple(_proposal(row, result, names) for row in result.proposals.to_dict("records"))


def next_headline(result: NextPrototypes) -> str:
    """Return what the proposals are for."""
    n = len(result.proposals)
    return (
        f"{n} {'prototype' if n == 1 else 'prototypes'} worth making and testing next; a prediction is no result, so "
        "make, test, and hold the outcome against it."
    )


def proposals_table(result: NextPrototypes) -> pd.DataFrame:
    """Return one row per emollient and one column per proposal, per cent of the formula."""
    wide = result.blends.pivot_table(index="ingredient", columns="proposal", values="percent", sort=False)
    purpose = dict(zip(result.proposals["proposal"], result.proposals["purpose"], strict=True))
    shown = {
        f"{number}. {_PURPOSES[purpose[number]]}": ["–" if pd.isna(v) else f"{v:.2f}" for v in wide[number]]
        for number in wide.columns
    }
    return pd.DataFrame({"Emollient, % of the formula": [str(name) for name in wide.index], **shown}, dtype="str")


def record_sentences(record: PredictionRecord) -> tuple[str, ...]:
    """Return how the predictions turned out so far."""
    told = []
    for row in record.summary.loc[record.summary["prototype"] != ""].to_dict("records"):
        told.append(
            f"{row['prototype']}: {int(row['within'])} of {int(row['n'])} means fell into their "
            f"{100 * float(row['level']):g} % interval ({format_share(float(row['share']))})."
        )
    total = record.summary.loc[record.summary["prototype"] == ""]
    if len(total) and len(record.summary) > 2:
        whole = total.iloc[0]
        told.append(f"Together: {int(whole['within'])} of {int(whole['n'])} ({format_share(float(whole['share']))}).")
    if record.waiting:
        told.append(f"Predicted, not tested yet: {format_list(record.waiting)}.")
    return tuple(told) or ("No prediction has been written down.",)


def record_table(record: PredictionRecord, names: Naming) -> pd.DataFrame:
    """Return one row per predicted mean and its outcome."""
    outcomes = record.outcomes
    ends = zip(outcomes["ci_low"], outcomes["ci_high"], strict=True)
    return pd.DataFrame(
        {
            "Prototype": list(outcomes["prototype"]),
            "Attribute": [names.attribute(str(name)) for name in outcomes["attribute"]],
            "Expected": [format_number(value, names.digits) for value in outcomes["estimate"]],
            "Interval": [format_interval(low, high, names.digits) for low, high in ends],
            "Outcome": [format_number(value, names.digits) for value in outcomes["outcome"]],
            "Off by": [format_change(value, names.digits) for value in outcomes["error"]],
            "Off by, as difference from the base": [
                format_change(value, names.digits) for value in outcomes["error_from_base"]
            ],
            "In the interval": ["yes" if within else "no" for within in outcomes["within"]],
        },
        dtype="str",
    )


def _proposal(row: Mapping[Any, Any], result: NextPrototypes, names: Naming) -> ProposalWords:
    number, purpose = row["proposal"], str(row["purpose"])
    parts = result.blends.loc[result.blends["proposal"] == number]
    blend = [f"{percent:g} % {name}" for name, percent in zip(parts["ingredient"], parts["percent"], strict=True)]
    return ProposalWords(
        title=f"{number}. {_PURPOSES[purpose]}",
        blend=f"Of the formula: {format_list(blend)}.",
        expect=_expect(row, result, names),
        teaches=_teaches(result.teaches.loc[result.teaches["proposal"] == number]),
        mind=tuple(
            _warning(each) for each in result.warnings.loc[result.warnings["proposal"] == number].to_dict("records")
        ),
    )


def _expect(row: Mapping[Any, Any], result: NextPrototypes, names: Naming) -> str:
    if not row["inside"]:
        return "Outside the tested region: nothing can be predicted."
    if not row["windows"]:
        return "Inside the tested region; no target window to hold it against."
    profile = result.profiles.loc[result.profiles["proposal"] == row["proposal"]].dropna(subset=["chance"])
    likely = [names.attribute(str(name)) for name in profile.loc[profile["chance"] >= 0.5, "attribute"]]
    doubtful = [names.attribute(str(name)) for name in profile.loc[profile["chance"] < 0.5, "attribute"]]
    told = f"Expected to meet about {format_number(float(row['expected']), 1)} of {int(row['windows'])} target windows"
    if likely:
        told += f"; likely {format_list(likely)}"
    if doubtful:
        told += f"; doubtful {format_list(doubtful)}"
    best = result.tested.sort_values("expected", ascending=False, kind="stable").iloc[0]
    return (
        f"{told}. Of the prototypes that were made, {best['prototype']} comes to "
        f"{format_number(float(best['expected']), 1)}, counted in the same way."
    )


def _teaches(teaches: pd.DataFrame) -> str:
    levels = [swap_words(str(about)) for about in teaches.loc[teaches["kind"] == "new level", "about"]]
    broken = [str(about) for about in teaches.loc[teaches["kind"] == "alias broken", "about"]]
    told = []
    if levels:
        told.append(f"a level nobody tried of {format_list(levels)}")
    if (teaches["kind"] == "curvature").any():
        told.append("whether the way between two emollients is straight")
    if broken:
        told.append(f"which of the emollients that always changed together matters ({'; '.join(broken)})")
    return f"Would teach {format_list(told)}." if told else "Would teach nothing new about the swaps."


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


# What to expect from a blend that nobody made, in plain sentences and as a table.


_DIRECTIONS = {1: "higher", -1: "lower", 0: "not known"}


def what_if_headline(result: WhatIf, base: str) -> str:
    """Return whether anything can be predicted, and how."""
    if result.made_as:
        return f"This blend was made: it is {result.made_as}. Look at its own scores rather than at a prediction."
    if result.inside:
        return "Inside the tested region: a profile can be predicted. Make it and test it."
    if (result.profile["direction"] == 0).all():
        return "Outside the tested region: no number can be given, and no direction either."
    return f"Outside the tested region: no number can be given, only directions, compared with {base}."


def what_if_sentences(result: WhatIf, names: Naming) -> tuple[str, ...]:
    """Return one sentence per attribute with a target window, or the directions outside the tested region."""
    rows = result.profile.to_dict("records")
    if not result.inside:
        return tuple(_outside(result, names))
    wanted = [row for row in rows if not (pd.isna(row["target_low"]) and pd.isna(row["target_high"]))]
    return tuple(_inside(row, result.level, names) for row in (wanted or rows))


def what_if_table(result: WhatIf, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: predicted mean with interval and window, or the direction alone."""
    profile = result.profile
    table: dict[str, list[str]] = {"Attribute": [names.attribute(str(name)) for name in profile["attribute"]]}
    if result.inside:
        ends = zip(profile["ci_low"], profile["ci_high"], strict=True)
        table |= {
            names.with_scale("Expected mean"): [format_number(value, names.digits) for value in profile["estimate"]],
            f"{100 * result.level:g} % interval": [format_interval(low, high, names.digits) for low, high in ends],
            "Base": [format_number(value, names.digits) for value in profile["base"]],
            "Wanted": [window_words(low, high) for low, high in _windows(profile)],
            "Chance to be in the window": [format_share(value) for value in profile["chance"]],
        }
    else:
        table["Direction from the base"] = [_DIRECTIONS[int(sign)] for sign in profile["direction"]]
    return pd.DataFrame(table, dtype="str")


def window_words(low: float, high: float) -> str:
    """Return a target window in words: `38 or less`, `55 or more`, `30 to 40`; an en dash for none."""
    if pd.isna(low) and pd.isna(high):
        return NOTHING
    ends = [format_number(end, 0 if pd.isna(end) or float(end).is_integer() else 1) for end in (low, high)]
    if pd.isna(low):
        return f"{ends[1]} or less"
    return f"{ends[0]} or more" if pd.isna(high) else f"{ends[0]} to {ends[1]}"


def what_if_alt_text(result: WhatIf, names: Naming) -> str:
    """Return what a person who cannot see the picture of the predicted profile should hear."""
    return f"Predicted profile with intervals and target windows. {' '.join(what_if_sentences(result, names))}"


def _windows(profile: pd.DataFrame) -> list[tuple[float, float]]:
    return list(zip(profile["target_low"].astype(float), profile["target_high"].astype(float), strict=True))


def _inside(row: Mapping[Any, Any], level: float, names: Naming) -> str:
    attribute, low, high = names.attribute(str(row["attribute"])), float(row["ci_low"]), float(row["ci_high"])
    mean = format_number(float(row["estimate"]), 0 if names.digits == 1 else names.digits)
    ends = format_interval(low, high, 0 if names.digits == 1 else names.digits)
    told = f"{attribute}: expect {mean} ({100 * level:g} % interval {ends})"
    window = (float(row["target_low"]), float(row["target_high"]))
    if pd.isna(window[0]) and pd.isna(window[1]):
        return f"{told}."
    wanted = window_words(*window)
    if _within(low, high, window):
        return f"{told}; wanted is {wanted}: the whole interval is in the window."
    if _beyond(low, high, window):
        return f"{told}; wanted is {wanted}: the whole interval misses it."
    return f"{told}; wanted is {wanted}: {_odds(float(row['chance']))}."


def _odds(chance: float) -> str:
    if chance >= 0.5:
        return f"more likely in than out ({format_share(chance)})"
    return f"more likely out than in ({format_share(chance)} to be in)"


def _within(low: float, high: float, window: tuple[float, float]) -> bool:
    return (pd.isna(window[0]) or low >= window[0]) and (pd.isna(window[1]) or high <= window[1])


def _beyond(low: float, high: float, window: tuple[float, float]) -> bool:
    return (not pd.isna(window[0]) and high < window[0]) or (not pd.isna(window[1]) and low > window[1])


def _outside(result: WhatIf, names: Naming) -> list[str]:
    told = {
        sign: [
            names.attribute(str(name)) for name in result.profile.loc[result.profile["direction"] == sign, "attribute"]
        ]
        for sign in (1, -1, 0)
    }
    sentences = []
    if told[1]:
        sentences.append(f"Likely higher than the base: {format_list(told[1])}.")
    if told[-1]:
        sentences.append(f"Likely lower than the base: {format_list(told[-1])}.")
    if told[0]:
        sentences.append(f"Direction not known: {format_list(told[0])}.")
    return sentences


# A picture of a predicted profile: intervals of the means to expect, against the target windows.


_ROW, _HEADING = 0.27, 0.24  # inches
_WINDOW = "#d9ead3"


def prediction_figure(result: WhatIf, names: Naming, limits: tuple[float, float] | None = None) -> Figure:
    """Return the predicted profile; without dots outside the tested region, where nothing can be drawn.

    Filled dots: the whole interval is in the window. Hollow dots: not sure, or no window. A small line marks the base.
    """
    profile = _in_order(result.profile, names)
    heights, headings = _places(profile, names)
    rows = pd.DataFrame(
        {
            "y": heights,
            "estimate": profile["estimate"],
            "ci_low": profile["ci_low"],
            "ci_high": profile["ci_high"],
            "colour": COLOURS[0],
            "shape": "o",
            "filled": _sure(profile),
        }
    ).dropna(subset=["estimate"])
    ends = profile[["base", "target_low", "target_high"]].to_numpy(dtype=float).ravel()
    limits = limits or needed_limits(rows, *ends[np.isfinite(ends)])
    depth = (heights[-1] if heights else 0.0) + _ROW
    figure, axes = interval_figure(
        rows,
        depth,
        [(y, names.attribute(str(name))) for y, name in zip(heights, profile["attribute"], strict=True)],
        headings=headings,
        limits=limits,
        x_title=names.with_scale("Expected mean with its interval"),
    )
    for y, row in zip(heights, profile.to_dict("records"), strict=True):
        _window(axes, y, float(row["target_low"]), float(row["target_high"]), limits)
        axes.plot([row["base"]] * 2, [y - 0.3 * _ROW, y + 0.3 * _ROW], color=INK, linewidth=1.2, zorder=2)
    _key(axes, result.level)
    return figure


def prediction_svg(
    result: WhatIf, names: Naming, limits: tuple[float, float] | None = None, *, text_as_paths: bool = True
) -> str:
    """Return the predicted profile as SVG text."""
    return svg_text(
        prediction_figure(result, names, limits),
        title="Predicted profile of a blend",
        description=what_if_alt_text(result, names),
        text_as_paths=text_as_paths,
    )


def _in_order(profile: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return the rows stage by stage in the order of use."""
    order = {stage: place for place, stage in enumerate(STAGES)}
    place = [order.get(names.stage(str(name)), len(order)) for name in profile["attribute"]]
    return profile.iloc[np.argsort(place, kind="stable")].reset_index(drop=True)


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


def _sure(profile: pd.DataFrame) -> pd.Series:
    low, high = profile["target_low"], profile["target_high"]
    inside = (low.isna() | (profile["ci_low"] >= low)) & (high.isna() | (profile["ci_high"] <= high))
    return inside & (low.notna() | high.notna())


def _window(axes: Axes, y: float, low: float, high: float, limits: tuple[float, float]) -> None:
    """Shade the target window of one line, open ends reaching to the end of the scale."""
    if np.isnan(low) and np.isnan(high):
        return
    start = limits[0] if np.isnan(low) else max(low, limits[0])
    end = limits[1] if np.isnan(high) else min(high, limits[1])
    if end > start:
        tall = 0.84 * _ROW
        axes.add_patch(
            Rectangle((start, y - tall / 2), end - start, tall, facecolor=_WINDOW, edgecolor="none", zorder=0.8)
        )


def _key(axes: Axes, level: float) -> None:
    axes.legend(
        handles=[
            Patch(facecolor=_WINDOW, label="wanted"),
            Line2D([], [], color=COLOURS[0], linewidth=1.5, label=f"{100 * level:g} % interval"),
            Line2D([], [], linestyle="none", marker="|", markersize=9, markeredgewidth=1.2, color=INK, label="base"),
            Line2D(
                [], [], linestyle="none", marker="o", markersize=6, color=COLOURS[0], label="all of it in the window"
            ),
        ],
        loc="lower left",
        bbox_to_anchor=(0, 1),
        ncols=4,
        fontsize=FONT - 0.5,
        frameon=False,
        handlelength=1.4,
        columnspacing=1.1,
        borderaxespad=0.2,
    )
