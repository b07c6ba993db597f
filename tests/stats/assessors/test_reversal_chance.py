"""The chance to notice a reversed scale: against a simulation of the rule, and at its ends."""

import numpy as np
import pytest
from scipy.special import fdtri, stdtrit

from panel.stats.assessors.departures import SCALE_SD
from panel.stats.assessors.scaling import ReversalRule, reversal_chance

ABOUT = 0.08  # the chance is told in steps of 5 %; the smaller of two chances stands for both together


RULE = ReversalRule(0.01, 0.10)


def chance(rules=(RULE,), tests=(30.0,), **changes):
    known = {
        "reliability": 0.9,
        "others_square": 432.0,
        "std_error": 0.4,
        "df": 40.0,
        "prototypes": 4.0,
    } | changes
    own = changes.pop("own", (64.0, 4.0, 2.0))
    known.pop("own", None)
    arrays = {name: np.array([[float(value)]]) for name, value in known.items()}
    return float(reversal_chance(rules, tests, own=tuple(np.array([[x]]) for x in own), **arrays)[0, 0])


@pytest.mark.parametrize(
    ("prototypes", "others_square", "std_error"), [(4, 432.0, 0.42), (6, 720.0, 0.3), (4, 150.0, 0.6)]
)
def test_it_is_about_what_a_simulation_of_the_rule_gives(prototypes, others_square, std_error):
    rng = np.random.default_rng(prototypes)
    panels, reliability, replicates, df_error = 40_000, 0.9, 2, prototypes
    rule, tests = ReversalRule(0.01, 0.10), 30.0
    # true differences of that size along one direction, used backwards; means scatter by view and by repeats
    spread = std_error * np.sqrt(others_square)  # of a mean about the line
    within = 64.0
    scale = -reliability + rng.normal(0, reliability * SCALE_SD, panels)
    along = scale * np.sqrt(others_square) + rng.normal(0, spread, panels)
    across = (rng.normal(0, spread, (panels, prototypes - 2)) ** 2).sum(axis=1)
    f = replicates * (along**2 + across) / (prototypes - 1) / (within * rng.chisquare(df_error, panels) / df_error)
    honest = np.sqrt(std_error**2 + 2 * (reliability * SCALE_SD) ** 2)
    limit = min(reliability + honest * stdtrit(40.0, rule.alpha / tests), 0.0)
    noticed = (along / np.sqrt(others_square) < limit) & (f > fdtri(prototypes - 1, df_error, 1 - rule.separates))
    expected = chance(
        (rule,),
        (tests,),
        others_square=others_square,
        std_error=std_error,
        prototypes=prototypes,
        own=(within, df_error, replicates),
    )
    assert expected == pytest.approx(noticed.mean(), abs=ABOUT)


def test_more_of_everything_that_helps_helps():
    assert chance(std_error=0.2) > chance() > chance(std_error=0.8)
    assert chance(others_square=900.0) >= chance()
    assert chance(tests=(3.0,)) > chance()
    assert chance(own=(16.0, 4.0, 2.0), std_error=0.2) > chance(own=(200.0, 4.0, 2.0), std_error=0.2)


def test_with_no_scatter_it_is_nearly_sure_and_with_much_nearly_nothing():
    assert chance(std_error=0.01, own=(0.1, 20.0, 2.0)) > 0.99
    assert chance(std_error=20.0) < 0.05


def test_any_one_of_the_rules_is_enough():
    one, other = ReversalRule(0.01, 0.10), ReversalRule(0.05, 0.05)
    both = chance((one, other), (30.0, 8.0))
    assert both == pytest.approx(max(chance((one,), (30.0,)), chance((other,), (8.0,))))


def test_a_rule_that_does_not_look_at_weak_attributes_finds_nothing_there():
    # an honest slope of 0.9 and a reversed one of -0.9 lie 1.8 / sqrt(0.4 ** 2 + 2 * 0.18 ** 2) = 3.79 errors apart
    assert chance((ReversalRule(0.01, 0.10, turn=3.7),)) == chance((ReversalRule(0.01, 0.10),)) > 0
    assert chance((ReversalRule(0.01, 0.10, turn=3.9),)) == 0


@pytest.mark.parametrize("changes", [{"reliability": 0.0}, {"own": (64.0, 0.0, 1.0)}, {"prototypes": 2.0}])
def test_where_nothing_can_be_judged_there_is_no_chance(changes):
    assert np.isnan(chance(**changes))
