"""What panels can see: the planning table, independent formulas, other libraries, and simulated panels."""

import numpy as np
import pytest
import scipy.stats
from statsmodels.stats.power import TTestPower

from panel.errors import ModelError
from panel.plan.sample_size import (
    ALL_PAIRS,
    ALONE,
    PLANNING_SCATTER,
    WITH_BENCHMARK,
    Scatter,
    panel_sizes,
    what_you_can_see,
)

ROUNDED = 0.05 + 1e-9  # half a unit of the one decimal printed
STANDARD_ERRORS = 4

# Planning table for a 0-100 scale, SD 5 (assessor x prototype) and 8 (residual), 8 prototypes: computed independently
# from SE = sqrt(2 (s_pa^2/a + s_e^2/(a r))); last two with 80 % power, the swap being 4 prototypes against 4
TABLE = {
    (6, 2): (4.4, 8.8, 14.0, 12.6, 6.3),
    (8, 2): (3.8, 7.6, 11.9, 10.8, 5.4),
    (10, 2): (3.4, 6.7, 10.6, 9.6, 4.8),
    (10, 3): (3.0, 6.1, 9.5, 8.7, 4.3),
    (12, 2): (3.1, 6.1, 9.6, 8.7, 4.4),
    (12, 3): (2.8, 5.5, 8.7, 7.9, 3.9),
    (15, 3): (2.5, 4.9, 7.7, 7.0, 3.5),
}
COLUMNS = ["std_error", "least_significant", "least_significant_pairs", "seen", "seen_swap"]


def sizes(difference=8.0, prototypes=8, **how):
    return panel_sizes(difference, prototypes, **how)


def row(result, assessors, replicates):
    found = result.sizes.set_index(["assessors", "replicates"])
    return found.loc[(assessors, replicates)]


def test_the_planning_table():
    result = sizes()
    for (assessors, replicates), expected in TABLE.items():
        np.testing.assert_allclose(row(result, assessors, replicates)[COLUMNS].to_numpy(float), expected, atol=ROUNDED)


@pytest.mark.parametrize(("assessors", "replicates"), [(8, 2), (12, 3)])
def test_critical_values_are_those_of_scipy(assessors, replicates):
    found = row(sizes(), assessors, replicates)
    df = (assessors - 1) * 7
    assert found["df"] == df
    t = scipy.stats.t.isf(0.025, df)
    q = scipy.stats.studentized_range.isf(0.05, 8, df) / np.sqrt(2)
    assert found["least_significant"] == pytest.approx(t * found["std_error"], rel=1e-9)
    assert found["least_significant_pairs"] == pytest.approx(q * found["std_error"], rel=1e-6)


def test_dunnetts_value_is_the_printed_one():
    # Dunnett (1964), Biometrics 20:482, two-sided 5 %: p = 3, df = 30 gives 2.47 (exact 2.474). 11 assessors,
    # 4 prototypes: df = 10 * 3 = 30. At the difference whose power is 50 % the noncentral t has its median at the value
    result = sizes(prototypes=4, assessors=[11], replicates=[2], power=0.5)
    found = row(result, 11, 2)
    critical = 2.474
    shift = found["seen_benchmark"] / found["std_error"]
    assert scipy.stats.nct.sf(critical, 30, shift) == pytest.approx(0.5, abs=2e-3)


def test_chances_are_those_of_a_paired_t_test_for_two_prototypes():
    # two prototypes: the panel's test is the paired t test over assessors; statsmodels
    result = sizes(difference=6.0, prototypes=2, assessors=[6, 12], replicates=[1, 3])
    for found in result.sizes.to_dict("records"):
        sd = found["std_error"] * np.sqrt(found["assessors"])
        expected = TTestPower().power(6.0 / sd, found["assessors"], 0.05)
        assert found["power"] == pytest.approx(expected, abs=1e-7)
        # one difference only: Tukey, Dunnett and the F test ask the same question
        for other in ("power_pairs", "power_benchmark", "power_any"):
            assert found[other] == pytest.approx(expected, abs=1e-5)


def simulated(rng, assessors, replicates, effects, runs):
    """Cell means of assessors x prototypes, drawn with the planning values."""
    cells = effects + rng.normal(0, 5, (runs, assessors, len(effects))) + rng.normal(0, 6, (runs, assessors, 1))
    return cells + rng.normal(0, 8, (runs, assessors, len(effects), replicates)).mean(axis=-1)


def test_chances_by_simulation():
    rng = np.random.default_rng(20250311)
    assessors, replicates, runs = 8, 2, 3000
    effects = np.array([0.0, 10.0, 5, 5, 5, 5, 5, 5])
    cells = simulated(rng, assessors, replicates, effects, runs)
    means = cells.mean(axis=1)
    left = cells - cells.mean(axis=2, keepdims=True) - means[:, None] + cells.mean(axis=(1, 2))[:, None, None]
    df = (assessors - 1) * 7
    variance = (left**2).sum(axis=(1, 2)) / df
    statistic = np.abs(means[:, 1] - means[:, 0]) / np.sqrt(2 * variance / assessors)
    F = assessors * means.var(axis=1, ddof=1) / variance
    found = row(sizes(difference=10.0), assessors, replicates)
    cases = {
        "power": statistic > scipy.stats.t.isf(0.025, df),
        "power_pairs": statistic > scipy.stats.studentized_range.isf(0.05, 8, df) / np.sqrt(2),
        "power_any": scipy.stats.f.isf(0.05, 7, df) < F,
    }
    for column, shown in cases.items():
        chance = found[column]
        assert shown.mean() == pytest.approx(chance, abs=STANDARD_ERRORS * np.sqrt(chance * (1 - chance) / runs))


def test_the_swap_effect_by_simulation():
    rng = np.random.default_rng(5)
    assessors, replicates, runs = 10, 2, 3000
    effect = row(sizes(), assessors, replicates)["seen_swap"]
    cells = simulated(rng, assessors, replicates, np.array([0, effect] * 4), runs)
    means = cells.mean(axis=1)
    left = cells - cells.mean(axis=2, keepdims=True) - means[:, None] + cells.mean(axis=(1, 2))[:, None, None]
    variance = (left**2).sum(axis=(1, 2)) / (9 * 7)
    estimate = means[:, 1::2].mean(axis=1) - means[:, 0::2].mean(axis=1)
    statistic = np.abs(estimate) / np.sqrt(variance / assessors / 2)
    share = (statistic > scipy.stats.t.isf(0.025, 63)).mean()
    assert share == pytest.approx(0.8, abs=STANDARD_ERRORS * np.sqrt(0.8 * 0.2 / runs))


def test_a_swap_in_half_the_prototypes_is_seen_at_half_the_size():
    found = sizes().sizes
    np.testing.assert_allclose(found["seen_swap"] / found["seen"], 0.5, rtol=1e-9)


def test_more_people_help_more_than_more_replicates():
    result = sizes()
    assert row(result, 20, 1)["seen"] < row(result, 10, 2)["seen"]  # the same number of servings
    by_people = result.sizes.sort_values("assessors").groupby("replicates")["seen"]
    assert by_people.apply(lambda seen: (np.diff(seen) < 0).all()).all()


def test_the_fewest_assessors_reach_the_power_and_one_fewer_does_not():
    result = sizes()
    columns = {ALONE: "power", ALL_PAIRS: "power_pairs", WITH_BENCHMARK: "power_benchmark"}
    assert set(result.needed["comparison"]) == set(columns)
    for found in result.needed.to_dict("records"):
        if found["assessors"]:
            column = columns[found["comparison"]]
            assert row(result, found["assessors"], found["replicates"])[column] >= 0.8
            assert row(result, found["assessors"] - 1, found["replicates"])[column] < 0.8


def test_where_nobody_is_enough_zero_is_said():
    needed = sizes(difference=1.0, assessors=[4, 5], replicates=[2]).needed
    assert (needed["assessors"] == 0).all()


def test_the_curve_starts_at_the_level_and_meets_the_table():
    result = sizes(assessors=[10], replicates=[2])
    curve = result.curve
    assert curve["power"].iloc[0] == pytest.approx(0.05, abs=1e-9)
    at_difference = curve.loc[np.isclose(curve["difference"], 8.0), "power"].iloc[0]
    assert at_difference == pytest.approx(row(result, 10, 2)["power"])
    assert (np.diff(curve["power"]) > 0).all()


def test_what_you_can_see_is_the_same_table_attribute_by_attribute():
    scatters = [Scatter(100.0, 64.0, "own", "WIDE"), Scatter(25.0, 64.0, "own", "NARROW")]
    seen = what_you_can_see(10, 3, 8, scatters)
    assert seen["attribute"].tolist() == ["NARROW", "WIDE"]
    expected = row(sizes(), 10, 3)
    np.testing.assert_allclose(seen.loc[0, COLUMNS].astype(float), expected[COLUMNS].astype(float))


def test_units_of_the_scale_go_through():
    ten = Scatter(0.25, 0.64, "a scale of 0 to 10")
    np.testing.assert_allclose(sizes(difference=0.8, scatter=ten).sizes["seen"] * 10, sizes().sizes["seen"], rtol=1e-9)


def test_what_the_numbers_rest_on_is_said():
    result = sizes()
    assert any("planning values" in note for note in result.notes)
    assert any("another batch" in note for note in result.notes)
    wide = sizes(scatter=Scatter(100.0, 64.0, "own"))
    assert any("more replicates help little" in note for note in wide.notes)


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"difference": 0.0}, "must be above zero"),
        ({"scatter": Scatter(-1.0, 64.0, "x")}, "Variances cannot be negative"),
        ({"scatter": Scatter(0.0, 0.0, "x")}, "scores that do not scatter"),
        ({"prototypes": 1}, "at least two prototypes"),
        ({"assessors": [1]}, "two assessors"),
        ({"replicates": [0]}, "one replicate"),
        ({"with_swap": 8}, "A swap in 8 of 8 prototypes has nothing to be compared with"),
    ],
)
def test_what_cannot_be_planned_is_refused(how, words):
    with pytest.raises(ModelError, match=words):
        sizes(**how)


def test_the_planning_values_are_the_default():
    assert sizes(assessors=[10], replicates=[2]).scatter is PLANNING_SCATTER
