"""Making days: everything made once, so many a day, and no swap that goes with a day where it can be helped."""

import numpy as np
import pytest

from panel.errors import ModelError
from panel.plan.swap_plan import Swap, making_days, plan_swaps
from panel.study.formulas import formula
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

BASE = formula(study_of(hand_cream_formulas()), "P1")
PLAN = plan_swaps(
    BASE, [Swap(CARBONATE, ALKANE, 6.0), Swap(TRIGLYCERIDE, ISOSTEARATE, 5.0), Swap(ALMOND, SHEA, 4.0)]
).prototypes


@pytest.mark.parametrize("seed", range(5))
def test_four_a_day_of_a_full_plan_leaves_no_swap_with_a_day(seed):
    days = making_days(PLAN, 4, np.random.default_rng(seed))
    assert sorted(days["prototype"]) == sorted(PLAN["prototype"])
    assert days["day"].tolist() == [1] * 4 + [2] * 4
    assert days["turn"].tolist() == [1, 2, 3, 4] * 2
    made = days.merge(PLAN, on="prototype")
    assert (made.groupby("day")[["A", "B", "C"]].sum() == 2).all(axis=None)


def test_the_same_seed_gives_the_same_order_and_another_a_different_one():
    orders = [making_days(PLAN, 4, np.random.default_rng(seed))["prototype"].tolist() for seed in (1, 1, 2)]
    assert orders[0] == orders[1] != orders[2]


def test_the_last_day_may_be_shorter():
    assert making_days(PLAN, 3, np.random.default_rng(1))["day"].tolist() == [1, 1, 1, 2, 2, 2, 3, 3]


def test_a_day_without_making_is_refused():
    with pytest.raises(ModelError, match="0 prototypes a day"):
        making_days(PLAN, 0, np.random.default_rng(1))
