"""Numbers of people as tables a person reads: what a panel can see, how many answers are enough."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import PercentFormatter

from panel.plan.consumer_numbers import AnswerNumbers
from panel.plan.sample_size import PanelSizes
from panel.study.naming import Naming
from panel.views.drawing.pictures import COLOURS, FAINT, INK, svg_text, text_width
from panel.words import format_list, format_number, format_share


def panel_sizes_table(result: PanelSizes, digits: int = 1) -> pd.DataFrame:
    """Return one row per number of assessors and replicates: what that panel can see, in scale units."""
    rows = result.sizes
    percent = f"{100 * result.power:g} %"
    return pd.DataFrame(
        {
            "Assessors": [f"{count:d}" for count in rows["assessors"]],
            "Replicates": [f"{count:d}" for count in rows["replicates"]],
            "Servings": [f"{count:,d}" for count in rows["servings"]],
            "Standard error of a difference": _numbers(rows["std_error"], digits),
            "Least significant difference": _numbers(rows["least_significant"], digits),
            "The same, all pairs (Tukey)": _numbers(rows["least_significant_pairs"], digits),
            f"Found with {percent}: one planned difference": _numbers(rows["seen"], digits),
            f"Found with {percent}: among all pairs": _numbers(rows["seen_pairs"], digits),
            f"Found with {percent}: against the benchmark": _numbers(rows["seen_benchmark"], digits),
            f"Found with {percent}: a swap effect": _numbers(rows["seen_swap"], digits),
            f"Chance to find {format_number(result.difference, digits)}": [format_share(v) for v in rows["power"]],
        },
        dtype="str",
    )


def needed_table(result: PanelSizes) -> pd.DataFrame:
    """Return the fewest assessors for each kind of comparison and number of replicates."""
    rows = result.needed
    tried = int(result.sizes["assessors"].max())
    return pd.DataFrame(
        {
            "What is compared": list(rows["comparison"]),
            "Replicates": [f"{count:d}" for count in rows["replicates"]],
            "Assessors needed": [f"{n:d}" if n else f"more than {tried}" for n in rows["assessors"]],
            "Servings": [f"{n:,d}" if n else "–" for n in rows["servings"]],
        },
        dtype="str",
    )


def what_you_can_see_table(seen: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: what the people you have can see of it, in scale units."""
    headings = {
        "std_error": "Standard error of a difference",
        "least_significant": "Least significant difference",
        "seen": "One planned difference found",
        "seen_pairs": "Among all pairs found",
        "seen_benchmark": "Against the benchmark found",
        "seen_swap": "A swap effect found",
    }
    words = [names.attribute(name) if name else "planning values" for name in seen["attribute"]]
    columns = {heading: _numbers(seen[column], names.digits) for column, heading in headings.items()}
    return pd.DataFrame({"Attribute": words} | columns, dtype="str")


def answers_table(results: Iterable[AnswerNumbers]) -> pd.DataFrame:
    """Return one row per question: the first number of answers that is enough, and from when on it always is."""
    rows = list(results)
    return pd.DataFrame(
        {
            "To show": [row.question for row in rows],
            "First enough": [f"{row.first:,d}" for row in rows],
            "Always enough from": [f"{row.always:,d}" for row in rows],
            "Answers that show it": [_limits(row) for row in rows],
            "Chance of success": [format_share(row.power) for row in rows],
        },
        dtype="str",
    )


def share_width_table(widths: pd.DataFrame) -> pd.DataFrame:
    """Return one row per number of people: between which limits a share will be known."""
    return pd.DataFrame(
        {
            "People": [f"{n:,d}" for n in widths["n"]],
            "Share": [format_share(share) for share in widths["share"]],
            "95 % interval": [
                f"{format_number(100 * low, 0)} to {format_number(100 * high, 0)} %"
                for low, high in zip(widths["ci_low"], widths["ci_high"], strict=True)
            ],
        },
        dtype="str",
    )


def _limits(result: AnswerNumbers) -> str:
    """Return how many answers show it when the number from which on it is always enough is asked."""
    row = result.curve.loc[result.curve["n"] == result.always].iloc[0]
    fewest, most = row["minimum"], row["maximum"]
    parts = []
    if not np.isnan(fewest):
        parts.append(f"at least {format_number(fewest, 0)}")
    if not np.isnan(most):
        parts.append(f"at most {format_number(most, 0)}")
    return f"{' and '.join(parts)} of {result.always:,d}" if parts else "–"


def _numbers(values: pd.Series, digits: int) -> list[str]:
    return [format_number(value, digits) for value in values]


# Pictures of chances: what panels of several sizes can see, and the teeth of counted answers.


FONT = 9.0  # points
MOST_LINES = 5
_POINTS = 72.0  # to the inch
_WIDTH, _HEIGHT, _TOP, _BOTTOM, _LEFT, _GAP, _SAMPLE = 5.2, 3.2, 0.45, 0.6, 0.75, 0.12, 0.4  # inches
_DASHES = ("-", (0, (6, 2)), (0, (2, 2)), (0, (6, 2, 2, 2)), (0, (1, 1)))
_QUIET = "#5c5c5c"


def power_figure(result: PanelSizes, assessors: Sequence[int], replicates: int) -> Figure:
    """Return the chance to find a planned difference of each size, one line for each number of assessors.

    Parameters
    ----------
    assessors
        Which panels to show, five at the most; those that were not worked out are left out.
    replicates
        How often everybody tries everything.
    """
    lines = _lines(result, assessors, replicates)
    labels = [f"{count} assessors" for count in lines]
    figure, axes = _axes(labels)
    end = float(result.curve["difference"].max())
    axes.set(xlim=(0, end), ylim=(0, 1.02))
    drawn = [
        axes.plot(rows["difference"], rows["power"], color=COLOURS[n], linestyle=_DASHES[n], linewidth=1.6, label=label)
        for n, (label, rows) in enumerate(zip(labels, lines.values(), strict=True))
    ]
    axes.axvline(result.difference, color=_QUIET, linewidth=0.8, zorder=1)
    axes.axhline(result.power, color=_QUIET, linewidth=0.8, zorder=1)
    # the curves lie from right to left as the panels grow, so the names stand from largest to smallest
    axes.legend(
        handles=[line for (line,) in reversed(drawn)],
        loc="center left",
        bbox_to_anchor=(1 + _GAP / _WIDTH, 0.5),
        fontsize=FONT,
        frameon=False,
        handlelength=_SAMPLE / FONT * _POINTS,
        borderpad=0,
    )
    tries = "once" if replicates == 1 else "twice" if replicates == 2 else f"{replicates} times"
    axes.set_title(
        f"Chance to find a planned difference, {result.prototypes} prototypes tried {tries}",
        fontsize=FONT + 1,
        color=INK,
        loc="left",
    )
    axes.set_xlabel("True difference between two prototypes (scale units)", fontsize=FONT, color=INK)
    _remark(axes, result.difference, f"matters from {format_number(result.difference, 1)}")
    return figure


def power_svg(result: PanelSizes, assessors: Sequence[int], replicates: int, *, text_as_paths: bool = True) -> str:
    """Return the chances as SVG text, with what they show in words."""
    return svg_text(
        power_figure(result, assessors, replicates),
        title="Chance to find a difference",
        description=power_alt_text(result, assessors, replicates),
        text_as_paths=text_as_paths,
    )


def power_alt_text(result: PanelSizes, assessors: Sequence[int], replicates: int) -> str:
    """Return what the picture shows, for those who do not see it."""
    rows = result.sizes.loc[result.sizes["replicates"] == replicates]
    seen = dict(zip(rows["assessors"].tolist(), rows["seen"].tolist(), strict=True))
    told = [
        f"{count} assessors find {format_number(seen[count], 1)}" for count in _lines(result, assessors, replicates)
    ]
    return (
        "Rising curves, one for each number of assessors: the larger the true difference and the more assessors, the "
        f"larger the chance to find it. With a chance of {format_share(result.power)}, {format_list(told)} scale units."
    )


def teeth_figure(result: AnswerNumbers, upto: int | None = None) -> Figure:
    """Return the chance of success for each number of answers, with the first that is enough and the last step.

    Parameters
    ----------
    upto
        Largest number shown; by default somewhat more than is always enough.
    """
    end = upto or int(1.25 * result.always) + 2
    rows = result.curve.loc[result.curve["n"] <= end]
    figure, axes = _axes([])
    axes.set(xlim=(1, end), ylim=(0, 1.02))
    axes.step(rows["n"], rows["chance"], where="mid", color=COLOURS[0], linewidth=1.1)
    axes.axhline(result.power, color=_QUIET, linewidth=0.8, zorder=1)
    for number in sorted({result.first, result.always}):
        axes.axvline(number, color=_QUIET, linewidth=0.8, linestyle=(0, (2, 2)), zorder=1)
    words = f"first {result.first:,d}" + (f", always from {result.always:,d}" if result.always > result.first else "")
    _remark(axes, result.first, words, before=result.first > end / 2)
    axes.set_title("Chance of success", fontsize=FONT + 1, color=INK, loc="left")
    axes.set_xlabel("Answers", fontsize=FONT, color=INK)
    return figure


def teeth_svg(result: AnswerNumbers, *, text_as_paths: bool = True) -> str:
    """Return the teeth as SVG text, with what they show in words."""
    return svg_text(
        teeth_figure(result),
        title="Chance of success for each number of answers",
        description=(
            f"A rising line with teeth. It first reaches {format_share(result.power)} at {result.first:,d} answers and "
            f"stays above it from {result.always:,d} on."
        ),
        text_as_paths=text_as_paths,
    )


def _lines(result: PanelSizes, assessors: Sequence[int], replicates: int) -> dict[int, pd.DataFrame]:
    """Return the curve of each panel that was worked out, the smallest first."""
    curve = result.curve.loc[result.curve["replicates"] == replicates]
    known = sorted(set(assessors) & set(curve["assessors"]))[:MOST_LINES]
    return {count: curve.loc[curve["assessors"] == count] for count in known}


def _axes(labels: Sequence[str]) -> tuple[Figure, Axes]:
    words = max((text_width(text, FONT) / _POINTS + _SAMPLE + 2 * _GAP for text in labels), default=0.0)
    right = words + 2 * _GAP
    width, height = _LEFT + _WIDTH + right, _TOP + _HEIGHT + _BOTTOM
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((_LEFT / width, _BOTTOM / height, _WIDTH / width, _HEIGHT / height))
    axes.yaxis.set_major_formatter(PercentFormatter(xmax=1, decimals=0, symbol=" %"))
    axes.tick_params(labelsize=FONT - 1, colors=INK, length=0)
    axes.grid(color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
    return figure, axes


def _remark(axes: Axes, at: float, words: str, *, before: bool = False) -> None:
    """Write words beside a vertical line, low in the picture where no curve runs."""
    axes.annotate(
        words,
        xy=(at, 0.04),
        xytext=(-4 if before else 4, 0),
        textcoords="offset points",
        fontsize=FONT - 1,
        color=_QUIET,
        ha="right" if before else "left",
        va="center",
    )
