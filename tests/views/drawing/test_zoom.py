"""Zooming: in one picture only, with Shift only, and valid Vega-Lite."""

from panel.views.drawing.pictures import zoomable
from panel.views.prototypes.map import map_chart
from tests.views.examples import NAMES, panel_map


def test_only_the_places_zoom_and_only_with_shift():
    chart = map_chart(panel_map(), NAMES)
    spec = zoomable(chart).to_dict()  # altair checks it against the Vega-Lite schema
    (view,) = [param for param in spec["params"] if param["name"] == "view"]
    assert view["bind"] == "scales"
    assert "shiftKey" in view["select"]["zoom"]
    assert "shiftKey" in view["select"]["translate"]
    assert len(view["views"]) == 1  # two layers with the same parameter stop Vega from drawing
    named = [layer.get("name") for layer in spec["hconcat"][0]["layer"]]
    assert view["views"][0] in named


def test_the_chart_that_was_given_stays_as_it_was():
    chart = map_chart(panel_map(), NAMES)
    before = chart.to_dict()
    zoomable(chart)
    assert chart.to_dict() == before
