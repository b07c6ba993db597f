"""Pictures over time: what is drawn, and that no words collide."""

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from panel.models.over_time.after_feel import follow_after_feel, reduce_courses
from panel.models.over_time.dominance import follow_dominance
from panel.study.naming import naming
from panel.study.study import Study
from panel.views.over_time import (
    _after_feel_figure,
    _courses_figure,
    _dominance_figure,
)
from tests.time_studies import dominance_rows, everything_over_time
from tests.views.every_picture import demo_answers, everything_told
from tests.views.examples import words_covering_words, words_outside

STUDY = everything_over_time()
NAMES = naming(STUDY)
PICTURES = ("after-feel", "courses", "dominance", "many")


@pytest.fixture(scope="module")
def figures():
    many = Study({"dominances": dominance_rows({f"P{n}": ["abcdefghij"] * 9 for n in range(1, 6)})})
    return {
        "after-feel": _after_feel_figure(follow_after_feel(STUDY), NAMES),
        "courses": _courses_figure(reduce_courses(STUDY), NAMES),
        "dominance": _dominance_figure(follow_dominance(STUDY, rng=np.random.default_rng(1)), NAMES),
        "many": _dominance_figure(follow_dominance(many, rng=np.random.default_rng(1)), NAMES),
    }


@pytest.mark.parametrize("name", PICTURES)
def test_no_word_leaves_the_picture_or_covers_another(figures, name):
    assert words_outside(figures[name]) == []
    assert words_covering_words(figures[name]) == []


def test_means_stand_near_their_times_with_their_intervals(figures):
    found = follow_after_feel(STUDY)
    axes = figures["after-feel"].axes[0]
    for line, prototype in zip(axes.lines, ("P1", "P2", "P3"), strict=True):
        rows = found.curves.loc[found.curves["prototype"] == prototype]
        np.testing.assert_array_equal(line.get_ydata(), rows["estimate"])
        np.testing.assert_allclose(line.get_xdata(), rows["minutes"], atol=0.5)
    ends = axes.collections[0].get_segments()
    assert [(end[0, 1], end[1, 1]) for end in ends] == list(
        found.curves.loc[found.curves["prototype"] == "P1", ["ci_low", "ci_high"]].itertuples(index=False, name=None)
    )


def test_one_part_per_prototype_with_chance_and_line(figures):
    found = follow_dominance(STUDY, rng=np.random.default_rng(1))
    parts = figures["dominance"].axes
    assert [axes.get_title(loc="left") for axes in parts] == ["P1", "P2"]
    flat = [float(line.get_ydata()[0]) for line in parts[0].lines if len(line.get_xdata()) == 2]
    assert flat == [0.25, float(found.lines["line"].iloc[0])]
    assert len(figures["many"].axes) == 5


@pytest.mark.parametrize("name", PICTURES)
def test_lines_carry_their_names_instead_of_a_key(figures, name):
    figure = figures[name]
    assert figure.legends == []
    for axes in figure.axes:
        written = {text.get_text() for text in axes.texts if text.get_text()}
        assert written


def test_a_name_stands_at_the_height_of_its_line(figures):
    axes = figures["dominance"].axes[0]
    greasy = next(text for text in axes.texts if text.get_text() == "greasy")
    line = next(line for line in axes.lines if line.get_gid() == "greasy" or line.get_color() == greasy.get_color())
    highest = float(line.get_ydata().max()) / axes.get_ylim()[1]
    assert abs(greasy.get_position()[1] - highest) < 0.25


def test_a_name_stands_away_from_all_lines():
    told = everything_told(demo_answers())["dominances"]
    figure = told.picture.figure()
    FigureCanvasAgg(figure).draw()
    touched = [
        (axes.get_title("left"), text.get_text())
        for axes in figure.axes
        for text in axes.texts
        for line in axes.lines
        if line.get_gid()
        and line.get_transform().transform_path(line.get_path()).intersects_bbox(text.get_window_extent(), filled=False)
    ]
    assert sum(len(axes.texts) for axes in figure.axes) > 8
    assert touched == []
