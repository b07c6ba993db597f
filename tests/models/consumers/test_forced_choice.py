"""Forced-choice tests all the way: tables of the standards, d-prime, similarity, sessions, repeated answers."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, binomtest, false_discovery_control, fisher_exact
from statsmodels.stats.multitest import multipletests

from panel.errors import ModelError
from panel.models.consumers.forced_choice import judge_count, judge_forced_choices
from panel.stats.answers.discrimination import fit_beta_binomial
from tests.choice_studies import choice_study, named_rows, right_rows
from tests.stats.answers.test_binomial_tests import HALVES, NONE, SIMILAR, TRIANGLE, TWO_SIDED
from tests.stats.answers.test_discrimination import ERRORS

KINDS = {"triangle": "triangle", "3-AFC": "three_afc", "duo-trio": "duo_trio", "paired": "paired"}
CLOSED_FORM = 1e-10
PRINTED = 5.1e-7


def one(result):
    assert len(result.tests) == 1
    return result.tests.iloc[0]


@pytest.mark.parametrize(
    ("kind", "expected", "table"),
    [
        ("triangle", False, TRIANGLE),
        ("duo_trio", False, HALVES),
        ("paired", True, HALVES),
        ("paired", False, TWO_SIDED),
    ],
    ids=["triangle", "duo-trio", "paired one-sided", "paired two-sided"],
)
@pytest.mark.parametrize("place", [0, 1, 2])
def test_the_tables_of_the_standards(kind, expected, table, place):
    """FAO V7180E appendix A = ISO 4120 for the triangle; ISO 10399 and ISO 5495 by the exact binomial."""
    level = (0.95, 0.99, 0.999)[place]
    for n, counts in table.items():
        needed = counts[place]
        told = one(judge_count(kind, min(needed, n), n, level=level, expected=expected))
        assert told["needed"] == (needed if needed != NONE else n + 1)
        assert (told["verdict"] == "differs") == (needed != NONE)
        if needed != NONE and 2 * (needed - 1) > n:
            assert one(judge_count(kind, needed - 1, n, level=level, expected=expected))["verdict"] == "cannot tell"


@pytest.mark.parametrize("n", [18, 36, 60])
def test_similarity_counts_of_the_triangle_test(n):
    for limit, most in zip((0.1, 0.2, 0.3, 0.4, 0.5), SIMILAR[n], strict=True):
        shown = one(judge_count("triangle", most, n, similar_below=limit))
        assert shown["most"] == most
        assert shown["verdict"] == ("differs but small" if most >= shown["needed"] else "similar")
        assert shown["p_similar"] == pytest.approx(binom.cdf(most, n, 1 / 3 + 2 / 3 * limit), abs=CLOSED_FORM)
        assert one(judge_count("triangle", most + 1, n, similar_below=limit))["verdict"] in ("cannot tell", "differs")


@pytest.mark.parametrize(("method", "right", "n", "d", "error"), ERRORS)
def test_d_prime_and_its_error(method, right, n, d, error):
    told = one(judge_count(KINDS[method], right, n))
    assert told["d_prime"] == pytest.approx(d, abs=PRINTED)
    assert told["d_std_error"] == pytest.approx(error, abs=PRINTED)
    # one-sided tests at 5 % leave out as much on either side; paired is two-sided
    exact = binomtest(right, n).proportion_ci(told["told_level"], "exact")
    assert told["told_level"] == pytest.approx(0.95 if method == "paired" else 0.9)
    assert (told["right_low"], told["right_high"]) == pytest.approx((exact.low, exact.high), abs=1e-7)


def test_a_large_test_may_show_a_difference_and_that_it_is_small():
    told = one(judge_count("triangle", 270, 700, similar_below=0.2))
    assert told["verdict"] == "differs but small"
    assert told["p_value"] < 0.05
    assert told["p_similar"] < 0.05


def test_power_of_so_many_answers():
    told = one(judge_count("triangle", 10, 30, similar_below=0.3))
    true = 1 / 3 + 2 / 3 * 0.3
    assert told["power"] == pytest.approx(binom.sf(told["needed"] - 1, 30, true), abs=CLOSED_FORM)
    assert told["power_similar"] == pytest.approx(binom.cdf(told["most"], 30, 1 / 3), abs=CLOSED_FORM)
    assert binom.sf(told["needed"] - 1, 30, 1 / 3 + 2 / 3 * told["seen"]) == pytest.approx(0.8, abs=1e-9)
    assert np.isnan(one(judge_count("triangle", 2, 2))["seen"])


@pytest.mark.parametrize("n", [40, 100])
def test_where_either_sample_may_be_chosen_neither_may_be_chosen_too_often(n):
    verdicts = [one(judge_forced_choices(either_chosen(right, n)))["verdict"] == "similar" for right in range(n + 1)]
    told = one(judge_count("paired", n // 2, n, similar_below=0.3))
    chance = binom.pmf(np.arange(n + 1), n, 0.5) @ np.array(verdicts, dtype=float)
    assert told["power_similar"] == pytest.approx(chance, abs=CLOSED_FORM)
    asked = int(told["ask_similar"])
    for people, enough in ((asked, True), (asked - 1, False)):
        most = max(x for x in range(people + 1) if binom.cdf(x, people, 0.65) <= 0.05)
        shown = binom.cdf(most, people, 0.5) - binom.cdf(people - most - 1, people, 0.5)
        assert (shown >= 0.8) == enough


def either_chosen(right, n):
    answers = named_rows("paired", ["P4"] * right + ["P1"] * (n - right))
    return choice_study(answers, questions=[{"question": "paired", "similar_below": 0.3}])


def test_a_paired_comparison_is_told_from_the_side_chosen_more_often():
    study = choice_study(named_rows("paired", ["P4"] * 5 + ["P1"] * 19))
    told = one(judge_forced_choices(study))
    assert (told["prototype"], told["versus"], told["right"]) == ("P1", "P4", 19)
    assert told["p_value"] == pytest.approx(binomtest(5, 24).pvalue, abs=CLOSED_FORM)
    expected = choice_study(
        named_rows("paired", ["P4"] * 5 + ["P1"] * 19), questions=[{"question": "paired", "expected": "P4"}]
    )
    told = one(judge_forced_choices(expected))
    assert (told["prototype"], told["right"], told["d_prime"], bool(told["two_sided"])) == ("P4", 5, 0.0, False)
    assert told["p_value"] == pytest.approx(binomtest(5, 24, alternative="greater").pvalue, abs=CLOSED_FORM)


def test_several_tests_are_one_family():
    study = choice_study(right_rows("triangle", 18, 36), right_rows("duo_trio", 20, 30), right_rows("tetrad", 12, 36))
    tests = judge_forced_choices(study).tests
    assert tests["p_adjusted"].tolist() == pytest.approx(multipletests(tests["p_value"], method="holm")[1].tolist())
    assert (tests["p_adjusted"] >= false_discovery_control(tests["p_value"]) - CLOSED_FORM).all()


# --- limits


@pytest.mark.parametrize(
    ("facts", "limit", "right"),
    [({"similar_below": 0.3}, 0.3, 1 / 3 + 0.2), ({"d_prime_below": 1.0}, 0.1270705, 0.418047)],
)
def test_a_recorded_limit_is_used(facts, limit, right):
    # chance at d-prime 1 from the table in tests/stats/test_discrimination.py
    study = choice_study(right_rows("triangle", 8, 36), questions=[{"question": "triangle"} | facts])
    told = one(judge_forced_choices(study))
    assert told["limit"] == pytest.approx(limit, abs=1e-6)
    assert told["limit_right"] == pytest.approx(right, abs=1e-6)
    assert told["limit_beforehand"]


def test_a_limit_chosen_afterwards_decides_nothing():
    rows, late = (
        right_rows("triangle", 8, 36),
        {"question": "triangle", "similar_below": 0.3, "recorded_on": "2025-05-02"},
    )
    given_now = judge_forced_choices(choice_study(rows), similar_below=0.3)
    recorded_late = judge_forced_choices(choice_study(rows, questions=[late], unblinded_on="2025-05-01"))
    for result in (given_now, recorded_late):
        assert one(result)["p_similar"] < 0.05
        assert one(result)["verdict"] == "cannot tell"
        assert any("was chosen when the answers were there" in note for note in result.notes)


# --- sessions


def test_sessions_are_added_up_compared_and_shown():
    study = choice_study(right_rows("triangle", 10, 18), right_rows("triangle", 4, 18, session="2", start=18))
    result = judge_forced_choices(study)
    told = one(result)
    assert (told["right"], told["n"], told["n_sessions"]) == (14, 36, 2)
    assert told["p_same"] == pytest.approx(fisher_exact([[10, 4], [8, 14]]).pvalue, abs=1e-9)
    assert result.sessions["p_value"].tolist() == pytest.approx(binom.sf([9, 3], 18, 1 / 3).tolist())
    assert any("right only if their number was fixed before" in note for note in result.notes)


# --- repeated answers


def repeated(kind, counts, of):
    """People with these numbers of right answers, of so many each."""
    parts = [
        right_rows(kind, 1, 1, start=person, answer="1" if turn < count else "0", replicate=str(turn))
        for person, count in enumerate(counts)
        for turn in range(of)
    ]
    return judge_forced_choices(choice_study(*parts, questions=[{"question": kind, "similar_below": 0.5}]))


def test_repeated_triangle_tests_keep_the_exact_test_and_take_intervals_from_people():
    counts = [3, 3, 3, 0, 1, 0, 3, 1, 0, 3, 2, 0]
    result = repeated("triangle", counts, 3)
    told, fit = one(result), fit_beta_binomial(counts, [3] * 12)
    assert told["p_value"] == pytest.approx(binom.sf(sum(counts) - 1, 36, 1 / 3))
    low, high = fit.ends(0.05, 0.05)
    assert fit.p_above(low) == pytest.approx(0.05, rel=1e-6)  # of a root that was searched for
    assert told["right_high"] == high
    assert low < 1 / 3 < told["right_low"] < 1 / 3 + 1e-9  # the exact test tells: guessing alone is left out
    assert told["p_similar"] == fit.p_below(2 / 3)
    assert np.isnan(told["most"])
    row = result.repeated.iloc[0]
    assert (row["n_people"], row["n"], row["rho"]) == (12, 36, fit.rho)
    single = one(judge_count("triangle", sum(counts), 36, similar_below=0.5))
    assert told["d_high"] - told["d_low"] > single["d_high"] - single["d_low"]
    assert any("rests on people, not on answers" in note for note in result.notes)


def test_repeated_paired_comparisons_do_not_keep_it():
    rows = [named_rows("paired", ["P4"] * 14 + ["P1"] * 6, replicate=turn) for turn in "123"]
    result = judge_forced_choices(choice_study(*rows))
    told = one(result)
    assert told["p_count"] == pytest.approx(binomtest(42, 60).pvalue)
    # everybody answers alike each time, so there are 20 people's worth of answers: 14 of 20
    assert told["p_value"] > 0.5 * binomtest(14, 20).pvalue > told["p_count"]
    assert any("leaning of each person" in note for note in result.notes)


def test_repeated_answers_that_are_all_alike_count_people():
    result = repeated("triangle", [2] * 8, 2)
    told = one(result)
    assert told["d_prime"] == np.inf
    assert told["right_low"] == pytest.approx(binomtest(8, 8).proportion_ci(0.9, "exact").low)
    assert np.isnan(result.repeated["rho"].iloc[0])
    none = one(repeated("triangle", [0] * 8, 2))
    assert none["p_similar"] == pytest.approx(binom.cdf(0, 8, 2 / 3))


KINDS_ASKED = ("triangle", "duo_trio", "three_afc", "tetrad", "paired")


@settings(max_examples=60, deadline=None)
@given(st.data(), st.sampled_from([0.9, 0.95]))
def test_the_interval_shown_is_the_one_that_decides(data, level):
    """Above guessing exactly where p after Holm tells a difference, below the limit where similarity is shown."""
    parts, questions = [], []
    for kind in data.draw(st.lists(st.sampled_from(KINDS_ASKED), min_size=1, max_size=5, unique=True), "kinds"):
        n, turns = data.draw(st.integers(1, 40), "people"), data.draw(st.integers(1, 2), "turns")
        rows = [
            right_rows(kind, data.draw(st.integers(0, n), "right"), n, replicate=str(turn)) for turn in range(turns)
        ]
        if kind == "paired":
            rows = [part.assign(answer=np.where(part["answer"] == "1", "P4", "P8")) for part in rows]
        parts += rows
        questions.append({"question": kind} | data.draw(st.sampled_from([{}, {"similar_below": 0.3}]), "limit"))
    tests = judge_forced_choices(choice_study(*parts, questions=questions), level=level).tests
    for row in tests.to_dict("records"):
        told = row["p_adjusted"] < 1 - level
        below = row["two_sided"] and row["right_high"] < row["guess"]
        assert told == (row["right_low"] > row["guess"] or below)
        if row["right_low"] > row["guess"]:
            assert row["told_low"] > 0
            assert row["d_low"] > 0
        if np.isfinite(row["limit"]):
            assert row["few_shown"] == (row["right_high"] < row["limit_right"])


def test_an_order_of_rows_changes_nothing():
    study = choice_study(right_rows("triangle", 10, 18), right_rows("tetrad", 8, 20))
    mixed = study.table("answers").sample(frac=1, random_state=3)
    again = judge_forced_choices(choice_study(mixed)).tests.set_index("kind")
    pd.testing.assert_frame_equal(
        judge_forced_choices(study).tests.set_index("kind"), again.loc[["triangle", "tetrad"]]
    )


# --- messages


def test_messages():
    with pytest.raises(ModelError, match="The study has no forced-choice answers that can be read"):
        judge_forced_choices(choice_study(named_rows("preference", ["P4"])))
    with pytest.raises(ModelError, match=r"must lie between 0 and 1, such as 0\.3; it is 30"):
        judge_forced_choices(choice_study(right_rows("triangle", 1, 2)), similar_below=30)
    with pytest.raises(ModelError, match="The kind 'pentad' is not known"):
        judge_count("pentad", 1, 2)
    with pytest.raises(ModelError, match="5 right answers of 4 cannot be"):
        judge_count("triangle", 5, 4)


@pytest.mark.parametrize(("level", "bar"), [(0.95, "5 %"), (0.9, "10 %")])
def test_the_method_names_the_bar_that_was_used(level, bar):
    method = judge_count("triangle", 19, 36, level=level).method
    assert f"one-sided {bar};" in method
