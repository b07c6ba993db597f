"""From a table of claims to a verdict, against printed values: SAS and R (two one-sided tests), tables of counts."""

from pathlib import Path

import numpy as np
import pytest
import scipy.stats
from statsmodels.stats.tests.test_tost import clinic
from statsmodels.stats.weightstats import ttost_ind

from panel.claims.claim import read_claims
from panel.claims.evidence import _count_votes, _needed_words, _not_ahead
from panel.claims.judge import _find_evidence, judge_claims
from panel.claims.materials import Materials
from panel.claims.verdict import CANNOT_TELL, IN_BATCHES, NOT_SUPPORTED, SUPPORTED, _is_shown
from panel.models.consumers.agreement import count_agreement
from panel.models.consumers.choices import count_preferences
from panel.stats.answers.binomial import exact_interval
from panel.stats.answers.paired_answers import lead_score
from panel.stats.comparing.multiplicity import holm
from panel.study.open_study import open_study
from tests.claims.claim_studies import answer_rows, claim_row, panel_scores, seeded, study_with, vote_rows

# SAS/STAT User's Guide, PROC TTEST, equivalence test of two treatments of 12 people (data also in statsmodels' tests)
SAS = (
    *((103.4, 90.11), (59.92, 77.71), (68.17, 77.71), (94.54, 97.51), (69.48, 58.21), (72.17, 101.3)),
    *((74.37, 79.84), (84.44, 96.06), (96.74, 89.30), (94.26, 97.22), (48.52, 61.62), (95.68, 85.80)),
)
DEMO = Path(__file__).resolve().parents[2] / "data_demo" / "reading_room"
FITTED = 1e-6  # the mixed model is found by iteration; the paired t test is its special case
PRINTED = 5e-5  # four decimals


def paired_study(first, second, margin):
    """Two prototypes, each scored once by each person: the mixed model is then the paired t test."""
    rows = [
        {"assessor": f"A{person:02d}", "prototype": prototype, "attribute": "VALUE", "score": float(value)}
        for person, pair in enumerate(zip(first, second, strict=True))
        for prototype, value in zip(("P1", "P2"), pair, strict=True)
    ]
    return study_with(
        [claim_row("the same value as P2", "parity", attribute="VALUE", versus="P2", margin=margin)], scores=rows
    )


def only_row(study):
    return judge_claims(study).claims.iloc[0]


def test_parity_on_the_example_of_sas():
    logs = np.log(np.array(SAS))
    row = only_row(paired_study(logs[:, 0], logs[:, 1], np.log(1.25)))  # limits 0.80 and 1.25 are symmetrical in logs
    assert row["verdict"] == IN_BATCHES
    assert row["p_value"] == pytest.approx(0.003059338540563, abs=FITTED)  # R, in statsmodels' tests; SAS prints 0.0031
    assert row["ci_level"] == pytest.approx(0.90)
    np.testing.assert_allclose(np.exp([row["ci_low"], row["ci_high"]]), [0.8633735, 1.0260396], atol=FITTED)


def test_parity_on_an_example_of_r():
    # R package equivalence, function tost, values kept in statsmodels' tests of the data `clinic`
    values = clinic[:, 2]
    row = only_row(paired_study(values[:15], values[15:], 0.6))
    np.testing.assert_allclose([row["ci_low"], row["ci_high"]], [-0.0744336620516462, 0.4037669953849797], atol=FITTED)
    assert row["p_value"] == pytest.approx(0.003166881489265175, abs=FITTED)
    assert row["verdict"] == IN_BATCHES


def test_parity_where_people_do_not_agree_pools_the_variances():
    # the two halves of this column are negatively correlated, so REML sets the variance between people to zero and
    # the mixed model is the unpaired test with pooled variance; the judge is statsmodels
    values = clinic[:, 3]
    row = only_row(paired_study(values[:15], values[15:], 0.6))
    assert np.corrcoef(values[:15], values[15:])[0, 1] < 0
    p_value = ttost_ind(values[:15], values[15:], -0.6, 0.6, usevar="pooled")[0]
    assert row["p_value"] == pytest.approx(p_value, abs=FITTED)
    assert row["verdict"] == CANNOT_TELL


def counted_verdict(rows, kind="agreement", **row):
    row = {"question": "soft"} | row if kind == "agreement" else row
    study = study_with([claim_row("feels soft", kind, **row)], answers=rows)
    claim = read_claims(study)[0]
    evidence = _find_evidence(claim, Materials(study, (claim,)))  # the floors for claims leave small tables aside
    if _is_shown(evidence, evidence.p_value):
        return SUPPORTED
    return NOT_SUPPORTED if evidence.against else CANNOT_TELL


# majority, one-sided 5 %: exact binomial counts (ISO 5495, one-sided paired, by construction the same)
@pytest.mark.parametrize(("needed", "n"), [(15, 20), (20, 30), (26, 40), (32, 50), (37, 60), (48, 80), (59, 100)])
def test_majorities_are_those_of_the_tables(needed, n):
    assert counted_verdict(answer_rows(needed, n)) == SUPPORTED
    assert counted_verdict(answer_rows(needed - 1, n)) == CANNOT_TELL
    assert counted_verdict(vote_rows(needed, n - needed, 0), "preference", versus="P2") == SUPPORTED
    assert counted_verdict(vote_rows(needed - 1, n - needed + 1, 0), "preference", versus="P2") == CANNOT_TELL


# Newcombe (1998), Stat. Med. 17:857, Clopper and Pearson and Wilson
@pytest.mark.parametrize(
    ("x", "n", "exact", "wilson"),
    [
        (20, 25, (0.5930, 0.9317), (0.6087, 0.9114)),
        (29, 29, (0.8806, 1.0), (0.8830, 1.0)),
        (1, 29, (0.0009, 0.1776), (0.0061, 0.1718)),
        (15, 148, (0.0578, 0.1617), (0.0624, 0.1605)),
    ],
)
def test_shares_carry_the_printed_intervals(x, n, exact, wilson):
    found = judge_claims(study_with([claim_row("soft", "agreement", question="soft")], answers=answer_rows(x, n)))
    numbers = found.numbers.set_index("method")
    for method, printed in (("Wilson", wilson), ("Clopper and Pearson", exact)):
        ends = numbers.loc[method, ["ci_low", "ci_high"]].to_numpy(float) / 100
        np.testing.assert_allclose(ends, printed, atol=PRINTED)


def votes(n, x, kind="parity", margin=5.0, **row):
    names = {"competitors": "P2"} if kind == "unsurpassed" else {"versus": "P2"}
    sentence = "preferred to P2" if kind == "superiority" else "liked as much as P2"
    return study_with([claim_row(sentence, kind, margin=margin, **names, **row)], answers=vote_rows(x, n - x, 0))


# claim types of ASTM E1958 as summarised (superiority above 50, unsurpassed above 45, parity 45 to 55 %): exact counts
@pytest.mark.parametrize(
    ("n", "unsurpassed", "superior", "parity"),
    [
        (100, 54, 59, None),
        (200, 103, 113, None),
        (300, 150, 165, (150, 150)),
        (400, 197, 217, (197, 203)),
        (1000, 477, 527, (477, 523)),
    ],
)
def test_counts_of_the_kinds_of_preference_claim(n, unsurpassed, superior, parity):
    def shown(x, kind):
        study = votes(n, x, kind)
        claim = read_claims(study)[0]
        found = _find_evidence(claim, Materials(study, (claim,)))
        return _is_shown(found, found.p_value)

    assert shown(unsurpassed, "unsurpassed")
    assert not shown(unsurpassed - 1, "unsurpassed")
    assert shown(superior, "superiority")
    assert not shown(superior - 1, "superiority")
    fewest, most = parity or (n // 2 + 1, n // 2 - 1)  # an empty region: not even the middle shows it
    borders = {fewest - 1: False, fewest: parity is not None, most: parity is not None, most + 1: False}
    assert {x: shown(x, "parity") for x in borders} == borders


def test_no_count_shows_parity_below_290_votes():
    assert counts_that_show_parity(289, range(142, 149)) == set()
    assert counts_that_show_parity(290, range(142, 149)) == {145}


@pytest.mark.parametrize(("first", "other", "neither"), [(30, 28, 10), (57, 53, 0), (30, 30, 30), (145, 145, 0)])
def test_what_is_told_of_parity_agrees_with_the_verdict_whoever_has_no_preference(first, other, neither):
    n = first + other + neither
    study = study_with(
        [claim_row("liked as much as P2", "parity", margin=10.0, versus="P2")], answers=vote_rows(first, other, neither)
    )
    evidence = _find_evidence(claim := read_claims(study)[0], Materials(study, (claim,)))
    most = max(x for x in range(n + 1) if scipy.stats.binomtest(x, n, 0.6, "less").pvalue <= 0.05)
    told = f"With {n} votes parity is shown where at most {most} prefer either one"
    assert evidence.reasons[1].startswith(told + (f", so that at least {n - 2 * most} have" if n > 2 * most else "."))
    apart = neither and scipy.stats.norm.cdf(lead_score(max(first, other), min(first, other), n, 0.2)) > 0.05
    assert _is_shown(evidence, evidence.p_value) == (max(first, other) <= most and not apart)


@pytest.mark.parametrize("kind", ["parity", "unsurpassed"])
def test_votes_without_a_preference_do_not_hide_who_is_ahead(kind):
    """46 to none is no parity by any test: a sign test of those who chose has p = 3e-14."""
    names = {"competitors": "P2"} if kind == "unsurpassed" else {"versus": "P2"}

    def shown(first, other, neither):
        study = study_with(
            [claim_row("liked as much as P2", kind, margin=5.0, **names)], answers=vote_rows(first, other, neither)
        )
        evidence = _find_evidence(claim := read_claims(study)[0], Materials(study, (claim,)))
        assert "must also be shown to lie below 10 points" in " ".join(evidence.reasons)
        return _is_shown(evidence, evidence.p_value)

    assert not shown(0, 46, 54)
    assert not shown(10, 30, 60)
    assert shown(20, 20, 160)
    assert shown(46, 0, 54) == (kind == "unsurpassed")


def test_a_margin_that_every_vote_lies_within_is_refused():
    found = judge_claims(votes(100, 99, margin=50.0))
    assert found.claims["verdict"].iloc[0] != SUPPORTED
    told = [*found.reasons["reason"], *found.needs["need"]]
    assert any("it must lie below 50, or any vote is within it" in words for words in told)


def test_parity_by_votes_is_seldom_shown_where_the_lead_is_the_margin():
    rng = np.random.default_rng(20)
    for neither in (0.2, 0.5, 0.8):
        counts = rng.multinomial(300, [(1 - neither + 0.1) / 2, (1 - neither - 0.1) / 2, neither], 4000)
        said = np.mean([_not_ahead(first, other, 300, 0.05) <= 0.05 for first, other, _ in counts.tolist()])
        assert said < 0.065


def counts_that_show_parity(n, counts):
    found = set()
    for x in counts:
        study = votes(n, x)
        claim = read_claims(study)[0]
        evidence = _find_evidence(claim, Materials(study, (claim,)))
        if _is_shown(evidence, evidence.p_value):
            found.add(x)
    return found


def test_from_1118_votes_a_result_can_be_superior_and_at_parity_and_that_is_said():
    def reasons(n, x, kind):
        return " ".join(judge_claims(votes(n, x, kind)).reasons["reason"])

    superior = int(scipy.stats.binom.isf(0.05, 1118, 0.5)) + 1
    for kind in ("superiority", "parity"):
        study = votes(1118, superior, kind)
        assert judge_claims(study).claims["verdict"].iloc[0] == SUPPORTED
        assert "both more than half and parity" in reasons(1118, superior, kind)
    before = int(scipy.stats.binom.isf(0.05, 1117, 0.5)) + 1
    assert "both more than half" not in reasons(1117, before, "superiority")


def test_not_worse_is_one_half_of_two_one_sided_tests():
    scores = panel_scores({"GREASE": {"P1": 40, "P2": 42}}, seeded())
    claims = [
        claim_row("as dry as P2", "parity", attribute="GREASE", versus="P2", margin=8),
        claim_row("nothing is drier", "unsurpassed", attribute="GREASE", competitors="P2", margin=8),
    ]
    both = judge_claims(study_with(claims, scores=scores)).claims
    estimate, error, df = (both[name].iloc[0] for name in ("estimate", "std_error", "df"))
    low = scipy.stats.t.sf((estimate + 8) / error, df)
    high = scipy.stats.t.cdf((estimate - 8) / error, df)
    assert both["p_value"].iloc[0] == pytest.approx(max(low, high), rel=1e-9)
    assert both["p_value"].iloc[1] == pytest.approx(high, rel=1e-9)  # less is wanted: the upper side counts
    assert both["ci_high"].iloc[1] == pytest.approx(both["ci_high"].iloc[0], rel=1e-9)


def test_a_family_is_adjusted_by_holm_and_named():
    answers = [*answer_rows(37, 60), *answer_rows(38, 60, question="dry"), *answer_rows(39, 60, question="light")]
    claims = [
        claim_row(f"most users agreed that it feels {name}", "agreement", question=name)
        for name in ("soft", "dry", "light")
    ]
    found = judge_claims(study_with(claims, answers=answers)).claims
    np.testing.assert_allclose(found["p_adjusted"], holm(found["p_value"].to_numpy()), rtol=1e-12)
    assert set(found["family"]) == {"consumer answers"}
    # each count alone is a majority of 60; beside each other only the largest is (37, 38 and 39 of 60: Holm by hand)
    assert list(found["verdict"]) == [CANNOT_TELL, CANNOT_TELL, SUPPORTED]
    apart = [dict(claim) | {"family": claim["question"]} for claim in claims]
    alone = judge_claims(study_with(apart, answers=answers)).claims
    np.testing.assert_allclose(alone["p_adjusted"], alone["p_value"], rtol=1e-12)


def test_the_limit_of_the_one_sided_interval_agrees_with_the_test():
    # dual by construction: the exact lower limit exceeds the bar just where the one-sided exact test is significant
    for x in range(33, 41):
        low = float(exact_interval(x, 60, 0.90)[0])
        shown = counted_verdict(answer_rows(x, 60)) == SUPPORTED
        assert shown == (low > 0.5), x
    assert counted_verdict(answer_rows(30, 60)) == NOT_SUPPORTED


def test_counts_are_those_of_the_consumer_models_on_the_demo():
    # two separate programs count the same answers: the models of consumers, and the way from claim to verdict
    demo = open_study(DEMO)
    statements = count_agreement(demo).statements.set_index(["prototype", "question"])
    for question in ("hands not greasy", "no mark on paper", "comforting", "scented"):
        told, row = Materials(demo, ()).agreed("P4", question), statements.loc[("P4", question)]
        assert (told.agreed, told.base, told.dont_know) == (row["agreed"], row["base"], row["dont_know"])
        assert told.served == row["started"]
    row = count_preferences(demo).counts.iloc[0]
    votes = _count_votes(demo, row["prototype"], row["versus"], row["question"])
    assert (votes.prototype, votes.versus, votes.neither) == (row["chosen"], row["other"], row["no_preference"])


@pytest.mark.parametrize(
    ("n", "words"),
    [
        (4, "With 4 answers not even all of them would show more than 50 %."),  # 1/2 to the fourth is 0.0625
        (5, "To show more than 50 %, 5 of 5 would do; "),  # 1/32
        (60, "To show more than 50 %, 37 of 60 would do; "),  # one-sided table of the paired comparison (ISO 5495)
    ],
)
def test_how_many_would_do_is_said_where_so_many_answered(n, words):
    assert _needed_words(n, 0.5, 0.2).startswith(words)
