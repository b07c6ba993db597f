"""Which emollients and descriptors move together in the hand cream."""

import numpy as np
import pandas as pd

from panel.models.emollients.descriptors import find_descriptors
from panel.models.emollients.swaps import _find_aliases
from panel.study.formulas import emollient_blend
from tests.formula_studies import (
    ALKANE,
    ALMOND,
    CARBONATE,
    ISOSTEARATE,
    SHEA,
    TRIGLYCERIDE,
    hand_cream_formulas,
    study_of,
)

HAND_CREAM = study_of(hand_cream_formulas())
BLEND = emollient_blend(HAND_CREAM)


def groups(aliases):
    return [dict(zip(part["descriptor"], part["sign"], strict=True)) for _, part in aliases.groupby("group")]


def test_a_property_of_a_swap_cannot_be_told_from_the_swap():
    found = groups(_find_aliases(BLEND, find_descriptors(HAND_CREAM).wide))
    # By hand: only the alkane is volatile and a hydrocarbon; only the carbonate is an ether or carbonate.
    first = next(group for group in found if ALKANE in group)
    for name in ("volatile_share", "hydrocarbon_share"):
        assert first[name] == first[ALKANE] == -first[CARBONATE]
    assert first["ether_or_carbonate_share"] == first[CARBONATE]
    # By hand: almond oil and shea butter are both triglycerides, so only the second swap moves that share.
    second = next(group for group in found if ISOSTEARATE in group)
    assert second["monoester_share"] == second[ISOSTEARATE] == -second[TRIGLYCERIDE] == -second["triglyceride_share"]
    third = next(group for group in found if SHEA in group)
    assert third["solid_share"] == third[SHEA] == -third[ALMOND]
    assert len({id(group) for group in (first, second, third)}) == 3


def test_every_member_of_a_group_is_tied_to_another_member():
    wide = find_descriptors(HAND_CREAM).wide
    columns = pd.concat([BLEND, wide], axis=1)
    aliases = _find_aliases(BLEND, wide)
    varying = columns.loc[:, columns.std() > 1e-9].dropna(axis=1)
    r = varying.corr().abs()
    for _, part in aliases.groupby("group"):
        names = part["descriptor"].tolist()
        for name in names:
            assert (r.loc[name, [other for other in names if other != name]] > 0.9).any()
    grouped = set(aliases["descriptor"])
    for name in set(varying.columns) - grouped:
        assert (r.loc[name].drop(name) <= 0.9).all()


def test_the_shape_of_the_answer():
    aliases = _find_aliases(BLEND, find_descriptors(HAND_CREAM).wide)
    assert list(aliases.columns) == ["group", "kind", "descriptor", "sign"]
    assert set(aliases["kind"]) == {"emollient", "descriptor"}
    assert aliases["group"].iloc[0] == 1
    assert set(np.unique(aliases["sign"])) <= {-1, 1}
    assert "emollient_total" not in set(aliases["descriptor"])  # constant in this plan
    assert _find_aliases(BLEND.iloc[:1], find_descriptors(HAND_CREAM).wide).empty
