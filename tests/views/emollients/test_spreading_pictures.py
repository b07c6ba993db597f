"""The spreading cascade: shares that add up, the trap of the liquids, and a picture whose words can be read."""

import pytest

from panel.models.emollients.descriptors import find_descriptors
from panel.study.naming import Naming, naming
from panel.views.emollients.spreading_pictures import (
    cascade_alt_text,
    cascade_figure,
    cascade_rows,
    cascade_sentences,
    cascade_svg,
)
from tests.blend_studies import DEMO
from tests.formula_studies import ALMOND, CARBONATE, SHEA, study_of
from tests.views.examples import svg_words, words_covering_words, words_outside

DEMO_BLENDS = find_descriptors(DEMO)
NAMES = naming(DEMO)


def test_shares_add_up_and_are_those_of_the_descriptors():
    rows = cascade_rows(DEMO_BLENDS).set_index("prototype")
    assert rows[["fast", "medium", "slow", "solid", "unknown"]].sum(axis=1).tolist() == pytest.approx([100] * 8)
    # emollients of the demo: 6 of 15 spread fast, 5 at middling speed, 4 slowly or not at all
    assert rows.loc["P1", ["fast", "medium", "slow", "solid"]].tolist() == pytest.approx([40, 100 / 3, 400 / 15, 0])
    assert rows.loc["P5", "solid"] == pytest.approx(400 / 15)


def test_the_trap_of_the_liquids_is_shown():
    # swapping almond oil for shea butter raises the spreading of the liquids and lowers that of the whole blend
    rows = cascade_rows(DEMO_BLENDS).set_index("prototype")
    assert rows.loc["P5", "liquids"] > rows.loc["P1", "liquids"]
    assert rows.loc["P5", "whole"] < rows.loc["P1", "whole"]
    told = cascade_sentences(DEMO_BLENDS, NAMES)
    assert told[0].startswith("Solids do not spread. The liquids of P5 alone spread 1123, the whole blend only 823")
    assert told[1] == "A gap in the cascade, nothing that spreads slowly: P5, P6, P7 and P8."


def test_other_limits_move_emollients_between_classes():
    rows = cascade_rows(DEMO_BLENDS, (500.0, 1000.0))
    assert rows["slow"].tolist() == pytest.approx(cascade_rows(DEMO_BLENDS)["slow"].tolist())


def test_what_is_not_known_is_shown_as_such():
    formulas = {"P1": {CARBONATE: 10.0, "New Ester": 5.0}}
    rows = cascade_rows(find_descriptors(study_of(formulas, {"New Ester": "emollient"})))
    assert rows["unknown"].iloc[0] == pytest.approx(100 * 5 / 15)


def test_words_of_the_picture_are_inside_and_do_not_cover_each_other():
    figure = cascade_figure(DEMO_BLENDS, NAMES)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_every_part_has_its_label_and_the_axes_their_units():
    words = svg_words(cascade_svg(DEMO_BLENDS, NAMES, text_as_paths=False))
    assert words.count("fast 40 %") == 8
    assert words.count("solid 27 %") == 4
    assert "Per cent of the emollient part" in words
    assert "Spreading, mm² in 10 min" in words
    assert "liquids alone" in words


def test_a_narrow_part_keeps_its_share_and_a_tiny_one_none():
    formulas = {"P1": {CARBONATE: 14.0, SHEA: 1.0}, "P2": {CARBONATE: 14.95, SHEA: 0.05}}
    words = svg_words(cascade_svg(find_descriptors(study_of(formulas)), Naming(), text_as_paths=False))
    assert "7 %" in words
    assert not any(text in words for text in ("solid 7 %", "0 %", "solid 0 %"))


def test_a_single_prototype_and_the_alt_text():
    blends = find_descriptors(study_of({"P1": {CARBONATE: 6.0, ALMOND: 4.0}}))
    assert words_outside(cascade_figure(blends, Naming())) == []
    text = cascade_alt_text(blends, Naming())
    assert text.startswith("Spreading cascade of each blend. P1: 60 % fast and 40 % slow; spreading ")


def test_the_same_blends_give_the_same_picture():
    assert cascade_svg(DEMO_BLENDS, NAMES) == cascade_svg(DEMO_BLENDS, NAMES)
