"""The picture of the preference map: arrows with their groups' numbers, grey where the direction is not clear."""

from dataclasses import replace

from panel.views.consumers.preference_map import preference_map_figure, preference_map_svg
from panel.views.drawing.pictures import GREY
from tests.views.consumer_results import demo, demo_preferences, demo_segments


def test_places_arrows_and_key():
    figure = preference_map_figure(demo_preferences(), demo_segments(), demo()[1])
    written = [text.get_text() for text in figure.axes[0].texts]
    assert {text.split(" (")[0] for text in written if text.startswith("P")} == {f"P{n}" for n in range(1, 9)}
    assert all(text.endswith(" %)") for text in written if text.startswith("P"))
    assert {"all", "1", "2"} <= set(written)
    key = [text.get_text() for text in figure.texts]
    assert key[:3] == ["all consumers: no clear direction (grey)", "group 1 (39 consumers)", "group 2 (18 consumers)"]
    samples = list(figure.artists)
    assert [line.get_color() == GREY for line in samples] == [True, False, False]
    assert [line.is_dashed() for line in samples] == [False, True, True]


def test_without_shares_the_rest_is_drawn():
    result = demo_preferences()
    bare = replace(result, shares=result.shares.iloc[:0])
    written = [text.get_text() for text in preference_map_figure(bare, demo_segments(), demo()[1]).axes[0].texts]
    assert {"P1", "P8"} <= set(written)
    assert "Preference map" in preference_map_svg(result, demo_segments(), demo()[1])
