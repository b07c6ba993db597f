"""What the measured curves reduce to, in plain sentences made from the numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel.models.emollients import curves
from panel.stats.curves.flow import CLEARLY_WORSE, FLOW_MODELS
from panel.stats.curves.over_time import zero_crossings
from panel.study.naming import Naming
from panel.study.shown import Across, Shown, Table, each_row, number, text, yes_no
from panel.views.pictures import (
    BROAD,
    GREY,
    INK,
    POINTS,
    framed,
    key_lines,
    marker_of,
    panels,
    plain,
    prototype_mark,
    shortened,
    spread_apart,
    text_width,
    wrapped,
    write_key,
)
from panel.views.told import Picture, Told, drawer
from panel.words import NOTHING, format_change, format_list, format_number, format_typed

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_RAISED = str.maketrans("23", "²³")
_RATE_WORDS = {
    curves.PICK_UP_RATE: "picking up",
    curves.RUB_OUT_RATE_CREAM: "end of rubbing in, cream",
    curves.RUB_OUT_RATE_LOTION: "end of rubbing in, lotion",
}
_PARAMETER_WORDS = {
    "yield_stress": "yield stress",
    "plastic_viscosity": "plastic viscosity",
    "consistency": "consistency index K",
    "flow_index": "flow index n",
}


def format_reading(value: float, digits: int = 3) -> str:
    """Return a reading with so many significant digits; an en dash where there is none."""
    if math.isnan(value) or math.isinf(value) or value == 0:
        return format_number(value, 0)
    rounded = float(f"{value:.{digits - 1}e}")
    return format_number(rounded, max(0, digits - 1 - math.floor(math.log10(abs(rounded)))))


def with_unit(text: str, unit: str) -> str:
    """Return a text followed by its unit; a plain number has none."""
    return text if unit == "1" else f"{text} {_unit_words(unit)}"


def _unit_words(unit: str) -> str:
    """Return a unit as it is printed: raised figures, `−1` as they are; empty for a plain number."""
    if unit == "1":
        return ""
    return unit.translate(_RAISED) if unit.startswith(("mm2", "cm2")) or unit.endswith("m3") else unit


def measure_title(measure: str, unit: str) -> str:
    """Return a measure with its unit behind a comma, for an axis or a column."""
    return measure if unit == "1" else f"{measure}, {_unit_words(unit)}"


def tell_curves(result: curves.ReducedCurves, names: Naming) -> Told:
    """Tell what the measured curves come down to: flow curves first, then force curves."""
    flow, force = _flow_sentences(result), _force_sentences(result)
    has_flow, has_force = len(result.flow.parameters) > 0, len(result.force.quantities) > 0
    pictures = [_flow_picture(result, names)] * has_flow + [_force_picture(result)] * has_force
    told = [*flow[1:], *flow[:1], *force]  # how thick they are before which model says so
    behind = [drawer("Flow curves in numbers", _FLOW, _VISCOSITIES, _FLOW_MODELS_COMPARED)] * has_flow
    behind += [drawer("Force curves in numbers", *pictures[1:], _FORCE)] * has_force
    return Told(
        result,
        names,
        told[0] if told else "The curves come down to no number that can be told.",
        pictures[0] if pictures else None,
        drawers=(drawer("What else they come down to", *told[1:]), *behind),
        cannot=_CANNOT,
    )


_CANNOT = (
    "A model that fits says how the sample flowed in the instrument, at that temperature and after that rest.",
    "A yield stress is what the model makes of the lowest rates; measured another way it comes out differently.",
    "Curves measured with another geometry, speed or temperature are not comparable with these.",
)


def _flow_picture(result: curves.ReducedCurves, names: Naming) -> Picture:
    alt = f"Flow curves, shear stress by shear rate on logarithmic scales. {' '.join(_flow_sentences(result))}"
    return Picture("flow", "Flow curves", alt, partial(_flow_figure, result, names))


def _force_picture(result: curves.ReducedCurves) -> Picture:
    alt = f"Force curves with the areas that were taken. {' '.join(_force_sentences(result))}"
    return Picture("force", "Force curves", alt, partial(_force_figure, result))


def _flow_sentences(result: curves.ReducedCurves) -> tuple[str, ...]:
    """Return which model describes the flow curves, and how thick the prototypes are at each shear rate of use."""
    if result.flow.model is None:
        return ()
    return (_model_sentence(result), *_viscosity_sentences(result.flow.viscosities), *_yield_sentence(result))


def _force_sentences(result: curves.ReducedCurves) -> tuple[str, ...]:
    used = result.force.quantities
    if used.empty:
        return ()
    used = used.loc[used["used"].astype(bool)]
    return tuple(
        f"{str(measure)[0].upper()}{str(measure)[1:]} runs {_from_to(rows, str(rows['unit'].iloc[0]))}: "
        f"{rows['limits'].iloc[0]}."
        for measure, rows in used.groupby("measure", sort=False)
    )


def _curve_name(prototype: object, repeat: object, n_repeats: int = 2) -> str:
    """Return what a curve is called: the prototype, and which repetition if there are several."""
    return f"{prototype}, repeat {repeat}" if str(repeat) and n_repeats > 1 else str(prototype)


def _model_sentence(result: curves.ReducedCurves) -> str:
    flow = result.flow
    chosen = next(curves.MODEL_WORDS[model] for model in FLOW_MODELS if model == flow.model)
    totals = flow.totals.set_index("model")["aicc"]
    count = len(flow.yield_stresses)
    on = f"summed over {count} curves" if count > 1 else "one curve"
    models = [model for model in FLOW_MODELS if np.isfinite(totals[model])]
    above = {curves.MODEL_WORDS[model]: float(totals[model] - totals.iloc[0]) for model in models}
    ranked = sorted(above, key=lambda model: above[model])
    told = ", ".join(f"{model} {format_change(above[model], 1)}" for model in ranked)
    close = [model for model in ranked if model != chosen and abs(above[model]) <= CLEARLY_WORSE]
    doubt = f" {format_list(close)} would do about as well." if close else ""
    return f"All flow curves are told by {chosen}. AICc ({on}; lower is better): {told}.{doubt}"


def _viscosity_sentences(viscosities: pd.DataFrame) -> tuple[str, ...]:
    sentences = []
    for rate, rows in viscosities.groupby("rate", sort=False):
        when = _RATE_WORDS.get(float(str(rate)), "")
        beyond = rows["extrapolated"].astype(bool)
        doubt = " This lies beyond what was measured: the model speaks alone." if beyond.all() else ""
        if beyond.any() and not doubt:
            doubt = " For some curves this lies beyond what was measured."
        at = f"{float(str(rate)):g} 1/s" + (f" ({when})" if when else "")
        sentences.append(f"At {at} viscosity runs {_from_to(rows, curves.VISCOSITY_UNIT)}.{doubt}")
    return tuple(sentences)


def _yield_sentence(result: curves.ReducedCurves) -> tuple[str, ...]:
    flow = result.flow
    if flow.model == "power_law":
        return ()
    seen = flow.yield_stresses.loc[flow.yield_stresses["yield_stress_seen"].astype(bool), ["prototype", "repeat"]]
    if seen.empty:
        return ("No yield stress can be told from these curves.",)
    stresses = flow.parameters.loc[flow.parameters["parameter"] == "yield_stress"].merge(seen)
    return (f"The yield stress runs {_from_to(stresses, 'Pa')}.",)


def _from_to(rows: pd.DataFrame, unit: str) -> str:
    """Return `from 57.7 g (P1, repeat 2) to 128 g (P8, repeat 1)`."""
    ordered = _with_curve(rows).sort_values("estimate", kind="stable").iloc[[0, -1]].to_dict("records")
    ends = [f"{with_unit(format_reading(float(row['estimate'])), unit)} ({row['curve']})" for row in ordered]
    return f"from {ends[0]} to {ends[1]}" if len(rows) > 1 else f"to {ends[0]}"


def _with_curve(rows: pd.DataFrame) -> pd.DataFrame:
    repeats = rows["repeat"].nunique() if len(rows) else 0
    names = [_curve_name(*ends, repeats) for ends in zip(rows["prototype"], rows["repeat"], strict=True)]
    return rows.assign(curve=pd.Series(names, index=rows.index, dtype="str"))


def _reading(row: Mapping[str, Any], _: Shown) -> str:
    told = format_reading(row["estimate"])
    known = row["ci_low"] == row["ci_low"]
    return f"{told} ({format_reading(row['ci_low'])} to {format_reading(row['ci_high'])})" if known else told


_CURVE = text("Curve", "curve")
_VALUE = each_row("{level}", _reading, "estimate", "ci_low", figure=True)
_FLOW = Table(
    "flow",
    "Parameters of the flow curves, with their intervals",
    lambda result: _with_curve(result.flow.parameters),
    (_CURVE,),
    key=("curve", "parameter"),
    across=Across(
        "parameter", _VALUE, lambda name, _: measure_title(_PARAMETER_WORDS[name], curves.PARAMETER_UNITS[name])
    ),
)
_FLOW_MODELS_COMPARED = Table(
    "flow_models",
    "Flow models compared: AICc above the best one of each curve",
    lambda result: _with_curve(result.flow.models),
    (_CURVE,),
    key=("curve", "model"),
    across=Across("model", number("", "difference", 1), lambda model, _: curves.MODEL_WORDS[model]),
)
_VISCOSITIES = Table(
    "viscosities",
    "Viscosity at the shear rates of use",
    lambda result: _with_curve(result.flow.viscosities),
    (
        _CURVE,
        each_row("Shear rate, 1/s", lambda row, _: format_typed(float(row["rate"])), "rate", figure=True),
        each_row("Stands for", lambda row, _: _RATE_WORDS.get(float(row["rate"]), NOTHING), "rate"),
        each_row("Viscosity, Pa s ({level})", _reading, "estimate", "ci_low", figure=True),
        yes_no("Measured", "extrapolated", "no, beyond the measured rates", "yes"),
    ),
    key=("curve", "rate"),
)
_FORCE = Table(
    "force",
    "Quantities of the force curves",
    lambda result: _with_curve(result.force.quantities),
    (
        _CURVE,
        text("Quantity", "measure"),
        each_row("Value", lambda row, _: format_reading(float(row["estimate"])), "estimate", figure=True),
        each_row("Unit", lambda row, _: _unit_words(str(row["unit"])), "unit"),
        text("Taken as", "limits"),
        yes_no("Joined to the panel", "used"),
    ),
    key=("curve", "measure", "limits"),
)


_FONT = 8.5  # points
# Inches.
_HEIGHT, _LEFT, _BOTTOM, _RIGHT = 4.0, 0.75, 0.6, 0.4
_SMALL, _SMALL_HEIGHT, _SMALL_LEFT, _SMALL_TOP = 1.9, 1.6, 0.55, 0.35
_HATCH = "////"
_GAP = 0.025  # between the picture and the names at its right, as a part of its width
_LINE_SPACE = 1.25  # of the size of the letters
_LONG = 500.0  # a logarithmic axis with more than this between its ends is numbered at powers of ten only
_WORK, _PULL = "#c2d0cb", "#e3c7a0"


def _flow_figure(result: curves.ReducedCurves, names: Naming, width: float = BROAD) -> Figure:
    """Return the flow curves: measured points, the fitted curve of each repeat, prototypes named at the right.

    Dashed uprights are the shear rates of use.
    """
    flow = result.flow
    prototypes = [str(name) for name in dict.fromkeys(flow.points["prototype"])]
    named = {name: shortened(names.prototype(name), _FONT, 0.3 * width * POINTS) for name in prototypes}
    right = max((text_width(name, _FONT) for name in named.values()), default=0.0) / POINTS + _RIGHT
    model = "" if flow.model is None else f"; lines: {curves.MODEL_WORDS[flow.model]}"
    title = wrapped(f"Flow curves{model}", _FONT + 1, (width - 0.2) * POINTS)
    rates = sorted(set(flow.viscosities["rate"]))
    top = 0.2 + 0.18 * len(title) + 0.15 * len(rates)
    wide, height = width - _LEFT - right, _BOTTOM + _HEIGHT + top
    figure, axes = framed(width, height, (_LEFT, _BOTTOM, wide, _HEIGHT))
    axes.set(xscale="log", yscale="log")
    for name in prototypes:
        look = marker_of(names, name)
        for _, line in flow.lines.loc[flow.lines["prototype"] == name].groupby("repeat", sort=False):
            axes.plot(line["rate"], line["stress"], color=look.colour, linewidth=1.2, zorder=2)
        own = flow.points.loc[flow.points["prototype"] == name]
        axes.plot(
            own["rate"], own["stress"], linestyle="none", marker=look.shape, markersize=4, color=look.colour,
            markeredgecolor=INK, markeredgewidth=0.3, zorder=3, gid=prototype_mark(name),
        )  # fmt: skip
    _mark_rates(axes, rates)
    _name_at_the_right(axes, flow.lines, named)
    _log_ticks(axes)
    figure.text(0.1 / width, 1 - 0.06 / height, "\n".join(title), fontsize=_FONT + 1, color=INK, va="top")
    axes.set_xlabel("Shear rate, 1/s", fontsize=_FONT, color=INK)
    axes.set_ylabel("Shear stress, Pa", fontsize=_FONT, color=INK)
    plain(axes)
    return figure


def _force_figure(result: curves.ReducedCurves, width: float = BROAD) -> Figure:
    """Return the force curves, one picture per prototype; the areas taken of its first repeat are filled."""
    from matplotlib.patches import Patch

    points, peaks = result.force.points, result.force.peaks
    prototypes = [str(name) for name in dict.fromkeys(points["prototype"])]
    signs = [
        Patch(facecolor=_WORK, alpha=0.6, label="work of shear"),
        Patch(facecolor=_PULL, alpha=0.6, hatch=_HATCH, edgecolor=INK, linewidth=0, label="work of adhesion"),
    ]
    head = key_lines([str(sign.get_label()) for sign in signs], width)[1]
    figure, parts = panels(
        len(prototypes), width, least=_SMALL, tall=_SMALL_HEIGHT, left=_SMALL_LEFT, top=_SMALL_TOP, bottom=_BOTTOM,
        head=head,
    )  # fmt: skip
    for axes, prototype in zip(parts, prototypes, strict=True):
        axes.set(xlim=_reach(points["along"]), ylim=_reach(points["force"]))
        own = points.loc[points["prototype"] == prototype]
        _draw_force(axes, own, peaks.loc[peaks["prototype"] == prototype].iloc[0])
        room = axes.get_position().width * width * POINTS
        axes.set_title(shortened(prototype, _FONT, room), fontsize=_FONT, color=INK, loc="left")
        along, force = str(own["along_unit"].iloc[0]), str(own["force_unit"].iloc[0])
        axes.set_xlabel(f"{'Time' if along == 's' else 'Way'}, {_unit_words(along)}", fontsize=_FONT, color=INK)
        axes.set_ylabel(f"Force, {_unit_words(force)}", fontsize=_FONT, color=INK)
    write_key(figure, signs)
    return figure


def _mark_rates(axes: Axes, rates: Sequence[float]) -> None:
    """Draw an upright at each rate of use that lies in the picture, with its words above, each on a line of its own."""
    low, high = np.log(axes.get_xlim())
    inside = [(rate, (np.log(rate) - low) / (high - low)) for rate in rates if low <= np.log(rate) <= high]
    for turn, (rate, across) in enumerate(inside):
        axes.axvline(rate, color=INK, linewidth=0.7, linestyle=(0, (4, 3)), zorder=1)
        words = _RATE_WORDS.get(float(rate), f"{rate:g} 1/s")
        line = len(inside) - 1 - turn
        side = "left" if across < 0.5 else "right"
        axes.annotate(
            words, (across, 1), xycoords="axes fraction", xytext=(0, 3 + line * _FONT * _LINE_SPACE),
            textcoords="offset points", fontsize=_FONT - 1, color=INK, ha=side,
        )  # fmt: skip


def _name_at_the_right(axes: Axes, lines: pd.DataFrame, named: Mapping[str, str]) -> None:
    """Write each prototype beside the end of its curve, apart from the others, with a thin line to it."""
    ends = lines.loc[lines.groupby("prototype", sort=False)["rate"].idxmax()]
    low, high = np.log(axes.get_ylim())
    side = _HEIGHT * POINTS
    wished = (np.log(ends["stress"].to_numpy(dtype=float)) - low) / (high - low) * side
    heights = np.full(len(ends), _FONT * _LINE_SPACE)
    places = spread_apart(wished, heights, 0.0, side)
    low_rate, high_rate = np.log(axes.get_xlim())
    for row, from_height, place in zip(ends.to_dict("records"), wished, places, strict=True):
        end = (np.log(row["rate"]) - low_rate) / (high_rate - low_rate)
        leader = [end, 1.0, 1 + _GAP], [from_height / side, from_height / side, place / side]
        axes.plot(*leader, transform=axes.transAxes, color=GREY, linewidth=0.6, clip_on=False, zorder=1)
        name = named[str(row["prototype"])]
        axes.text(1.3 * _GAP + 1, place / side, name, transform=axes.transAxes, fontsize=_FONT, color=INK, va="center")


def _draw_force(axes: Axes, own: pd.DataFrame, peak: pd.Series) -> None:
    for turn, (_, curve) in enumerate(own.groupby("repeat", sort=False)):
        colour, wide = (GREY, 0.7) if turn else (INK, 1.2)
        axes.plot(curve["along"], curve["force"], color=colour, linewidth=wide, zorder=3 if turn else 4)
        if not turn:
            _fill_areas(axes, curve, peak)
    axes.axhline(0, color=INK, linewidth=0.8, zorder=1)
    plain(axes)


def _fill_areas(axes: Axes, curve: pd.DataFrame, peak: pd.Series) -> None:
    """Fill what was taken as work of shear and as work of adhesion, with the crossings of zero as corners."""
    along, force = (curve[column].to_numpy(dtype=float) for column in ("along", "force"))
    turn = float(peak["peak_at"])
    corners = np.unique(np.concatenate([along, zero_crossings(along, force), [turn]]))
    heights = np.interp(corners, along, force)
    work, pull = corners <= turn, corners >= turn
    look: dict[str, Any] = {"alpha": 0.6, "linewidth": 0, "zorder": 2}
    axes.fill_between(corners[work], np.maximum(heights[work], 0), facecolor=_WORK, **look)
    axes.fill_between(corners[pull], np.minimum(heights[pull], 0), facecolor=_PULL, hatch=_HATCH, edgecolor=INK, **look)


def _reach(values: pd.Series) -> tuple[float, float]:
    low, high = min(float(values.min()), 0.0), float(values.max())
    return low - 0.05 * (high - low), high + 0.05 * (high - low)


def _log_ticks(axes: Axes) -> None:
    """Write numbers on the logarithmic axes at 1, 2 and 5, or at the powers of ten where they are long."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    for axis, (low, high) in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
        axis.set_major_locator(LogLocator(subs=(1, 2, 5) if high / low < _LONG else (1,)))
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        axis.set_minor_formatter(NullFormatter())
