"""The studentized range against mpmath values, the printed tables, and scipy."""

import json
from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from panel.errors import ModelError
from panel.stats.comparing.multiplicity import _studentized_range, tukey_critical, tukey_p_value

SERIES = 1e-10  # relative, up to 50 means; the series of quantiles in 1 / df against each solved alone
ABSOLUTE = 1e-9  # of a probability: interpolation of the tabulated survival function
TABLE = 5e-4  # half a unit of the third decimal, as printed
NIST_LIMITS = 0.011  # NIST prints two decimals, from an error mean square rounded before
SAS_LIMITS = 1e-4


def test_cdf_equals_mpmath():
    # 72 values computed with mpmath to 1e-11, shipped in scipy's tests: studentized_range_mpmath_ref.json
    path = Path(scipy.stats.__file__).parent / "tests" / "data" / "studentized_range_mpmath_ref.json"
    cases = json.loads(path.read_text())["cdf_data"]
    assert len(cases) > 30
    for case in cases:
        q, k, nu = (case["src_case"][name] for name in ("q", "k", "v"))
        ours = 1 - _studentized_range(int(k)).sf(np.array(float(q)), np.array(float(nu)))
        assert ours == pytest.approx(case["mp_result"], abs=ABSOLUTE), case["src_case"]


@pytest.mark.parametrize(
    ("df", "expected"),
    [
        # Pearson & Hartley, Biometrika Tables for Statisticians, upper 5 % points, k = 2 3 4 5 6 8 10
        (5, [3.635, 4.602, 5.218, 5.673, 6.033, 6.582, 6.995]),
        (10, [3.151, 3.877, 4.327, 4.654, 4.912, 5.304, 5.598]),
        (20, [2.950, 3.578, 3.958, 4.232, 4.445, 4.768, 5.008]),
        (60, [2.829, 3.399, 3.737, 3.977, 4.163, 4.441, 4.646]),
        (1e9, [2.772, 3.314, 3.633, 3.858, 4.030, 4.286, 4.474]),
    ],
)
def test_quantiles_equal_the_printed_table(df, expected):
    for k, value in zip([2, 3, 4, 5, 6, 8, 10], expected, strict=True):
        assert tukey_critical(k, np.array([float(df)]), 0.95)[0] * np.sqrt(2) == pytest.approx(value, abs=TABLE)


def test_far_tail_agrees_with_scipy():
    ours = _studentized_range(8).sf(np.array([12.0, 15.0]), np.array([77.0, 77.0]))
    scipys = [scipy.stats.studentized_range.sf(q, 8, 77) for q in (12.0, 15.0)]
    np.testing.assert_allclose(ours, scipys, rtol=1e-2, atol=1e-14)


def one_way_intervals(groups):
    """Simultaneous intervals of a one-way layout, from our critical value and textbook formulas."""
    df = sum(len(g) - 1 for g in groups)
    mse = sum(((np.array(g) - np.mean(g)) ** 2).sum() for g in groups) / df
    critical = tukey_critical(len(groups), np.array([float(df)]), 0.95)[0]

    def pair(i, j):
        error = np.sqrt(mse * (1 / len(groups[i]) + 1 / len(groups[j])))
        difference = np.mean(groups[i]) - np.mean(groups[j])
        p = tukey_p_value(np.array([difference / error]), len(groups), np.array([float(df)]))[0]
        return difference - critical * error, difference + critical * error, p

    return pair


def test_nist_handbook_example():
    # NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.7.1, limits as kept in scipy's tests
    pair = one_way_intervals(
        [[6.9, 5.4, 5.8, 4.6, 4.0], [8.3, 6.8, 7.8, 9.2, 6.5], [8.0, 10.5, 8.1, 6.9, 9.3], [5.8, 3.8, 6.1, 5.6, 6.2]]
    )
    for (i, j), limits in {
        (1, 0): (0.29, 4.47), (2, 0): (1.13, 5.31), (1, 2): (-2.93, 1.25), (1, 3): (0.13, 4.31), (2, 3): (0.97, 5.15)
    }.items():  # fmt: skip
        np.testing.assert_allclose(pair(i, j)[:2], limits, atol=NIST_LIMITS)


def test_sas_examples_equal_and_unequal_numbers():
    # SAS and Matlab output kept in scipy's tests of tukey_hsd
    a, b, c = [24.5, 23.5, 26.4, 27.1, 29.9], [28.4, 34.2, 29.5, 32.2, 30.1], [26.1, 28.3, 24.3, 26.2, 27.8]
    pair = one_way_intervals([a, b, c])
    np.testing.assert_allclose(pair(1, 2)[:2], (0.6908830568, 7.989116943), atol=SAS_LIMITS)
    np.testing.assert_allclose(pair(1, 0)[:2], (0.9508830568, 8.249116943), atol=SAS_LIMITS)
    assert pair(0, 1)[2] == pytest.approx(0.0144483269098, abs=1e-8)
    assert pair(0, 2)[2] == pytest.approx(0.98031072409, abs=1e-8)
    pair = one_way_intervals([[24.5, 23.5, 26.28, 26.4, 27.1, 29.9, 30.1, 30.1], b, c])
    np.testing.assert_allclose(pair(1, 0)[:2], (0.2679292645, 7.022070736), atol=SAS_LIMITS)
    assert pair(1, 0)[2] == pytest.approx(0.0337149844, abs=1e-6)


def test_two_means_are_a_t_test():
    t, df = np.array([0.5, 2.0, 4.0]), np.array([3.0, 12.0, 40.0])
    np.testing.assert_allclose(tukey_p_value(t, 2, df), 2 * scipy.stats.t.sf(t, df), atol=ABSOLUTE)


@pytest.mark.parametrize(("k", "level"), [(2, 0.95), (6, 0.95), (8, 0.9), (8, 0.999), (50, 0.99)])
def test_many_different_degrees_of_freedom_are_interpolated_to_the_same(k, level):
    df = np.r_[1.5, 3.99, np.geomspace(4, 1e12, 60)]
    one_by_one = np.concatenate([_studentized_range(k).isf(1 - level, df[[i]]) for i in range(len(df))])
    np.testing.assert_allclose(tukey_critical(k, df, level), one_by_one / np.sqrt(2), rtol=SERIES)
    np.testing.assert_allclose(_studentized_range(k).isf(1 - level, df), one_by_one, rtol=SERIES)


def test_the_table_is_interpolated_by_the_quintic_through_six_neighbours():
    # second computation: Lagrange's form of the same polynomial
    table = _studentized_range(5)
    x = np.random.default_rng(1).uniform(0, 29.9, 40)
    left = np.clip((x / table.step).astype(int), 2, len(table.log_survival) - 4)
    expected = [
        sum(
            table.log_survival[i + k] * np.prod([(at - i - o) / (k - o) for o in range(-2, 4) if o != k])
            for k in range(-2, 4)
        )
        for at, i in zip(x / table.step, left, strict=True)
    ]
    np.testing.assert_allclose(table._log_survival_at(x), np.minimum(expected, 0.0), rtol=1e-13, atol=1e-13)


def test_one_mean_has_no_range():
    with pytest.raises(ModelError, match="at least two prototypes"):
        _studentized_range(1)
