"""The footnote says what is recorded and names what is not. The form follows the usual footnote of a user test."""

import pytest

from panel.checks.moments_recorded import test_record
from panel.claims.judge import judge_claims
from tests.claims.claim_studies import answer_rows, claim_row, panel_scores, seeded, study_with, vote_rows

USERS = {"who": "adults", "ages": "20 to 60", "staff": "no"}
HOME = {"home use": ["2025-03-24", "2025-03-30"]}
AGREE = claim_row("feels soft", "agreement", question="soft")


def judged(*claims, **how):
    return judge_claims(study_with(claims, **how))


def test_a_home_use_test():
    found = judged(AGREE, answers=answer_rows(50, 58), facts={"users": USERS, "dates": HOME})
    words = "Home-use test, 58 adults aged 20 to 60, 7 days, March 2025; agreed or strongly agreed."
    assert found.claims["footnote"].iloc[0] == words
    assert found.gaps.empty


def test_only_what_is_recorded_is_said():
    found = judged(AGREE, answers=answer_rows(50, 58, session=""))
    assert found.claims["footnote"].iloc[0] == "Consumer test, 58 people; agreed or strongly agreed."
    gaps = " ".join(found.gaps["gap"])
    for words in ("who took part", "ages", "on which days", "work for the maker"):
        assert words in gaps


def test_a_hall_test_and_votes():
    row = claim_row("preferred to P2 by more than half", "preference", versus="P2")
    found = judged(row, answers=vote_rows(40, 10, 4), facts={"users": USERS})
    assert "54 adults aged 20 to 60" in found.claims["footnote"].iloc[0]
    assert found.claims["footnote"].iloc[0].endswith("both tried by each, 'no preference' offered.")


def test_a_trained_panel():
    scores = panel_scores({"GREASE": {"P1": 30, "P2": 50}}, seeded(), replicates=3)
    scores = [row | {"recorded_at": "2025-03-14T10:00"} for row in scores]
    row = claim_row("less greasy than P2", "superiority", attribute="GREASE", versus="P2")
    found = judged(row, scores=scores, facts={"dose": "50 mg"})
    words = "Trained panel, 10 assessors, 3 scores of each, 50 mg, 2 min after rubbing in, March 2025."
    assert found.claims["footnote"].iloc[0] == words
    gaps = judged(row, scores=panel_scores({"GREASE": {"P1": 30, "P2": 50}}, seeded())).gaps["gap"]
    assert list(gaps) == ["Not recorded: when the panel scored.", "Not recorded: the dose."]


SPRING = {"sessions": ["2025-04-02", "2025-04-03"]} | HOME


def test_answers_without_a_session_are_of_the_one_test_of_users():
    found = judged(AGREE, answers=answer_rows(50, 58, session=""), facts={"users": USERS, "dates": SPRING})
    words = "Home-use test, 58 adults aged 20 to 60, 7 days, March 2025; agreed or strongly agreed."
    assert found.claims["footnote"].iloc[0] == words
    assert found.gaps.empty


def test_of_two_tests_of_users_it_is_asked_which():
    dates = SPRING | {"hall test": ["2025-02-10"]}
    found = judged(AGREE, answers=answer_rows(50, 58, session=""), facts={"users": USERS, "dates": dates})
    assert found.claims["footnote"].iloc[0].startswith("Consumer test, 58 adults aged 20 to 60;")
    told = "Not recorded: in which test they answered (column session): home use or hall test."
    assert list(found.gaps["gap"]) == [told]
    assert "duration not recorded" not in set(found.findings["check"])
    which = judged(AGREE, answers=answer_rows(50, 58, session="hall"), facts={"users": USERS, "dates": dates})
    assert which.gaps.empty


def test_the_panel_scored_on_the_days_that_are_stated_for_it():
    row = claim_row("less greasy than P2", "superiority", attribute="GREASE", versus="P2")
    scores = panel_scores({"GREASE": {"P1": 30, "P2": 50}}, seeded())
    found = judged(row, scores=scores, facts={"dose": "50 mg", "dates": SPRING})
    assert found.claims["footnote"].iloc[0].endswith("April 2025.")
    assert found.gaps.empty
    other = judged(row, scores=scores, facts={"dose": "50 mg", "dates": HOME})
    assert list(other.gaps["gap"]) == ["Not recorded: when the panel scored."]


def test_what_was_not_tested_has_no_footnote():
    assert judged(claim_row("repairs", "beyond_sensory"), answers=answer_rows(1, 2)).claims["footnote"].iloc[0] == ""


@pytest.mark.parametrize(
    ("session", "dates", "days", "kind"),
    [
        ("home", {"home use": ["2025-03-24", "2025-03-30"]}, 7, "Home-use test"),
        ("hall 1", {"hall test": ["2025-03-20", "2025-03-21"]}, 2, "Hall test"),
        ("home", {"home use": ["2025-03-24"]}, 1, "Home-use test"),
        ("home", {"home use": "later"}, 0, "Home-use test"),
        ("home", {"home use": ["soon", "later"]}, 0, "Home-use test"),
        ("room", {"home use": ["2025-03-24"]}, 0, "Consumer test"),
    ],
)
def test_days_are_those_of_the_session(session, dates, days, kind):
    record = test_record(study_with([], answers=answer_rows(1, 2), facts={"dates": dates}), (session,))
    assert (record["days"], record["kind"]) == (days, kind)


@pytest.mark.parametrize(
    ("days", "month", "between"),
    [
        (["2025-09-29", "2025-09-30", "2025-10-01"], "September and October 2025", "29 September to 1 October 2025"),
        (
            ["2025-12-30", "2026-01-02"],
            "December 2025 and January 2026",
            "30 December 2025 to 2 January 2026",
        ),
        (["2025-03-24", "2025-03-30"], "March 2025", "24 to 30 March 2025"),
    ],
)
def test_a_test_over_two_months_names_both(days, month, between):
    record = test_record(study_with([], answers=answer_rows(1, 2), facts={"dates": {"home use": days}}), ("home",))
    assert (record["month"], record["between"]) == (month, between)
    row = claim_row("less greasy than P2", "superiority", attribute="GREASE", versus="P2")
    scores = panel_scores({"GREASE": {"P1": 30, "P2": 50}}, seeded())
    found = judged(row, scores=scores, facts={"dose": "50 mg", "dates": {"sessions": days}})
    assert found.claims["footnote"].iloc[0].endswith(f"{month}.")
