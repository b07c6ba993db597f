"""The blends: shares of the emollient part."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.study.formulas import blend_rounding, emollient_blend
from panel.study.study import Study
from tests.formula_studies import ALKANE, ALMOND, CARBONATE, TRIGLYCERIDE, hand_cream_formulas, study_of

HAND_CREAM = study_of(hand_cream_formulas())
SUMS = 1e-9


def test_the_blend_of_the_base_is_40_33_27():
    blend = emollient_blend(HAND_CREAM)
    # 6, 5 and 4 of 15 per cent, by hand.
    assert blend.loc["P1", CARBONATE] == pytest.approx(40, abs=SUMS)
    assert blend.loc["P1", TRIGLYCERIDE] == pytest.approx(100 / 3, abs=SUMS)
    assert blend.loc["P1", ALMOND] == pytest.approx(80 / 3, abs=SUMS)
    assert blend.loc["P1", ALKANE] == 0
    np.testing.assert_allclose(blend.sum(axis=1), 100, atol=SUMS)


@given(st.lists(st.floats(0.01, 30), min_size=3, max_size=3), st.floats(0.1, 3))
def test_blends_sum_to_100_and_do_not_change_when_all_emollients_are_diluted_alike(amounts, factor):
    names = (CARBONATE, TRIGLYCERIDE, ALMOND)
    thick = dict(zip(names, amounts, strict=True))
    study = study_of({"P1": thick, "P2": {name: factor * amount for name, amount in thick.items()}})
    blend = emollient_blend(study)
    np.testing.assert_allclose(blend.sum(axis=1), 100, rtol=1e-12)
    np.testing.assert_allclose(blend.loc["P1"], blend.loc["P2"], rtol=1e-12)


def test_prototypes_whose_blend_is_not_known_have_no_row():
    study = study_of({"P1": {"Aqua": 95.0, CARBONATE: 5.0}, "P2": {"Aqua": 100.0}, "P3": {CARBONATE: np.nan}})
    assert emollient_blend(study).index.tolist() == ["P1"]
    assert emollient_blend(Study({})).empty
    assert blend_rounding(Study({})) == 0


def test_rounding_to_a_hundredth_matters_more_in_a_small_emollient_part():
    assert blend_rounding(HAND_CREAM) == pytest.approx(100 * 0.01 / 15)
    assert blend_rounding(study_of({"P1": {CARBONATE: 15.0}, "P2": {CARBONATE: 2.0}})) == pytest.approx(0.5)
