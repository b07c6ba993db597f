"""The grid of assessors and attributes: colour and sign say the same, and what is named is framed."""

from dataclasses import replace

import numpy as np

from panel.models.assessors.performance import LOOK_AGAIN, NONE
from panel.views.assessors.assessor_pictures import AGAINST, UNCLEAR, UNJUDGED, WITH, grid_figure, grid_rows, grid_svg
from tests.views.checked_panels import checked, with_patterns
from tests.views.examples import svg_root, svg_words, words_covering_words, words_outside


def test_signs_follow_the_numbers():
    result, _ = checked()
    rows = grid_rows(result).merge(result.assessors, on=["assessor", "attribute"], suffixes=("", "_given"))
    judged, separates = rows["judged"], rows["p_value"] < 0.30
    assert (rows.loc[~judged, "sign"] == UNJUDGED).all()
    assert (rows.loc[judged & ~separates, "sign"] == UNCLEAR).all()
    assert (rows.loc[judged & separates & (rows["correlation"] > 0), "sign"] == WITH).all()
    assert (rows.loc[judged & separates & (rows["correlation"] < 0), "sign"] == AGAINST).all()
    assert set(rows["sign"]) >= {WITH, AGAINST, UNCLEAR, UNJUDGED}


def test_only_what_calls_for_something_is_framed():
    result, _ = checked()
    told = with_patterns(result, [("A02", "drifts", "T03", LOOK_AGAIN), ("A03", "sits high", "T04", NONE)])
    rows = grid_rows(told)
    assert list(rows.loc[rows["marked"], ["assessor", "attribute"]].itertuples(index=False, name=None)) == [
        ("A02", "T03")
    ]


def test_cells_that_differ_in_sign_differ_in_shape_not_only_in_colour():
    result, names = checked()
    axes = grid_figure(result, names).axes[0]
    shapes = {line.get_marker() for line in axes.lines}
    assert shapes == {"^", "v", "o", "_"}
    assert sum(len(line.get_xdata()) for line in axes.lines) == len(result.assessors)
    assert len(axes.collections[0].get_paths()) == len(result.assessors)


def test_no_word_leaves_the_picture_or_covers_another():
    result, names = checked()
    figure = grid_figure(result, names)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_people_are_named_with_what_to_do():
    result, names = checked()
    words = svg_words(grid_svg(result, names, text_as_paths=False))
    assert "A01" in " ".join(words)
    assert any("train first" in text for text in words)
    assert "stickiness of the bulk" in words


def test_the_picture_can_be_heard():
    result, names = checked()
    svg = grid_svg(result, names)
    description = svg_root(svg)[1].text
    assert "A01 T09: reversed" in description
    assert "cells: tells the prototypes apart, the same way as the others" in description
    assert svg == grid_svg(result, names)


def test_a_person_who_missed_an_attribute_has_no_cell_there():
    result, names = checked()
    kept = ~((result.assessors["assessor"] == "A02") & (result.assessors["attribute"] == "T05"))
    fewer = replace(result, assessors=result.assessors[kept])
    assert len(grid_rows(fewer)) == len(result.assessors) - 1
    assert np.isfinite(grid_figure(fewer, names).get_size_inches()).all()
