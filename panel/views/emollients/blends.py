"""What the blends are made of and what they are like: their parts, how they spread, and what goes together in them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel.models.emollients.descriptors import SPREADING_LIMITS, BlendDescriptors, descriptor_words
from panel.models.emollients.swaps import TracedSwaps
from panel.study.naming import Naming
from panel.study.shown import Across, Shown, Table, each_row
from panel.views.emollients.causes import short_ingredients
from panel.views.pictures import BROAD, FAINT, INK, POINTS, framed, key_lines, shortened, text_width, write_key
from panel.views.told import Picture, Told, drawer
from panel.words import NOTHING, capital, counted, format_list, format_number, from_to

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_FONT = 9.0  # points
# Inches.
_ROW, _BOTTOM, _MARGIN, _STACKED_BELOW = 0.42, 0.62, 0.15, 6.0
_BAR_HEIGHT, _THIN = 0.52, 0.3
# Tints, then patterns, so that emollients stay apart in grey too; each is named on its part.
_TINTS = ("#f7f8f8", "#dfe7e4", "#c6d3ce", "#afc0ba", "#f6eddd", "#e6d3b3")
_HATCHES = ("", "//", "..", "xx")
_PART_FONT, _MOST_LINES = _FONT - 1.0, 3
_CLASSES = ("fast", "medium", "slow", "solid", "unknown")
# From wide to not at all: pale to dark, and a pattern for what does not spread, so that it shows in grey too.
_FILLS = {
    "fast": ("#d3e6f3", ""),
    "medium": ("#8fbfe0", ""),
    "slow": ("#6ba6d1", ""),
    "solid": ("#e3c7a0", "//"),
    "unknown": ("#ffffff", ".."),
}
_SMALLEST_SHOWN = 0.05
# Unit of each descriptor; shares and the emollient total are per cent.
_UNITS = {
    "spreading_whole": "mm² in 10 min",
    "spreading_liquids": "mm² in 10 min",
    "spreading_breadth": "decades",
    "log10_viscosity_liquids": "log10 of mPa s",
    "surface_tension": "mN/m",
    "surface_tension_lowest": "mN/m",
    "interfacial_tension": "mN/m",
    "molar_mass_by_mass": "g/mol",
    "molar_mass_by_number": "g/mol",
}
_DECIMALS = {"spreading_breadth": 2, "log10_viscosity_liquids": 2}


def _rows(result: BlendDescriptors) -> pd.DataFrame:
    """Return the descriptors that say something: not zero or unknown for every prototype."""
    values = result.values
    says = values["value"].notna() & (values["value"] != 0)
    return values.loc[says.groupby(values["descriptor"]).transform("any")].reset_index(drop=True)


def _mind(row: Mapping[str, Any], about: Shown) -> str:
    part = about.result.values.loc[about.result.values["descriptor"] == row["descriptor"]]
    marks = ["little of it known"] * bool(part["weak"].any())
    return ", ".join([*marks, *["partly from memory"] * bool((part["from_memory"] > 0).any())]) or NOTHING


def _known(row: Mapping[str, Any], about: Shown) -> str:
    """Return the per cent of the mass whose value is known, from the prototype with least to that with most."""
    values = about.result.values
    known = values.loc[values["descriptor"] == row["descriptor"], "coverage"].dropna()
    if known.empty:
        return NOTHING
    return f"{from_to(*(format_number(value, 0) for value in (known.min(), known.max())))} %"


def _heading(row: Mapping[str, Any], _: Shown) -> str:
    return f"{capital(descriptor_words(row['descriptor']))}, {_UNITS.get(row['descriptor'], '%')}"


_DESCRIPTORS = Table(
    "descriptors",
    "What the blends are like, from tables of emollient properties, not measured on these prototypes",
    _rows,
    (
        each_row("Property of the blend", _heading, "descriptor"),
        each_row("Mass known", _known, "coverage"),
        each_row("Mind", _mind, "weak"),
    ),
    key=("descriptor",),
    across=Across(
        "prototype",
        each_row("", lambda row, _: format_number(row["value"], _DECIMALS.get(row["descriptor"], 0)), figure=True),
    ),
)


def tell_blends(described: BlendDescriptors, names: Naming, blend: pd.DataFrame, traced: TracedSwaps | None) -> Told:
    """Tell what the emollient part of each prototype (`blend`, per cent) is made of, and what goes together in it."""
    told = f"{counted(len(blend), 'blend')} of {counted(int((blend > 0).any().sum()), 'emollient')}."
    if traced is not None:
        ways = counted(traced.n_moves, "independent way")
        told += f" The blends differ in {ways}: no more than that can be told apart, whatever is computed from them."
    title, heard = "Spreading cascade of each blend", _cascade_alt_text(described, names)
    cascade = Picture("cascade", title, heard, partial(_cascade_figure, described, names))
    mind = _cascade_sentences(described)
    return Told(
        described,
        names,
        told,
        blend_picture(blend, names, None if traced is None else traced.pairs),
        mind[:1],
        drawers=(
            drawer("What always comes together in these blends", *(() if traced is None else alias_sentences(traced))),
            drawer("How each blend spreads", cascade, *mind[1:]),
            drawer("What the blends are like", _DESCRIPTORS),
        ),
    )


def blend_picture(blend: pd.DataFrame, names: Naming, pairs: pd.DataFrame | None = None) -> Picture:
    """Return the blends (index prototype, columns emollient, per cent) as bars, each part named on it.

    With the matched `pairs` an emollient stands where the one it replaces stood.
    """
    return Picture(
        "blends",
        "The emollient part of each prototype",
        _blend_alt_text(blend, names),
        partial(_blend_figure, blend, names, pairs),
    )


def _blend_alt_text(blend: pd.DataFrame, names: Naming) -> str:
    parts = []
    for prototype, row in blend.iterrows():
        shares = [f"{format_number(share, 0)} % {name}" for name, share in row.items() if share > 0]
        parts.append(f"{names.prototype(str(prototype))}: {format_list(shares)}.")
    return f"Emollient part of each prototype. {' '.join(parts)}"


def alias_sentences(result: TracedSwaps) -> tuple[str, ...]:
    """Return one sentence per group of emollients and properties that move together."""
    sentences = []
    for _, group in result.aliases.groupby("group", sort=True):
        named = _column_words(group)
        words = [f"{'more' if sign > 0 else 'less'} {name}" for name, sign in zip(named, group["sign"], strict=True)]
        words = list(dict.fromkeys(words))
        sentences.append(
            f"In these prototypes {format_list(words)} come together, or all the other way round. If an attribute "
            "changes along with them, these data cannot say which of them is the cause."
        )
    return tuple(sentences)


def _column_words(group: pd.DataFrame) -> list[str]:
    """Return the columns of a group in words, without class limits where the class is there under all of them."""
    words = [
        name if kind == "emollient" else descriptor_words(name)
        for kind, name in zip(group["kind"], group["descriptor"], strict=True)
    ]
    bare = [text.split(" (limits")[0] for text in words]
    return [short if bare.count(short) > 1 else text for text, short in zip(words, bare, strict=True)]


def _blend_figure(blend: pd.DataFrame, names: Naming, pairs: pd.DataFrame | None, width: float = BROAD) -> Figure:
    """Return the blends (index prototype, columns emollient, per cent): one bar per prototype, each part named on it.

    Where a name does not fit on its part, all are named above. With the matched `pairs` an emollient stands where the
    one it replaces stood.
    """
    from matplotlib.patches import Patch

    ordered = blend[_swapped_side_by_side(list(blend.columns), pairs)]
    ordered = ordered.rename(columns=short_ingredients(map(str, ordered.columns)))
    labels = {str(name): _Label(str(name)) for name in ordered.columns}
    prototypes = [shortened(names.prototype(str(name)), _FONT, 0.3 * width * POINTS) for name in ordered.index]
    left = max([0.6, *(text_width(text, _FONT) / POINTS + 0.3 for text in prototypes)])
    wide = width - left - 0.25
    fits = all(labels[str(name)].on_part(float(part), wide) for name in ordered for part in ordered[name] if part > 0)
    signs = [] if fits else [Patch(**_look(number), label=name) for number, name in enumerate(labels)]
    tall = len(blend) * (_BAR_HEIGHT if fits else _THIN)
    height = tall + 0.6 + (0 if fits else key_lines(list(labels), width)[1])
    figure, axes = framed(width, height, (left, 0.5, wide, tall))
    axes.set(xlim=(0, 100), ylim=(len(blend) - 0.5, -0.5))
    _draw_parts(axes, ordered, labels if fits else {}, wide)
    if signs:
        write_key(figure, signs)
    axes.set_yticks(range(len(blend)), prototypes)
    axes.set_xlabel("Per cent of the emollient part", fontsize=_FONT, color=INK)
    axes.tick_params(labelsize=_FONT, colors=INK, length=0)
    axes.spines[["top", "right", "left"]].set_visible(False)
    return figure


def _look(number: int) -> dict[str, Any]:
    hatch = _HATCHES[number // len(_TINTS) % len(_HATCHES)]
    return {"facecolor": _TINTS[number % len(_TINTS)], "edgecolor": INK, "linewidth": 0.6, "hatch": hatch}


def _draw_parts(axes: Axes, blend: pd.DataFrame, labels: dict[str, _Label], inches: float) -> None:
    start = np.zeros(len(blend))
    for number, emollient in enumerate(blend.columns):
        share = blend[emollient].to_numpy(dtype=float)
        look = _look(number)
        axes.barh(range(len(blend)), share, left=start, height=0.78, **look)
        for row, part in enumerate(share):
            label = labels.get(str(emollient), _Label(""))
            words = label.on_part(float(part), inches)
            if words:
                middle = float(start[row] + part / 2)
                box = {"facecolor": look["facecolor"], "edgecolor": "none", "pad": 1.0} if look["hatch"] else None
                axes.text(middle, row, words, fontsize=_PART_FONT, color=INK, ha="center", va="center", bbox=box)
        start += share


class _Label:
    """The name of an emollient, broken into lines so that it fits on its part of a bar."""

    def __init__(self, emollient: str) -> None:
        self.words = emollient.split()
        self.widths = [text_width(word, _PART_FONT) for word in self.words]
        self.space = text_width("a a", _PART_FONT) - 2 * text_width("a", _PART_FONT)

    def on_part(self, percent: float, inches: float) -> str:
        """Return name and share for a part of a bar, empty if there is no room for them."""
        if percent <= 0:
            return ""
        share = f"{format_number(percent, 0)} %"
        widths = [*self.widths, text_width(share, _PART_FONT)]
        # Screens with coarse dots draw letters a little wider than their outlines.
        room = 0.92 * (percent / 100 * inches * POINTS - 4)
        lines: list[str] = []
        used = room
        for word, width in zip([*self.words, share], widths, strict=True):
            if lines and used + self.space + width <= room:
                lines[-1] += f" {word}"
                used += self.space + width
            else:
                lines.append(word)
                used = width
        return "" if max(widths) > room or len(lines) > _MOST_LINES else "\n".join(lines)


def _swapped_side_by_side(emollients: list[str], pairs: pd.DataFrame | None) -> list[str]:
    """Return the emollients, each one that was swapped in behind the one it replaces."""
    ordered = list(emollients)
    for removed, added in dict.fromkeys([] if pairs is None else zip(pairs["removed"], pairs["added"], strict=True)):
        if removed in ordered and added in ordered:
            ordered.remove(added)
            ordered.insert(ordered.index(removed) + 1, added)
    return ordered


def _cascade_rows(result: BlendDescriptors) -> pd.DataFrame:
    """Return what the picture draws: `prototype fast medium slow solid unknown whole liquids`.

    Shares in per cent of the emollient part, spreading in mm2 in 10 min; `unknown` is what the table has no value for.
    """
    wide = result.wide
    low, high = SPREADING_LIMITS[0]
    shares = {name: wide[f"{name}_share_{low:g}_{high:g}"].to_numpy(float) for name in ("fast", "medium", "slow")}
    shares["solid"] = wide["solid_share"].to_numpy(float)
    shares["unknown"] = np.clip(100 - np.sum(list(shares.values()), axis=0), 0, None)
    return pd.DataFrame(
        {
            "prototype": pd.Series([str(name) for name in wide.index], dtype="str"),
            **shares,
            "whole": wide["spreading_whole"].to_numpy(float),
            "liquids": wide["spreading_liquids"].to_numpy(float),
        }
    )


def _cascade_figure(result: BlendDescriptors, names: Naming, width: float = BROAD) -> Figure:
    """Return the cascade: shares as stacked bars, and spreading of the whole blend and of its liquids alone."""
    from matplotlib.figure import Figure

    rows = _cascade_rows(result)
    prototypes = [shortened(names.prototype(str(name)), _FONT, 0.3 * width * POINTS) for name in rows["prototype"]]
    left = max(0.6, *(text_width(text, _FONT) / POINTS + 0.2 for text in prototypes))
    signs = [*_bar_signs(rows), *_dot_signs()]
    head = key_lines([str(sign.get_label()) for sign in signs], width)[1] + 0.1
    depth, room = _ROW * len(rows), width - left - _MARGIN
    beside = width > _STACKED_BELOW
    wide = (0.62 * room, 0.33 * room) if beside else (room, room)
    height = head + (depth + _BOTTOM) * (1 if beside else 2)
    figure = Figure(figsize=(width, height))
    tall, low = depth / height, 1 - (head + depth) / height
    bars = figure.add_axes((left / width, low, wide[0] / width, tall))
    at = ((left + room - wide[1]) / width, low) if beside else (left / width, _BOTTOM / height)
    dots = figure.add_axes((*at, wide[1] / width, tall))
    _draw_bars(bars, rows, wide[0])
    _draw_dots(dots, rows)
    for axes, title, named in (
        (bars, "Per cent of the emollient part", True),
        (dots, "Spreading, mm² in 10 min", not beside),
    ):
        axes.set_yticks(range(len(rows)), prototypes if named else [""] * len(rows))
        axes.set(ylim=(len(rows) - 0.5, -0.5))
        axes.set_xlabel(title, fontsize=_FONT, color=INK)
        axes.tick_params(labelsize=_FONT, colors=INK, length=0)
        axes.spines[["top", "right", "left"]].set_visible(False)
    write_key(figure, signs)
    return figure


def _cascade_alt_text(result: BlendDescriptors, names: Naming) -> str:
    told = []
    for row in _cascade_rows(result).to_dict("records"):
        shares = [f"{format_number(row[name], 0)} % {name}" for name in _CLASSES if row[name] >= _SMALLEST_SHOWN]
        told.append(
            f"{names.prototype(str(row['prototype']))}: {format_list(shares)}; spreading "
            f"{format_number(row['whole'], 0)}, its liquids alone {format_number(row['liquids'], 0)}."
        )
    return f"Spreading cascade of each blend. {' '.join(told)}"


def _cascade_sentences(result: BlendDescriptors) -> tuple[str, ...]:
    """Return what to mind about the cascade: the trap of the liquids, and classes that are empty."""
    rows = _cascade_rows(result)
    told = []
    if rows["solid"].max() > _SMALLEST_SHOWN:
        first = rows.iloc[int(rows["solid"].argmax())]
        told.append(
            f"Solids do not spread. The liquids of {first['prototype']} alone spread "
            f"{format_number(first['liquids'], 0)}, the whole blend only {format_number(first['whole'], 0)} mm² in 10 "
            "min: by the liquids a blend with a butter looks lighter than it feels."
        )
    for name, speed in (("fast", "fast"), ("medium", "at middling speed"), ("slow", "slowly")):
        without = (rows[[name, "unknown"]] < _SMALLEST_SHOWN).all(axis=1)
        if 0 < without.sum() < len(rows):
            empty = format_list(rows.loc[without, "prototype"].tolist())
            told.append(f"A gap in the cascade, nothing that spreads {speed}: {empty}.")
    return tuple(told)


def _bar_signs(rows: pd.DataFrame) -> list[Artist]:
    """Return what stands for each class of spreading that is there."""
    from matplotlib.patches import Patch

    low, high = SPREADING_LIMITS[0]
    words = {
        "fast": f"fast, above {high:g}",
        "medium": f"medium, {low:g} to {high:g}",
        "slow": f"slow, below {low:g}",
        "solid": "solid",
        "unknown": "not known",
    }
    return [
        Patch(facecolor=_FILLS[name][0], hatch=_FILLS[name][1], edgecolor=INK, linewidth=0.5, label=words[name])
        for name in _CLASSES
        if rows[name].max() >= _SMALLEST_SHOWN
    ]


def _dot_signs() -> list[Artist]:
    from matplotlib.lines import Line2D

    look: dict[str, Any] = {"linestyle": "none", "markeredgecolor": INK}
    return [
        Line2D([], [], marker="s", markersize=5, markerfacecolor=INK, label="whole blend", **look),
        Line2D([], [], marker="o", markersize=7, markerfacecolor="white", label="liquids alone", **look),
    ]


def _draw_bars(axes: Axes, rows: pd.DataFrame, inches: float) -> None:
    start = np.zeros(len(rows))
    for name in [name for name in _CLASSES if rows[name].max() >= _SMALLEST_SHOWN]:
        share = rows[name].to_numpy(float)
        colour, hatch = _FILLS[name]
        look: dict[str, Any] = {"facecolor": colour, "edgecolor": INK, "linewidth": 0.5, "hatch": hatch}
        axes.barh(range(len(rows)), share, left=start, height=0.76, **look)
        for row, part in enumerate(share):
            _label(axes, name, float(part), float(start[row] + part / 2), row, inches)
        start += share
    axes.set_xlim(0, 100)


def _label(axes: Axes, name: str, part: float, middle: float, row: int, inches: float) -> None:
    """Write name and share on a part of a bar, the share alone where there is no room for both."""
    room = part / 100 * inches * POINTS - 4
    share = f"{format_number(part, 0)} %"
    words = next((text for text in (f"{name} {share}", share) if text_width(text, _FONT - 1) <= room), "")
    if part >= _SMALLEST_SHOWN and words:
        box = {"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.8} if _FILLS[name][1] else None
        axes.text(middle, row, words, fontsize=_FONT - 1, color=INK, ha="center", va="center", bbox=box)


def _draw_dots(axes: Axes, rows: pd.DataFrame) -> None:
    """Draw both figures of spreading joined by a line: the longer it is, the more the liquids alone mislead."""
    for row, (whole, liquids) in enumerate(zip(rows["whole"], rows["liquids"], strict=True)):
        axes.plot([whole, liquids], [row, row], color=FAINT, linewidth=2.2, zorder=1)
        axes.plot([liquids], [row], marker="o", markersize=7, markerfacecolor="white", markeredgecolor=INK, zorder=2)
        axes.plot([whole], [row], marker="s", markersize=5, markerfacecolor=INK, markeredgecolor=INK, zorder=3)
    axes.grid(axis="x", color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
    low, high = float(rows[["whole", "liquids"]].min().min()), float(rows[["whole", "liquids"]].max().max())
    room = 0.08 * ((high - low) or 1.0)
    if np.isfinite([low, high]).all():
        axes.set_xlim(low - room, high + room)
