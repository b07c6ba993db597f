"""All claims fixed on the same evidence are adjusted together (Holm 1979), over prototypes and attributes."""

import pytest
import statsmodels.stats.multitest

from panel.claims.judge import judge_claims
from tests.claims.claim_studies import answer_rows, claim_row, panel_scores, seeded, study_with, vote_rows

TOLERANCE = 1e-9  # the same arithmetic by another library
TRUTH = {name: {f"P{number}": 50.0 for number in range(1, 5)} for name in ("GREASE", "STICK")}


def less(prototype, attribute, **row):
    sentence = f"{prototype} less {attribute} than P4"
    return claim_row(sentence, "superiority", prototype=prototype, versus="P4", attribute=attribute, **row)


def judged(rows, **how):
    scores = panel_scores(TRUTH, seeded(), assessors=8)
    return judge_claims(study_with(rows, scores=scores, answers=answer_rows(52, 60), **how))


def test_prototypes_and_attributes_are_one_family_by_holm_of_statsmodels():
    rows = [less(prototype, attribute) for prototype in ("P1", "P2", "P3") for attribute in TRUTH]
    found = judged(rows).claims
    assert found["family"].unique().tolist() == ["trained panel"]
    expected = statsmodels.stats.multitest.multipletests(found["p_value"], method="holm")[1]
    assert found["p_adjusted"].to_numpy() == pytest.approx(expected, abs=TOLERANCE)


def test_what_could_not_be_published_takes_no_part():
    soft = claim_row("feels soft", "agreement", question="soft", bar=50)
    low = claim_row("users say it feels soft", "agreement", question="soft", bar=1)  # below the least bar
    late = claim_row("it does feel soft", "agreement", question="soft", bar=50, stamped=False)
    found = judged([soft, low, late]).claims
    assert found["p_adjusted"].iloc[0] == found["p_value"].iloc[0]
    assert found["p_adjusted"].isna().tolist() == [False, True, False]
    late = "consumer answers, not shown to be stamped before the data"
    assert found["family"].tolist()[::2] == ["consumer answers", late]


def test_a_family_named_by_hand_is_remarked():
    found = judged([less("P1", "GREASE", family="mine"), less("P2", "GREASE"), less("P3", "GREASE")])
    assert found.claims["p_adjusted"].iloc[0] == found.claims["p_value"].iloc[0]
    words = found.reasons.loc[found.reasons["number"] == 1, "reason"].tolist()
    assert (
        "The family 'mine' was named by hand and leaves out 2 claims on the same evidence. This claim is alone in it "
        "and adjusted for nothing."
    ) in words
    assert not any("by hand" in text for text in found.reasons.loc[found.reasons["number"] == 2, "reason"])


PREFERRED = claim_row("preferred to our previous formula by more than half", "preference", versus="P2")


def preferred(*, sessions, position=None, together=False):
    votes = [
        row | {"session": "vote"} | ({} if position is None else {"position": position}) for row in vote_rows(45, 10, 5)
    ]
    servings = [
        {"session": sessions[place], "assessor": row["assessor"], "prototype": name}
        for row in votes
        for place, name in enumerate(("P1", "P2"))
        if sessions
    ]
    return judge_claims(study_with([PREFERRED], answers=votes, servings=servings))


def test_votes_on_two_tried_in_different_sessions_cannot_be_told():
    found = preferred(sessions=("week 1", "week 2"))
    assert found.claims["verdict"].tolist() == ["cannot tell yet"]
    assert any("Serve P1 and P2 together in one session." in need for need in found.needs["need"])


def test_votes_always_in_one_order_cannot_be_told():
    found = preferred(sessions=(), position=1.0)
    assert any("Change the order of serving" in need for need in found.needs["need"])


def test_votes_on_two_tried_together_can_be_told():
    assert preferred(sessions=("day 1", "day 1")).claims["verdict"].tolist() == ["supported as worded"]
