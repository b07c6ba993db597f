"""Mixture models against worked examples of Cornell's books, and forms that must give the same fit."""

import numpy as np
import pytest

from panel.stats.formulas.mixtures import fit_mixture, lack_of_fit, mixture_terms, model_matrix

# The printed figures have this many digits; where none are printed, an independent least squares gave nine.
PRINTED = {"rel": 1e-6}


def pseudocomponents(X, lower, total=1.0):
    """Shares of what each blend holds beyond the lowest amounts: Cornell (2002), section 3.2."""
    return (np.asarray(X) - lower) / (total - np.sum(lower))


def spread(blocks):
    """Rows of shares and responses from (shares, responses) blocks."""
    X = np.array([shares for shares, responses in blocks for _ in responses], dtype=float)
    return X, np.array([y for _, responses in blocks for y in responses], dtype=float)


# Yarn elongation: Cornell (2002), Experiments with Mixtures; NIST/SEMATECH e-Handbook, section 5.5.4.
YARN = spread(
    [
        ((1, 0, 0), [11.0, 12.4]),
        ((0.5, 0.5, 0), [15.0, 14.8, 16.1]),
        ((0, 1, 0), [8.8, 10.0]),
        ((0, 0.5, 0.5), [10.0, 9.7, 11.8]),
        ((0, 0, 1), [16.8, 16.0]),
        ((0.5, 0, 0.5), [17.7, 16.4, 16.6]),
    ]
)
# Texture of fish patties: Cornell (1990), NIST Dataplot data file CORNELL9.
FISH = spread(
    [
        ((1, 0, 0), [2.02, 2.08]),
        ((0, 1, 0), [1.47, 1.37]),
        ((0.5, 0.5, 0), [1.91, 2.00]),
        ((0, 0, 1), [1.93, 1.83]),
        ((0.5, 0, 0.5), [1.98, 2.13]),
        ((0, 0.5, 0.5), [1.80, 1.71]),
    ]
)
# Plasticisers in a constrained region: Cornell (1990), p. 69, NIST Dataplot data file CORNEL69.
PLASTICISER = spread(
    [
        ((0.8490, 0, 0.1510), [8, 7]),
        ((0.7260, 0, 0.2740), [4, 6]),
        ((0.4740, 0.2520, 0.2740), [12, 10]),
        ((0.5970, 0.2520, 0.1510), [13, 10]),
        ((0.6615, 0.1260, 0.2125), [18, 21]),
        ((0.7875, 0, 0.2125), [12]),
        ((0.6000, 0.1260, 0.2740), [13]),
        ((0.5355, 0.2520, 0.2125), [16]),
        ((0.7230, 0.1260, 0.1510), [14]),
    ]
)
# Fruit punch (watermelon, pineapple, orange), watermelon at least 30 %: Cornell (1990), p. 23, CORNEL23.
PUNCH = spread(
    [
        ((100, 0, 0), [4.3, 4.7, 4.8]),
        ((65, 35, 0), [6.3, 5.8, 6.1]),
        ((30, 70, 0), [6.5, 6.2, 6.3]),
        ((30, 35, 35), [6.2, 6.2, 6.1]),
        ((30, 0, 70), [6.9, 7.0, 7.4]),
        ((65, 0, 35), [6.1, 6.5, 5.9]),
    ]
)


def test_yarn_quadratic_model():
    fit = fit_mixture(*YARN, "quadratic")
    assert fit.coefficients == pytest.approx(np.array([11.7, 9.4, 16.4, 19.0, 11.4, -9.6]), rel=1e-9)
    assert fit.std_error == pytest.approx(np.repeat([0.6036923, 2.6082490], 3), abs=5e-8)
    assert fit.df_error == 9
    assert fit.residual_ss / 9 == pytest.approx(0.7288889, abs=5e-8)
    assert fit.residual_ss == pytest.approx(6.56, rel=1e-9)
    total = ((YARN[1] - YARN[1].mean()) ** 2).sum()
    assert 1 - fit.residual_ss / total == pytest.approx(
        0.951356, abs=5e-7
    )  # R squared as NIST prints it: about the mean
    assert fit.statistic == pytest.approx(35.2031, abs=1e-4)
    assert fit.df == 5


def test_yarn_linear_model_and_what_it_misses():
    fit = fit_mixture(*YARN, "linear")
    assert fit.coefficients == pytest.approx(np.array([14.9945455, 9.8309091, 15.7945455]), abs=5e-8)
    assert fit.residual_ss == pytest.approx(77.2269091, abs=5e-8)
    assert fit.statistic == pytest.approx(4.477384, abs=5e-7)
    statistic, df, df_error, p_value = lack_of_fit(*YARN, fit)
    assert (df, df_error) == (3, 9)
    assert statistic == pytest.approx(32.31718, abs=5e-6)
    assert p_value < 1e-4


def test_a_model_that_passes_through_every_repeated_blend_misses_nothing():
    statistic, df, *_ = lack_of_fit(*YARN, fit_mixture(*YARN, "quadratic"))
    assert df == 0
    assert np.isnan(statistic)
    once = np.array([0, 2, 5, 7, 10, 12])
    X, y = YARN[0][once], YARN[1][once]
    assert np.isnan(lack_of_fit(X, y, fit_mixture(X, y, "linear"))[3])


def test_fish_patties():
    fit = fit_mixture(*FISH, "quadratic")
    assert fit.coefficients == pytest.approx(np.array([2.05, 1.42, 1.88, 0.88, 0.36, 0.42]), rel=1e-9)
    assert fit.std_error == pytest.approx(np.repeat([0.0509493, 0.2495997], 3), abs=5e-8)


def test_plasticiser_in_shares_and_in_pseudocomponents():
    X, y = PLASTICISER
    fit = fit_mixture(X, y, "quadratic")
    expected = [-50.146534, -282.198194, -911.648387, 317.363413, 1464.329840, 1846.217708]
    assert fit.coefficients == pytest.approx(np.array(expected), **PRINTED)
    assert np.sqrt(fit.residual_ss / fit.df_error) == pytest.approx(1.339130, abs=5e-7)
    beyond = pseudocomponents(X, [0.409, 0, 0.151])
    again = fit_mixture(beyond, y, "quadratic")
    expected = [7.4923077, -12.1250732, -205.3377843, 61.4415567, 283.4942571, 357.4277482]
    assert again.coefficients == pytest.approx(np.array(expected), **PRINTED)
    assert again.fitted == pytest.approx(fit.fitted)
    terms = mixture_terms(3, "quadratic")
    conditions = [np.linalg.cond(model_matrix(shares, terms)) for shares in (X, beyond)]
    assert conditions == pytest.approx([678.1, 127.0], abs=0.05)
    linear = fit_mixture(X, y, "linear")
    better = (linear.residual_ss - fit.residual_ss) / 3 / (fit.residual_ss / fit.df_error)
    assert better == pytest.approx(39.0369, abs=5e-5)


def test_fruit_punch_in_pseudocomponents():
    X, y = PUNCH
    fit = fit_mixture(pseudocomponents(X, [30, 0, 0], total=100), y, "quadratic")
    assert fit.coefficients == pytest.approx(np.array([4.6, 6.333333, 7.1, 2.4, 1.266667, -2.2]), abs=5e-7)
    assert fit.std_error == pytest.approx(np.repeat([0.1340260, 0.6565905], 3), abs=5e-8)


@pytest.mark.parametrize("data", [YARN, FISH, PLASTICISER], ids=["yarn", "fish", "plasticiser"])
@pytest.mark.parametrize("order", ["linear", "quadratic"])
@pytest.mark.parametrize("last", [-1, 0])
def test_the_other_form_of_the_model_gives_the_same_fit(data, order, last):
    X, y = data
    turned = np.roll(X, -1 - last, axis=1)  # with another component last
    plain, other = fit_mixture(X, y, order), fit_mixture(turned, y, order, form="slack")
    assert other.fitted == pytest.approx(plain.fitted)
    assert other.left_out == pytest.approx(plain.left_out)
    assert other.statistic == pytest.approx(plain.statistic)
    assert len(other.terms) == len(plain.terms)


def test_the_special_cubic_takes_the_centre_too():
    X = np.vstack([YARN[0], [[1 / 3, 1 / 3, 1 / 3]]])
    y = np.append(YARN[1], 20.0)
    fit = fit_mixture(X, y, "special cubic")
    assert fit.terms[-1] == (0, 1, 2)
    assert fit.fitted[-1] == pytest.approx(20.0)  # the centre has a term of its own
    assert fit_mixture(X, y, "special cubic", form="slack").fitted == pytest.approx(fit.fitted)


def test_left_out_predictions_are_those_of_fitting_without_the_row():
    X, y = YARN
    fit = fit_mixture(X, y, "quadratic")
    M = model_matrix(X, fit.terms)
    for row in (0, 4, 14):
        kept = np.arange(len(y)) != row
        assert fit.left_out[row] == pytest.approx(M[row] @ np.linalg.lstsq(M[kept], y[kept], rcond=None)[0])


def test_the_unit_of_the_shares_does_not_change_the_fit():
    X, y = PLASTICISER
    assert fit_mixture(100 * X, y, "quadratic").fitted == pytest.approx(fit_mixture(X, y, "quadratic").fitted)


def test_shares_that_do_not_add_up_are_refused():
    with pytest.raises(ValueError, match="same total"):
        fit_mixture([[0.5, 0.5], [0.5, 0.6], [1, 0]], [1, 2, 3], "linear")


def test_blends_that_cannot_tell_the_terms_apart_are_refused():
    with pytest.raises(ValueError, match="3 blends cannot tell the 6 terms"):
        fit_mixture(np.eye(3), [1, 2, 3], "quadratic")
    with pytest.raises(ValueError, match="cannot tell"):
        fit_mixture([[0.5, 0.25, 0.25], [0.6, 0.2, 0.2], [0.7, 0.15, 0.15], [0.8, 0.1, 0.1]], [1, 2, 3, 4], "linear")
