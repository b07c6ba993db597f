"""How many find too little, just about right, too much: one bar per prototype, in three parts."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from panel.models.consumers.just_about_right import ALL_SIDES, JustAboutRight
from panel.models.consumers.right_drops import LEAST_SHARE
from panel.views.consumers.right_words import side_words
from panel.views.drawing.formats import format_share
from panel.views.drawing.labels import text_width
from panel.views.drawing.palette import FAINT, INK
from panel.views.drawing.svg import svg_text

_FONT = 9.0  # points
_POINTS = 72.0  # to the inch
_WIDTH, _BAR, _TOP, _BOTTOM, _MARGIN = 5.0, 0.3, 0.5, 0.55, 0.12  # inches
_LEAST_WRITTEN = 0.06  # share below which a number does not fit into its part
_PARTS = (("#9ecae1", "///"), ("#e6e6e6", ""), ("#fdae6b", "..."))  # light enough for dark words on them


def right_figure(result: JustAboutRight, question: str) -> Figure:
    """Return the bars of one question; hatching tells the parts apart without colour."""
    rows = result.shares.loc[result.shares["question"] == question]
    prototypes = [str(name) for name in dict.fromkeys(rows["prototype"])]
    left = max(text_width(name, _FONT) for name in prototypes) / _POINTS + 2 * _MARGIN
    depth = _BAR * len(prototypes)
    width, height = left + _WIDTH + 2 * _MARGIN, _TOP + depth + _BOTTOM
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((left / width, _BOTTOM / height, _WIDTH / width, depth / height))
    share = rows.pivot_table(index="prototype", columns="side", values="share", sort=False)
    for place, prototype in enumerate(prototypes):
        start = 0.0
        for side, (colour, hatch) in zip(ALL_SIDES, _PARTS, strict=True):
            value = float(share.loc[[prototype], side].iloc[0])
            axes.barh(place, value, 0.8, start, color=colour, hatch=hatch, edgecolor="white", linewidth=0.5)
            if value >= _LEAST_WRITTEN:
                _write(axes, start + value / 2, place, format_share(value), colour)
            start += value
    axes.set(xlim=(0, 1), ylim=(len(prototypes) - 0.4, -0.6))
    axes.set_yticks(range(len(prototypes)), prototypes, fontsize=_FONT, color=INK)
    axes.set_xticks([0, LEAST_SHARE, 0.5, 1 - LEAST_SHARE, 1], ["0", "20", "50", "80", "100 %"])
    axes.tick_params(axis="x", labelsize=_FONT - 1, colors=INK)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color=FAINT, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.set_xlabel("Share of those who answered", fontsize=_FONT, color=INK)
    _legend(axes, [side_words(result, question, side) for side in ALL_SIDES])
    return figure


def _legend(axes: Axes, labels: list[str]) -> None:
    """Write the names of the three parts above the bars."""
    handles = [
        Patch(facecolor=colour, hatch=hatch, edgecolor="white", label=label)
        for (colour, hatch), label in zip(_PARTS, labels, strict=True)
    ]
    axes.legend(
        handles=handles,
        loc="lower left",
        bbox_to_anchor=(0, 1),
        ncols=len(handles),
        fontsize=_FONT,
        frameon=False,
        borderaxespad=0.2,
    )


def _write(axes: Axes, across: float, place: int, words: str, colour: str) -> None:
    box = {"facecolor": colour, "edgecolor": "none", "pad": 1.0}
    axes.text(across, place, words, fontsize=_FONT - 1, color=INK, ha="center", va="center", bbox=box)


def right_alt_text(result: JustAboutRight, question: str) -> str:
    """Return what the picture shows, for people who hear it."""
    little, right, much = (side_words(result, question, side) for side in ALL_SIDES)
    return f"Shares of {little}, {right} and {much} on {question}, by prototype; the table holds the numbers."


def right_svg(result: JustAboutRight, question: str, *, text_as_paths: bool = True) -> str:
    """Return the bars of one question as SVG text."""
    return svg_text(
        right_figure(result, question),
        title=f"Just about right: {question}",
        description=right_alt_text(result, question),
        text_as_paths=text_as_paths,
    )
