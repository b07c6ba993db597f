"""A picture of forced choices: the share of right answers with its interval, beside guessing and what is needed."""

from __future__ import annotations

import pandas as pd
from matplotlib.figure import Figure
from matplotlib.ticker import PercentFormatter

from panel.models.consumers.forced_choice import DIFFERS, SMALL, ForcedChoices
from panel.views.consumers.choice_words import METHOD_WORDS, choice_alt_text
from panel.views.drawing.interval_picture import FONT, interval_figure
from panel.views.drawing.palette import COLOURS, INK
from panel.views.drawing.svg import svg_text

_ROW, _HALF = 0.42, 0.13  # inches
_GUESSING, _NEEDED = (0, (1, 1.5)), "-"


def choice_figure(result: ForcedChoices) -> Figure:
    """Return one line per test: a dot, filled where a difference is shown, beside guessing and what is needed."""
    tests = result.tests.to_dict("records")
    heights = [(place + 0.5) * _ROW for place in range(len(tests))]
    rows = pd.DataFrame(
        {
            "y": heights,
            "estimate": result.tests["share"],
            "ci_low": result.tests["right_low"],
            "ci_high": result.tests["right_high"],
            "colour": COLOURS[0],
            "shape": "o",
            "filled": result.tests["verdict"].isin([DIFFERS, SMALL]),
        }
    )
    figure, axes = interval_figure(
        rows,
        _ROW * len(tests),
        [(y, f"{row['question']} ({METHOD_WORDS[row['method']]})") for y, row in zip(heights, tests, strict=True)],
        remarks=[
            (y, f"{row['right']} of {row['n']}, {row['needed']} needed") for y, row in zip(heights, tests, strict=True)
        ],
        limits=(-0.02, 1.02),
        title="Share of right answers",
        x_title="dotted: guessing; full: fewest right answers that show a difference",
    )
    axes.xaxis.set_major_formatter(PercentFormatter(xmax=1, decimals=0, symbol=" %"))
    for y, row in zip(heights, tests, strict=True):
        ends = [y - _HALF, y + _HALF]
        axes.plot([row["guess"]] * 2, ends, color=INK, linestyle=_GUESSING, linewidth=1.4, zorder=4)
        if row["needed"] <= row["n"]:
            axes.plot([row["needed"] / row["n"]] * 2, ends, color=INK, linestyle=_NEEDED, linewidth=1.4, zorder=4)
    axes.xaxis.label.set_fontsize(FONT - 1)
    return figure


def choice_svg(result: ForcedChoices, *, text_as_paths: bool = True) -> str:
    """Return the picture as SVG text, with what it shows in words."""
    return svg_text(
        choice_figure(result),
        title="Share of right answers",
        description=choice_alt_text(result),
        text_as_paths=text_as_paths,
    )
