"""The tests with and without the changed scores stand side by side, and none is left out."""

import pandas as pd

from panel.views.assessors.scale_use import both_ways_table
from tests.views.examples import NAMES

TESTS = pd.DataFrame(
    {
        "attribute": ["AF_GREASE", "AF_GREASE", "AF_STICK"],
        "statistic": [11.553, 2.041, 3.0],
        "df": [7.0, 7.0, 7.0],
        "df_error": [61.52, 64.5, 60.0],
        "p_value": [1e-9, 0.0631, 0.04],
        "rules": [True, False, True],
    }
)


def test_both_tests_of_an_attribute_stand_in_its_row():
    row = both_ways_table(TESTS, NAMES).iloc[0].tolist()
    assert row == ["greasy or oily film", "F(7; 61.5) = 11.55, p < 0.001", "F(7; 64.5) = 2.04, p = 0.063"]


def test_a_test_that_is_not_there_is_a_dash():
    assert both_ways_table(TESTS, NAMES).iloc[1].tolist()[2] == "–"
