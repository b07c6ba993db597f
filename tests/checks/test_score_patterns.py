import numpy as np
import pandas as pd
import pytest

from panel.checks.score_patterns import (
    _CHANCE_PER_STUDY,
    _chance_of_line,
    _entered_twice,
    _nearly_twice,
    score_cells,
    straight_lines,
)
from panel.checks.sound_study import sound_study
from panel.study.study import Study
from tests.checks.planted import new_findings, rows_of, table, the_one, with_cells
from tests.studies import crossed_study, small_study

ADVICE = (
    "Ask the assessor, and look at the raw ballot. Leave the scores out only by a rule recorded before unblinding, and "
    "show both results."
)


def scored_alike(score, **cells):
    rows = rows_of(table("scores"), **cells)
    return with_cells("scores", rows, score=score)


def test_one_score_for_all_attributes_of_a_sample_is_told():
    finding = the_one(scored_alike(47.0, assessor="A02", session="1", prototype="P3"))
    assert (finding.severity, finding.kind) == ("warning", "same_score_all_attributes")
    assert finding.where == "scores: A02, session 1, P3"
    assert finding.message == "The same score, 47, for all attributes of the sample (3 scores)."
    assert finding.advice == ADVICE


def test_one_score_for_all_prototypes_of_an_attribute_is_told():
    finding = the_one(scored_alike(47.0, assessor="A02", session="1", attribute="AF_STICK"))
    assert (finding.severity, finding.kind) == ("warning", "same_score_all_prototypes")
    assert finding.where == "scores: A02, session 1, stickiness"
    assert finding.message == "The same score, 47, for all prototypes of the attribute (4 scores)."
    assert finding.advice == ADVICE


def test_one_score_for_a_whole_session_is_told_once():
    finding = the_one(scored_alike(47.0, assessor="A02", session="1"))
    assert (finding.severity, finding.kind) == ("warning", "same_score_throughout")
    assert finding.where == "scores: A02, session 1"
    assert finding.message == "The same score, 47, for every sample and attribute of the session (12 scores)."


def test_many_lines_of_one_assessor_give_one_finding():
    scores = table("scores")
    mine = scores["assessor"] == "A02"
    level = scores.loc[mine, "prototype"].map({"P1": 41.3, "P2": 22.7, "P3": 35.1, "P4": 18.9})
    scores.loc[mine, "score"] = level + scores.loc[mine, "session"].astype(float)
    finding = the_one(small_study(scores=scores))
    assert finding.message == "8 times the same score for all attributes of the sample; the first time 23.7."
    assert finding.where.endswith("; and 5 more")


def test_honest_scores_on_nine_points_are_rarely_told():
    """On a coarse scale equal scores come by chance; the rule promises lines in fewer than one study in twenty."""
    told = 0
    studies = 60
    for seed in range(studies):
        rng = np.random.default_rng(seed)
        study = crossed_study(rng, assessors=8, prototypes=4, attributes=6, sessions=2)
        scores = study.scores.assign(score=rng.integers(1, 10, len(study.scores)).astype(float))
        cells = score_cells(
            sound_study(Study(dict(study.tables) | {"scores": scores}, {"scale_min": 1, "scale_max": 9}))
        )
        told += bool(straight_lines(cells))
    # binomial with probability 0.05 each for two kinds of lines: more than 12 of 60 has probability 0.006
    assert told <= 12


def test_a_floor_that_everybody_sees_is_no_line():
    scores = table("scores")
    scores.loc[scores["attribute"] == "AF_STICK", "score"] = 0.0
    kinds = {finding.kind for finding in new_findings(small_study(scores=scores))}
    assert kinds == {"scores_at_lowest_end"}


def test_the_chance_of_a_line_is_that_of_the_others_scores_or_of_ones_own():
    # the others gave 1, 1, 2, 2, 2, 4: three equal ones come with probability (2^3 + 3^3 + 1^3) / 6^3
    score = np.array([1.0, 1, 2, 2, 2, 4, 7, 7, 7])
    assessor = np.array([0, 0, 0, 1, 1, 1, 2, 2, 2])
    line = np.array([6]), np.array([3])
    chance = _chance_of_line(score, assessor, np.zeros(9, dtype=np.int64), score == 7, *line)
    assert chance == pytest.approx([(8 + 27 + 1) / 216], rel=1e-12)
    # outside the line the assessor gave 7, 7, 7 and 8: of the four ways to leave one out, one is three equal ones
    score, assessor = np.append(score, [7.0, 7.0, 7.0, 8.0]), np.append(assessor, [2, 2, 2, 2])
    in_line = np.arange(13) // 3 == 2
    chance = _chance_of_line(score, assessor, np.zeros(13, dtype=np.int64), in_line, *line)
    assert chance == pytest.approx([1 / 4], rel=1e-12)


def test_a_single_assessor_who_gives_one_score_throughout_has_nothing_to_be_judged_by():
    scores = table("scores")
    alone = scores[scores["assessor"] == "A01"].assign(score=40.0, session="1").reset_index(drop=True)
    assert straight_lines(score_cells(sound_study(small_study(scores=alone)))) == []
    assert _CHANCE_PER_STUDY < 1


def test_without_scores_there_are_no_lines():
    assert straight_lines(score_cells(sound_study(small_study(scores=None)))) == []


def copied(whose, as_whose, **cells):
    """The clean study with the scores of some rows laid over those of others, prototype and attribute alike."""
    scores = table("scores")
    keys = ["prototype", "attribute", *(["session"] if "assessor" in whose else [])]
    source, goal = rows_of(scores, **whose, **cells), rows_of(scores, **as_whose, **cells)
    given = scores[source].set_index(keys)["score"]
    scores.loc[goal, "score"] = given.loc[pd.MultiIndex.from_frame(scores.loc[goal, keys])].to_numpy()
    return small_study(scores=scores)


def test_a_sheet_entered_under_two_codes_is_told_once():
    found = new_findings(copied({"assessor": "A02"}, {"assessor": "A03"}))
    (finding,) = (each for each in found if each.kind == "scores_entered_twice")
    assert (finding.severity, finding.where) == ("warning", "scores: A02")
    size = int((table("scores")["assessor"] == "A02").sum())
    assert finding.message == f"The same {size} scores for A02 and A03: each prototype and attribute alike."
    assert (
        finding.advice == "See whether one sheet was entered twice, or one person has two codes; keep what was given."
    )


def test_one_session_entered_as_the_next_is_told():
    found = new_findings(copied({"session": "1"}, {"session": "2"}, assessor="A02"))
    (finding,) = (each for each in found if each.kind == "scores_entered_twice")
    assert finding.message.endswith("scores for A02, session 1 and A02, session 2: each prototype and attribute alike.")


def test_one_score_less_makes_no_copy_and_order_of_rows_makes_no_difference():
    study = copied({"assessor": "A02"}, {"assessor": "A03"})
    scores = study.scores.copy()
    shuffled = small_study(scores=scores.sample(frac=1, random_state=3).reset_index(drop=True))
    assert "scores_entered_twice" in {each.kind for each in new_findings(shuffled)}
    for session in scores["session"].unique():
        scores.loc[rows_of(scores, assessor="A03", session=session).idxmax(), "score"] += 3
    assert "scores_entered_twice" not in {each.kind for each in new_findings(small_study(scores=scores))}


def test_people_who_agree_on_a_short_scale_are_rarely_taken_for_copies():
    """The rule promises fewer than one honest study in twenty; on five points, with prototypes far apart."""
    told = 0
    for seed in range(FIVE_POINT_STUDIES):
        study = crossed_study(
            np.random.default_rng(seed), assessors=8, prototypes=4, attributes=2, sessions=2, difference_sd=25
        )
        scores = study.scores.assign(score=np.clip(np.rint(study.scores["score"] / 20), 1, 5))
        cells = score_cells(sound_study(Study(dict(study.tables) | {"scores": scores}, study.facts)))
        told += bool(_entered_twice(cells))
    assert told <= FIVE_POINT_STUDIES * _CHANCE_PER_STUDY


FIVE_POINT_STUDIES = 60


def in_steps(chosen):
    scores = table("scores")
    scores.loc[chosen, "score"] = (scores.loc[chosen, "score"] / 20).round() * 20
    return small_study(scores=scores)


def test_an_attribute_scored_in_five_steps_is_noted():
    finding = the_one(in_steps(table("scores")["attribute"] == "AF_GREASE"))
    assert (finding.severity, finding.kind) == ("note", "scale_used_in_steps")
    assert finding.where == "scores, attribute greasy film"
    assert finding.message == "Only 4 different scores are used: 20, 40, 60 and 80."
    assert finding.advice.startswith("The scale was used in steps; small differences cannot show.")


def test_an_assessor_who_scores_in_five_steps_is_noted():
    finding = the_one(in_steps(table("scores")["assessor"] == "A03"))
    assert finding.where == "scores, assessor A03"
    assert finding.message == "Only 4 different scores are used: 20, 40, 60 and 80."


def test_an_attribute_whose_scores_never_differ_is_noted():
    scores = table("scores")
    scores.loc[scores["attribute"] == "AF_GREASE", "score"] = 50.0
    finding = the_one(small_study(scores=scores))
    assert (finding.kind, finding.where) == ("scale_used_in_steps", "scores, attribute greasy film")
    assert finding.message == "Every score is the same: 50."


def test_a_scale_made_of_steps_is_not_noted():
    scores = table("scores")
    scores["score"] = (scores["score"] / 20).round()
    attributes = table("attributes").assign(scale_max=9.0)
    assert new_findings(small_study(scores=scores, attributes=attributes)) == []


@pytest.mark.parametrize(("end", "limit", "sign"), [("lowest", 0.0, -1), ("highest", 100.0, 1)])
def test_scores_piled_at_an_end_are_noted(end, limit, sign):
    scores = table("scores")
    rows = scores.index[scores["attribute"] == "AF_GREASE"]
    ordered = scores.loc[rows, "score"].mul(-sign).sort_values(kind="stable").index
    assert new_findings(with_cells("scores", ordered[:6], score=limit)) == []
    finding = the_one(with_cells("scores", ordered[:7], score=limit))
    assert (finding.severity, finding.kind) == ("note", f"scores_at_{end}_end")
    assert finding.where == "scores, attribute greasy film"
    assert finding.message == f"7 of 32 scores are the {end} possible score."
    assert finding.advice.startswith("Prototypes beyond that end look alike")


def test_few_scores_make_no_pile():
    scores = table("scores").iloc[:27].assign(score=0.0)
    kinds = [finding.kind for finding in new_findings(small_study(scores=pd.DataFrame(scores)))]
    assert "scores_at_lowest_end" not in kinds


def with_noisy_copy(study, noise, seed=1):
    """Return the study with the sheet of A01 in place of that of A02, each score moved a little."""
    scores = study.scores.sort_values(["assessor", "prototype", "attribute", "session"], ignore_index=True)
    own = scores.loc[scores["assessor"] == "A01", "score"].to_numpy()
    moved = np.round(own + np.random.default_rng(seed).normal(0, noise, len(own)), 1)
    scores.loc[scores["assessor"] == "A02", "score"] = moved
    return Study({**study.tables, "scores": scores}, study.facts)


def test_a_sheet_entered_again_with_small_changes_is_told():
    plain = crossed_study(np.random.default_rng(4), assessors=8, prototypes=4, attributes=6, sessions=2)
    study = with_noisy_copy(plain, 2.0)
    (finding,) = _nearly_twice(score_cells(study))
    assert (finding.severity, finding.kind, finding.where) == ("warning", "scores_nearly_twice", "scores: A01")
    rows = study.scores
    # the correlation a second way: what is left of a least squares fit of a person's own means, by dummy columns
    cells = [["assessor", "prototype"], ["assessor", "session"]]
    columns = [pd.get_dummies(rows[[*by, "attribute"]].agg("|".join, axis=1)).to_numpy(float) for by in cells]
    whole, score = np.hstack(columns), rows["score"].to_numpy()
    left = pd.Series(score - whole @ np.linalg.lstsq(whole, score, rcond=None)[0])
    left -= left.groupby([rows["prototype"], rows["session"], rows["attribute"]]).transform("median")
    spread = 1.4826 * left.abs().groupby(rows["attribute"]).transform("median")
    left = (left / spread).clip(-2, 2).to_numpy()
    first, second = (left[(rows["assessor"] == name).to_numpy()] for name in ("A01", "A02"))
    assert f"(correlation {np.corrcoef(first, second)[0, 1]:.2f})" in finding.message
    assert finding.message.startswith("The scores of A01 and A02 go up and down together from session to session")


@pytest.mark.parametrize("steps", [0, 25])
def test_honest_people_are_hardly_ever_taken_for_one(steps):
    # simulation with known truth: nobody copied, people who agree well, on a line and on five points
    rng = np.random.default_rng(9)
    told = 0
    for _ in range(60):
        study = crossed_study(rng, assessors=8, prototypes=4, attributes=3, sessions=2)
        if steps:
            study = Study(
                {**study.tables, "scores": study.scores.assign(score=(study.scores["score"] / steps).round())}
            )
        told += bool(_nearly_twice(score_cells(study)))
    assert told <= 4  # wanted: below one study in twenty; 60 at 5 % pass 4 with a chance of 82 %, at 2 % of 99 %


def test_two_people_of_whom_nobody_else_tells_are_left_alone():
    plain = crossed_study(np.random.default_rng(4), assessors=2, prototypes=4, attributes=6, sessions=2)
    assert _nearly_twice(score_cells(with_noisy_copy(plain, 2.0))) == []
