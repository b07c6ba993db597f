"""The frame of pictures with intervals."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from panel.views.pictures import interval_figure, needed_limits, write_key
from tests.views.examples import words_outside

ROWS = pd.DataFrame(
    {
        "y": [0.2, 0.5],
        "estimate": [10.0, 20.0],
        "ci_low": [8.0, np.nan],
        "ci_high": [12.0, np.nan],
        "colour": ["#000000", "#0072b2"],
        "shape": ["o", "s"],
        "filled": [True, False],
    }
)


def test_a_missing_interval_draws_a_dot_alone():
    _, axes = interval_figure(ROWS, 0.8, [(0.2, "a"), (0.5, "b")], limits=(0, 30))
    dots = [line for line in axes.lines if line.get_linestyle() == "None"]
    bars = axes.collections[0].get_segments()
    assert [float(dot.get_xdata()[0]) for dot in dots] == [10.0, 20.0]
    assert [bar[:, 0].tolist() for bar in bars] == [[8.0, 12.0]]
    assert dots[1].get_markerfacecolor() == "white"


def test_long_words_are_broken_and_the_picture_keeps_its_width():
    short, _ = interval_figure(ROWS, 0.8, [(0.2, "a")], limits=(0, 30))
    long, _ = interval_figure(
        ROWS, 0.8, [(0.2, "a very long name " * 4)], headings=[(0.1, "h")], remarks=[(0.2, "p = 0.1")], limits=(0, 30)
    )
    assert long.get_figwidth() == short.get_figwidth()
    assert "\n" in long.axes[0].get_yticklabels()[0].get_text()
    assert words_outside(long) == []


def test_the_title_stands_above_and_what_the_scale_is_below():
    figure, axes = interval_figure(ROWS, 0.8, [(0.2, "a")], limits=(0, 30), title="Dark: A01", x_title="Mean")
    heading, below = sorted(figure.texts, key=lambda text: -text.get_position()[1])
    assert (heading.get_text(), below.get_text()) == ("Dark: A01", "Mean")
    assert below.get_position()[1] < axes.get_position().y0 < axes.get_position().y1 < heading.get_position()[1]


def test_limits_hold_everything():
    low, high = needed_limits(ROWS, -5.0)
    assert low < -5 < 20 < high
    same = needed_limits(ROWS.assign(estimate=1.0, ci_low=1.0, ci_high=1.0))
    assert same[0] < 1 < same[1]


@pytest.mark.parametrize("left", [0.1, 1.0, 2.0])
def test_a_key_stays_on_the_paper_wherever_it_begins(left):
    for width in np.arange(4.0, 9.0, 0.25):
        figure = Figure(figsize=(width, 2))
        write_key(figure, [Line2D([], [], label=f"a name of some length {n}") for n in range(5)], left=left)
        box = figure.legends[0].get_window_extent(FigureCanvasAgg(figure).get_renderer())
        assert left - 0.01 <= box.x0 / figure.dpi < box.x1 / figure.dpi <= width
