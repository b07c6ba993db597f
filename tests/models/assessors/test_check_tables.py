"""The tables of a panel check: what their columns mean, worked out apart from the code that fills them."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t

from panel.models.assessors.performance import check_panel
from panel.study.study import Study
from tests.simulated_panels import STRENGTHS, simulated_panel


@pytest.fixture(scope="module")
def panel():
    study = simulated_panel(np.random.default_rng(1), assessors=7, prototypes=6, replicates=3)
    return study, check_panel(study)


def means(study, attribute):
    rows = study.scores[study.scores["attribute"] == attribute]
    return rows.pivot_table(index="assessor", columns="prototype", values="score", aggfunc="mean")


def test_agreement_columns(panel):
    study, found = panel
    table = means(study, "T09")
    row = found.assessors.set_index(["assessor", "attribute"]).loc[("A03", "T09")]
    others = table.drop("A03").mean()
    assert row["correlation"] == pytest.approx(np.corrcoef(table.loc["A03"], others)[0, 1])
    assert row["slope"] == pytest.approx(np.polyfit(others, table.loc["A03"], 1)[0])
    assert row["ci_low"] < row["slope"] < row["ci_high"]
    levels = table.mean(axis=1) - table.to_numpy().mean()
    assert row["level"] == pytest.approx(levels["A03"])
    rest = table.sub(table.mean(axis=1), axis=0) - table.mean() + table.to_numpy().mean()
    assert row["interaction_share"] == pytest.approx((rest.loc["A03"] ** 2).sum() / (rest**2).to_numpy().sum())


def test_means_are_less_their_average(panel):
    study, found = panel
    table = means(study, "T09")
    rows = found.means[(found.means["assessor"] == "A03") & (found.means["attribute"] == "T09")]
    own, others = table.loc["A03"], table.drop("A03").mean()
    np.testing.assert_allclose(rows["estimate"], (own - own.mean())[rows["prototype"]], rtol=1e-9)
    np.testing.assert_allclose(rows["others"], (others - others.mean())[rows["prototype"]], rtol=1e-9)


def test_the_interval_of_a_slope_holds_the_true_slope_about_as_often_as_it_says():
    # honest people with factor 1 on every attribute; the others' mean of 11 people is nearly the truth on strong ones
    rng = np.random.default_rng(20250311)
    strong = [k for k, size in enumerate(STRENGTHS) if size >= 8]
    ones = {(k, i): 1.0 for k in range(len(STRENGTHS)) for i in range(12)}
    inside = []
    for _ in range(12):
        rows = check_panel(simulated_panel(rng, assessors=12, scale=ones)).assessors
        rows = rows[rows["attribute"].isin([f"T{k:02d}" for k in strong])]
        inside += ((rows["ci_low"] < 1) & (rows["ci_high"] > 1)).tolist()
    assert np.mean(inside) == pytest.approx(0.95, abs=0.04)  # slopes of one person go together: no exact error known


def test_panel_columns(panel):
    study, found = panel
    table = means(study, "T09")
    row = found.panel.set_index("attribute").loc["T09"]
    rest = table.sub(table.mean(axis=1), axis=0) - table.mean() + table.to_numpy().mean()
    products = 7 * ((table.mean() - table.to_numpy().mean()) ** 2).sum()
    assert row["interaction_share"] == pytest.approx(
        (rest**2).to_numpy().sum() / (products + (rest**2).to_numpy().sum())
    )
    own = found.assessors[found.assessors["attribute"] == "T09"]
    assert row["n_assessors"] == 7
    assert row["n_separating"] == (own["p_value"] < 0.30).sum()
    assert row["repeatability"] < row["reproducibility"]
    assert list(found.panel["differ"]) == list(found.panel["p_value"] < 0.05)


def test_people_columns(panel):
    study, found = panel
    person = found.people.set_index("assessor").loc["A02"]
    own = found.assessors[found.assessors["assessor"] == "A02"]
    assert person["n_judged"] == own["judged"].sum()
    assert person["n_separated"] == (own["judged"] & (own["p_value"] < 0.30)).sum()
    assert person["level_share"] == pytest.approx(own["level"].mean() / 100)
    shares, spreads = [], []
    for attribute in own["attribute"]:
        variance = found.assessors[found.assessors["attribute"] == attribute].set_index("assessor")["repeat_sd"] ** 2
        shares.append(variance["A02"] / variance.sum())
        spread = means(study, attribute).var(axis=1)
        spreads.append(spread["A02"] / spread.sum())
    for name, share in (("repeat_ratio", np.mean(shares)), ("spread_ratio", np.mean(np.array(spreads)[own["judged"]]))):
        assert person[name] == pytest.approx(np.sqrt(share / (1 - share) * 6))
    assert person["scale_low"] < person["scale"] < person["scale_high"]


def test_levels_are_shares_of_each_attribute_s_own_scale():
    rng = np.random.default_rng(2)
    study = simulated_panel(rng, assessors=5, prototypes=4)
    attributes = study.table("attributes").assign(scale_min=0.0, scale_max=[10.0] + [100.0] * 11)
    scores = study.scores
    small = scores.assign(score=scores["score"] / np.where(scores["attribute"] == "T00", 10, 1))
    mixed = Study({"scores": small, "attributes": attributes})
    plain, found = check_panel(study).people, check_panel(mixed).people
    np.testing.assert_allclose(found["level_share"], plain["level_share"], rtol=1e-6)


def test_who_missed_a_prototype_is_not_in_the_share_of_disagreement(panel):
    study, _ = panel
    scores = study.scores
    missed = (scores["assessor"] == "A05") & (scores["prototype"] == "P2")
    holes = check_panel(Study(dict(study.tables) | {"scores": scores[~missed]}, study.facts))
    without = check_panel(Study(dict(study.tables) | {"scores": scores[scores["assessor"] != "A05"]}, study.facts))
    np.testing.assert_allclose(holes.panel["interaction_share"], without.panel["interaction_share"])
    assert (holes.panel["n_assessors"] == 7).all()


def test_every_score_belongs_to_a_row(panel):
    study, found = panel
    assert found.assessors["n_scores"].sum() == len(study.scores)
    assert not found.assessors.duplicated(["assessor", "attribute"]).any()
    assert pd.api.types.is_bool_dtype(found.assessors["judged"])


def test_the_scale_of_a_person_has_students_interval_over_the_attributes_judged(panel):
    people = panel[1].people
    assert (people["n_judged"] > 2).all()
    half = t.ppf(0.975, people["n_judged"] - 1) * people["scale_error"]
    np.testing.assert_allclose(people["scale_high"] - people["scale"], half)
    np.testing.assert_allclose(people["scale"] - people["scale_low"], half)
