"""Shares of a sum of squares: exact for one attribute, right in size for several, however they go together."""

import numpy as np
import pytest
from scipy.stats import f as f_distribution

from panel.stats.assessors.departures import mean_share


def test_one_attribute_is_the_f_test():
    # own share beyond b <=> F beyond b / (1 - b) * D / d: the same tail
    squares = np.array([[12.0, 5.0, 9.0, 4.0]])
    df = np.array([[6.0, 6.0, 5.0, 6.0]])
    found = mean_share(squares, df, 1.0)
    for i in range(4):
        others, freedom = squares.sum() - squares[0, i], df.sum() - df[0, i]
        f = squares[0, i] / df[0, i] / (others / freedom)
        assert found[0][i] == pytest.approx(np.sqrt(f))
        assert found[2][i] == pytest.approx(f_distribution.sf(f, df[0, i], freedom))
        assert found[1][i] == pytest.approx(f_distribution.cdf(f, df[0, i], freedom))


@pytest.mark.parametrize("copies", [1, 4])
def test_size_over_several_attributes(copies):
    rng = np.random.default_rng(20250311)
    squares = np.repeat(rng.chisquare(4, (4000, 3, 6)), copies, axis=1)
    found = [mean_share(part, np.full(part.shape, 4.0), 1 / copies) for part in squares]
    four_standard_errors = 4 * np.sqrt(0.05 * 0.95 / 4000)
    for side in (1, 2):
        p_values = np.array([each[side][0] for each in found])
        assert (p_values < 0.05).mean() == pytest.approx(0.05, abs=four_standard_errors)


def test_what_is_allowed_is_nothing_out_of_the_ordinary():
    rng = np.random.default_rng(20250311)
    squares = rng.chisquare(6, (3000, 1, 6))
    squares[:, :, 0] *= 1.3**2
    p_values = np.array([mean_share(part, np.full((1, 6), 6.0), 1.0, 1.3)[2][0] for part in squares])
    assert (p_values < 0.05).mean() == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 3000))


def test_attributes_on_other_scales_count_alike():
    rng = np.random.default_rng(1)
    squares = rng.chisquare(6, (5, 7))
    unit = np.array([1.0, 100.0, 1e4, 0.01, 3.0])[:, None]
    plain, scaled = (mean_share(part, np.full((5, 7), 6.0), 1.0) for part in (squares, unit * squares))
    np.testing.assert_allclose(scaled[0], plain[0])
    np.testing.assert_allclose(scaled[2], plain[2])


def test_who_has_more_of_it_everywhere():
    rng = np.random.default_rng(2)
    squares = rng.chisquare(8, (10, 9))
    squares[:, 0] *= 4
    squares[:, 1] /= 4
    found = mean_share(squares, np.full((10, 9), 8.0), 1.0)
    assert found[0][0] == pytest.approx(2, rel=0.25)
    assert found[0][1] == pytest.approx(0.5, rel=0.25)
    assert found[2][0] < 1e-6
    assert found[1][1] < 1e-6


def test_cells_without_scores_count_for_nothing():
    rng = np.random.default_rng(3)
    squares = rng.chisquare(5, (4, 5))
    df = np.full((4, 5), 5.0)
    holes, none = squares.copy(), df.copy()
    holes[:, 4], none[:, 4] = np.nan, 0.0
    found, without = mean_share(holes, none, 1.0), mean_share(squares[:, :4], df[:, :4], 1.0)
    np.testing.assert_allclose(found[0][:4], without[0])
    assert np.isnan(found[0][4])
    assert np.isnan(found[2][4])
    nothing = mean_share(np.full((2, 3), np.nan), np.zeros((2, 3)), 1.0)
    assert np.isnan(nothing[1]).all()
    alone = mean_share(np.ones((2, 1)), np.ones((2, 1)), 1.0)
    assert np.isnan(alone[0]).all()


def test_no_scatter_at_all_is_a_ratio_of_zero():
    found = mean_share(np.array([[0.0, 2.0, 3.0]]), np.full((1, 3), 4.0), 1.0)
    assert found[0][0] == 0
    assert found[2][0] == 1
