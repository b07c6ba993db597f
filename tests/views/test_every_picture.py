"""What all pictures have in common: no words on words, none cut off, one look for a prototype; one text for a number.

The demo and a crowded study (12 prototypes, 14 attributes, 100 consumers, names of 40 letters) are drawn for a page and
for a phone. Common practice, no source.
"""

from collections import defaultdict

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from panel.views.pictures import BROAD, NARROW, marker_of
from panel.views.told import Picture, Shown, Table
from tests.report.evidence_studies import demo_report
from tests.views.every_picture import (
    boxes,
    crowded_answers,
    cut_off,
    demo_answers,
    drawn,
    every_picture,
    everything_told,
    overlaps,
)

STUDIES = {"demo": demo_answers, "crowded": crowded_answers}
_MARK = "prototype "


@pytest.fixture(scope="module", params=STUDIES)
def pictures(request) -> list[tuple[Picture, dict[float, Figure]]]:
    """Every picture, drawn once for a page and once for a phone."""
    told = every_picture(STUDIES[request.param]())
    return [(picture, {width: picture.figure(width) for width in (BROAD, NARROW)}) for picture in told]


def test_the_tests_of_boxes_find_what_they_look_for():
    figure = Figure(figsize=(2, 1))
    figure.text(0.1, 0.5, "one")
    figure.text(0.12, 0.5, "two")
    figure.text(0.9, 0.1, "far too long for here")
    assert overlaps(boxes(figure)) == [("two", "one")]
    assert cut_off(boxes(figure), figure) == ["far too long for here"]


def test_no_word_covers_another_and_none_is_cut_off(pictures):
    assert len(pictures) > 25
    for picture, figures in pictures:
        for width, figure in figures.items():
            assert width == BROAD or figure.get_figwidth() <= NARROW, picture.name
            found = boxes(figure)
            assert len(found) > 1, picture.name
            assert overlaps(found) == [], (picture.name, width)
            assert cut_off(found, figure) == [], (picture.name, width)


def test_nothing_is_drawn_beyond_its_picture_and_most_of_a_picture_is_not_empty(pictures):
    for picture, figures in pictures:
        for axes in [axes for figure in figures.values() for axes in figure.axes]:
            ends = np.sort([axes.get_xlim(), axes.get_ylim()])
            length, points = np.ptp(ends, axis=1), np.vstack([*drawn(axes), np.empty((0, 2))])
            points = points[np.isfinite(points).all(axis=1)]
            if len(points):
                assert (points >= ends[:, 0] - 1e-6 * length).all(), picture.name  # what reaches an end lies on it
                assert (points <= ends[:, 1] + 1e-6 * length).all(), picture.name
                assert (np.ptp(points, axis=0) / length).max() > 0.5, picture.name


def test_a_prototype_has_one_colour_and_one_shape_in_all_pictures(pictures):
    looks, drawn = defaultdict(set), defaultdict(set)
    names = demo_answers().names
    for picture, figures in pictures:
        for line in figures[BROAD].findobj(Line2D):
            if str(line.get_gid()).startswith(_MARK):
                prototype = str(line.get_gid()).removeprefix(_MARK)
                inside = line.get_markerfacecolor() == "white" or picture.name == "differences"  # cannot tell, or alike
                colour = line.get_markeredgecolor() if inside else line.get_markerfacecolor()
                looks[prototype].add((line.get_marker(), None if inside else colour))
                drawn[prototype].add(picture.name)
    for prototype, found in looks.items():
        assert len({shape for shape, _ in found}) == 1, (prototype, found)
        assert len({colour for _, colour in found if colour}) == 1, (prototype, found)
    of_demo = {name: marker_of(names, name) for name in names.prototypes if name in looks}
    assert all((look.shape, look.colour) in looks[name] for name, look in of_demo.items())
    assert max(map(len, drawn.values())) >= 8  # so many kinds of pictures show a prototype by its mark


# A number that stands in two tables has one text.

_NAMED_BY = ("Attribute", "Prototype", "Compared with", "Question", "Measure", "Reading", "Statement")


def _cells(frame, title):
    """(what a row is about, heading) to text, of a table whose rows are told apart by their names."""
    named = [heading for heading in _NAMED_BY if heading in frame.columns]
    if not named or frame[named].duplicated().any():
        return
    for row in frame.to_dict("records"):
        for heading, text in row.items():
            if heading not in named and any(sign.isdigit() for sign in str(text)):
                yield (tuple((name, row[name]) for name in named), str(heading)), (str(text), title)


def test_a_number_shown_twice_is_written_once_way():
    seen = defaultdict(set)
    for told in everything_told(demo_answers()).values():
        items = [told.table, *(item for drawer in told.every_drawer() for item in drawer.items)]
        for item in items:
            if isinstance(item, Table | Shown):
                shown = told.shown(item)
                for key, text in _cells(shown.texts, shown.table.name):
                    seen[key].add(text)
    for section in demo_report().sections:
        for block in section.blocks:
            if hasattr(block, "shown"):
                for key, text in _cells(block.shown, f"file: {block.title}"):
                    seen[key].add(text)
    twice = {key: texts for key, texts in seen.items() if len({title for _, title in texts}) > 1}
    assert len(twice) > 100
    differently = {key: texts for key, texts in twice.items() if len({text for text, _ in texts}) > 1}
    assert differently == {}
