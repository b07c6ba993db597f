"""What each pair and each swap cannot be told from; the rank of the whole design, row by row, is the judge."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from panel.checks.all_checks import check_study
from panel.checks.confounds import (
    _PARTLY_BELOW,
    OF_TEST,
    WHOLLY,
    _score_facts,
    answer_confounds,
    confounds_of,
    find_confounds,
    labels,
    making_confounds,
    untold_findings,
)
from panel.study.study import Numbered, Study
from tests.studies import crossed_study, small_study


def split_study(**facts):
    """Return six prototypes, three served in session 1 only, three in session 2 only."""
    study = crossed_study(np.random.default_rng(4), assessors=5, prototypes=6, attributes=2, sessions=2)
    first = study.scores["prototype"].isin(["P01", "P02", "P03"])
    kept = study.scores.loc[first == (study.scores["session"] == "1")].reset_index(drop=True)
    return Study(
        dict(study.tables) | {"scores": kept, "servings": study.table("servings").iloc[:0]}, study.facts | facts
    )


def by_rank(facts, factor, first, second):
    """Return whether the difference has an estimate with the factor as fixed, by the ranks of the rows themselves."""
    rows = facts.loc[facts[factor] != ""] if factor != "session" else facts
    columns = pd.concat([pd.get_dummies(rows["prototype"]), pd.get_dummies(rows[factor])], axis=1).to_numpy(float)
    names = list(pd.get_dummies(rows["prototype"]).columns)
    contrast = np.zeros(columns.shape[1])
    contrast[names.index(first)], contrast[names.index(second)] = 1, -1
    return np.linalg.matrix_rank(np.vstack([columns, contrast])) == np.linalg.matrix_rank(columns)


@pytest.mark.parametrize("seed", range(25))
def test_wholly_confounded_pairs_are_those_without_an_estimate(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(6, 20))
    facts = pd.DataFrame({"attribute": "T", "prototype": rng.choice(["P1", "P2", "P3", "P4", "P5"], n)}, dtype="str")
    for factor in OF_TEST:
        facts[factor] = [str(level) for level in rng.integers(0, 4, n)]
    found = confounds_of({name: labels(facts[name]) for name in facts})
    told = found.pairs.loc[found.pairs["kind"] == WHOLLY]
    lost = {(row["factor"], *sorted((row["prototype"], row["versus"]))) for row in told.to_dict("records")}
    names = sorted(set(facts["prototype"]))
    expected = {
        (factor, first, second)
        for factor in OF_TEST
        for first, second in combinations(names, 2)
        if len(set(facts[factor])) > 1 and not by_rank(facts, factor, first, second)
    }
    assert lost == expected
    partly = found.pairs.loc[found.pairs["kind"] != WHOLLY, "share_left"]
    assert ((partly > 0) & (partly < _PARTLY_BELOW)).all()


def test_prototypes_split_over_two_sessions_are_found_and_said():
    study = split_study()
    found = find_confounds(study)
    session = found.pairs.loc[found.pairs["factor"] == "session"]
    assert len(session) == 9  # 3 x 3 pairs
    assert (session["sessions_joint"] == 0).all()
    assert set(session["attribute"]) == {""}
    assert sorted(set(found.sets["T01"].values())) == [0, 1]
    (finding,) = [finding for finding in check_study(study) if finding.kind == "prototypes_and_session"]
    assert finding.severity == "warning"
    assert finding.message == (
        "9 of 15 pairs cannot be told from the session (P01 and P04, P01 and P05, P01 and P06 and 6 more). The first: "
        "P01 and P04 were never served in one session, and no others join their sessions: what looks like the "
        "prototypes may be the session."
    )
    assert finding.advice == "Their verdict is 'cannot tell'. Serve P01 and P04 together in one session."


def test_where_no_pair_is_joined_the_finding_stops():
    study = crossed_study(np.random.default_rng(4), assessors=5, prototypes=2, attributes=1, sessions=2)
    own = study.scores["prototype"] == "P01"
    kept = study.scores.loc[own == (study.scores["session"] == "1")].reset_index(drop=True)
    study = Study({"scores": kept}, study.facts)
    (finding,) = [f for f in untold_findings(find_confounds(study)) if f.kind == "prototypes_and_session"]
    assert finding.severity == "stop"


def test_one_prototype_in_both_sessions_joins_the_others():
    study = split_study()
    more = study.scores.loc[study.scores["prototype"] == "P01"].assign(session="2")
    joined = Study(dict(study.tables) | {"scores": pd.concat([study.scores, more], ignore_index=True)}, study.facts)
    found = find_confounds(joined)
    rows = found.by_pair()
    kinds = [
        kind
        for name in ("", "T01")
        for factor, kind, _ in rows.get((name, frozenset(("P05", "P02"))), ())
        if factor == "session"
    ]
    assert kinds == ["partly"]
    assert found.untold("T01", "P05", "P02").empty
    assert all(set(own.values()) == {0} for own in found.sets.values())


def test_a_test_day_counts_where_it_is_the_moment_of_scoring_and_not_of_typing():
    study = split_study()
    day = study.scores["session"].map({"1": "2025-03-13T10:00", "2": "2025-03-14T10:00"})
    blank = study.scores.assign(session="", recorded_at=day)
    on_the_spot = find_confounds(Study({"scores": blank.assign(source="ballot")}, {}))
    assert set(on_the_spot.pairs["factor"]) >= {"test day"}
    typed = find_confounds(Study({"scores": blank.assign(source="typed")}, {}))
    assert "test day" not in set(typed.pairs["factor"])


def test_groups_of_assessors_who_scored_different_prototypes():
    study = split_study()
    names = {"P01", "P02", "P03"}
    scores = study.scores.assign(session="")
    first = scores["prototype"].isin(names)
    who = scores["assessor"].where(first, "B" + scores["assessor"])
    people = sorted(set(who))
    assessors = pd.DataFrame(
        {
            "assessor": people,
            "kind": "trained",
            "group": ["south" if p[0] == "B" else "north" for p in people],
            "avoid": "",
        }
    )
    found = find_confounds(Study({"scores": scores.assign(assessor=who), "assessors": assessors}, {}))
    rows = found.untold("T01", "P04", "P01")
    assert rows["factor"].tolist() == ["group of assessors"]
    assert rows["because"].iloc[0].startswith("no group of assessors scored both P01 and P04")


def test_batches_of_scores_are_those_named_or_the_only_one():
    study = small_study()
    scores = study.scores.assign(batch="")
    facts = _score_facts(study, Numbered(scores))
    assert set(facts["batch"][1]) == {"P1-1", "P2-1", "P3-1", "P4-1"}
    found = find_confounds(small_study(scores=scores))
    assert found.one_batch
    two = pd.concat([study.table("batches"), study.table("batches").assign(batch=lambda b: b["prototype"] + "-2")])
    unsure = find_confounds(small_study(batches=two.reset_index(drop=True), scores=scores))
    assert unsure.batches == {}
    named = study.scores.assign(batch=study.scores["prototype"] + "-" + study.scores["session"])
    known = find_confounds(small_study(batches=two.reset_index(drop=True), scores=named))
    assert not known.one_batch
    assert "batch" not in set(known.pairs["factor"])


def test_answers_and_batches_alone_are_asked_the_same():
    rows = pd.DataFrame(
        {
            "prototype": ["P1", "P2"] * 4,
            "session": ["1", "2"] * 4,
            "position": [1.0, 1.0, 2.0, 2.0] * 2,
        }
    )
    found = answer_confounds(rows)
    assert found.untold("", "P2", "P1")["factor"].tolist() == ["session"]
    assert not found.with_batches
    made = making_confounds(small_study())
    assert set(made.pairs["factor"]) == {"making day", "batch"}


def test_no_scores_give_no_rows():
    found = find_confounds(Study({}, {}))
    assert found.pairs.empty
    assert found.swaps.empty


def test_a_swap_partly_tied_to_the_position_is_credited_only_where_orders_are_as_by_lot():
    facts = {"position": ["1", "2", "1", "2", "1", "2", "2", "1"], "prototype": ["P1", "P2"] * 4}
    swaps = pd.DataFrame({"swap": ["A → B"], "prototype": ["P2"], "versus": ["P1"]})
    found = confounds_of({name: labels(pd.Series(own)) for name, own in facts.items()}, swaps=lambda: swaps)
    assert found.of_swap("", "A → B")["kind"].tolist() == ["partly"]
    assert found.not_credited("", "A → B").empty
    assert replace(found, uneven_orders=True).not_credited("", "A → B")["factor"].tolist() == ["position"]
