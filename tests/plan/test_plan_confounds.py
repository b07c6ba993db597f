"""A plan that would confound says so before it is run; what batches and replicates buy."""

import numpy as np
import pandas as pd
import pytest

from benchmarks.confounds import simulated
from panel.errors import ModelError
from panel.models.prototypes.differences import find_differences
from panel.plan.sample_size import Scatter, panel_sizes
from panel.plan.study_plan import _serving_confounds, batch_numbers, plan_study
from panel.study.naming import Naming
from panel.study.shown import shown
from panel.views.planning.sizes import BATCHES, what_batches_buy
from tests.studies import small_study

SCATTER = Scatter(5.0**2, 8.0**2, "simulated")


def served(sessions):
    """Return a plan in which every prototype is served in the sessions named, at changing positions."""
    rows = [
        (session, f"A{k}", (place + k) % 4 + 1, prototype, "123", "")
        for prototype, own in sessions.items()
        for session in own
        for k in range(4)
        for place in [list(sessions).index(prototype)]
    ]
    return pd.DataFrame(rows, columns=["session", "assessor", "position", "prototype", "code", "site"])


def test_prototypes_planned_for_different_sessions_are_told_with_what_to_do():
    (line,) = _serving_confounds(served({"P1": ["1"], "P2": ["1"], "P3": ["2"], "P4": ["2"]}))
    assert line.startswith(
        "By this plan P1 and P3, P1 and P4, P2 and P3 and 1 more pairs are never served in one session"
    )
    assert line.endswith("the verdict would be 'cannot tell'. Put P1 and P3 into one session.")
    assert _serving_confounds(served({"P1": ["1"], "P2": ["1", "2"], "P3": ["2"], "P4": ["2"]})) == ()


def test_one_order_for_everybody_is_told():
    plan = served({"P1": ["1"], "P2": ["1"], "P3": ["1"], "P4": ["1"]})
    same = plan.assign(position=plan["prototype"].str.slice(1).astype(int))
    (line,) = _serving_confounds(same)
    assert "are never served at one position of the order" in line


def test_plans_of_the_tool_confound_nothing():
    plan = plan_study(small_study(), np.random.default_rng(1))
    assert not any("cannot tell" in note for note in plan.notes)


def test_without_a_batch_spread_the_numbers_are_those_of_the_panel():
    found = batch_numbers(8.0, 6, SCATTER, 0.0, 10, 2).rows.iloc[0]
    sizes = panel_sizes(8.0, 6, SCATTER, assessors=[10], replicates=[2]).sizes.iloc[0]
    for name in ("std_error", "df", "seen", "power"):
        assert found[name] == pytest.approx(sizes[name], rel=1e-9)
    assert found["std_error_these"] == pytest.approx(sizes["std_error"])


def test_two_batches_at_half_the_replicates_are_as_precise_as_the_model_then_finds():
    studies = 60
    study = simulated(
        np.random.default_rng(6), studies, assessors=10, prototypes=6, batches=2, replicates=2, batch_sd=6.0
    )
    pairs = find_differences(study).pairs
    two = batch_numbers(8.0, 6, SCATTER, 6.0, 10, 4).rows.set_index("batches").loc[2]
    assert (pairs["std_error"] ** 2).groupby(pairs["attribute"]).first().mean() == pytest.approx(
        two["std_error"] ** 2, rel=4 * np.sqrt(2 / two["df"] / studies)
    )


def test_what_batches_buy_in_words_and_as_a_table():
    found = batch_numbers(8.0, 8, SCATTER, 3.0, 10, 4)
    assert found.rows["batches"].tolist() == [1, 2, 4]
    assert set(found.rows["servings"]) == {320}
    assert found.rows["power"].is_monotonic_increasing
    words = what_batches_buy(found, Naming())
    assert words.startswith("If batches differ by an SD of 3.0, one batch of each scored 4 times finds it")
    assert "4 batches of each scored once" in words
    assert shown(BATCHES, found, Naming())["Batches of each"].tolist() == ["1", "2", "4"]
    alone = what_batches_buy(batch_numbers(8.0, 8, SCATTER, 3.0, 10, 1), Naming())
    assert alone.endswith("more batches with fewer repeats would not find it more often.")


def test_too_little_to_plan_with_is_refused():
    with pytest.raises(ModelError, match="Weighing batches needs"):
        batch_numbers(0.0, 8, SCATTER, 3.0, 10, 4)
