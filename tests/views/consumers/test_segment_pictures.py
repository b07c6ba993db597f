"""The picture and the tables of the groups."""

from panel.views.consumers.segments import (
    divided_table,
    segments_alt_text,
    segments_figure,
    segments_svg,
    segments_table,
    steps_table,
)
from tests.views.consumer_results import demo, demo_segments, one_group


def test_groups_differ_in_shape_as_well_as_colour():
    axes = segments_figure(demo_segments(), demo()[1]).axes[0]
    shapes = {line.get_marker() for line in axes.lines if line.get_marker() not in ("None", None)}
    assert shapes == {"o", "s"}
    legend = [text.get_text() for text in axes.get_legend().get_texts()]
    assert legend == ["group 1 (39 consumers)", "group 2 (18 consumers)"]


def test_the_picture_in_words():
    assert "P4 7.1" in segments_alt_text(demo_segments())
    assert "<svg" in segments_svg(demo_segments(), demo()[1])


def test_tables():
    names = demo()[1]
    table = segments_table(demo_segments(), names)
    assert list(table.columns)[1:] == [
        "Mean liking of group 1 (39 consumers)",
        "Mean liking of group 2 (18 consumers)",
    ]
    assert table.iloc[3, 1] == "7.05 (6.57 to 7.53) a"
    assert steps_table(demo_segments())["Believed"].tolist() == ["yes", "no"]
    assert steps_table(one_group())["Believed"].tolist() == ["no"]
    divided = divided_table(demo_segments())
    assert set(divided["Group"]) == {"1", "2"}
    assert list(segments_table(one_group(), names).columns) == ["Prototype", "Mean liking of all consumers"]
