"""Written corrections: the score stays, the analysis uses the new value, and every refusal says what to do."""

import pandas as pd
import pytest

from panel.errors import StudyError
from panel.study.renaming import with_row_corrected
from panel.study.scores_used import scores_used, with_correction
from panel.study.study import Study
from tests.studies import small_study

PLACE = {"assessor": "A02", "session": "2", "prototype": "P4", "attribute": "AF_GREASE"}
WORDS = {"who": "panel leader", "why": "ballot says so", "when": "2025-04-01T10:00"}


def value_used(study):
    frame = scores_used(study).frame
    at = (frame[list(PLACE)] == list(PLACE.values())).all(axis=1)
    return frame.loc[at, "score"].tolist()


@pytest.mark.parametrize(("typed", "value"), [("33,0", 33.0), ("12.345", 12.345), ("7", 7.0), ("1e1", 10.0)])
def test_the_analysis_uses_the_new_value_and_the_score_stays(typed: str, value: float):
    study = small_study()
    corrected = with_correction(study, PLACE, new=typed, **WORDS)
    assert value_used(corrected) == [value]
    assert corrected.scores.equals(study.scores)
    assert corrected.content_hash != study.content_hash


def test_an_empty_value_sets_the_score_aside():
    corrected = with_correction(small_study(), PLACE, new="", **WORDS)
    assert value_used(corrected) == []
    assert len(scores_used(corrected).set_aside) == 1


def test_the_last_correction_counts_and_each_says_what_stood_there_before():
    study = small_study()
    before = value_used(study)[0]
    twice = with_correction(with_correction(study, PLACE, new="12,5", **WORDS), PLACE, new="14", **WORDS)
    assert value_used(twice) == [14.0]
    old = twice.table("corrections")["old"].tolist()
    assert [float(text) for text in old] == [before, 12.5]


@pytest.mark.parametrize("missing", ["who", "why"])
def test_name_and_reason_are_asked_for(missing: str):
    with pytest.raises(StudyError, match="needs a name and a reason"):
        with_correction(small_study(), PLACE, new="7", **{**WORDS, missing: " "})


def test_a_place_must_name_one_score():
    with pytest.raises(StudyError, match="names no score of this study"):
        with_correction(small_study(), {**PLACE, "assessor": "A99"}, new="7", **WORDS)
    with pytest.raises(
        StudyError,
        match=r"names 2 scores of this study, in rows \d+ and (\d+)\. Choose assessor, session.*correct row=\1 new=",
    ):
        with_correction(small_study(), {**PLACE, "session": ""}, new="7", **WORDS)


def test_a_text_is_no_score():
    with pytest.raises(StudyError, match="The new score cannot be read"):
        with_correction(small_study(), PLACE, new="wet", **WORDS)


def test_the_line_of_a_file_that_tells_two_rows_apart_is_a_whole_number_and_an_older_key_still_holds():
    """The key names line 724, not 724.0 as it was written before."""
    twice = pd.DataFrame(
        {"assessor": "A1", "prototype": "P1", "attribute": "greasy", "score": [3.0, 4.0], "raw_line": [723.0, 724.0]}
    )
    study = Study({"scores": twice})
    by = {"new": "5", "who": "Test leader", "why": "ballot", "when": "2025-01-01T10:00:00+00:00"}
    corrected = with_row_corrected(study, 3, **by)
    key = corrected.table("corrections")["key"].iloc[0]
    assert key.endswith("; raw_line=724")
    assert scores_used(corrected).frame["score"].tolist() == [3.0, 5.0]
    older = corrected.table("corrections").assign(key=f"{key}.0")
    assert scores_used(Study({**corrected.tables, "corrections": older})).frame["score"].tolist() == [3.0, 5.0]
