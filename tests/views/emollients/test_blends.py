"""Blends: every part drawn to scale and named, the trap of the liquids shown, and what comes together told."""

import numpy as np
import pandas as pd
import pytest

from panel.models.emollients.descriptors import descriptor_words, find_descriptors, listed_descriptors
from panel.models.emollients.swaps import trace_swaps
from panel.study.formulas import emollient_blend
from panel.study.naming import Naming, naming
from panel.study.shown import shown
from panel.views.emollients.blends import (
    _DESCRIPTORS,
    _cascade_alt_text,
    _cascade_figure,
    _cascade_rows,
    _cascade_sentences,
    alias_sentences,
    blend_picture,
    tell_blends,
)
from panel.views.pictures import svg_text
from tests.blend_studies import DEMO
from tests.formula_studies import ALKANE, ALMOND, CARBONATE, SHEA, hand_cream_formulas, scores_of, study_of
from tests.views.examples import svg_words, words_covering_words, words_outside

PROTOTYPES = [f"P{number}" for number in range(1, 9)]


@pytest.fixture(scope="module")
def study():
    runs = np.arange(8)
    values = 50 + np.random.default_rng(3).normal(0, 4, (10, 3, 2, 8)) - 12.0 * (runs & 1)
    return study_of(hand_cream_formulas(), scores=scores_of(values, PROTOTYPES, ["AF_GREASE", "GLOSS"]))


@pytest.fixture(scope="module")
def traced(study):
    return trace_swaps(study)


def figure_of(*args):
    return blend_picture(*args).figure()


def words_svg(figure):
    return svg_text(figure, title="", description="", text_as_paths=False)


def inside(figure):
    """Whether every text lies in the figure."""
    figure.draw_without_rendering()
    width, height = figure.bbox.size
    texts = [
        text for axes in figure.axes for text in [*axes.texts, axes.title, axes.xaxis.label, *axes.get_yticklabels()]
    ]
    boxes = [text.get_window_extent() for text in texts if text.get_text()]
    return all(box.x0 >= -1 and box.y0 >= -1 and box.x1 <= width + 1 and box.y1 <= height + 1 for box in boxes)


def test_every_part_of_a_blend_is_drawn_to_scale_and_named_on_it(study):
    blend = emollient_blend(study)
    figure = figure_of(blend, naming(study))
    (axes,) = figure.axes
    assert len(axes.patches) == blend.size
    widths = np.array([patch.get_width() for patch in axes.patches]).reshape(blend.shape[1], -1).T
    np.testing.assert_allclose(widths, blend.to_numpy())
    ends = np.array([patch.get_x() + patch.get_width() for patch in axes.patches]).reshape(blend.shape[1], -1)
    np.testing.assert_allclose(ends[-1], 100)
    words = [text.get_text().replace("\n", " ") for text in axes.texts if text.get_text()]
    assert len(words) == int((blend > 0).to_numpy().sum())
    assert words.count("Dicaprylyl Carbonate 40 %") == 4
    assert [label.get_text() for label in axes.get_yticklabels()] == PROTOTYPES
    assert inside(figure)


def test_the_words_on_a_part_stay_on_it(study):
    figure = figure_of(emollient_blend(study), naming(study))
    figure.draw_without_rendering()
    (axes,) = figure.axes
    parts = [patch.get_window_extent() for patch in axes.patches if patch.get_width() > 0]
    for text in axes.texts:
        if text.get_text():
            box = text.get_window_extent()
            assert any(
                part.x0 <= box.x0 and box.x1 <= part.x1 and part.y0 <= box.y0 and box.y1 <= part.y1 for part in parts
            )


def test_a_swapped_in_emollient_stands_where_the_other_stood(study, traced):
    figure = figure_of(emollient_blend(study), naming(study), traced.pairs)
    texts = {text.get_text(): text.get_position() for text in figure.axes[0].texts}
    assert texts["Dicaprylyl Carbonate 40 %"][0] == texts["C13-15 Alkane 40 %"][0] == pytest.approx(20)


def test_where_a_part_is_too_narrow_for_its_name_all_are_named_above():
    blend = pd.DataFrame({CARBONATE: [97.0], ALKANE: [3.0]}, index=["P1"])
    figure = figure_of(blend, Naming())
    assert [text.get_text() for text in figure.axes[0].texts] == ["97 %"]
    assert [text.get_text() for text in figure.legends[0].get_texts()] == ["Dicaprylyl Carbonate", "C13-15 Alkane"]
    assert inside(figure_of(blend, Naming()))


def test_neighbouring_emollients_never_look_alike():
    blend = pd.DataFrame({f"Oil {number}": [10.0] for number in range(10)}, index=["P1"])
    patches = figure_of(blend, Naming()).axes[0].patches
    looks = [(patch.get_facecolor(), patch.get_hatch()) for patch in patches]
    assert len(set(looks)) == 10


def test_the_blend_is_read_out(study):
    alt = blend_picture(emollient_blend(study), naming(study)).alt
    assert "P1: 40 % Dicaprylyl Carbonate, 33 % Caprylic/Capric Triglyceride and 27 % Prunus Amygdalus" in alt
    assert all(f"{name}: " in alt for name in PROTOTYPES)


def test_what_is_told_of_the_blends(study, traced):
    told = tell_blends(find_descriptors(study), naming(study), emollient_blend(study), traced)
    assert told.headline == (
        "8 blends of 6 emollients. The blends differ in 3 independent ways: no more than that can be told apart, "
        "whatever is computed from them."
    )
    assert told.mind[0].startswith("Solids do not spread.")
    alone = tell_blends(find_descriptors(study), naming(study), emollient_blend(study), None)
    assert alone.headline == "8 blends of 6 emollients."


def test_aliases_end_in_cannot_say_which(traced):
    sentences = alias_sentences(traced)
    assert all("these data cannot say which of them is the cause" in sentence for sentence in sentences)
    first = next(sentence for sentence in sentences if ALKANE in sentence)
    assert "less C13-15 Alkane" in first
    assert "less volatile share" in first
    assert "more Dicaprylyl Carbonate" in first
    slow = next(sentence for sentence in sentences if "slow-spreading" in sentence)
    assert slow.count("slow-spreading share") == 1  # the class under both limits is told once


def test_properties_in_words():
    assert descriptor_words("log10_viscosity_liquids") == "viscosity of the liquids"
    assert descriptor_words("fast_share_300_1000") == "fast-spreading share (limits 300 and 1000)"
    assert descriptor_words("ether_or_carbonate_share") == "ether or carbonate share"
    assert listed_descriptors(["slow_share_300_1000", "slow_share_500_1000", "surface_tension"]) == (
        "slow-spreading share, surface tension"
    )
    assert not any("_" in note for note in DEMO_BLENDS.notes)


DEMO_BLENDS = find_descriptors(DEMO)
NAMES = naming(DEMO)


def test_shares_add_up_and_are_those_of_the_descriptors():
    rows = _cascade_rows(DEMO_BLENDS).set_index("prototype")
    assert rows[["fast", "medium", "slow", "solid", "unknown"]].sum(axis=1).tolist() == pytest.approx([100] * 8)
    # emollients of the demo: 6 of 15 spread fast, 5 at middling speed, 4 slowly or not at all
    assert rows.loc["P1", ["fast", "medium", "slow", "solid"]].tolist() == pytest.approx([40, 100 / 3, 400 / 15, 0])
    assert rows.loc["P5", "solid"] == pytest.approx(400 / 15)


def test_the_trap_of_the_liquids_is_shown():
    # swapping almond oil for shea butter raises the spreading of the liquids and lowers that of the whole blend
    rows = _cascade_rows(DEMO_BLENDS).set_index("prototype")
    assert rows.loc["P5", "liquids"] > rows.loc["P1", "liquids"]
    assert rows.loc["P5", "whole"] < rows.loc["P1", "whole"]
    told = _cascade_sentences(DEMO_BLENDS)
    assert told[0].startswith("Solids do not spread. The liquids of P5 alone spread 1123, the whole blend only 823")
    assert told[1] == "A gap in the cascade, nothing that spreads slowly: P5, P6, P7 and P8."


def test_what_is_not_known_is_shown_as_such():
    formulas = {"P1": {CARBONATE: 10.0, "New Ester": 5.0}}
    rows = _cascade_rows(find_descriptors(study_of(formulas, {"New Ester": "emollient"})))
    assert rows["unknown"].iloc[0] == pytest.approx(100 * 5 / 15)


def test_words_of_the_picture_are_inside_and_do_not_cover_each_other():
    figure = _cascade_figure(DEMO_BLENDS, NAMES)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_every_part_has_its_label_and_the_axes_their_units():
    words = svg_words(words_svg(_cascade_figure(DEMO_BLENDS, NAMES)))
    assert words.count("fast 40 %") == 8
    assert words.count("solid 27 %") == 4
    assert "Per cent of the emollient part" in words
    assert "Spreading, mm² in 10 min" in words
    assert "liquids alone" in words


def test_a_narrow_part_keeps_its_share_and_a_tiny_one_none():
    formulas = {"P1": {CARBONATE: 14.0, SHEA: 1.0}, "P2": {CARBONATE: 14.95, SHEA: 0.05}}
    words = svg_words(words_svg(_cascade_figure(find_descriptors(study_of(formulas)), Naming())))
    assert "7 %" in words
    assert not any(text in words for text in ("solid 7 %", "0 %", "solid 0 %"))


def test_a_single_prototype_and_the_alt_text():
    blends = find_descriptors(study_of({"P1": {CARBONATE: 6.0, ALMOND: 4.0}}))
    assert words_outside(_cascade_figure(blends, Naming())) == []
    text = _cascade_alt_text(blends, Naming())
    assert text.startswith("Spreading cascade of each blend. P1: 60 % fast and 40 % slow; spreading ")


def test_every_descriptor_that_occurs_has_a_row():
    table = shown(_DESCRIPTORS, DEMO_BLENDS, NAMES)
    occurring = [name for name in DEMO_BLENDS.wide if (DEMO_BLENDS.wide[name].fillna(0) != 0).any()]
    assert len(table) == len(occurring)
    assert list(table.columns)[3:] == list(DEMO_BLENDS.wide.index)


def test_weak_and_remembered_values_are_marked():
    table = shown(_DESCRIPTORS, DEMO_BLENDS, NAMES).set_index("Property of the blend")
    values = DEMO_BLENDS.values.groupby("descriptor")
    weak, remembered = values["weak"].any(), values["from_memory"].max() > 0
    marked = {"surface_tension": "Surface tension, mN/m", "emollient_total": "Emollient total, %"}
    for name, heading in marked.items():
        assert ("little of it known" in table.loc[heading, "Mind"]) == weak[name]
        assert ("partly from memory" in table.loc[heading, "Mind"]) == remembered[name]


def test_coverage_is_told_from_least_to_most():
    table = shown(_DESCRIPTORS, DEMO_BLENDS, NAMES).set_index("Property of the blend")
    coverage = DEMO_BLENDS.values.query("descriptor == 'interfacial_tension'")["coverage"]
    told = table.loc["Interfacial tension with water, mN/m", "Mass known"]
    assert told == f"{coverage.min():.0f} to {coverage.max():.0f} %"
