"""Desirability: the tyre tread of the paper, special cases, and what the geometric mean must do."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import differential_evolution, minimize

from panel.models.decision.windows import overall_desirability, window_wanted

# Derringer & Suich (1980), J. Qual. Technol. 12:214-219; the runs as in the NIST/SEMATECH e-Handbook, 5.5.3.2.2, with
# the signs of x3 in runs 1 and 5 as in the paper (the data file of NIST has them exchanged). Axial distance 1.633.
A = 1.633
RUNS = np.array(
    [
        (-1, -1, 1, 102, 900, 470, 67.5),
        (1, -1, -1, 120, 860, 410, 65),
        (-1, 1, -1, 117, 800, 570, 77.5),
        (1, 1, 1, 198, 2294, 240, 74.5),
        (-1, -1, -1, 103, 490, 640, 62.5),
        (1, -1, 1, 132, 1289, 270, 67),
        (-1, 1, 1, 132, 1270, 410, 78),
        (1, 1, -1, 139, 1090, 380, 70),
        (-A, 0, 0, 102, 770, 590, 76),
        (A, 0, 0, 154, 1690, 260, 70),
        (0, -A, 0, 96, 700, 520, 63),
        (0, A, 0, 163, 1540, 380, 75),
        (0, 0, -A, 116, 2184, 520, 65),
        (0, 0, A, 153, 1784, 290, 71),
        (0, 0, 0, 133, 1300, 380, 70),
        (0, 0, 0, 133, 1300, 380, 68.5),
        (0, 0, 0, 140, 1145, 430, 68),
        (0, 0, 0, 142, 1090, 430, 68),
        (0, 0, 0, 145, 1260, 390, 69),
        (0, 0, 0, 142, 1344, 390, 70),
    ]
)
# Coefficients of 1, x1, x2, x3, x1^2, x2^2, x3^2, x1x2, x1x3, x2x3, as the paper prints them, to four decimals.
COEFFICIENTS = np.array(
    [
        (139.1192, 16.4936, 17.8808, 10.9065, -4.0096, -3.4471, -1.5721, 5.125, 7.125, 7.875),
        (1261.1331, 268.1511, 246.5032, 139.4845, -83.5659, -124.8155, 199.1817, 69.375, 94.125, 104.375),
        (400.3846, -99.6664, -31.3964, -73.9190, 7.9327, 17.3076, 0.4328, 8.75, 6.25, 1.25),
        (68.9096, -1.4098, 4.3197, 1.6348, 1.5577, 0.0577, -0.3173, -1.625, 0.125, -0.25),
    ]
)
PRINTED = 1e-4  # the coefficients are printed to four decimals
WORKED = 1e-5  # D recomputed in full precision, printed to six decimals
PAPER = 2e-3  # the paper prints its d to three decimals, from coefficients that it rounded itself
PLACE = 1e-3  # the optimum lies on a ridge: D changes by less than 1e-6 over this distance


def terms(x):
    x1, x2, x3 = np.moveaxis(np.asarray(x, float), -1, 0)
    columns = (np.ones_like(x1), x1, x2, x3, x1**2, x2**2, x3**2, x1 * x2, x1 * x3, x2 * x3)
    return np.stack(columns, axis=-1)


FITTED = np.linalg.lstsq(terms(RUNS[:, :3]), RUNS[:, 3:], rcond=None)[0]


def tread(x):
    y = terms(x) @ FITTED
    d = (
        window_wanted(y[..., 0], 120, 170, np.inf, np.inf),
        window_wanted(y[..., 1], 1000, 1300, np.inf, np.inf),
        window_wanted(y[..., 2], 400, 500, 500, 600),
        window_wanted(y[..., 3], 60, 67.5, 67.5, 75),
    )
    return np.stack(d, axis=-1)


def test_the_runs_give_the_coefficients_of_the_paper():
    assert pytest.approx(COEFFICIENTS, abs=PRINTED) == FITTED.T


def test_the_worked_point_of_the_paper():
    d = tread([-0.05, 0.145, -0.868])
    assert d == pytest.approx([0.188687, 1.0, 0.657374, 0.933049], abs=WORKED)
    assert overall_desirability(d) == pytest.approx(0.583263, abs=WORKED)
    assert d == pytest.approx([0.189, 1.00, 0.656, 0.932], abs=PAPER)  # as printed in the paper
    assert overall_desirability(d) == pytest.approx(0.583, abs=5e-4)


def test_the_optimum_lies_on_the_kink_where_the_paper_found_it():
    def miss(x):
        return -float(overall_desirability(tread(x)))

    found = differential_evolution(miss, [(-A, A)] * 3, rng=1, tol=1e-12, maxiter=400, polish=False)
    found = minimize(miss, found.x, method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-13, "maxiter": 4000})
    assert -found.fun == pytest.approx(0.5832713, abs=WORKED)
    assert found.x == pytest.approx([-0.052498, 0.148050, -0.868424], abs=PLACE)
    assert float(terms(found.x) @ FITTED[:, 1]) == pytest.approx(1300, abs=0.1)  # d2 has just reached 1


def test_one_response_that_is_not_acceptable_makes_the_whole_so():
    assert overall_desirability([0.0, 1.0, 1.0]) == 0
    assert overall_desirability([0.0, 0.25, 1.0], [0.0, 1.0, 1.0]) == pytest.approx(0.5)


def test_a_window_is_flat_inside_and_open_ends_wish_for_nothing():
    assert window_wanted([39, 40, 50, 60, 65, 70], 30, 40, 60, 70) == pytest.approx([0.9, 1, 1, 1, 0.5, 0])
    assert window_wanted([-1e9, 0, 1e9], -np.inf, -np.inf, np.inf, np.inf) == pytest.approx([1, 1, 1])
    assert np.isnan(window_wanted(np.nan, 0, 1, 2, 3))


@pytest.mark.parametrize("ends", [(5, 4, 6, 7), (3, 4, 6, 5), (3, 6, 4, 7), (4, 4, 6, 7)])
def test_ends_out_of_order_are_refused(ends):
    with pytest.raises(ValueError, match="must rise"):
        window_wanted(1.0, *ends)


@pytest.mark.parametrize("weights", [(-1, 2), (0, 0), (np.nan, 1), (np.inf, 1)])
def test_weights_that_weigh_nothing_are_refused(weights):
    with pytest.raises(ValueError, match="weights"):
        overall_desirability([0.5, 0.5], weights)


shares = st.lists(st.floats(0.01, 1), min_size=2, max_size=6)


@given(shares, st.data())
def test_only_the_ratios_of_weights_count_and_the_mean_lies_between(d, data):
    w = np.array(data.draw(st.lists(st.floats(0.1, 5), min_size=len(d), max_size=len(d))))
    one, other = overall_desirability(d, w), overall_desirability(d, 3.7 * w)
    assert one == pytest.approx(float(other))
    assert min(d) - 1e-12 <= one <= max(d) + 1e-12
    # the geometric mean as the paper writes it, a product of powers
    assert one == pytest.approx(float(np.prod(np.array(d) ** (w / w.sum()))))


@given(st.floats(-50, 150), st.floats(-20, 20), st.floats(0.1, 10))
def test_another_scale_changes_nothing(y, shift, factor):
    ends = np.array([20.0, 40, 60, 80])
    moved = window_wanted(shift + factor * y, *(shift + factor * ends))
    assert moved == pytest.approx(float(window_wanted(y, *ends)), abs=1e-9)
