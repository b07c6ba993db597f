"""Liking against textbook data, general libraries, and panels in which nothing is there to be found."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from panel.errors import ModelError
from panel.models.consumers.answers import numeric_answers
from panel.models.consumers.liking import _corrected_test, liking_model, weigh_liking
from panel.models.consumers.liking_checks import ranks_beside
from panel.study.study import Study
from tests.consumer_studies import answers_study, demo_panel, one_group_panel
from tests.stats.answers.test_incomplete_ranks import apples
from tests.stats.answers.test_ranks import GRASSES

SAME = 1e-6
REML = 1e-4  # relative, of variances found by iteration

# Seventeen tasters, two levels of a sweetener: data `milk` of R's package DAAG
MILK = [
    *((7.2, 5.8), (7.4, 6.9), (7, 6), (7.2, 6), (4.6, 5.4), (6, 5.7), (5, 6.1), (4.2, 3.7), (3.8, 3.8), (6.1, 4.3)),
    *((3.7, 3.4), (3.9, 1.4), (2.5, 1.7), (4.4, 5.4), (4.2, 3.2), (4.6, 2.2), (5.6, 3.6)),
]


def framed(table):
    table = np.asarray(table, dtype=float)
    people = pd.Index([f"C{n:03d}" for n in range(len(table))], name="assessor")
    return pd.DataFrame(table, index=people, columns=[f"P{n + 1}" for n in range(table.shape[1])])


def evenness(frame):
    return liking_model(frame).evenness


def test_two_samples_are_a_paired_t_test():
    # t 2.835271, df 16, p 0.0119392, mean 0.7529412, interval 0.189974 to 1.315908: t.test of R on the same data
    own = liking_model(framed(MILK)[["P2", "P1"]]).pairs.iloc[0]
    assert own["estimate"] == pytest.approx(0.7529412, abs=1e-7)
    assert own["statistic"] == pytest.approx(2.835271, abs=SAME)
    assert own["df"] == pytest.approx(16, abs=1e-4)
    assert own["p_value"] == pytest.approx(0.0119392, abs=1e-7)
    assert (own["ci_low"], own["ci_high"]) == pytest.approx((0.189974, 1.315908), abs=SAME)


def test_incomplete_blocks_of_a_tasting_panel():
    # data `appletaste` of R's package DAAG; lmer with Satterthwaite's degrees of freedom, and Durbin's T1, on it
    frame = framed(apples())
    found = liking_model(frame)
    assert found.variances.iloc[0].tolist() == pytest.approx([317.33333, 732.07950], rel=REML)
    assert found.test["statistic"] == pytest.approx(15.094473, rel=REML)
    assert found.test["df_error"] == pytest.approx(40.4704, abs=0.05)
    assert sorted(found.means["estimate"]) == pytest.approx([26.059224, 55.164404, 70.004365, 92.972007], rel=REML)
    few = liking_model(framed(one_group_panel(np.random.default_rng(1), "even", 8, 4)))
    assert np.isnan(few.evenness)  # eight people, four samples: all pairs are taken as scattering alike
    assert np.ptp(few.pairs["std_error"]) < SAME < np.ptp(found.pairs["std_error"])
    (test,), why, *_ = ranks_beside(frame)
    assert test["test"] == "Skillings-Mack"
    assert test["statistic"] == pytest.approx(23.55, abs=SAME)
    assert (test["n_consumers"], test["n_answers"], why) == (20, 60, "")


def test_friedman_of_a_textbook_and_who_is_lost():
    # Conover (1999) p. 372: 8.097345 corrected for ties
    table = np.vstack([GRASSES, [1, 2, np.nan, 3], [1, np.nan, np.nan, np.nan]])
    (test,), why, *_ = ranks_beside(framed(table))
    assert test["test"] == "Friedman"
    assert test["statistic"] == pytest.approx(8.097345, abs=SAME)
    assert test["p_value"] == pytest.approx(ranks_beside(framed(GRASSES))[0][0]["p_value"])
    assert (test["n_consumers"], test["n_answers"]) == (12, 48)
    assert why == "did not try every prototype"


def test_complete_answers_are_the_classical_analysis_of_variance():
    table = one_group_panel(np.random.default_rng(1), "even", 20, 5)
    found = weigh_liking(answers_study(table))
    left = table - table.mean(axis=1, keepdims=True) - table.mean(axis=0) + table.mean()
    mean_square = (left**2).sum() / (19 * 4)
    f = 20 * ((table.mean(axis=0) - table.mean()) ** 2).sum() / 4 / mean_square
    main = found.tests.iloc[0]
    assert main["statistic"] == pytest.approx(f, rel=REML)
    assert (main["df"], main["df_error"]) == pytest.approx((4, 76), abs=1e-3)
    assert found.tests.set_index("test").loc["Friedman", "statistic"] == pytest.approx(
        stats.friedmanchisquare(*table.T).statistic
    )
    # each pair has its own scatter: the paired t test, by Tukey with the studentized range of scipy
    for pair in found.pairs.to_dict("records"):
        first, second = (table[:, int(pair[side][1:]) - 1] for side in ("prototype", "versus"))
        own = stats.ttest_rel(first, second)
        assert (pair["statistic"], pair["df"]) == pytest.approx((own.statistic, 19), rel=SAME)
        q = np.sqrt(2) * abs(own.statistic)
        assert pair["p_adjusted"] == pytest.approx(stats.studentized_range.sf(q, 5, 19), abs=1e-5)


def test_differences_from_the_benchmark_are_dunnetts():
    table = one_group_panel(np.random.default_rng(2), "even", 24, 4)
    found = weigh_liking(answers_study(table, benchmark="P2"))
    assert found.benchmark == "P2"
    assert list(found.versus["prototype"]) == ["P1", "P3", "P4"]
    # three paired differences scatter together as they do between people, who leave 23 degrees of freedom
    correlation = np.corrcoef(table[:, [0, 2, 3]] - table[:, [1]], rowvar=False)
    draws = np.random.default_rng(3).multivariate_normal(np.zeros(3), correlation, 400_000)
    scale = np.sqrt(np.random.default_rng(4).chisquare(23, 400_000) / 23)
    largest = np.abs(draws / scale[:, None]).max(axis=1)
    for row in found.versus.to_dict("records"):
        share = (largest >= abs(row["statistic"])).mean()
        assert row["p_adjusted"] == pytest.approx(share, abs=4 * np.sqrt(0.25 / 400_000))
    assert weigh_liking(answers_study(table, benchmark="P2"), versus="P1").benchmark == "P1"


def test_counts_and_shares_with_their_bases():
    table = np.array([[9, 8, 1], [7, 7, 2], [6, 8, np.nan], [9, 9, 3], [5, 7, 9]])
    found = weigh_liking(answers_study(table))
    boxes = found.boxes.set_index(["box", "prototype"])
    assert boxes.loc[("top 2", "P1"), ["count", "base"]].tolist() == [2, 5]
    assert boxes.loc[("top 3", "P2"), ["count", "base"]].tolist() == [5, 5]
    assert boxes.loc[("top 3", "P3"), ["count", "base"]].tolist() == [1, 4]
    row = boxes.loc[("top 3", "P1")]
    assert (row["ci_low"], row["ci_high"]) == pytest.approx(proportion_confint(3, 5, method="wilson"))
    counted = found.distribution.set_index(["prototype", "answer"])
    assert counted.loc[("P2", 7), "count"] == 2
    assert (found.distribution.groupby("prototype")["count"].sum() == [5, 5, 4]).all()
    assert found.lost.set_index("method").loc["Friedman", ["consumers_lost", "answers_lost"]].tolist() == [1, 2]
    assert found.lost.set_index("method").loc["mixed model", "answers_lost"] == 0


def test_who_gives_one_answer_only_is_named_and_stays_in():
    table = one_group_panel(np.random.default_rng(5), "even", 12, 4)
    table[3] = 7
    table[4] = [7, 7, np.nan, np.nan]
    found = weigh_liking(answers_study(table))
    assert found.same_everywhere[["assessor", "answer", "n"]].to_numpy().tolist() == [["C0004", 7, 4]]
    assert found.tests.iloc[0]["n_consumers"] == 12


def test_a_position_effect_is_seen_and_taken_out():
    rng = np.random.default_rng(6)
    orders = np.array([[1, 2, 3, 4], [2, 4, 1, 3], [3, 1, 4, 2], [4, 3, 2, 1]])[np.arange(40) % 4]
    table = np.clip(np.rint(5 + rng.normal(0, 1, (40, 1)) + rng.normal(0, 1, (40, 4)) + 1.5 * (orders == 1)), 1, 9)
    positions = orders.astype(float).ravel()
    sessions = np.where(orders.ravel() <= 2, "1", "2")
    found = weigh_liking(answers_study(table, position=positions))
    effect = found.serving.set_index("effect")
    assert list(effect.index) == ["position", "the sample before"]
    assert not effect.loc["the sample before", "matters"]
    assert effect.loc["position", "p_value"] < 0.001
    assert found.positions.loc[found.positions["estimate"].idxmax(), "position"] == 1
    # balanced orders: means by position are those of the answers themselves
    plain = [table[orders == place].mean() for place in (1, 2, 3, 4)]
    assert found.positions["estimate"].tolist() == pytest.approx(plain)
    # positions 1 and 2 in session 1, 3 and 4 in session 2: within sessions two differences of places are left
    both = weigh_liking(answers_study(table, position=positions, session=sessions))
    assert list(both.serving["effect"]) == ["session", "position", "the sample before"]
    assert both.serving["df"].tolist()[:2] == [1, 2]
    assert both.positions.empty
    assert weigh_liking(answers_study(table)).serving.empty


def test_unreadable_and_repeated_answers_and_few_people_are_said():
    study = answers_study(one_group_panel(np.random.default_rng(8), "even", 10, 3))
    answers = study.table("answers")
    more = answers.iloc[[0, 1]].assign(answer=["12", "6"], assessor=["C0001", "C0002"], prototype=["P1", "P2"])
    notes = " ".join(weigh_liking(Study({"answers": pd.concat([answers, more])})).notes)
    assert "could not be read as a number from 1 to 9: 1." in notes
    assert "answered for more than once: 1." in notes
    assert "10 consumers give a direction only" in notes


def test_pairs_that_divide_people_are_said():
    divided, even = demo_panel(3)[0], one_group_panel(np.random.default_rng(9), "even")
    assert evenness(framed(divided)) < 0.75 < evenness(framed(even))
    assert any("divide the consumers" in note for note in weigh_liking(answers_study(divided)).notes)


def test_the_test_is_corrected_for_pairs_that_divide_people():
    # opposed tastes, equal means: the plain F test finds differences too often, the corrected one as often as stated
    runs, plain, corrected = 200, 0, 0
    taste = np.array([0.3, 1.2, 0.2, 1.2, -1.1, 0.0, -0.6, 0.1])
    for seed in range(runs):
        rng = np.random.default_rng([5, seed])
        kind = np.where(rng.random((60, 1)) < 0.5, 1, -1)
        value = 6 + rng.normal(0, 1, (60, 1)) + kind * (taste - taste.mean()) + rng.normal(0, 1.1, (60, 8))
        frame = framed(np.clip(np.rint(value), 1, 9))
        found = liking_model(frame)
        plain += found.test["p_value"] < 0.05
        corrected += _corrected_test(found.test, found.evenness)["p_value"] < 0.05
    assert plain > corrected
    assert abs(corrected / runs - 0.05) < 4 * np.sqrt(0.05 * 0.95 / runs)


def test_a_pair_that_divides_people_is_told_apart_as_seldom_as_any():
    # two prototypes of opposed tastes, equal means: with one error for all pairs 10 to 12 % of studies told them apart
    runs, apart, against, found = 100, 0, 0, 0
    for seed in range(runs):
        rng = np.random.default_rng([7, seed])
        kind = np.where(rng.random((60, 1)) < 0.5, 1, -1)
        value = (
            5 + rng.normal(0, 1, (60, 1)) + kind * np.array([2, -2, 0, 0]) + rng.normal(0, 1, (60, 4)) + [0, 0, 0, 1]
        )
        value[np.arange(60), rng.integers(0, 4, 60)] = np.nan
        model = liking_model(framed(np.clip(np.rint(value), 1, 9)), "P1")
        apart += model.pairs["p_adjusted"].iloc[0] < 0.05
        against += model.versus["p_adjusted"].iloc[0] < 0.05
        found += model.pairs["p_adjusted"].iloc[-1] < 0.05
    assert found > 0.8 * runs
    assert apart <= 0.05 * runs
    assert against <= 0.08 * runs  # one of three at 5 %: five and a half standard errors above a third of it


def test_no_pair_differs_where_the_prototypes_do_not_and_headline_letters_and_table_agree():
    # of 400 studies without differences one in which a pair alone is told apart, and the test over all is not
    rng = np.random.default_rng(8)
    for _ in range(400):
        value = 6 + rng.normal(0, 1, (30, 1)) + rng.normal(0, 1.3, (30, 6))
        table = np.clip(np.rint(value), 1, 9)
        model = liking_model(framed(table))
        p_value = _corrected_test(model.test, model.evenness)["p_value"]
        if (model.pairs["p_adjusted"] < 0.05).any() and p_value > 0.05:
            break
    found = weigh_liking(answers_study(table))
    assert not found.differs
    assert (found.pairs["verdict"] == "cannot tell").all()
    assert set(found.means["letters"]) == {"a"}
    alone = (found.pairs["ci_low"] > 0) | (found.pairs["ci_high"] < 0)
    assert (found.pairs.loc[alone, "because"] == "over all prototypes together nothing is told apart").all()
    assert alone.any()


def test_people_who_all_agree_on_the_size_of_a_step_leave_the_common_error():
    rng = np.random.default_rng(9)
    table = np.clip(np.rint(6 + rng.normal(0, 1, (30, 3))), 1, 8)
    table[:, 1] = table[:, 0] + 1
    found = liking_model(framed(table))
    assert np.ptp(found.pairs["std_error"]) < SAME
    assert np.isfinite(found.pairs["p_adjusted"]).all()


def test_box_s_epsilon_at_its_ends():
    rng = np.random.default_rng(1)
    one_way = rng.normal(size=(50, 1)) * np.array([1.0, 1.0, -1.0, -1.0]) + rng.normal(size=(50, 1))
    assert evenness(framed(one_way)) == pytest.approx(1 / 3)
    assert evenness(framed(rng.normal(size=(20000, 4)))) == pytest.approx(1, abs=0.01)
    two = framed(rng.normal(size=(30, 2)))
    assert evenness(two) == pytest.approx(1)
    assert np.isnan(evenness(framed(rng.normal(size=(8, 4)))))


def test_verdicts_with_a_margin():
    table = one_group_panel(np.random.default_rng(10), "even", 60, 3)
    study = answers_study(table, benchmark="P1")
    stated = Study(study.tables, facts={"benchmark": "P1", "liking_margin": 5})
    assert weigh_liking(stated).margin == 5


def test_nothing_is_found_where_nothing_is_as_often_as_stated():
    # 200 panels without differences, rounded to nine points, 5 %: four standard errors either side
    runs, small, pairs = 200, 0, 0
    for seed in range(runs):
        rng = np.random.default_rng([1, seed])
        value = 6 + rng.normal(0, 1, (40, 1)) + rng.normal(0, 1.4, (40, 5))
        found = liking_model(framed(np.clip(np.rint(value), 1, 9)))
        small += found.test["p_value"] < 0.05
        pairs += bool((found.pairs["p_adjusted"] < 0.05).any())
    slack = 4 * np.sqrt(0.05 * 0.95 / runs)
    assert abs(small / runs - 0.05) < slack
    assert abs(pairs / runs - 0.05) < slack


def test_intervals_of_differences_hold_the_truth_together():
    runs, held = 150, 0
    truth = np.array([0.0, 0.5, 1.0, 1.5])
    apart = np.array([truth[j] - truth[i] for i in range(4) for j in range(i + 1, 4)])
    for seed in range(runs):
        rng = np.random.default_rng([2, seed])
        table = 5 + truth + rng.normal(0, 1, (30, 1)) + rng.normal(0, 1, (30, 4))
        table[rng.random(table.shape) < 0.1] = np.nan
        pairs = liking_model(framed(table).dropna(how="all")).pairs
        held += bool(((pairs["ci_low"] <= apart) & (apart <= pairs["ci_high"])).all())
    assert abs(held / runs - 0.95) < 4 * np.sqrt(0.05 * 0.95 / runs)


def test_every_refusal_says_what_to_do():
    table = one_group_panel(np.random.default_rng(11), "even", 8, 3)
    with pytest.raises(ModelError, match="Only P1 was tried"):
        weigh_liking(answers_study(table[:, :1]))
    with pytest.raises(ModelError, match="nobody compared them"):
        weigh_liking(answers_study([[5, np.nan], [np.nan, 6], [4, np.nan]]))
    with pytest.raises(ModelError, match="Every liking answer is the same"):
        weigh_liking(answers_study(np.full((5, 3), 7)))
    with pytest.raises(ModelError, match="'P9' was not tried by consumers"):
        weigh_liking(answers_study(table), versus="P9")
    with pytest.raises(ModelError, match="exactly the same pattern"):
        weigh_liking(answers_study(np.tile([3, 5, 7], (6, 1))))
    with pytest.raises(ModelError, match="too few of them answered for more than one prototype"):
        liking_model(pd.DataFrame([[5, 6], [4, np.nan], [3, np.nan]], columns=["P1", "P2"]))


def test_what_was_read_is_kept_with_the_answer():
    study = answers_study(one_group_panel(np.random.default_rng(12), "even", 10, 3))
    assert weigh_liking(study).answers.frame.equals(numeric_answers(study, "liking").frame)


REFERENCE = Path(__file__).parents[2] / "reference" / "liking_sessions"


def test_sessions_that_share_a_prototype_only_are_in_the_model_as_r_has_it():
    # R 4.2.2, lme4, lmerTest, emmeans: tests/reference/liking_sessions/make_reference.R
    answers = pd.read_csv(REFERENCE / "answers.csv", dtype=str).assign(question="liking", kind="liking")
    found = weigh_liking(Study({"answers": answers}))
    expected = pd.read_csv(REFERENCE / "tests.csv").iloc[0]
    test = found.tests.set_index("test").loc["mixed model", expected.index]
    np.testing.assert_allclose(test.astype(float), expected, rtol=1e-5)
    keys = ["prototype", "versus"]
    by_r = pd.read_csv(REFERENCE / "pairs.csv").set_index(keys)
    np.testing.assert_allclose(found.pairs.set_index(keys).loc[by_r.index, by_r.columns], by_r, rtol=1e-4)
    moved = answers["answer"].astype(int) + 2 * (answers["session"] == "1")
    again = weigh_liking(Study({"answers": answers.assign(answer=moved.clip(upper=9).astype(str))}))
    assert again.pairs.set_index(keys).loc[("P4", "P2"), "verdict"] == "differs"  # both of one session but in part


@pytest.mark.parametrize("along", ["session", "position"])
def test_what_the_session_or_the_place_may_be_is_no_difference_in_liking(along):
    table = np.clip(np.rint(np.random.default_rng(3).normal([6, 6, 8, 8], 1, (30, 4))), 1, 9)
    place = {"session": np.tile(["1", "1", "2", "2"], 30), "position": np.tile([1.0, 1.0, 2.0, 2.0], 30)}
    plain, tied = (weigh_liking(answers_study(table, **part)) for part in ({}, {along: place[along]}))
    assert plain.differs
    assert not tied.differs
    assert not tied.tests["differs"].any()
    assert (tied.pairs["verdict"] == "cannot tell").all()
    assert f"4 of 6 pairs cannot be told from the {along}" in tied.untold[0]
    within = np.clip(table - np.array([0, 3, 0, 0]), 1, 9)  # what can be told still is
    told = weigh_liking(answers_study(within, **{along: place[along]}))
    assert told.differs
    assert told.pairs.set_index(["prototype", "versus"])["verdict"].eq("differs").sum() == 1
