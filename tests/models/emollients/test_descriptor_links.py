"""One property at a time: correlations, directions said beforehand, and a rule for naming that refuses the demo."""

import numpy as np
import pytest
from scipy.stats import pearsonr

from benchmarks.composition_truth import slot_design
from panel.models.emollients.descriptors import find_descriptors
from panel.models.emollients.ladder import _find_links
from panel.models.emollients.prediction_model import link_columns, prototype_level
from panel.stats.comparing.multiplicity import holm
from tests.blend_studies import DEMO, scored
from tests.formula_studies import study_of

LEVEL = prototype_level(DEMO)
COLUMNS = link_columns(LEVEL, find_descriptors(DEMO))
LINKS, RUNNING, NAMED, FACTS = _find_links(LEVEL, COLUMNS)


def test_correlations_are_those_of_the_means_over_the_blends():
    wide = find_descriptors(DEMO).wide
    for row in LINKS.sample(8, random_state=1).to_dict("records"):
        theirs = pearsonr(wide[row["descriptor"]], LEVEL.means[row["attribute"]])
        assert row["r"] == pytest.approx(theirs.statistic)
        assert row["p_value"] == pytest.approx(theirs.pvalue)
        assert row["df"] == 6


def test_p_values_are_adjusted_over_all_questions():
    assert LINKS["p_adjusted"].to_numpy() == pytest.approx(holm(LINKS["p_value"].to_numpy()))
    assert len(LINKS) == FACTS["questions"].iloc[0] == 14 * FACTS["descriptors"].iloc[0]


def test_the_slope_lies_in_its_range_without_any_one_blend():
    assert (LINKS["slope_low"] <= LINKS["slope"]).all()
    assert (LINKS["slope"] <= LINKS["slope_high"]).all()


def test_directions_said_beforehand_are_held_against_what_was_found():
    rows = LINKS.set_index(["attribute", "descriptor"])
    assert rows.loc[("AF_GREASE", "volatile_share"), "expected"] == -1
    assert rows.loc[("AF_GREASE", "volatile_share"), "agrees"] == 1
    assert rows.loc[("AF_SLIP", "spreading_whole"), "expected"] == 0
    assert np.isnan(rows.loc[("AF_SLIP", "spreading_whole"), "agrees"])


def test_nothing_is_named_in_the_demo_though_much_stands_out():
    # three swaps, each with its own effect: slipperiness happens to go with the spreading of the blend (r = 0.97),
    # which is nobody's truth
    slip = LINKS.set_index(["attribute", "descriptor"]).loc[("AF_SLIP", "spreading_whole")]
    assert slip["r"] > 0.9
    assert slip["p_adjusted"] < 0.05
    assert NAMED.empty
    assert len(RUNNING) > 0


def test_what_stands_out_comes_with_all_that_explain_it_as_well():
    shape = RUNNING.loc[RUNNING["attribute"] == "APP_SHAPE"]
    assert {"solid_share", "spreading_liquids"} <= set(shape["descriptor"])
    assert "emollient" in set(shape["kind"])


def test_facts_say_what_chance_would_give():
    facts = FACTS.iloc[0]
    assert facts["n"] == 8
    assert facts["moves"] == 3
    assert facts["r_needed"] == pytest.approx(0.707, abs=5e-4)  # critical r, 8 pairs: tables of Fisher and Yates
    assert facts["r_to_name"] == pytest.approx(0.950, abs=5e-4)  # 4 pairs
    assert facts["by_chance"] == pytest.approx(0.05 * facts["questions"])


def varied_study(follows, noise=1.0):
    """Eight prototypes that differ in seven ways; ease of spreading follows a property, whiteness nothing."""
    design = slot_design(8, (4, 3, 3))
    lines = design.study.table("formulas")
    formulas = {
        name: dict(zip(part["ingredient"], part["percent"], strict=True))
        for name, part in lines.groupby("prototype", sort=False)
    }
    kinds = dict(zip(lines["ingredient"], lines["kind"], strict=True))
    described = find_descriptors(study_of(formulas, kinds)).wide
    values = described[follows].to_numpy()
    truth = [50 - 12 * (values - values.mean()) / values.std(), np.full(8, 50.0)]
    return scored(formulas, truth, ["RO_SPREAD", "APP_WHITE"], noise=noise, interaction=1.0, kinds=kinds)


def test_a_property_that_was_said_beforehand_and_explains_alone_is_named():
    study = varied_study("log10_viscosity_liquids")
    level = prototype_level(study)
    _, _, named, facts = _find_links(level, link_columns(level, find_descriptors(study)))
    assert named.to_dict("records") == [{"attribute": "RO_SPREAD", "descriptor": "log10_viscosity_liquids"}]
    assert facts["moves"].iloc[0] == 7


def test_a_property_nothing_was_said_of_is_never_named():
    study = varied_study("monoester_share")
    level = prototype_level(study)
    links, _, named, _ = _find_links(level, link_columns(level, find_descriptors(study)))
    best = links.loc[links["r"].abs().idxmax()]
    assert best["descriptor"] == "monoester_share"
    assert best["p_adjusted"] < 0.05
    assert named.empty


def test_the_correlation_by_chance_is_the_median_of_the_best_of_pure_noise():
    facts = FACTS.iloc[0]
    rng, n, tried = np.random.default_rng(4), len(LEVEL.amounts), int(facts["descriptors"])
    noise, scores = rng.standard_normal((3000, n, tried)), rng.standard_normal((3000, n, 1))
    noise, scores = (each - each.mean(axis=1, keepdims=True) for each in (noise, scores))
    r = (noise * scores).sum(axis=1) / np.sqrt((noise**2).sum(axis=1) * (scores**2).sum(axis=1))
    # a share of 3,000 studies: four standard errors are 0.037
    assert (np.abs(r).max(axis=1) > facts["r_by_chance"]).mean() == pytest.approx(0.5, abs=0.04)
