"""The short form of the simulation with known truth: what is false is seldom said, what is true is found.

The long form is `python -m benchmarks.composition_truth`; limits here leave four standard errors for its small size.
"""

import numpy as np
import pytest

from benchmarks.composition_truth import ATTRIBUTES, _level, demo_design, run, simulate, slot_design, table
from panel.models.emollients.prediction_model import prototype_level
from panel.models.emollients.swaps import trace_swaps
from tests.formula_studies import scores_of, study_of

DEMO = demo_design()
VARIED = slot_design(8, (4, 3, 3))


def at_most(share, studies):
    return share + 4 * np.sqrt(share * (1 - share) / studies)


@pytest.mark.parametrize("truth", ["nothing", "batches"])
@pytest.mark.parametrize("design", [DEMO, VARIED], ids=["demo", "varied"])
def test_where_formulas_do_nothing_few_studies_name_anything(design, truth):
    tally = run(design, truth, 40)
    assert tally.any_false / tally.studies <= at_most(0.05, 40)
    assert tally.named_true == 0
    assert tally.real == 0


def test_real_swaps_of_the_demo_are_found_and_no_property_is_named():
    tally = run(DEMO, "swaps", 40)
    assert tally.real_heard / tally.real > 0.6
    assert tally.real_both / tally.real > 0.3
    assert tally.named_false / tally.studies <= at_most(0.05, 40)


def test_a_real_property_is_named_where_the_blends_differ_enough_and_never_an_alias():
    tally = run(VARIED, "property", 40)
    assert tally.named_true / tally.may_be_named > 0.15
    assert tally.named_false / tally.studies <= at_most(0.05, 40)
    assert run(DEMO, "property", 20).named_true == 0  # three moves are too few to name anything


@pytest.mark.parametrize("truth", ["batches", "swaps"])
def test_intervals_hold_held_out_prototypes(truth):
    tally = run(DEMO, truth, 40)
    assert 0.90 < tally.covered / tally.held_out < 0.98
    assert 0.88 < tally.inside_covered / tally.inside <= 0.99


def test_the_short_way_to_means_and_errors_is_that_of_the_mixed_model():
    # the simulation takes balanced means and mean squares; here the same scores go through the whole program
    drawn = simulate(DEMO, "swaps", np.random.default_rng(3))
    lines = DEMO.study.table("formulas")
    formulas = {
        name: dict(zip(part["ingredient"], part["percent"], strict=True))
        for name, part in lines.groupby("prototype", sort=False)
    }
    kinds = dict(zip(lines["ingredient"], lines["kind"], strict=True))
    rows = scores_of(drawn.cells[:, None], list(formulas), list(ATTRIBUTES))
    level = prototype_level(study_of(formulas, kinds, scores=rows))
    short = _level(DEMO.amounts, drawn.cells)
    assert level.means.to_numpy() == pytest.approx(short.means.to_numpy())
    assert level.panel_variance == pytest.approx(short.panel_variance, rel=1e-4)
    assert level.panel_df == pytest.approx(short.panel_df, rel=1e-3)
    assert level.error["statistic"].to_numpy() == pytest.approx(short.error["statistic"].to_numpy(), rel=1e-3)


def test_swap_effects_of_the_simulation_are_those_of_the_program():
    from benchmarks.composition_truth import judged_swaps

    drawn = simulate(DEMO, "swaps", np.random.default_rng(4))
    lines = DEMO.study.table("formulas")
    formulas = {
        name: dict(zip(part["ingredient"], part["percent"], strict=True))
        for name, part in lines.groupby("prototype", sort=False)
    }
    rows = scores_of(drawn.cells[:, None], list(formulas), list(ATTRIBUTES))
    study = study_of(formulas, dict(zip(lines["ingredient"], lines["kind"], strict=True)), scores=rows)
    theirs = trace_swaps(study).swaps.set_index(["attribute", "swap"])["p_adjusted"]
    ours = judged_swaps(DEMO, drawn).set_index(["attribute", "swap"])["p_adjusted"]
    assert ours.to_numpy() == pytest.approx(theirs.loc[ours.index].to_numpy())


def test_the_table_is_markdown():
    text = table([(DEMO, "nothing", run(DEMO, "nothing", 3))])
    assert text.splitlines()[0].startswith("| design | truth |")
    assert len({line.count("|") for line in text.splitlines()}) == 1
