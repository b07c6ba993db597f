"""Each mark, interval, bar and remark of a picture stands at the numbers of the row of its answer that its line names.

What is drawn is read back from the figure, and looked for in the frames of the answer: the name on the axis (or the
prototype whose mark it is), the place and both ends must stand in one row. Where two frames meet in a picture without
names on its axis, each number is looked for by itself.
"""

import re
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.text import Annotation

from panel.views.pictures import BROAD, NARROW
from panel.views.told import Picture, Told
from tests.views.every_picture import everything_told
from tests.views.held import NUMBER, STUDIES, frames, holds, numbers_in, told_numbers, words_in

TWELVE_DIGITS = 1e-9
_MARK = "prototype "
# Drawn on a scale of their own (the same share of both axes, widths around zero, pixels), or from rows not kept.
_OWN_SCALE = {"map", "joint_map", "residual_spread", "causes", "how_sure", "chances", "claims_board", "force"}

Row = tuple[np.ndarray, set[str]]


@pytest.fixture(scope="module", params=STUDIES)
def pictures(request) -> list[tuple[Picture, list[Row], list[Figure]]]:
    """Every picture with the rows of its answer, drawn for a page and for a phone."""
    found = []
    for told in everything_told(STUDIES[request.param]()).values():
        items = [told.picture, *(item for each in told.every_drawer() for item in each.items)]
        own = {each.name: each for each in items if isinstance(each, Picture) and each.name not in _OWN_SCALE}
        rows = _rows(told) if own else []
        found += [(each, rows, [each.figure(width) for width in (BROAD, NARROW)]) for each in own.values()]
    return found


def _rows(told: Told) -> list[Row]:
    every = [row for frame in frames(told.result) for row in frame.reset_index().to_dict("records")]
    return [(numbers_in(row), words_in(row, told.names)) for row in every]


def _in_numbers(axes: Axes, artist) -> bool:
    return artist.get_transform().contains_branch_seperately(axes.transData) == (True, True)


def named_lines(figure: Figure) -> Iterator[tuple[Axes, list[tuple[float, str]]]]:
    """The parts of a figure, with the names at the left of their lines; parts side by side share them."""
    shared: tuple = ((), [])
    for axes in figure.axes:
        labels = [label.get_text().replace("\n", " ") for label in axes.get_yticklabels()]
        own = [(at, name) for at, name in zip(axes.get_yticks(), labels, strict=False) if re.search("[A-Za-z]", name)]
        if own:
            shared = (axes.get_ylim(), own)
        yield axes, own or (shared[1] if shared[0] == axes.get_ylim() else [])


def _named(label: str, words: set[str]) -> bool:
    """Whether a row holds all that a label names; what is in brackets, or cut off, need not be there."""
    parts = re.split(" – | rather than | against ", re.sub("^candidate ", "", label).partition(" (")[0].rstrip("…"))
    return all(any(word.startswith(part.rstrip()) for word in words) for part in parts)


def _has(numbers: np.ndarray, wanted: list[float]) -> bool:
    both = np.concatenate([numbers, 100 * numbers])
    return all((np.abs(both - each) <= TWELVE_DIGITS * max(1.0, abs(each))).any() for each in wanted)


def _nearest(lines: list[tuple[float, str]], y: float) -> str:
    return min(lines, key=lambda line: abs(line[0] - y))[1]


def test_each_mark_and_interval_stands_at_the_numbers_of_its_row(pictures):
    tried = Counter()
    for picture, rows, figures in pictures:
        for axes, lines in (part for figure in figures for part in named_lines(figure)):
            groups = [group for group in axes.collections if isinstance(group, LineCollection)]
            pieces = [piece for group in groups if _in_numbers(axes, group) for piece in group.get_segments()]
            ends = axes.get_xlim()
            for line in axes.lines:
                if line.get_marker() in (None, "None", "", " ") or not _in_numbers(axes, line):
                    continue
                gid = str(line.get_gid())
                who = {gid.removeprefix(_MARK)} if gid.startswith(_MARK) else set()
                for x, y in np.asarray(line.get_xydata(), dtype=float):
                    if not lines:
                        near = [numbers for numbers, words in rows if who <= words]
                        assert all(any(_has(own, [at]) for own in near) for at in (x, y)), (picture.name, who, x, y)
                        tried[picture.name] += 1
                        continue
                    if x in ends or x in np.round(ends, 0):  # what lies beyond is drawn at the edge
                        continue
                    label = _nearest(lines, y)
                    own = [piece for piece in pieces if len(piece) == 2 and (np.abs(piece[:, 1] - y) < 1e-9).all()]
                    reach = (
                        [float(at) for at in own[0][:, 0]] if len(own) == 1 and set(own[0][:, 0]) != set(ends) else []
                    )
                    assert any(
                        _has(numbers, [x, *reach]) for numbers, words in rows if who <= words and _named(label, words)
                    ), (picture.name, label, who, x, reach)
                    assert not reach or reach[0] <= x <= reach[1], (picture.name, label)
                    tried[picture.name] += 1
    assert tried.total() > 2


def test_each_bar_is_as_wide_as_a_number_of_its_row_and_the_text_in_it_says_so(pictures):
    tried = Counter()
    for picture, rows, figures in pictures:
        for axes, lines in (part for figure in figures for part in named_lines(figure)):
            bars = [bar for bar in axes.patches if isinstance(bar, Rectangle) and _in_numbers(axes, bar) and lines]
            for bar in bars:
                label = _nearest(lines, bar.get_y() + bar.get_height() / 2)
                if picture.name in ("liking_distribution", "just_about_right"):
                    near = [numbers for numbers, words in rows if _named(label, words)]
                    assert any(_has(numbers, [bar.get_width()]) for numbers in near), (picture.name, label)
            for text in axes.texts:
                x, y = text.get_position()
                inside = [
                    bar for bar in bars
                    if 0 < x - bar.get_x() < bar.get_width() and 0 < y - bar.get_y() < bar.get_height()
                ]  # fmt: skip
                if len(inside) == 1 and "%" in text.get_text():
                    width = np.array([inside[0].get_width()])
                    assert holds(width, *told_numbers(text.get_text())[-1]), (picture.name, text.get_text())
                    tried[picture.name] += 1


def test_each_remark_beside_a_line_says_numbers_of_that_line(pictures):
    tried = Counter()
    for picture, rows, figures in pictures:
        for axes, lines in (part for figure in figures for part in named_lines(figure)):
            beside = [text for text in axes.texts if text.get_transform() == axes.get_yaxis_transform()]
            for text in beside if lines else []:
                told = told_numbers(text.get_text().replace("\n", " "))
                label = _nearest(lines, text.get_position()[1])
                if told and picture.name != "assessors" and NUMBER.search(text.get_text()):
                    counted = [one / other for (one, _), (other, _) in pairwise(told) if other]
                    assert any(
                        all(holds(np.concatenate([numbers, counted]), *each, cut=True) for each in told)
                        for numbers, words in rows
                        if _named(label, words)
                    ), (picture.name, label, text.get_text())
                    tried[picture.name] += 1


def test_the_head_of_an_arrow_lies_at_its_end_and_in_the_picture(pictures):
    for picture, _, figures in pictures:
        for axes in (axes for figure in figures for axes in figure.axes):
            ends = np.sort([axes.get_xlim(), axes.get_ylim()])
            arrows = [each for each in axes.texts if isinstance(each, Annotation) and each.arrowprops]
            for arrow in arrows:
                if arrow.arrowprops.get("arrowstyle") != "-|>" or arrow.xycoords != "data":
                    continue
                tip, start = np.array(arrow.xy, dtype=float), np.array(arrow.xyann, dtype=float)
                assert ((ends[:, 0] <= tip) & (tip <= ends[:, 1])).all(), picture.name
                assert np.linalg.norm(tip - start) <= 0.1 * np.linalg.norm(tip), picture.name  # all begin at 0, 0
