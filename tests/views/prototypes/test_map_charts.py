"""The map for the screen: valid Vega-Lite, the numbers in it, equal scales, words for those who cannot see it."""

import pytest

from panel.study.naming import Naming
from panel.views.drawing.pictures import GREY
from panel.views.prototypes.map import attributes_chart, map_chart, places_chart
from tests.views.examples import NAMES, WORDS, panel_map


def values(spec: dict, layer: dict) -> list[dict]:
    return spec["datasets"][layer["data"]["name"]]


def layers_of(spec: dict, mark: str) -> list[dict]:
    return [layer for layer in spec["layer"] if layer["mark"]["type"] == mark]


def test_points_are_the_numbers_and_both_axes_have_one_scale():
    result = panel_map(prototypes=6)
    spec = places_chart(result, NAMES).to_dict()  # altair checks it against the Vega-Lite schema
    (points,) = layers_of(spec, "point")
    rows = values(spec, points)
    assert [row["component_1"] for row in rows] == pytest.approx(list(result.prototypes["component_1"]))
    x, y = points["encoding"]["x"]["scale"]["domain"], points["encoding"]["y"]["scale"]["domain"]
    assert (x[1] - x[0]) / spec["width"] == pytest.approx((y[1] - y[0]) / spec["height"])
    assert len({row["prototype"] for row in values(spec, layers_of(spec, "line")[0])}) == 6
    assert [row["label"] for row in values(spec, layers_of(spec, "text")[0])] == [f"P{n}" for n in range(1, 7)]


def test_every_layer_has_the_same_axes():
    # A layer without them would clear the titles or change the limits of the whole picture.
    spec = places_chart(panel_map(), NAMES).to_dict()
    for channel in ("x", "y"):
        seen = [layer["encoding"][channel] for layer in spec["layer"] if channel in layer["encoding"]]
        assert all(one["axis"] == seen[0]["axis"] and one["scale"] == seen[0]["scale"] for one in seen)
        assert "Component" in str(seen[0]["axis"]["title"])


def test_tooltips_hold_no_raw_number():
    spec = places_chart(panel_map(), NAMES).to_dict()
    (points,) = layers_of(spec, "point")
    assert {tip["type"] for tip in points["encoding"]["tooltip"]} == {"nominal"}
    assert all(isinstance(row["at_1"], str) for row in values(spec, points))


def test_only_the_chosen_of_many_are_coloured():
    spec = places_chart(panel_map(prototypes=9), NAMES, ["P2"]).to_dict()
    scale = layers_of(spec, "point")[0]["encoding"]["fill"]["scale"]
    coloured = [name for name, colour in zip(scale["domain"], scale["range"], strict=True) if colour != GREY]
    assert coloured == ["P2"]


def test_attributes_are_correlations_with_words():
    result = panel_map()
    spec = attributes_chart(result, NAMES).to_dict()
    (tips,) = layers_of(spec, "point")
    rows = {row["attribute"]: row for row in values(spec, tips)}
    first = result.attributes[result.attributes["component"] == 1].set_index("attribute")["loading"]
    assert {name: row["x"] for name, row in rows.items()} == pytest.approx(first.to_dict())
    written = [row["label"] for layer in layers_of(spec, "text") for row in values(spec, layer)]
    assert sorted(written) == sorted(words for words, _ in WORDS.values())
    assert set(tips["encoding"]["color"]["scale"]["domain"]) == {stage for _, stage in WORDS.values()}


def test_without_stages_there_is_no_legend():
    spec = attributes_chart(panel_map(), Naming()).to_dict()
    (tips,) = layers_of(spec, "point")
    assert tips["encoding"]["color"]["legend"] is None


def test_both_together_say_what_they_show():
    spec = map_chart(panel_map(), NAMES).to_dict()
    assert len(spec["hconcat"]) == 2
    assert spec["description"].startswith("Map of prototypes. The map places 8 prototypes by 6 attributes")


def test_a_map_without_regions_can_be_drawn():
    assert places_chart(panel_map(assessors=3), NAMES).to_dict()["width"] > 0
