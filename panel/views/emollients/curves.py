"""What the measured curves reduce to, in plain sentences made from the numbers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from panel.models.emollients.curves import (
    MODEL_WORDS,
    PARAMETER_UNITS,
    PICK_UP_RATE,
    RUB_OUT_RATE_CREAM,
    RUB_OUT_RATE_LOTION,
    VISCOSITY_UNIT,
    ReducedCurves,
)
from panel.stats.curves.flow import CLEARLY_WORSE, FLOW_MODELS
from panel.stats.curves.force_curve import zero_crossings
from panel.views.drawing.pictures import COLOURS, FAINT, GREY, INK, markers, spread_apart, svg_text, text_width
from panel.views.emollients.readings import format_reading, measure_title, unit_words, with_unit
from panel.words import NOTHING, format_change, format_list, format_number

RATE_WORDS = {
    PICK_UP_RATE: "picking up",
    RUB_OUT_RATE_CREAM: "end of rubbing in, cream",
    RUB_OUT_RATE_LOTION: "end of rubbing in, lotion",
}
PARAMETER_WORDS = {
    "yield_stress": "yield stress",
    "plastic_viscosity": "plastic viscosity",
    "consistency": "consistency index K",
    "flow_index": "flow index n",
}


def flow_sentences(result: ReducedCurves) -> tuple[str, ...]:
    """Return which model describes the flow curves, and how thick the prototypes are at each shear rate of use."""
    if result.flow.model is None:
        return ()
    return (_model_sentence(result), *_viscosity_sentences(result.flow.viscosities), *_yield_sentence(result))


def force_sentences(result: ReducedCurves) -> tuple[str, ...]:
    """Return how far the quantities of the force curves reach over the curves."""
    used = result.force.quantities
    if used.empty:
        return ()
    used = used.loc[used["used"].astype(bool)]
    return tuple(
        f"{str(measure)[0].upper()}{str(measure)[1:]} runs {_from_to(rows, 'estimate', str(rows['unit'].iloc[0]))}: "
        f"{rows['limits'].iloc[0]}."
        for measure, rows in used.groupby("measure", sort=False)
    )


def what_curves_cannot_show() -> tuple[str, ...]:
    """Return the sentences that keep a reader from reading too much."""
    return (
        "A model that fits says how the sample flowed in the instrument, at that temperature and after that rest.",
        "A yield stress is what the model makes of the lowest rates; measured another way it comes out differently.",
        "Curves measured with another geometry, speed or temperature are not comparable with these.",
    )


def flow_alt_text(result: ReducedCurves) -> str:
    """Return what a person who cannot see the flow curves should hear."""
    return f"Flow curves, shear stress by shear rate on logarithmic scales. {' '.join(flow_sentences(result))}"


def force_alt_text(result: ReducedCurves) -> str:
    """Return what a person who cannot see the force curves should hear."""
    return f"Force curves with the areas that were taken. {' '.join(force_sentences(result))}"


def curve_name(prototype: object, repeat: object, n_repeats: int = 2) -> str:
    """Return what a curve is called: the prototype, and which repetition if there are several."""
    return f"{prototype}, repeat {repeat}" if str(repeat) and n_repeats > 1 else str(prototype)


def _model_sentence(result: ReducedCurves) -> str:
    flow = result.flow
    words = {model: MODEL_WORDS[model] for model in FLOW_MODELS}
    chosen = next(model for model in FLOW_MODELS if model == flow.model)
    totals = flow.totals.set_index("model")["aicc"]
    count = len(flow.yield_stresses)
    on = f"summed over {count} curves" if count > 1 else "one curve"
    above = {words[model]: float(totals[model] - totals.iloc[0]) for model in FLOW_MODELS if np.isfinite(totals[model])}
    ranked = sorted(above, key=lambda model: above[model])
    told = ", ".join(f"{model} {format_change(above[model], 1)}" for model in ranked)
    close = [model for model in ranked if model != words[chosen] and abs(above[model]) <= CLEARLY_WORSE]
    doubt = f" {format_list(close)} would do about as well." if close else ""
    return f"All flow curves are told by {words[chosen]}. AICc ({on}; lower is better): {told}.{doubt}"


def _viscosity_sentences(viscosities: pd.DataFrame) -> tuple[str, ...]:
    sentences = []
    for rate, rows in viscosities.groupby("rate", sort=False):
        when = RATE_WORDS.get(float(str(rate)), "")
        beyond = rows["extrapolated"].astype(bool)
        doubt = " This lies beyond what was measured: the model speaks alone." if beyond.all() else ""
        if beyond.any() and not doubt:
            doubt = " For some curves this lies beyond what was measured."
        at = f"{float(str(rate)):g} 1/s" + (f" ({when})" if when else "")
        sentences.append(f"At {at} viscosity runs {_from_to(rows, 'estimate', VISCOSITY_UNIT)}.{doubt}")
    return tuple(sentences)


def _yield_sentence(result: ReducedCurves) -> tuple[str, ...]:
    flow = result.flow
    if flow.model == "power_law":
        return ()
    seen = flow.yield_stresses.loc[flow.yield_stresses["yield_stress_seen"].astype(bool), ["prototype", "repeat"]]
    if seen.empty:
        return ("No yield stress can be told from these curves.",)
    stresses = flow.parameters.loc[flow.parameters["parameter"] == "yield_stress"].merge(seen)
    return (f"The yield stress runs {_from_to(stresses, 'estimate', 'Pa')}.",)


def _from_to(rows: pd.DataFrame, column: str, unit: str) -> str:
    """Return `from 57.7 g (P1, repeat 2) to 128 g (P8, repeat 1)`."""
    repeats = rows["repeat"].nunique()
    ordered = rows.sort_values(column, kind="stable").to_dict("records")
    ends = []
    for row in (ordered[0], ordered[-1]):
        name = curve_name(row["prototype"], row["repeat"], repeats)
        ends.append(f"{with_unit(format_reading(float(row[column])), unit)} ({name})")
    return f"from {ends[0]} to {ends[1]}" if len(rows) > 1 else f"to {ends[0]}"


# What the measured curves reduce to, as tables a person reads.


def flow_models_table(result: ReducedCurves) -> pd.DataFrame:
    """Return one row per flow curve: AICc of every model above the best one of that curve."""
    rows = result.flow.models
    if rows.empty:
        return pd.DataFrame()
    wide = rows.pivot_table(index=["prototype", "repeat"], columns="model", values="difference", sort=False)
    best = rows.loc[rows["difference"] == 0].drop_duplicates(["prototype", "repeat"])
    columns = {
        f"{MODEL_WORDS[model]}, AICc above the best": [format_number(value, 1) for value in wide[model]]
        for model in FLOW_MODELS
        if model in wide
    }
    return pd.DataFrame(
        {
            "Prototype": [str(prototype) for prototype, _ in wide.index],
            "Repeat": [str(repeat) or NOTHING for _, repeat in wide.index],
            **columns,
            "Best by itself": [_words(str(model)) for model in best["model"]],
        },
        dtype="str",
    )


def flow_table(result: ReducedCurves) -> pd.DataFrame:
    """Return one row per flow curve: the parameters of the model used, with their intervals."""
    rows = result.flow.parameters
    if rows.empty:
        return pd.DataFrame()
    table = _curve_columns(rows)
    for parameter in dict.fromkeys(rows["parameter"]):
        own = rows.loc[rows["parameter"] == parameter]
        heading = measure_title(PARAMETER_WORDS[str(parameter)], PARAMETER_UNITS[str(parameter)])
        table[heading] = [format_reading(value) for value in own["estimate"]]
        table[f"{heading}: {100 * result.level:g} % interval"] = _reading_intervals(own)
    if result.flow.model != "power_law":
        seen = result.flow.yield_stresses["yield_stress_seen"].astype(bool)
        table["Can a yield stress be told?"] = ["yes" if value else "no" for value in seen]
    return pd.DataFrame(table, dtype="str")


def viscosities_table(result: ReducedCurves) -> pd.DataFrame:
    """Return one row per flow curve and shear rate: viscosity with its interval, and whether it was measured."""
    rows = result.flow.viscosities
    if rows.empty:
        return pd.DataFrame()
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Repeat": [str(repeat) or NOTHING for repeat in rows["repeat"]],
            "Shear rate, 1/s": [f"{rate:g}" for rate in rows["rate"]],
            "Stands for": [RATE_WORDS.get(float(rate), NOTHING) for rate in rows["rate"]],
            "Viscosity, Pa s": [format_reading(value) for value in rows["estimate"]],
            f"{100 * result.level:g} % interval": _reading_intervals(rows),
            "Measured": ["no, beyond the measured rates" if beyond else "yes" for beyond in rows["extrapolated"]],
        },
        dtype="str",
    )


def force_table(result: ReducedCurves) -> pd.DataFrame:
    """Return one row per force curve and quantity, with what it was taken over."""
    rows = result.force.quantities
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Repeat": [str(repeat) or NOTHING for repeat in rows["repeat"]],
            "Quantity": list(rows["measure"]),
            "Value": [format_reading(float(value)) for value in rows["estimate"]],
            "Unit": [unit_words(str(unit)) for unit in rows["unit"]],
            "Taken as": list(rows["limits"]),
            "Joined to the panel": ["yes" if used else "no" for used in rows["used"]],
        },
        dtype="str",
    )


def _curve_columns(rows: pd.DataFrame) -> dict[str, list[str]]:
    curves = rows[["prototype", "repeat"]].drop_duplicates()
    return {
        "Prototype": list(curves["prototype"]),
        "Repeat": [str(repeat) or NOTHING for repeat in curves["repeat"]],
    }


def _words(model: str) -> str:
    return next(words for name, words in MODEL_WORDS.items() if name == model)


def _reading_intervals(rows: pd.DataFrame) -> list[str]:
    ends = zip(rows["ci_low"], rows["ci_high"], strict=True)
    return [NOTHING if low != low else f"{format_reading(low)} to {format_reading(high)}" for low, high in ends]


# Pictures of the measured curves: flow curves with the model on logarithmic scales, force curves with their areas.


_FONT = 8.5  # points
_POINTS = 72.0  # to the inch
# Inches.
_WIDTH, _HEIGHT, _LEFT, _BOTTOM, _TOP, _RIGHT = 5.6, 4.0, 0.75, 0.6, 0.65, 0.4
_SMALL_WIDTH, _SMALL_HEIGHT, _SMALL_LEFT, _SMALL_TOP = 2.6, 1.9, 0.6, 0.4
_MOST_BESIDE = 4
_HATCH = "////"
_GAP = 0.025  # between the picture and the names at its right, as a part of its width
_EDGE = 0.15  # a word closer to an edge than this part of the width stands beside its line, not over it
_LINE_SPACE = 1.25  # of the size of the letters
_LONG = 500.0  # a logarithmic axis with more than this between its ends is numbered at powers of ten only
WORK_COLOUR, PULL_COLOUR = COLOURS[4], COLOURS[5]


def flow_figure(result: ReducedCurves, chosen: Sequence[str] = ()) -> Figure:
    """Return the flow curves: measured points, the fitted curve of each repeat, prototypes named at the right.

    With more than seven prototypes only the `chosen` ones are coloured. Dashed uprights are the shear rates of use.
    """
    import seaborn as sns

    flow = result.flow
    prototypes = [str(name) for name in dict.fromkeys(flow.points["prototype"])]
    drawn = markers(prototypes, chosen)
    named = max((text_width(name, _FONT) for name in prototypes), default=0.0) / _POINTS
    width, height = _LEFT + _WIDTH + _RIGHT + named, _BOTTOM + _HEIGHT + _TOP
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((_LEFT / width, _BOTTOM / height, _WIDTH / width, _HEIGHT / height))
    axes.set(xscale="log", yscale="log")
    colours = {name: drawn[name].colour for name in prototypes}
    shapes = {name: drawn[name].shape for name in prototypes}
    order = sorted(prototypes, key=lambda name: colours[name] != GREY)  # grey ones below
    look = {"x": "rate", "y": "stress", "hue": "prototype", "hue_order": order, "palette": colours, "ax": axes}
    sns.lineplot(
        data=flow.lines, units="repeat", estimator=None, errorbar=None, linewidth=1.2, legend=False, zorder=2, **look
    )
    sns.scatterplot(
        data=flow.points, style="prototype", style_order=order, markers=shapes, s=16, edgecolor=INK, linewidth=0.3,
        legend=False, zorder=3, **look,
    )  # fmt: skip
    _mark_rates(axes, sorted(set(flow.viscosities["rate"])))
    _name_at_the_right(axes, flow.lines)
    _log_ticks(axes)
    model = "" if flow.model is None else f"; lines: {MODEL_WORDS[flow.model]}"
    axes.set_title(f"Flow curves{model}", fontsize=_FONT + 1.5, color=INK, loc="left", pad=26)
    axes.set_xlabel("Shear rate, 1/s", fontsize=_FONT, color=INK)
    axes.set_ylabel("Shear stress, Pa", fontsize=_FONT, color=INK)
    _plain(axes)
    return figure


def flow_svg(result: ReducedCurves, chosen: Sequence[str] = (), *, text_as_paths: bool = True) -> str:
    """Return the flow curves as SVG text."""
    return svg_text(
        flow_figure(result, chosen),
        title="Flow curves",
        description=flow_alt_text(result),
        text_as_paths=text_as_paths,
    )


def force_figure(result: ReducedCurves) -> Figure:
    """Return the force curves, one picture per prototype; the areas taken of its first repeat are filled."""
    points, peaks = result.force.points, result.force.peaks
    prototypes = [str(name) for name in dict.fromkeys(points["prototype"])]
    beside = max(1, min(len(prototypes), _MOST_BESIDE))
    stacked = max(1, -(-len(prototypes) // beside))
    wide, tall = _SMALL_LEFT + _SMALL_WIDTH, _SMALL_TOP + _SMALL_HEIGHT + _BOTTOM
    figure = Figure(figsize=(beside * wide + 0.15, stacked * tall + 0.35))
    whole = beside * wide + 0.15, stacked * tall + 0.35
    for number, prototype in enumerate(prototypes):
        row, column = divmod(number, beside)
        place = (column * wide + _SMALL_LEFT) / whole[0], ((stacked - 1 - row) * tall + _BOTTOM) / whole[1]
        axes = figure.add_axes((*place, (_SMALL_WIDTH - 0.15) / whole[0], _SMALL_HEIGHT / whole[1]))
        axes.set(xlim=_reach(points["along"]), ylim=_reach(points["force"]))
        own = points.loc[points["prototype"] == prototype]
        _draw_force(axes, own, peaks.loc[peaks["prototype"] == prototype].iloc[0])
        axes.set_title(prototype, fontsize=_FONT, color=INK, loc="left")
        along, force = str(own["along_unit"].iloc[0]), str(own["force_unit"].iloc[0])
        axes.set_xlabel(f"{'Time' if along == 's' else 'Way'}, {unit_words(along)}", fontsize=_FONT, color=INK)
        axes.set_ylabel(f"Force, {unit_words(force)}" if column == 0 else "", fontsize=_FONT, color=INK)
    _force_key(figure, whole[1])
    return figure


def force_svg(result: ReducedCurves, *, text_as_paths: bool = True) -> str:
    """Return the force curves as SVG text."""
    return svg_text(
        force_figure(result), title="Force curves", description=force_alt_text(result), text_as_paths=text_as_paths
    )


def _mark_rates(axes: Axes, rates: Sequence[float]) -> None:
    """Draw an upright at each rate of use that lies in the picture, with its words above, on two lines by turns."""
    low, high = np.log(axes.get_xlim())
    inside = [(rate, (np.log(rate) - low) / (high - low)) for rate in rates if low <= np.log(rate) <= high]
    for number, (rate, across) in enumerate(inside):
        axes.axvline(rate, color=INK, linewidth=0.7, linestyle=(0, (4, 3)), zorder=1)
        words = RATE_WORDS.get(float(rate), f"{rate:g} 1/s")
        line = (len(inside) - 1 - number) % 2
        side = "left" if across < _EDGE else "right" if across > 1 - _EDGE else "center"
        axes.annotate(
            words, (across, 1), xycoords="axes fraction", xytext=(0, 3 + line * _FONT * _LINE_SPACE),
            textcoords="offset points", fontsize=_FONT - 1, color=INK, ha=side,
        )  # fmt: skip


def _name_at_the_right(axes: Axes, lines: pd.DataFrame) -> None:
    """Write each prototype beside the end of its curve, apart from the others, with a thin line to it."""
    ends = lines.loc[lines.groupby("prototype", sort=False)["rate"].idxmax()]
    low, high = np.log(axes.get_ylim())
    side = _HEIGHT * _POINTS
    wished = (np.log(ends["stress"].to_numpy(dtype=float)) - low) / (high - low) * side
    heights = np.full(len(ends), _FONT * _LINE_SPACE)
    places = spread_apart(wished, heights, 0.0, side)
    low_rate, high_rate = np.log(axes.get_xlim())
    for row, from_height, place in zip(ends.to_dict("records"), wished, places, strict=True):
        end = (np.log(row["rate"]) - low_rate) / (high_rate - low_rate)
        leader = [end, 1.0, 1 + _GAP], [from_height / side, from_height / side, place / side]
        axes.plot(*leader, transform=axes.transAxes, color=GREY, linewidth=0.6, clip_on=False, zorder=1)
        name = str(row["prototype"])
        axes.text(1.3 * _GAP + 1, place / side, name, transform=axes.transAxes, fontsize=_FONT, color=INK, va="center")


def _draw_force(axes: Axes, own: pd.DataFrame, peak: pd.Series) -> None:
    for number, (_, curve) in enumerate(own.groupby("repeat", sort=False)):
        first = number == 0
        (line,) = axes.plot(curve["along"], curve["force"], color=GREY, linewidth=0.7, zorder=3)
        if first:
            line.set(color=INK, linewidth=1.2, zorder=4)
            _fill_areas(axes, curve, peak)
    axes.axhline(0, color=INK, linewidth=0.8, zorder=1)
    _plain(axes)


def _fill_areas(axes: Axes, curve: pd.DataFrame, peak: pd.Series) -> None:
    """Fill what was taken as work of shear and as work of adhesion, with the crossings of zero as corners."""
    along, force = (curve[column].to_numpy(dtype=float) for column in ("along", "force"))
    work_ends, pull_begins = float(peak["end_of_work"]), float(peak["peak_at"])
    corners = np.unique(np.concatenate([along, zero_crossings(along, force), [work_ends, pull_begins]]))
    heights = np.interp(corners, along, force)
    work, pull = corners <= work_ends, corners >= pull_begins
    look: dict[str, Any] = {"alpha": 0.6, "linewidth": 0, "zorder": 2}
    axes.fill_between(corners[work], np.maximum(heights[work], 0), facecolor=WORK_COLOUR, **look)
    axes.fill_between(
        corners[pull], np.minimum(heights[pull], 0), facecolor=PULL_COLOUR, hatch=_HATCH, edgecolor=INK, **look
    )


def _reach(values: pd.Series) -> tuple[float, float]:
    """Return the ends of an axis that all prototypes share."""
    low, high = min(float(values.min()), 0.0), float(values.max())
    return low - 0.05 * (high - low), high + 0.05 * (high - low)


def _force_key(figure: Figure, height: float) -> None:
    from matplotlib.patches import Patch

    entries = [
        Patch(facecolor=WORK_COLOUR, alpha=0.6, label="work of shear"),
        Patch(facecolor=PULL_COLOUR, alpha=0.6, hatch=_HATCH, edgecolor=INK, linewidth=0, label="work of adhesion"),
    ]
    figure.legend(
        handles=entries, loc="upper left", bbox_to_anchor=(0.01, 1 - 0.02 / height), ncols=2, fontsize=_FONT,
        frameon=False,
    )  # fmt: skip


def _log_ticks(axes: Axes) -> None:
    """Write numbers on the logarithmic axes at 1, 2 and 5, or at the powers of ten where they are long."""
    for axis, (low, high) in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
        axis.set_major_locator(LogLocator(subs=(1, 2, 5) if high / low < _LONG else (1,)))
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        axis.set_minor_formatter(NullFormatter())


def _plain(axes: Axes) -> None:
    axes.grid(color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=_FONT - 1, colors=INK)
    axes.spines[["top", "right"]].set_visible(False)
