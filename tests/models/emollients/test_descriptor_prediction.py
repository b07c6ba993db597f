"""All properties at once: scikit-learn as judge, the swaps beside it, the ceiling above it."""

import numpy as np
import pytest
from sklearn.cross_decomposition import PLSRegression
from sklearn.model_selection import LeaveOneOut

from panel.models.emollients.descriptors import find_descriptors
from panel.models.emollients.prediction_model import (
    _swaps_q_squared,
    link_columns,
    model_of,
    predict_from_descriptors,
    prototype_level,
)
from panel.models.prototypes.differences import find_differences
from tests.blend_studies import DEMO, RUNS

LEVEL = prototype_level(DEMO)
COLUMNS = link_columns(LEVEL, find_descriptors(DEMO))
MODEL = model_of(DEMO, LEVEL)
FOUND = predict_from_descriptors(LEVEL, COLUMNS, MODEL, 300, np.random.default_rng(1)).set_index("attribute")


@pytest.mark.parametrize("attribute", ["PU_FIRM", "AF_GREASE", "RO_WHITE"])
def test_q_squared_is_that_of_scikit_learn_with_scaling_in_each_fold(attribute):
    X = COLUMNS.values[:, COLUMNS.is_descriptor]
    y = LEVEL.means[attribute].to_numpy()
    best = -np.inf
    for components in (1, 2):
        errors = [
            y[left] - PLSRegression(components, tol=1e-12).fit(X[kept], y[kept]).predict(X[left]).ravel()
            for kept, left in LeaveOneOut().split(X)
        ]
        best = max(best, 1 - float(np.square(errors).sum() / np.square(y - y.mean()).sum()))
    assert FOUND.loc[attribute, "q2"] == pytest.approx(best, abs=1e-8)


def test_the_swaps_alone_are_ordinary_least_squares_left_out_by_hand():
    y = LEVEL.means["PU_FIRM"].to_numpy()
    X = np.column_stack([np.ones(8), RUNS])
    errors = []
    for left in range(8):
        kept = np.arange(8) != left
        errors.append(y[left] - X[left] @ np.linalg.lstsq(X[kept], y[kept], rcond=None)[0])
    assert FOUND.loc["PU_FIRM", "q2_swaps"] == pytest.approx(
        1 - np.square(errors).sum() / np.square(y - y.mean()).sum()
    )
    assert np.isnan(_swaps_q_squared(LEVEL, None)).all()


def test_three_swaps_predict_the_demo_as_well_as_all_its_properties():
    assert (FOUND["q2_swaps"] >= FOUND["q2"]).sum() >= 7
    assert FOUND["q2_swaps"].mean() >= FOUND["q2"].mean() - 0.05


def test_predicting_by_the_mean_and_chance_stand_beside_it():
    assert FOUND["q2_mean"].to_numpy() == pytest.approx(np.full(14, 1 - (8 / 7) ** 2))
    assert (FOUND["q2_chance"] < 1).all()
    assert (FOUND["p_value"] >= FOUND["floor"] - 1e-12).all()
    assert (FOUND["floor"] >= 1 / 301).all()
    assert FOUND["orders"].tolist() == [301] * 14
    assert FOUND["arrangements"].tolist() == [40320] * 14


def test_the_ceiling_is_one_minus_one_over_f():
    told = find_differences(DEMO).attributes.set_index("attribute")["statistic"]
    assert LEVEL.ceiling.to_numpy() == pytest.approx((1 - 1 / told).clip(lower=0).to_numpy())
    assert (LEVEL.ceiling <= 1).all()


def test_the_same_generator_gives_the_same_answer():
    again = predict_from_descriptors(LEVEL, COLUMNS, MODEL, 300, np.random.default_rng(1))
    assert again["p_value"].tolist() == FOUND["p_value"].tolist()
