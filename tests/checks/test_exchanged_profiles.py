import numpy as np
import pytest

from panel.checks.finding import Finding
from panel.checks.score_patterns import _exchanged_profiles, score_cells
from panel.checks.sound_study import sound_study
from panel.study.study import Study
from tests.studies import crossed_study, small_study

STUDIES = 60


def found(study: Study) -> list[Finding]:
    return _exchanged_profiles(score_cells(sound_study(study)))


def with_scores(study: Study, scores) -> Study:
    return Study(dict(study.tables) | {"scores": scores}, study.facts)


def exchanged(study: Study, assessor="A03", session="2", pair=("P02", "P05")) -> Study:
    scores = study.scores.copy()
    rows = (scores["assessor"] == assessor) & (scores["session"] == session)
    first, second = pair
    scores.loc[rows, "prototype"] = scores.loc[rows, "prototype"].replace({first: second, second: first})
    return with_scores(study, scores)


def test_exchanged_profiles_are_noted_with_person_session_and_pair():
    study = exchanged(crossed_study(np.random.default_rng(5), difference_sd=15.0))
    (finding,) = found(study)
    assert (finding.severity, finding.kind) == ("note", "profiles_exchanged")
    assert finding.where == "scores: A03, session 2, P02 and P05"
    assert finding.message == (
        "The profiles of P02 and P05 look exchanged: over all attributes they differ the opposite way to this "
        "assessor's other sessions, more than chance would give in one study out of twenty."
    )
    assert finding.advice == (
        "It may be chance. Compare codes and ballots of the two samples before you think of a correction."
    )


def test_of_two_sessions_nobody_can_say_which():
    study = exchanged(crossed_study(np.random.default_rng(5), sessions=2, difference_sd=20.0))
    (finding,) = found(study)
    assert finding.where == "scores: A03, session 1 or 2, P02 and P05"


@pytest.mark.parametrize("careless", [False, True])
@pytest.mark.parametrize("size", [{}, {"assessors": 6, "prototypes": 5, "attributes": 8, "sessions": 2}])
def test_honest_studies_are_rarely_noted(size, careless):
    """The rule promises a false note in fewer than one honest study in twenty, careless assessors included."""
    told = 0
    for seed in range(STUDIES):
        rng = np.random.default_rng(seed)
        study = crossed_study(rng, **size)
        if careless:
            scores = study.scores.copy()
            mine = scores["assessor"] == "A02"
            scores.loc[mine, "score"] += rng.normal(0, 16, mine.sum())
            study = with_scores(study, scores)
        told += bool(found(study))
    # binomial with probability 0.05: more than 7 of 60 has probability 0.01
    assert told <= 7


def test_the_rule_finds_most_exchanges_of_unlike_prototypes():
    hits = sum(
        any(f.where == "scores: A03, session 2, P02 and P05" for f in found(exchanged(study)))
        for study in (crossed_study(np.random.default_rng(seed), difference_sd=15.0) for seed in range(20))
    )
    assert hits >= 14  # about nine in ten on 200 studies; fewer than 14 of 20 would be a worse rule


def test_prototypes_that_nobody_can_tell_apart_are_never_exchanged():
    rng = np.random.default_rng(11)
    told = sum(bool(found(exchanged(crossed_study(rng, difference_sd=0.0)))) for _ in range(20))
    assert told <= 3


def test_the_level_of_a_session_does_not_matter():
    study = exchanged(crossed_study(np.random.default_rng(5), difference_sd=15.0))
    scores = study.scores.copy()
    scores.loc[scores["session"] == "2", "score"] += 20
    assert [f.where for f in found(with_scores(study, scores))] == [f.where for f in found(study)]


def test_missing_cells_do_not_matter():
    study = exchanged(crossed_study(np.random.default_rng(5), difference_sd=15.0))
    rng = np.random.default_rng(1)
    scores = study.scores[rng.random(len(study.scores)) > 0.1].reset_index(drop=True)
    assert [f.where for f in found(with_scores(study, scores))] == ["scores: A03, session 2, P02 and P05"]


@pytest.mark.parametrize(
    "size", [{"sessions": 1}, {"prototypes": 3}, {"attributes": 2}, {"assessors": 1, "sessions": 1}]
)
def test_too_little_of_anything_gives_no_note(size):
    assert found(crossed_study(np.random.default_rng(5), **size)) == []


def test_scores_that_never_vary_give_no_note():
    study = crossed_study(np.random.default_rng(5))
    assert found(with_scores(study, study.scores.assign(score=50.0))) == []


def test_a_study_that_fills_too_little_of_its_plan_gives_no_note():
    study = crossed_study(np.random.default_rng(5), assessors=30, prototypes=8, attributes=4, sessions=1)
    scores = study.scores.assign(session=study.scores["assessor"] + study.scores["prototype"])
    assert found(with_scores(study, scores)) == []


def test_the_clean_small_study_gives_no_note():
    assert found(small_study()) == []
