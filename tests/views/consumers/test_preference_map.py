"""Words, tables and picture of the preference map: sensations on either side, and how little eight prototypes say."""

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree
from statsmodels.stats.multitest import multipletests

from panel.study.shown import shown
from panel.views.consumers.preference_map import (
    _DIRECTIONS,
    SENSATIONS,
    _figure,
    _headline,
    _how_well,
    _pleased,
    tell_preference_map,
)
from panel.views.pictures import GREY
from tests.views.consumer_results import demo, demo_preferences


def test_each_group_and_its_sensations():
    assert _headline(demo_preferences(), demo()[1]) == (
        "Liking goes along in group 1 with more ease of spreading and less greasy film and lasting residue; in group 2 "
        "with no single sensation."
    )


def test_signs_and_the_order_by_size_are_kept():
    result = demo_preferences()
    every = replace(result, sensations=result.sensations.assign(shown=result.sensations["p_value"] < 0.05))
    said = _headline(every, demo()[1])
    assert "with more ease of spreading, wetness and speed of soaking in and less greasy film, lasting residue" in said
    assert "in group 2 with more integrity of shape" in said


def test_sensations_are_shown_after_holm_over_all_attributes_and_groups():
    rows = demo_preferences().sensations
    theirs = multipletests(rows["p_value"], alpha=0.05, method="holm")
    np.testing.assert_allclose(rows["p_adjusted"], theirs[1], rtol=1e-9)
    assert rows["shown"].tolist() == theirs[0].tolist()
    np.testing.assert_array_equal(rows["shown"], (rows["told_low"] > 0) | (rows["told_high"] < 0))
    assert len(rows) == 3 * 14


def test_no_clear_direction_is_said():
    result = demo_preferences()
    unclear = replace(result, directions=result.directions.assign(clear=False))
    assert _headline(unclear, demo()[1]) == (
        "It is not shown that liking goes along with any direction on the panel's map."
    )
    assert result.directions["clear"].tolist() == (result.directions["p_value"] < 0.05).tolist()


def test_how_well_it_describes_and_whether_a_best_place_shows():
    result = demo_preferences()
    lines = _how_well(result)
    assert lines[0] == (
        "All consumers: the map describes 63 % of the differences in liking (p after Holm = 0.086, 8 prototypes). No "
        "best place shows; a direction describes it as well."
    )
    assert "no place pleases everybody" in _pleased(result)[0]
    assert "no place" not in _pleased(replace(result, shares=result.shares.assign(share=1.0)))[0]
    peaked = _how_well(replace(result, ideals=result.ideals.assign(shown=True, inside=[True, False, True])))
    assert peaked[0].endswith("Its best place lies among the prototypes.")
    assert peaked[1].endswith("Its best place would lie outside the map.")


def test_stars_and_what_they_mean():
    names = demo()[1]
    table = shown(SENSATIONS, demo_preferences(), names).set_index("Attribute")
    assert list(table.columns) == ["r, all consumers", "r, group 1 (38 consumers)", "r, group 2 (19 consumers)"]
    assert table.loc["greasy film"].iloc[0] == "−0.93 *; −1.00 to −0.04 (99.88 %)"
    assert "*" not in table.loc["wetness"].iloc[1]  # 0.90, beyond the limit of a single pair
    told = tell_preference_map(demo_preferences(), names)
    assert "beyond 0.71" in told.drawers[0].items[0]
    assert shown(_DIRECTIONS, demo_preferences(), names)["P after Holm"].tolist() == ["0.086", "0.013", "0.036"]


def test_cautions():
    told = tell_preference_map(demo_preferences(), demo()[1])
    assert told.cannot[0].startswith("8 prototypes are very few")
    assert any("need not be its cause" in line for line in told.cannot)
    assert "arrows towards prototypes that are liked better" in told.picture.alt


def test_places_and_arrows_carry_their_names():
    axes = _figure(demo_preferences(), demo()[1]).axes[0]
    written = {text.get_text().replace("\n", " "): text for text in axes.texts if text.get_text()}
    assert {words.split(" (")[0] for words in written if words.startswith("P")} == {f"P{n}" for n in range(1, 9)}
    assert all(words.endswith(" %)") for words in written if words.startswith("P"))
    arrows = [line for line in axes.lines if line.get_linewidth() == 1.8]
    through_the_middle = [line.get_xydata() for line in axes.lines if line.get_linewidth() == 0.8]
    assert [points[:, place].tolist() for points, place in zip(through_the_middle, (1, 0), strict=True)] == [[0, 0]] * 2
    assert all(line.get_xydata()[0].tolist() == [0, 0] for line in arrows)
    assert [line.get_color() == GREY for line in arrows] == [True, False, False]
    assert [line.is_dashed() for line in arrows] == [False, True, True]
    assert "all consumers: no clear direction" in written
    for line, words in zip(arrows[1:], ["group 1 (38 consumers)", "group 2 (19 consumers)"], strict=True):
        assert written[words].get_color() == line.get_color()
        # The name is nearer to the end of its own arrow than to that of the other group.
        far = [np.hypot(*np.subtract(written[words].get_position(), arrow.get_xydata()[-1])) for arrow in arrows[1:]]
        assert arrows[1 + int(np.argmin(far))] is line


def test_beside_each_prototype_stands_the_share_of_its_own_place():
    result = demo_preferences()
    places, grid = (frame[["component_1", "component_2"]] for frame in (result.places, result.shares))
    _, nearest = cKDTree(grid).query(places)
    expected = [
        f"{name} ({100 * result.shares['share'].iloc[at]:.0f} %)" for name, at in zip("12345678", nearest, strict=True)
    ]
    written = [text.get_text() for text in _figure(result, demo()[1]).axes[0].texts]
    assert [f"P{each}" for each in expected] == [text for text in written if text.startswith("P")]


def test_without_shares_the_rest_is_drawn():
    bare = replace(demo_preferences(), shares=demo_preferences().shares.iloc[:0])
    written = [text.get_text() for text in _figure(bare, demo()[1]).axes[0].texts]
    assert {"P1", "P8"} <= set(written)
    assert _pleased(bare) == ()
