"""Where things go on a map: the data behind the picture."""

import numpy as np
import pytest

from panel.views.prototypes.map import best_height, layout_attributes, layout_places
from tests.views.examples import NAMES, WORDS, panel_map

BOX = (360.0, 260.0)


def test_one_unit_is_equally_long_both_ways():
    layout = layout_places(panel_map(), BOX, 9)
    units = np.ptp(layout.x_limits) / BOX[0], np.ptp(layout.y_limits) / BOX[1]
    assert units[0] == pytest.approx(units[1], rel=1e-12)


def test_everything_lies_inside():
    layout = layout_places(panel_map(prototypes=16), BOX, 9)
    for column, limits in (("component_1", layout.x_limits), ("component_2", layout.y_limits)):
        assert layout.outlines[column].between(*limits).all()
        assert layout.places[column].between(*limits).all()
    assert layout.places["label_x"].between(*layout.x_limits).all()
    assert layout.places["label_y"].between(*layout.y_limits).all()


def test_outlines_are_the_regions():
    result = panel_map()
    outlines = layout_places(result, BOX, 9).outlines
    assert list(dict.fromkeys(outlines["prototype"])) == list(result.prototypes["prototype"])
    for row in result.regions.to_dict("records"):
        own = outlines[outlines["prototype"] == row["prototype"]]
        reach = np.hypot(own["component_1"] - row["centre_1"], own["component_2"] - row["centre_2"])
        assert reach.max() == pytest.approx(row["half_axis_1"])
        assert reach.min() == pytest.approx(row["half_axis_2"], rel=0.01)


def test_a_map_without_regions_has_no_outlines():
    layout = layout_places(panel_map(assessors=3), BOX, 9)
    assert layout.outlines.empty
    assert len(layout.places) == 8


def test_attribute_labels_stand_in_two_columns_without_covering_each_other():
    layout = layout_attributes(panel_map(), NAMES, BOX, 9)
    lines = layout.lines
    assert list(lines["attribute"]) == list(WORDS)
    unit = np.ptp(layout.y_limits) / BOX[1]
    assert np.ptp(layout.x_limits) / BOX[0] == pytest.approx(unit, rel=1e-12)
    for _, side in lines.groupby("side"):
        assert (np.diff(np.sort(side["label_y"])) >= 9 * 1.3 * unit).all()
    assert ((lines["label_x"] > 0) == (lines["side"] == "right")).all()
    assert (np.hypot(lines["x"], lines["y"]) <= 1 + 1e-12).all()


def test_a_side_that_is_too_full_gives_labels_to_the_other():
    # Six labels of 9 points in a picture 60 points high: four lines fit on a side.
    layout = layout_attributes(panel_map(), NAMES, (360.0, 60.0), 9)
    assert layout.lines["side"].value_counts().max() <= 4


def test_height_follows_the_map():
    result = panel_map()
    flat = result.regions.assign(centre_2=0.0, half_axis_1=0.1, half_axis_2=0.1)
    thin = type(result)(
        result.components, result.prototypes.assign(component_2=0.0), result.attributes, flat,
        result.matrix, result.level, result.method, result.notes,
    )  # fmt: skip
    assert best_height(thin, 5.0, 3.0, 5.0) == 3.0
    assert 3.0 <= best_height(result, 5.0, 3.0, 5.0) <= 5.0
