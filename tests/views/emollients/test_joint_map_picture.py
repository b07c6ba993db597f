"""The picture of the joint map: places and directions are the numbers, everything is named, nothing outside."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from panel.models.emollients.readings import join_readings
from panel.study.naming import naming
from panel.study.open_study import open_study
from panel.views.emollients.readings import joint_map_figure, joint_map_svg
from tests.views.examples import svg_root, svg_words, words_outside

DEMO = open_study(Path(__file__).parents[3] / "data_demo" / "reading_room")
JOINT = join_readings(DEMO).map
NAMES = naming(DEMO)


def test_places_are_the_numbers():
    places, columns = joint_map_figure(JOINT, NAMES).axes
    drawn = np.vstack([np.asarray(marks.get_offsets()) for marks in places.collections])
    expected = np.vstack(
        [
            JOINT.prototypes.loc[JOINT.prototypes["block"] == block, ["component_1", "component_2"]]
            for block in ("panel", "instruments", "both")
        ]
    )
    np.testing.assert_allclose(drawn, expected)
    loadings = JOINT.columns.pivot_table(index=["block", "name"], columns="component", values="loading", sort=False)
    marks = [line for line in columns.lines if line.get_marker() not in ("None", None, "")]
    np.testing.assert_allclose([[line.get_xdata()[0], line.get_ydata()[0]] for line in marks], loadings[[1, 2]])
    assert places.get_aspect() == columns.get_aspect() == 1.0


def test_everything_is_named():
    words = svg_words(joint_map_svg(JOINT, NAMES, text_as_paths=False))
    for name in [f"P{k}" for k in range(1, 9)]:
        assert words.count(name) == 1
    assert words.count("firmness") == 2  # the attribute and the reading
    assert {"paper blot", "greasy film", "as the panel sees it", "as the instruments see it", "both together"} <= set(
        words
    )
    assert any(word.startswith("Component 1 (61 %)") for word in words)


def test_no_word_leaves_the_picture():
    assert words_outside(joint_map_figure(JOINT, NAMES)) == []
    few = replace(JOINT, columns=JOINT.columns.head(6))
    assert words_outside(joint_map_figure(few, NAMES)) == []


def test_the_svg_is_the_same_each_time_and_says_what_it_shows():
    svg = joint_map_svg(JOINT, NAMES)
    assert svg == joint_map_svg(JOINT, NAMES)
    root = svg_root(svg)
    assert root.attrib["aria-label"] == "Joint map of panel and instruments"
    assert "RV = 0.94" in root[1].text
