"""The chance averaged over what is not known of the scatter: second computations, special cases, simulated studies."""

import numpy as np
import pandas as pd
import pytest
import scipy.integrate
import scipy.stats
from statsmodels.stats.power import TTestPower

from benchmarks.power_assurance import simulate
from panel.plan.sample_size import (
    Scatter,
    _possible_variances,
    independent_attributes,
    own_scatter,
    panel_sizes,
    typical_scatter,
)

QUADRATURE = 0.004  # of the quantiles that stand for all possible variances
WITHIN = 0.05  # a chance is held to be true within 5 points


def assured(scatter, assessors=10, replicates=2, difference=8.0, prototypes=4):
    found = panel_sizes(difference, prototypes, scatter, assessors=[assessors], replicates=[replicates])
    return found.sizes.iloc[0]


def power(ratio, df):
    """Two-sided power of a t test by scipy's noncentral t, at a difference of so many standard errors."""
    critical = scipy.stats.t.isf(0.025, df)
    return scipy.stats.nct.sf(critical, df, ratio) + scipy.stats.nct.cdf(-critical, df, ratio)


@pytest.mark.parametrize("df", [4.0, 15.0, 63.0])
def test_one_attribute_by_numerical_integration(df):
    # planned at as many replicates as were scored, the chance rests on one mean square: MS df / chi-square(df)
    square, assessors = 114.0, 10

    def weighed(x):
        error = np.sqrt(2 * square * df / x / 2 / assessors)
        return power(8.0 / error, 27) * scipy.stats.chi2.pdf(x, df)

    ends = scipy.stats.chi2.ppf([1e-5, 1 - 1e-9], df)
    x = np.linspace(*ends, 2001)
    whole = scipy.integrate.simpson(weighed(x), x=x)
    scatter = Scatter(25.0, 64.0, "own", df=(df, 24.0), replicates=2.0)
    found = assured(scatter, assessors)
    assert found["assurance"] == pytest.approx(whole, abs=QUADRATURE)
    # the chance falls as the variance grows: its 10 % point is the chance at the 90 % point of the variance
    ends = [power(8.0 / np.sqrt(2 * square * df / scipy.stats.chi2.ppf(q, df) / 2 / assessors), 27) for q in (0.1, 0.9)]
    assert (found["assurance_low"], found["assurance_high"]) == pytest.approx(ends, abs=QUADRATURE)


@pytest.mark.parametrize("replicates", [1, 2, 4])
def test_both_mean_squares_by_drawing(replicates):
    rng, draws = np.random.default_rng(7), 40_000
    views, rest = (ms * df / rng.chisquare(df, draws) for ms, df in ((114.0, 15.0), (64.0, 24.0)))
    # with more replicates than were scored the part of the residual cannot exceed the whole
    variance = np.maximum(views / 2 + rest * (1 / replicates - 0.5), views / max(replicates, 2))
    drawn = power(8.0 / np.sqrt(2 * variance / 10), 27).mean()
    scatter = Scatter(25.0, 64.0, "own", df=(15.0, 24.0), replicates=2.0)
    assert assured(scatter, replicates=replicates)["assurance"] == pytest.approx(drawn, abs=QUADRATURE + 0.004)


def test_scatter_that_is_known_gives_the_plain_chances():
    for scatter in (Scatter(25.0, 64.0, "known"), Scatter(25.0, 64.0, "nearly", df=(1e7, 1e7), replicates=2.0)):
        found = assured(scatter)
        for name in ("", "_pairs", "_benchmark"):
            assert found[f"assurance{name}"] == pytest.approx(found[f"power{name}"], abs=0.002)


def test_two_prototypes_and_known_scatter_are_a_paired_t_test():
    # statsmodels: a one-sample t test on the differences of 12 people, standard deviation sqrt(2 (25 + 64/2))
    expected = TTestPower().power(8.0 / np.sqrt(2 * 57.0), 12, 0.05)
    found = assured(Scatter(25.0, 64.0, "known"), assessors=12, prototypes=2)
    assert found["assurance"] == pytest.approx(expected, abs=1e-6)


def test_little_knowledge_costs_people_and_much_costs_none():
    needed = {}
    for df in (8.0, 30.0, 1e7):
        result = panel_sizes(8.0, 6, Scatter(25.0, 64.0, "own", df=(df, 2 * df), replicates=2.0), replicates=[2])
        needed[df] = result.needed.iloc[0]
    assert needed[8.0]["assured"] > needed[30.0]["assured"] >= needed[1e7]["assured"]
    assert needed[1e7]["assured"] == needed[1e7]["assessors"] == needed[8.0]["assessors"]


def test_attributes_that_are_alike_are_pooled_and_those_that_are_not_stay_apart():
    def spread(sds):
        own = [Scatter(25.0 * sd**2, 64.0 * sd**2, "own", f"T{n}", (15.0, 24.0), 2.0) for n, sd in enumerate(sds)]
        values = _possible_variances(typical_scatter(own), 2.0)
        return np.log(values).std()

    alone = np.log(_possible_variances(Scatter(25.0, 64.0, "own", df=(15.0, 24.0), replicates=2.0), 2.0)).std()
    assert spread([1.0] * 8) < 0.5 * alone  # eight times the degrees of freedom: a third
    apart = np.repeat([0.25, 1.0, 4.0], 3)
    assert spread(apart) > 0.95 * np.log(apart**2).std()  # drawn together hardly at all


def test_attributes_that_go_together_count_as_fewer():
    rng = np.random.default_rng(5)
    grid = pd.MultiIndex.from_product([range(8), range(6), range(3)]).to_frame(index=False)
    own = rng.normal(size=(5, len(grid)))

    def scores(share):
        parts = []
        for n, values in enumerate(own):
            score = np.sqrt(share) * own[0] + np.sqrt(1 - share) * values if n else values
            parts.append(
                grid.set_axis(["assessor", "prototype", "session"], axis=1).assign(attribute=f"T{n}", score=score)
            )
        return pd.concat(parts, ignore_index=True)

    assert independent_attributes(scores(0.0)) > 4.5
    assert independent_attributes(scores(1.0)) == pytest.approx(1.0, abs=1e-9)
    assert 1.0 < independent_attributes(scores(0.7)) < 3.0


def test_degrees_of_freedom_are_those_of_the_analysis_of_variance():
    grid = pd.MultiIndex.from_product([range(6), range(4), range(2)]).to_frame(index=False)
    scores = grid.set_axis(["assessor", "prototype", "session"], axis=1).assign(attribute="X", score=1.0)
    variances = pd.DataFrame({"attribute": ["X"], "assessor_prototype": [25.0], "residual": [64.0]})
    (found,) = own_scatter(variances, scores=scores)
    assert (found.df, found.replicates) == ((15.0, 23.0), 2.0)  # (6 - 1)(4 - 1); 6 x 4 x (2 - 1), a session less
    (unreplicated,) = own_scatter(
        variances.assign(assessor_prototype=np.nan), scores=scores.loc[scores["session"] == 0]
    )
    assert unreplicated.df[0] == 15.0
    assert len(_possible_variances(unreplicated, 1.0)) > 1


def test_from_one_repeat_nothing_is_said_of_repeats():
    variances = pd.DataFrame({"attribute": ["X"], "assessor_prototype": [np.nan], "residual": [64.0]})
    result = panel_sizes(8.0, 4, typical_scatter(own_scatter(variances)))
    assert "not replicated" in result.notes[0]
    assert "What repeats would add cannot be told from one repeat." in result.notes
    assert not any("help little" in note for note in result.notes)


@pytest.mark.parametrize(("own", "spread"), [(1, 0.0), (6, 0.35)])
def test_panels_planned_from_a_small_study_find_as_often_as_was_said(own, spread):
    # 6 assessors x 4 prototypes x 2 repeats; 300 studies a line in benchmarks/README.md
    found = simulate(np.random.default_rng(20251128), 40, own, spread).groupby("way")[["told", "true"]].mean()
    assert found.loc["assurance", "true"] == pytest.approx(found.loc["assurance", "told"], abs=WITHIN)
    assert found.loc["power", "true"] < found.loc["assurance", "true"]  # the plain number promises too much
