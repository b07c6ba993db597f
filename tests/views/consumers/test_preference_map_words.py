"""Words and tables of the preference map: sensations on either side, and how little eight prototypes say."""

from dataclasses import replace

from panel.views.consumers.preference_map import (
    directions_table,
    preferences_alt_text,
    preferences_headline,
    sensations_caption,
    sensations_table,
    what_the_preferences_cannot_show,
    what_the_preferences_show,
)
from tests.views.consumer_results import demo, demo_preferences, demo_segments


def test_each_group_and_its_sensations():
    said = preferences_headline(demo_preferences(), demo_segments(), demo()[1])
    assert said.startswith("Liking rises for group 1 (39 consumers) with more ease of spreading")
    assert "and with less greasy film, “residue, later” and thickness" in said
    assert "for group 2 (18 consumers) with more integrity of shape" in said


def test_no_clear_direction_is_said():
    result = demo_preferences()
    unclear = replace(result, directions=result.directions.assign(p_value=0.4))
    assert preferences_headline(unclear, demo_segments(), demo()[1]) == (
        "No direction on the panel's map goes clearly with liking."
    )


def test_how_well_it_describes_and_whether_a_best_place_shows():
    result = demo_preferences()
    lines = what_the_preferences_show(result, demo_segments(), demo()[1])
    assert lines[0] == (
        "All consumers: the map describes 62 % of the differences in liking (p = 0.086, 8 prototypes). No best place "
        "shows; a direction describes it as well."
    )
    assert "no place pleases everybody" in lines[-1]
    peaked = result.ideals.assign(peak=True, curvature_p_value=0.01, inside=[True, False, True])
    told = what_the_preferences_show(replace(result, ideals=peaked), demo_segments(), demo()[1])
    assert told[0].endswith("Its best place lies among the prototypes.")
    assert told[1].endswith("Its best place would lie outside the map.")


def test_stars_and_what_they_mean():
    table = sensations_table(demo_preferences(), demo_segments(), demo()[1]).set_index("Attribute")
    assert table.loc["greasy film"].iloc[0] == "−0.93 * (−0.99 to −0.64)"
    assert "*" not in table.loc["slipperiness"].iloc[0]
    assert "beyond 0.71" in sensations_caption(demo_preferences())
    assert directions_table(demo_preferences(), demo_segments())["p"].tolist() == ["0.086", "0.007", "0.014"]


def test_cautions():
    lines = what_the_preferences_cannot_show(demo_preferences())
    assert lines[0].startswith("8 prototypes are very few")
    assert any("need not be its cause" in line for line in lines)
    assert "arrows towards more liking" in preferences_alt_text(demo_preferences(), demo_segments(), demo()[1])
