"""Tables and pictures of just-about-right answers, made from constructed data and the demo."""

import re

import pytest

from data_demo.make_demo import make_study
from panel.models.consumers.just_about_right import weigh_just_about_right
from panel.study.naming import Naming, naming
from panel.study.shown import shown
from panel.views.consumers.just_about_right import (
    _MOVES,
    _REFUSED,
    _RIGHT_PAIRS,
    _VERDICT_WORDS,
    _WITHIN,
    DROPS,
    _figure,
    _headline,
    _picture,
    _sides_of,
)
from tests.consumer_answers import constructed, study_of


@pytest.fixture(scope="module")
def demo():
    return make_study()[0]


@pytest.fixture(scope="module")
def found(demo):
    return weigh_just_about_right(demo)


def test_constructed_data_as_written():
    result = weigh_just_about_right(study_of(constructed()))
    shares = shown(_sides_of("thickness"), result, Naming())
    assert shares.to_dict("records") == [
        {
            **{"Prototype": "P1", "Too little": "6 of 27 (22.2 %)", "Just about right": "12 of 27 (44.4 %)"},
            "Too much": "9 of 27 (33.3 %)",
        }
    ]
    drops = shown(DROPS, result, Naming())
    assert drops["Liked less by (against just about right)"].tolist() == ["2.7", "1.6"]
    assert drops["Share times drop"].tolist() == ["0.59", "0.54"]
    assert drops["What it says"].tolist() == ["group too small, not tested"] * 2
    assert drops["Interval that decides"].tolist() == ["–", "–"]


def test_every_row_of_the_demo_is_in_the_tables(demo, found):
    names = naming(demo)
    assert len(shown(DROPS, found, Naming())) == len(found.drops)
    assert set(shown(DROPS, found, Naming())["What it says"]) <= set(_VERDICT_WORDS.values())
    assert len(shown(_WITHIN, found, Naming())) == len(found.within)
    assert len(shown(_RIGHT_PAIRS, found, Naming())) == len(found.pairs)
    moves = shown(_MOVES, found, names)
    assert len(moves) == len(found.moves)
    assert "thickness: too thin" in set(moves["Found"])
    assert "too slowly" in set(shown(DROPS, found, Naming())["Side"])


def test_refused_questions_are_listed():
    rows = [row for row in constructed("stickiness") if row[3] != "just_about_right" or row[4] >= 3]
    result = weigh_just_about_right(study_of(rows))
    assert shown(_REFUSED, result, Naming()).to_dict("records") == [
        {"Question": "stickiness", "Why not": "nobody wants it stickier: 0 of 21 answers say too little"}
    ]
    assert shown(DROPS, result, Naming()).empty
    assert _headline(result) == (
        "Counted only, without drops: no question here can be asked as too little or too much (nobody wants it "
        "stickier: 0 of 21 answers say too little)."
    )


def test_the_picture_shows_every_prototype_and_says_so(found):
    figure = _figure(found, "thickness")
    axes = figure.axes[0]
    assert [label.get_text() for label in axes.get_yticklabels()] == [f"P{number}" for number in range(1, 9)]
    lengths = [bar.get_width() for bar in axes.patches]
    assert sum(lengths) == pytest.approx(8)
    assert len({bar.get_hatch() for bar in axes.patches}) == 3  # colour is never the only sign
    legend = [text.get_text() for text in figure.legends[0].get_texts()]
    assert legend == ["too thin", "just about right", "too thick"]
    picture = _picture(found, "thickness")
    assert "too thin" in picture.alt
    assert picture.alt in re.sub(r"\s+", " ", picture.svg)
