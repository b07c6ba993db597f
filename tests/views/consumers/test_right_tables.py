"""Tables and pictures of just-about-right answers, made from constructed data and the demo."""

import re

import pytest

from data_demo.make_demo import make_study
from panel.models.consumers.just_about_right import weigh_just_about_right
from panel.study.naming import naming
from panel.views.consumers.just_about_right import (
    VERDICT_WORDS,
    balance_table,
    drops_table,
    moves_table,
    refused_table,
    right_alt_text,
    right_figure,
    right_pairs_table,
    right_shares_table,
    right_svg,
    within_table,
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
    shares = right_shares_table(result, "thickness")
    assert shares.to_dict("records") == [
        {
            **{"Prototype": "P1", "Too little": "6 of 27 (22.2 %)", "Just about right": "12 of 27 (44.4 %)"},
            "Too much": "9 of 27 (33.3 %)",
        }
    ]
    drops = drops_table(result)
    assert drops["Liked less by (against just about right)"].tolist() == ["2.7", "1.6"]
    assert drops["Share times drop"].tolist() == ["0.59", "0.54"]
    assert drops["What it says"].tolist() == ["group too small, not tested"] * 2
    assert drops["95 % interval"].tolist() == ["–", "–"]
    assert balance_table(result).iloc[0, 3:].tolist() == ["7.83", "6.70", "1.13"]


def test_every_row_of_the_demo_is_in_the_tables(demo, found):
    names = naming(demo)
    assert len(drops_table(found)) == len(found.drops)
    assert set(drops_table(found)["What it says"]) <= set(VERDICT_WORDS.values())
    assert len(within_table(found)) == len(found.within)
    assert len(right_pairs_table(found)) == len(found.pairs)
    moves = moves_table(found, names)
    assert len(moves) == len(found.moves)
    assert "thickness: too thin" in set(moves["Found"])
    assert "too slowly" in set(drops_table(found)["Side"])


def test_refused_questions_are_listed():
    result = weigh_just_about_right(study_of(constructed("stickiness")))
    assert refused_table(result).to_dict("records") == [
        {"Question": "stickiness", "Why not": "nobody wants it stickier"}
    ]
    assert drops_table(result).empty


def test_the_picture_shows_every_prototype_and_says_so(found):
    axes = right_figure(found, "thickness").axes[0]
    assert [label.get_text() for label in axes.get_yticklabels()] == [f"P{number}" for number in range(1, 9)]
    lengths = [bar.get_width() for bar in axes.patches]
    assert sum(lengths) == pytest.approx(8)
    assert len({bar.get_hatch() for bar in axes.patches}) == 3  # colour is never the only sign
    legend = [text.get_text() for text in axes.get_legend().get_texts()]
    assert legend == ["too thin", "just about right", "too thick"]
    svg = right_svg(found, "thickness", text_as_paths=False)
    assert "too thin" in svg
    assert right_alt_text(found, "thickness") in re.sub(r"\s+", " ", svg)
