"""What a sentence quotes of a study holds while the study says so, and no longer: who, how many, when, where, how long.

The rule is that of advertising codes: every fact in a sentence is a claim of its own. Each fact is changed by itself;
the sentences that quote it are refused then, all others stand (they quote nothing of it). Sentences sorted by hand.
"""

import pytest

from tests.claims.claim_studies import answer_rows, panel_scores, seeded, study_with, vote_rows, words_judge

USERS = {"who": "adults", "ages": "25 to 60", "sex": "women and men", "staff": "no"}
STATEMENTS = {
    "smooth": {"kind": "agreement", "question": "smooth", "bar": "50"},
    "less sticky": {"kind": "superiority", "attribute": "STICK", "direction": "less", "versus": "L1"},
    "preferred": {"kind": "preference", "versus": "L1", "question": "preferred"},
}
SMOOTH = "agreed that their skin feels smooth"
# sentence: its statement and the facts it quotes; who says no share says that nearly all agreed
SENTENCES = {
    f"84 % of users {SMOOTH}": ("smooth", "share"),
    f"49 of 58 users {SMOOTH}": ("smooth", "share base"),
    f"More than eight in ten of 58 users {SMOOTH}": ("smooth", "share base"),
    f"49 of 58 adults aged 25 to 60 {SMOOTH}": ("smooth", "share base who ages"),
    f"84 % of women and men {SMOOTH}": ("smooth", "share sex"),
    f"In March 2025, 84 % of users {SMOOTH}": ("smooth", "share days"),
    f"In a home-use test, 84 % of users {SMOOTH}": ("smooth", "share place"),
    f"After 7 days 84 % of users {SMOOTH}": ("smooth", "share days length"),
    "My skin feels smooth": ("smooth", "share"),
    "The body lotion leaves your skin feeling smooth": ("smooth", "share kind"),
    "less sticky than our previous body lotion": ("less sticky", "role kind"),
    "less sticky than L1": ("less sticky", ""),
    "12 trained assessors found it less sticky than our previous body lotion": ("less sticky", "panel role kind"),
    "2 minutes after rubbing in, it is less sticky than our previous body lotion": ("less sticky", "minutes role kind"),
    "In a trained-panel test in March 2025 it was less sticky than L1": ("less sticky", "scored"),
    "preferred by 40 of 58 users to our previous body lotion": ("preferred", "votes base role kind"),
    "68 % of users preferred it to our previous body lotion": ("preferred", "votes role kind"),
    "In March 2025, 68 % of users preferred it to our previous body lotion": ("preferred", "votes days role kind"),
    "preferred to our previous body lotion": ("preferred", "role kind"),
}
CHANGED = {
    "share": {"agreed": 44},
    "base": {"agreed": 98, "votes": (80, 26, 10), "asked": 116},
    "votes": {"votes": (42, 11, 5)},
    "who": {"users": USERS | {"who": "gardeners"}},
    "ages": {"users": USERS | {"ages": "18 to 60"}},
    "sex": {"users": USERS | {"sex": "women"}},
    "staff": {"users": USERS | {"staff": "yes"}},
    "days": {"days": ["2025-04-14", "2025-04-27"]},
    "length": {"days": ["2025-03-24", "2025-03-29"]},
    "place": {"place": "hall"},
    "words": {"words": "My skin does not feel dry."},
    "panel": {"assessors": 11},
    "minutes": {"minutes": 5.0},
    "scored": {"scored": "2025-05-14T10:00"},
    "role": {"name": "lotion of another maker", "role": "reference"},
    "kind": {"title": "Evening foot cream"},
}
OF_ALL = {"staff": {"smooth", "preferred"}, "words": {"smooth"}}
"""What every sentence of a statement leans on: that those who answered are no staff, and what they were asked."""
OF_PANEL, OF_BOTH = {"panel", "minutes", "scored"}, {"role", "kind"}


def study_of(agreed=49, asked=58, votes=(40, 13, 5), users=None, days=("2025-03-24", "2025-03-30"), place="home",
             words="My skin feels smooth.", assessors=12, minutes=2.0, scored="2025-03-14T10:00",
             name="previous formula", role="benchmark", title="Evening body lotion"):  # fmt: skip
    """A study of two body lotions whose statements are true, with every fact that a sentence may quote."""
    scores = panel_scores(
        {"STICK": {"L1": 60.0, "L2": 40.0}}, seeded(), assessors=assessors, replicates=3, own_view=2.0, scatter=4.0
    )
    of_people = {"prototype": "L2", "session": place}
    return study_with(
        [],
        scores=[row | {"recorded_at": scored} for row in scores],
        answers=[
            *answer_rows(agreed, asked, question="smooth", **of_people),
            *vote_rows(*votes, versus="L1", **of_people),
        ],
        roles={"L1": role, "L2": "prototype"},
        names={"L1": name},
        attributes=[{"attribute": "STICK", "name": "stickiness", "direction": "less", "minutes": minutes}],
        facts={
            "title": title,
            "users": users or USERS,
            "dates": {f"{place} test": list(days)},
            "questions": [
                {"question": "smooth", "kind": "agreement", "words": words},
                {"question": "preferred", "kind": "preference", "words": "Which of the two do you prefer?"},
            ],
        },
    )


@pytest.mark.parametrize("fact", ["", *CHANGED])
def test_a_sentence_stands_while_what_it_quotes_holds(fact):
    study, judges = study_of(**CHANGED.get(fact, {})), {}
    told = STATEMENTS if fact in ("", *OF_BOTH) else {"less sticky"} if fact in OF_PANEL else {"smooth", "preferred"}
    quoting, refused = set(), set()
    for sentence, (name, quoted) in SENTENCES.items():
        if name not in told:
            continue
        judges[name] = judges.get(name) or words_judge(study, {"prototype": "L2", **STATEMENTS[name]})
        quoting |= {sentence} if fact in quoted.split() or name in OF_ALL.get(fact, ()) else set()
        refused |= set() if judges[name](sentence) else {sentence}
    assert refused == quoting
