"""The map of the prototypes: sentences made from its numbers, marks at their places, words that cover nothing."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from matplotlib.patches import Circle

from panel.models.prototypes.map import PrototypeMap
from panel.study.naming import Naming
from panel.study.shown import shown
from panel.views.pictures import BROAD, NARROW, marker_of
from panel.views.prototypes.map import (
    _COMPONENTS,
    _LOADINGS,
    _PLACES,
    _attribute_lines,
    _axis_ends,
    _figure,
    _places,
    _what_the_map_cannot_show,
    tell_map,
)
from tests.views.examples import (
    NAMES,
    WORDS,
    panel_map,
    svg_root,
    words_covering_words,
    words_outside,
)

BOX = (620.0, 340.0)
WORDS_OF = {name: words for name, (words, _) in WORDS.items()}
RESULT = PrototypeMap(
    components=pd.DataFrame(
        {
            "component": [1, 2, 3],
            "eigenvalue": [70.0, 20.0, 10.0],
            "share": [0.699, 0.201, 0.1],
            "chance_share": [0.5, 0.3, 0.2],
        }
    ),
    prototypes=pd.DataFrame(
        {"prototype": ["P1", "P2", "P3"], "component_1": [-10.0, -8.0, 18.0], "component_2": [1.0, -1.0, 0.5]}
    ),
    attributes=pd.DataFrame(
        {
            "attribute": ["AF_GREASE", "LA_RESID", "RO_ABS", "AF_STICK"] * 2,
            "component": [1] * 4 + [2] * 4,
            "loading": [0.95, 0.9, -0.99, 0.69, 0.1, 0.2, 0.0, -0.7],
            "verdict": "differs",
        }
    ),
    regions=pd.DataFrame(
        {
            "prototype": ["P1", "P2", "P3"],
            "centre_1": [-10.0, -8.0, 18.0],
            "centre_2": [1.0, -1.0, 0.5],
            "half_axis_1": [3.0] * 3,
            "half_axis_2": [2.0] * 3,
            "angle": [0.0] * 3,
            "assessors": [10, 10, 8],
        }
    ),
    matrix="covariance",
    method="",
    notes=(),
)


STUDY_NAMES = dataclasses.replace(NAMES, prototypes={f"P{number}": "" for number in range(1, 13)})


def test_the_headline_says_who_is_far_and_who_is_near():
    assert tell_map(RESULT, NAMES).headline == "P1 and P3 lie furthest apart, P1 and P2 closest together."


def test_ends_of_an_axis_are_the_attributes_that_clearly_go_with_it():
    assert _axis_ends(RESULT, NAMES, 1) == (["speed of soaking-in"], ["greasy or oily film", "residue, later"])
    assert _axis_ends(RESULT, NAMES, 2) == (["stickiness"], [])
    told = tell_map(RESULT, NAMES)
    assert told.mind[:2] == (
        "More speed of soaking-in towards the left; more greasy or oily film and “residue, later” towards the right.",
        "More stickiness towards the bottom.",
    )


def test_what_is_not_told_apart_is_no_end_of_an_axis_and_stands_in_square_brackets():
    rows = RESULT.attributes
    verdicts = rows["verdict"].where(rows["attribute"] != "AF_GREASE", "cannot tell")
    result = dataclasses.replace(RESULT, attributes=rows.assign(verdict=verdicts))
    assert _axis_ends(result, NAMES, 1) == (["speed of soaking-in"], ["residue, later"])
    for width, written in ((BROAD, "[greasy or oily film]"), (NARROW, "[1]")):
        figure = tell_map(result, NAMES).picture.figure(width)
        texts = [text.get_text() for text in (*figure.axes[0].texts, *figure.texts)]
        assert written in texts
        assert sum("[" in text for text in texts[:-1]) == 1
        assert "In square brackets: not told apart." in texts[-1]


def test_rings_are_explained_only_where_there_are_some():
    told = tell_map(RESULT, NAMES)
    assert "in 95 of 100 such panels; the more the 8 to 10 assessors" in told.mind[2]
    bare = dataclasses.replace(RESULT, regions=RESULT.regions.assign(half_axis_1=float("nan")))
    assert "ring" not in " ".join(tell_map(bare, NAMES).mind)


def test_what_it_cannot_show():
    sentences = _what_the_map_cannot_show(RESULT)
    assert sentences[0].startswith("About 10 %")
    text = " ".join(sentences)
    for word in ("no test", "not for new batches", "liking", "emollient"):
        assert word in text
    whole = dataclasses.replace(RESULT, components=RESULT.components.iloc[:2].assign(share=[0.8, 0.2]))
    assert "by arithmetic alone" in _what_the_map_cannot_show(whole)[0]


def test_who_cannot_see_it_hears_shares_and_places():
    heard = tell_map(RESULT, NAMES).picture.alt
    assert "carries 70 % of the differences, from bottom to top 20 %" in heard
    assert "P1 top left; P2 bottom left; P3 top right" in heard


def test_tables_hold_shares_rings_and_correlations():
    assert list(shown(_COMPONENTS, RESULT, NAMES)["Together with those before"]) == ["70 %", "90 %", "100 %"]
    places = shown(_PLACES, RESULT, NAMES)
    assert list(places.iloc[0]) == ["P1", "−10.0", "1.0", "3.0", "2.0", "10"]
    loadings = shown(_LOADINGS, RESULT, NAMES)
    assert list(loadings.columns[2:]) == ["Correlation with component 1", "Correlation with component 2"]
    assert list(loadings.iloc[2, 2:]) == ["−0.99", "0.00"]


@pytest.mark.parametrize(("prototypes", "assessors"), [(4, 5), (7, 8), (8, 10), (12, 10)])
def test_no_word_leaves_the_picture_or_covers_another(prototypes, assessors):
    figure = _figure(panel_map(prototypes=prototypes, assessors=assessors), STUDY_NAMES)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []
    words = [text.get_text() for text in figure.findobj() if hasattr(text, "get_text")]
    for expected in [f"P{number}" for number in range(1, prototypes + 1)] + [text for text, _ in WORDS.values()]:
        assert words.count(expected) == 1


def test_long_names_are_cut_before_they_leave_the_picture():
    long = Naming({name: f"an attribute with quite a long name, {name}" for name in WORDS})
    figure = _figure(panel_map(), long)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_the_circle_of_full_correlation_and_its_cross_stand_about_nought():
    (axes,) = _figure(panel_map(), STUDY_NAMES).axes
    (circle,) = [patch for patch in axes.patches if isinstance(patch, Circle) and not patch.get_fill()]
    assert (circle.center, circle.radius) == ((0, 0), 1)
    across, upright = (line.get_xydata().tolist() for line in axes.lines if line.get_zorder() == 0)
    assert (across, upright) == ([[-1, 0], [1, 0]], [[0, -1], [0, 1]])


def test_marks_lie_where_the_numbers_say_each_with_its_own_look():
    result = panel_map(prototypes=6)
    (axes,) = _figure(result, STUDY_NAMES).axes
    marks = [line for line in axes.lines if line.get_linestyle() == "None"]
    drawn = np.array([(line.get_xdata()[0], line.get_ydata()[0]) for line in marks], dtype=float)
    wanted = result.prototypes[["component_1", "component_2"]].to_numpy()
    scale = drawn[0, 0] / wanted[0, 0]
    assert scale > 0
    assert drawn == pytest.approx(scale * wanted)
    looks = [marker_of(STUDY_NAMES, name) for name in result.prototypes["prototype"]]
    assert [(line.get_markerfacecolor(), line.get_marker()) for line in marks] == [
        (look.colour, look.shape) for look in looks
    ]
    assert axes.get_aspect() == 1.0


def test_rings_are_the_regions_inside_the_circle():
    result = panel_map()
    lines, limits = _attribute_lines(result, WORDS_OF, BOX)
    places, rings = _places(result, BOX, limits)
    assert np.hypot(rings["x"], rings["y"]).max() == pytest.approx(1)
    scale = places["x"].iloc[0] / result.prototypes["component_1"].iloc[0]
    for row in result.regions.to_dict("records"):
        own = rings[rings["prototype"] == row["prototype"]]
        reach = np.hypot(own["x"] - scale * row["centre_1"], own["y"] - scale * row["centre_2"])
        assert reach.max() == pytest.approx(scale * row["half_axis_1"])
        assert reach.min() == pytest.approx(scale * row["half_axis_2"], rel=0.01)
    unit = np.ptp(limits[1]) / BOX[1]
    assert np.ptp(limits[0]) / BOX[0] == pytest.approx(unit, rel=1e-12)  # equally long both ways
    for _, side in lines.groupby("side"):
        assert (np.diff(np.sort(side["label_y"])) >= 9 * 1.3 * unit).all()
    assert (np.hypot(lines["x"], lines["y"]) <= 1 + 1e-12).all()


def test_a_side_that_is_too_full_gives_labels_to_the_other():
    # Six labels in a picture 64 points high: four lines fit on a side.
    lines, _ = _attribute_lines(panel_map(), WORDS_OF, (360.0, 64.0))
    assert lines["side"].value_counts().max() <= 4


def test_a_map_without_rings_can_be_drawn_and_is_the_same_each_time():
    told = tell_map(panel_map(assessors=3), Naming())
    assert len(told.picture.figure().axes[0].patches) == 1  # the circle
    svg = told.picture.svg
    assert svg == tell_map(panel_map(assessors=3), Naming()).picture.svg
    assert svg_root(svg).attrib["aria-label"] == "Map of the prototypes"


def test_two_attributes_make_a_line_and_no_plane():
    two = RESULT.attributes["attribute"].isin(["AF_GREASE", "RO_ABS"])
    told = tell_map(dataclasses.replace(RESULT, attributes=RESULT.attributes[two]), NAMES)
    assert told.mind[-1] == "So few attributes make no map, only a line: the differences say it all."
    (axes,) = told.picture.figure().axes
    assert [label.get_text() for label in axes.get_yticklabels()] == ["P1", "P2", "P3"]
    drawn = [float(line.get_xdata()[0]) for line in axes.lines if line.get_linestyle() == "None"]
    assert drawn == [-10.0, -8.0, 18.0]
