"""Pictures of what the swaps did and of what the blends are made of."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from panel.models.emollients.swaps import TracedSwaps
from panel.study.naming import Naming
from panel.views.drawing.pictures import COLOURS, FAINT, INK, Marker, markers, svg_text, text_width
from panel.views.emollients.swaps import SEEN, blend_alt_text, swap_alt_text, swap_words
from panel.words import format_number

_FONT = 8.5  # points
_POINTS = 72.0  # to the inch
# Inches.
_PANEL_WIDTH, _ROW_HEIGHT, _TOP, _BOTTOM, _MARGIN = 2.5, 0.24, 0.75, 0.85, 0.2
_MOST_BESIDE = 4
_BAR_WIDTH, _BAR_HEIGHT = 8.0, 0.52
# Fill patterns beside the colours, so that more emollients than colours stay apart and print in grey.
_HATCHES = ("", "//", "..", "xx")
_PALE = 0.35
_PART_FONT, _MOST_LINES = _FONT - 1.5, 3


def swap_figure(result: TracedSwaps, names: Naming) -> Figure:
    """Return the effects: one panel per swap, one line per attribute, a dot with its interval on each.

    Filled dots stand out after adjusting for the number of questions, hollow ones do not.
    """
    effects = pd.concat([result.swaps, result.joint], ignore_index=True)
    swaps = list(dict.fromkeys(effects["swap"]))
    attributes = list(dict.fromkeys(effects["attribute"]))
    beside = max(1, min(len(swaps), _MOST_BESIDE))
    stacked = max(1, -(-len(swaps) // beside))
    left = max([1.0, *(_inches(names.attribute(name)) for name in attributes)])
    width = left + beside * _PANEL_WIDTH + _MARGIN
    tall = max(1, len(attributes)) * _ROW_HEIGHT + _TOP + _BOTTOM
    figure = Figure(figsize=(width, stacked * tall))
    drawn = markers(swaps, swaps)
    reach = _reach(effects)
    for number, swap in enumerate(swaps):
        row, column = divmod(number, beside)
        low = (stacked - 1 - row) * tall + _BOTTOM
        place = ((left + column * _PANEL_WIDTH) / width, low / (stacked * tall))
        size = ((_PANEL_WIDTH - _MARGIN) / width, (tall - _TOP - _BOTTOM) / (stacked * tall))
        axes = figure.add_axes((*place, *size))
        axes.set(xlim=(-reach, reach), ylim=(len(attributes) - 0.5, -0.5))
        _draw_effects(axes, effects.loc[effects["swap"] == swap], attributes, drawn[swap])
        axes.set_yticks(range(len(attributes)), [names.attribute(name) if column == 0 else "" for name in attributes])
        axes.xaxis.set_major_locator(MaxNLocator(4, prune="both"))
        axes.set_title("\n".join(wrap(swap_words(swap), 34)), fontsize=_FONT, color=INK)
        axes.set_xlabel("Change of the score, points", fontsize=_FONT, color=INK)
    _key(figure, result.level)
    return figure


def swap_svg(result: TracedSwaps, names: Naming, *, text_as_paths: bool = True) -> str:
    """Return the effects as SVG text."""
    return svg_text(
        swap_figure(result, names),
        title="Effect of each emollient swap",
        description=swap_alt_text(result, names),
        text_as_paths=text_as_paths,
    )


def blend_figure(blend: pd.DataFrame, names: Naming, pairs: pd.DataFrame | None = None) -> Figure:
    """Return the blends (index prototype, columns emollient, per cent): one bar per prototype, each part named on it.

    Parts too narrow for their name are named at the end of the bar. With the matched `pairs` an emollient stands
    where the one it replaces stood.
    """
    ordered = blend[_swapped_side_by_side(list(blend.columns), pairs)]
    labels = {str(name): _Label(str(name)) for name in ordered.columns}
    prototypes = [names.prototype(str(name)) for name in ordered.index]
    narrow = [_narrow_parts(row, labels) for _, row in ordered.iterrows()]
    left = max([0.6, *(_inches(text) for text in prototypes)])
    right = max([0.2, *(_inches(text) for text in narrow)])
    width, height = left + _BAR_WIDTH + right, len(blend) * _BAR_HEIGHT + 0.6
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((left / width, 0.5 / height, _BAR_WIDTH / width, len(blend) * _BAR_HEIGHT / height))
    axes.set(xlim=(0, 100), ylim=(len(blend) - 0.5, -0.5))
    _draw_parts(axes, ordered, labels)
    for row, text in enumerate(narrow):
        axes.annotate(text, (100, row), xytext=(5, 0), textcoords="offset points", fontsize=_FONT - 1, va="center")
    axes.set_yticks(range(len(blend)), prototypes)
    axes.set_xlabel("Per cent of the emollient part", fontsize=_FONT, color=INK)
    _plain(axes)
    return figure


def blend_svg(
    blend: pd.DataFrame, names: Naming, pairs: pd.DataFrame | None = None, *, text_as_paths: bool = True
) -> str:
    """Return the blends as SVG text."""
    return svg_text(
        blend_figure(blend, names, pairs),
        title="Emollient part of each prototype",
        description=blend_alt_text(blend, names),
        text_as_paths=text_as_paths,
    )


def _draw_effects(axes: Axes, effects: pd.DataFrame, attributes: Sequence[str], marker: Marker) -> None:
    axes.axvline(0, color=INK, linewidth=0.8, zorder=1)
    axes.hlines(range(len(attributes)), *axes.get_xlim(), color=FAINT, linewidth=0.5, zorder=0)
    line = effects["attribute"].map({name: place for place, name in enumerate(attributes)}).to_numpy(dtype=float)
    axes.hlines(line, effects["ci_low"], effects["ci_high"], color=marker.colour, linewidth=1.6, zorder=2)
    seen = (effects["p_adjusted"] < SEEN).to_numpy(dtype=bool)
    for chosen, face in ((seen, marker.colour), (~seen, "white")):
        axes.plot(
            effects["estimate"].to_numpy(dtype=float)[chosen],
            line[chosen],
            linestyle="none",
            marker=marker.shape,
            markersize=6,
            markerfacecolor=face,
            markeredgecolor=marker.colour,
            markeredgewidth=1.2,
            zorder=3,
        )
    _plain(axes)


def _inches(words: str) -> float:
    """Return the room that words beside a picture need, with the gap to it."""
    return text_width(words, _FONT) / _POINTS + 0.3


def _plain(axes: Axes) -> None:
    axes.tick_params(labelsize=_FONT, colors=INK, length=0)
    axes.spines[["top", "right", "left"]].set_visible(False)


def _reach(effects: pd.DataFrame) -> float:
    """Return how far the widest interval lies from zero, and a little more: all panels share it."""
    ends = effects[["estimate", "ci_low", "ci_high"]].abs().to_numpy(dtype=float)
    widest = float(np.nanmax(ends)) if np.isfinite(ends).any() else 1.0
    return 1.08 * widest if widest > 0 else 1.0


def _key(figure: Figure, level: float) -> None:
    """Say below the panels what filled and hollow dots and the lines mean."""
    dots = [
        Line2D(
            [], [], linestyle="none", marker="o", markersize=6, markeredgecolor=INK, markerfacecolor=face, label=text
        )
        for face, text in (
            (INK, "stands out after adjusting for the number of questions"),
            ("white", "does not"),
        )
    ]
    line = Line2D([], [], color=INK, linewidth=1.6, label=f"{100 * level:g} % interval, not adjusted")
    figure.legend(
        handles=[*dots, line], loc="lower center", ncols=3, fontsize=_FONT - 1, frameon=False, columnspacing=1.2
    )


def _fill(number: int) -> dict[str, Any]:
    """Return the pale fill, the edge and the pattern of one emollient."""
    colour = COLOURS[number % len(COLOURS)]
    red, green, blue = (int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))
    pale = tuple(1 - _PALE * (1 - part) for part in (red, green, blue))
    hatch = _HATCHES[number // len(COLOURS) % len(_HATCHES)]
    return {"facecolor": pale, "edgecolor": colour, "linewidth": 1.0, "hatch": hatch}


def _draw_parts(axes: Axes, blend: pd.DataFrame, labels: dict[str, _Label]) -> None:
    start = np.zeros(len(blend))
    for number, emollient in enumerate(blend.columns):
        share = blend[emollient].to_numpy(dtype=float)
        axes.barh(range(len(blend)), share, left=start, height=0.78, **_fill(number))
        for row, part in enumerate(share):
            words = labels[str(emollient)].on_part(float(part))
            if words:
                middle = float(start[row] + part / 2)
                axes.text(middle, row, words, fontsize=_PART_FONT, color=INK, ha="center", va="center")
        start += share


class _Label:
    """The name of an emollient, broken into lines so that it fits on its part of a bar."""

    def __init__(self, emollient: str) -> None:
        self.words = emollient.split(" ")
        self.widths = [text_width(word, _PART_FONT) for word in self.words]
        self.space = text_width("a a", _PART_FONT) - 2 * text_width("a", _PART_FONT)

    def on_part(self, percent: float) -> str:
        """Return name and share for a part of a bar, empty if there is no room for them."""
        if percent <= 0:
            return ""
        share = f"{format_number(percent, 0)} %"
        widths = [*self.widths, text_width(share, _PART_FONT)]
        # Screens with coarse dots draw letters a little wider than their outlines.
        room = 0.92 * (percent / 100 * _BAR_WIDTH * _POINTS - 4)
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


def _narrow_parts(shares: pd.Series, labels: dict[str, _Label]) -> str:
    """Return the parts of a bar that are too narrow for their name."""
    return ", ".join(
        f"{name} {format_number(share, 0)} %"
        for name, share in shares.items()
        if share > 0 and not labels[str(name)].on_part(share)
    )


def _swapped_side_by_side(emollients: list[str], pairs: pd.DataFrame | None) -> list[str]:
    """Return the emollients, each one that was swapped in behind the one it replaces."""
    ordered = list(emollients)
    for removed, added in dict.fromkeys([] if pairs is None else zip(pairs["removed"], pairs["added"], strict=True)):
        if removed in ordered and added in ordered:
            ordered.remove(added)
            ordered.insert(ordered.index(removed) + 1, added)
    return ordered
