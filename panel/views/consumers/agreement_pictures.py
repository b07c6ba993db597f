"""How many agree with each statement, with the interval, beside the bar."""

from __future__ import annotations

from matplotlib.figure import Figure

from panel.models.consumers.agreement import MAJORITY, Agreement
from panel.views.consumers.share_words import share_words
from panel.views.drawing.interval_picture import interval_figure
from panel.views.drawing.palette import COLOURS, GREY, INK
from panel.views.drawing.svg import svg_text

_ROW = 0.3  # inches


def agreement_figure(result: Agreement) -> Figure:
    """Return one line per statement; untrue ones are hollow squares, bars short upright strokes."""
    rows = result.statements
    several = len(set(rows["prototype"])) > 1
    names = [
        f"{name}{f', {prototype}' if several else ''}{' (untrue)' if foil else ''}"
        for name, prototype, foil in zip(rows["question"], rows["prototype"], rows["foil"], strict=True)
    ]
    drawn = rows.assign(
        y=[_ROW * (number + 0.5) for number in range(len(rows))],
        estimate=100 * rows["share"],
        ci_low=100 * rows["ci_low"],
        ci_high=100 * rows["ci_high"],
        colour=[GREY if foil else COLOURS[0] for foil in rows["foil"]],
        shape=["s" if foil else "o" for foil in rows["foil"]],
        filled=~rows["foil"],
    )
    counted = [share_words(int(x), int(n)) for x, n in zip(rows["agreed"], rows["base"], strict=True)]
    figure, axes = interval_figure(
        drawn,
        _ROW * len(rows),
        list(zip(drawn["y"], names, strict=True)),
        remarks=list(zip(drawn["y"], counted, strict=True)),
        limits=(0.0, 100.0),
        x_title="Per cent who agreed, of all who answered (strokes: bars)",
    )
    axes.axvline(100 * MAJORITY, color=GREY, linewidth=0.8, zorder=1)
    height = dict(zip(zip(rows["prototype"], rows["question"], strict=True), drawn["y"], strict=True))
    for bar in result.bars.to_dict("records"):
        y = height[bar["prototype"], bar["question"]]
        axes.plot([100 * bar["bar"]] * 2, [y - 0.35 * _ROW, y + 0.35 * _ROW], color=INK, linewidth=1.6, zorder=2)
    return figure


def agreement_svg(result: Agreement, *, text_as_paths: bool = True) -> str:
    """Return the picture as SVG text."""
    return svg_text(
        agreement_figure(result),
        title="Agreement with statements",
        description="Share who agreed with each statement, with intervals and bars; the table holds the numbers.",
        text_as_paths=text_as_paths,
    )
