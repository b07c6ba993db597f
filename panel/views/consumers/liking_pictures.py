"""Pictures of liking: how often each of the nine points was given, and the means with their intervals."""

from __future__ import annotations

import numpy as np
from matplotlib import colormaps
from matplotlib.figure import Figure
from matplotlib.ticker import PercentFormatter

from panel.models.consumers.liking import Liking
from panel.views.drawing.formats import format_interval, format_number, format_share
from panel.views.drawing.interval_picture import FONT, interval_figure, needed_limits
from panel.views.drawing.labels import text_width
from panel.views.drawing.naming import Naming
from panel.views.drawing.palette import COLOURS, INK
from panel.views.drawing.svg import svg_text

_POINTS = 72.0  # to the inch
_WIDTH, _LINE, _TOP, _BOTTOM, _MARGIN, _RIGHT = 5.6, 0.34, 0.55, 0.55, 0.12, 0.2  # inches
_BAR = 0.78  # of a line
_LIGHTEST, _DARKEST = 0.97, 0.10  # of the map of greys and blues: dark is disliked
_WRITTEN = 0.035  # smallest share with room for its number
_DARK = 0.55  # luminance below which numbers are white


def distribution_figure(result: Liking, names: Naming) -> Figure:
    """Return stacked bars, best liked first: each part is a point of the scale, with its number written in it."""
    order = list(result.means.sort_values("estimate", ascending=False, kind="stable")["prototype"])
    labels = [names.prototype(str(name)) for name in order]
    left = max(text_width(label, FONT) for label in labels) / _POINTS + 2 * _MARGIN
    depth = _LINE * (len(order) + 0.4)
    width, height = left + _WIDTH + _RIGHT, _TOP + depth + _BOTTOM
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((left / width, _BOTTOM / height, _WIDTH / width, depth / height))
    shade = colormaps["cividis"](np.linspace(_DARKEST, _LIGHTEST, 9))
    shares = result.distribution.pivot_table(index="prototype", columns="answer", values="share").loc[order]
    start = np.zeros(len(order))
    places = np.arange(len(order)) + 0.7
    for number, (answer, share) in enumerate(shares.items()):
        wide = share.to_numpy(dtype=float)
        axes.barh(places, wide, _BAR, left=start, color=shade[number], edgecolor="white", linewidth=0.8)
        ink = "white" if float(shade[number][:3] @ (0.2126, 0.7152, 0.0722)) < _DARK else INK
        for y, x, part in zip(places, start, wide, strict=True):
            if part >= _WRITTEN:
                axes.text(x + part / 2, y, str(answer), fontsize=FONT - 1, color=ink, ha="center", va="center")
        start = start + wide
    axes.set(xlim=(0, 1), ylim=(len(order) + 0.4, 0))
    axes.set_yticks(places, labels, fontsize=FONT, color=INK)
    axes.xaxis.set_major_formatter(PercentFormatter(xmax=1, decimals=0, symbol=" %"))
    axes.tick_params(axis="x", labelsize=FONT - 1, colors=INK)
    axes.tick_params(axis="y", length=0)
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.set_title(
        "How often each point was given: 1 dislike extremely ... 9 like extremely", fontsize=FONT, loc="left"
    )
    axes.set_xlabel("Share of the consumers who tried it", fontsize=FONT, color=INK)
    return figure


def distribution_svg(result: Liking, names: Naming, *, text_as_paths: bool = True) -> str:
    """Return the distribution as SVG text."""
    return svg_text(
        distribution_figure(result, names),
        title="Distribution of liking",
        description=distribution_alt_text(result),
        text_as_paths=text_as_paths,
    )


def distribution_alt_text(result: Liking) -> str:
    """Return what the bars show, for those who do not see them."""
    top = result.boxes.loc[result.boxes["box"] == "top 3"].sort_values("share", ascending=False, kind="stable")
    said = [f"{row['prototype']} {format_share(row['share'])}" for row in top.to_dict("records")]
    return f"Stacked bars of the nine points, one bar per prototype. Share of 7, 8 and 9: {'; '.join(said)}."


def liking_figure(result: Liking, names: Naming) -> Figure:
    """Return the mean liking of each prototype with its interval, best liked first, letters at the right."""
    rows = result.means.sort_values("estimate", ascending=False, kind="stable").reset_index(drop=True)
    y = _LINE * 0.75 * (np.arange(len(rows)) + 0.75)
    rows = rows.assign(y=y, colour=COLOURS[0], shape="o", filled=rows["prototype"] != result.benchmark)
    figure, _ = interval_figure(
        rows,
        _LINE * 0.75 * (len(rows) + 0.5),
        [(at, names.prototype(str(name))) for at, name in zip(y, rows["prototype"], strict=True)],
        remarks=list(zip(y, rows["letters"], strict=True)),
        limits=needed_limits(rows),
        title="Mean liking",
        x_title=_x_title(result),
    )
    return figure


def _x_title(result: Liking) -> str:
    hollow = "; hollow: benchmark" if result.benchmark else ""
    return f"1 to 9, {100 * result.level:g} % intervals; same letter: not separated{hollow}"


def liking_svg(result: Liking, names: Naming, *, text_as_paths: bool = True) -> str:
    """Return the means as SVG text."""
    said = [
        f"{row['prototype']} {format_number(row['estimate'], 1)} ({format_interval(row['ci_low'], row['ci_high'], 1)})"
        for row in result.means.sort_values("estimate", ascending=False, kind="stable").to_dict("records")
    ]
    return svg_text(
        liking_figure(result, names),
        title="Mean liking",
        description=f"Means with intervals: {'; '.join(said)}.",
        text_as_paths=text_as_paths,
    )
