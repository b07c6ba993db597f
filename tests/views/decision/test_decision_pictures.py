"""The pictures of a decision: every number and mark on them follows from the result, and reads without colour."""

from itertools import combinations, pairwise

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from data_demo import make_demo
from panel.study.naming import naming
from panel.views.decision.decision_pictures import (
    _ALL,
    _chance_cells,
    _chances_figure,
    _windows_figure,
    chances_picture,
    windows_picture,
)
from panel.words import chance_words
from tests.models.decision.known_studies import decided, target_study

READABLE = 4.5  # contrast asked for by WCAG 2.2, 1.4.3


@pytest.fixture(scope="module")
def demo():
    study, _ = make_demo.make_study()
    return decided(study), naming(study)


def luminance(colour):
    linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in to_rgb(colour)]
    return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_grid_has_a_cell_per_prototype_and_window_and_two_for_all(demo):
    cells = _chance_cells(*demo)
    assert len(cells) == 8 * (6 + 2)
    row = demo[0].windows.set_index(["attribute", "prototype"]).loc[("AF_GREASE", "P4")]
    cell = cells.loc[(cells["prototype"] == "P4") & (cells["heading"] == "greasy film: 38 or less, must")].iloc[0]
    assert cell["chance"] == row["chance"]
    assert cell["mark"] == "✗"
    assert (cells.loc[cells["heading"] == _ALL, "mark"] == "").all()


def test_every_number_is_written_and_can_be_read(demo):
    figure = _chances_figure(*demo)
    texts = [text.get_text() for text in figure.axes[0].texts]
    for cell in _chance_cells(*demo).to_dict("records"):
        assert f"{cell['mark']} {chance_words(cell['chance'])}".strip() in texts
    fills = [patch.get_facecolor()[:3] for patch in figure.axes[0].patches]
    letters = [text.get_color() for text in figure.axes[0].texts[: len(fills)]]
    assert min(contrast(fill, colour) for fill, colour in zip(fills, letters, strict=True)) >= READABLE


def test_no_cell_of_the_grid_lies_over_another_and_those_of_all_windows_stand_apart(demo):
    cells = [patch.get_bbox() for patch in _chances_figure(*demo).axes[0].patches]
    hidden = [
        (a, b) for a, b in combinations(cells, 2) if min(a.x1, b.x1) - max(a.x0, b.x0) > 1e-9 < _common_height(a, b)
    ]
    assert hidden == []
    first_row = sorted((cell.x0, cell.x1) for cell in cells if cell.y0 == cells[0].y0)
    gaps = np.array([after[0] - before[1] for before, after in pairwise(first_row)])
    assert np.flatnonzero(gaps > gaps.min() + 0.01).tolist() == [5]  # after the six windows


def _common_height(a, b):
    return min(a.y1, b.y1) - max(a.y0, b.y0)


def test_who_is_out_is_marked_in_words(demo):
    texts = [text.get_text() for text in _chances_figure(*demo).axes[0].texts]
    assert "P1 (out)" in texts
    assert "P4" in texts


def test_the_pictures_are_the_same_each_time_and_tell_themselves_in_words(demo):
    picture = chances_picture(*demo)
    assert picture.svg == chances_picture(*demo).svg
    assert picture.alt in picture.svg.replace("&lt;", "<")
    assert "P4: all windows < 1 %, least likely greasy film: 38 or less, must" in picture.alt
    assert 'role="img"' in windows_picture(*demo, ["P4", "P8"]).svg


@pytest.mark.parametrize("versus", [False, True])
def test_windows_stand_where_they_are(demo, versus):
    result, names = demo
    axes = _windows_figure(result, names, ["P4", "P8"], versus=versus).axes[0]
    left, right = axes.get_xlim()
    row = result.windows.set_index(["attribute", "prototype"]).loc[("AF_GREASE", "P4")]
    high = row["versus_high"] if versus else row["target_high"]
    bands = [(patch.get_x(), patch.get_x() + patch.get_width()) for patch in axes.patches]
    assert any(band == pytest.approx((left, high)) for band in bands)
    assert len(bands) == 6
    assert left < right


def test_seven_prototypes_are_the_most_that_are_drawn(demo):
    figure = _windows_figure(*demo, [f"P{number}" for number in range(1, 9)])
    assert len(figure.legends[0].get_texts()) == 7


def test_what_is_not_known_is_a_dash_on_white():
    study = target_study({"P1": (60, 45), "P2": (25, 75), "P3": (52, 50)})
    scores = study.scores
    scores = scores.loc[~((scores["prototype"] == "P3") & (scores["attribute"] == "SOFT"))].reset_index(drop=True)
    result = decided(type(study)({**study.tables, "scores": scores}))
    cells = _chance_cells(result, naming(study))
    cell = cells.loc[(cells["prototype"] == "P3") & (cells["heading"] == "SOFT: 55 or more")].iloc[0]
    assert (cell["mark"], np.isnan(cell["chance"])) == ("–", True)
    assert "P3" in chances_picture(result, naming(study)).alt
    (axes,) = _chances_figure(result, naming(study)).axes
    fills = {text.get_text(): patch.get_facecolor() for text, patch in zip(axes.texts, axes.patches, strict=False)}
    assert to_rgb(fills["– –"]) == to_rgb("white")
