import time
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from data_demo.make_demo import make_study
from panel.checks.all_checks import check_study
from panel.checks.finding import SEVERITIES, Finding, findings_table
from panel.study.study import UNREAD_COLUMNS, Study
from panel.study.tables import TABLES
from tests.checks.planted import CLEAN, rows_of, table
from tests.studies import crossed_study, small_study

CLEAN_NAMES = tuple(small_study().tables)
SLOWEST = 3.0  # seconds for 230,000 rows; it takes about half a second


def test_a_clean_study_gets_notes_only_each_with_a_reason():
    assert {finding.severity for finding in CLEAN} == {"note"}
    # one batch of each prototype limits what may be concluded; the cautions come with the ingredients
    assert {finding.kind for finding in CLEAN} == {"one_batch_each", "caution_preservative"}


def test_the_gravest_comes_first_and_the_order_is_always_the_same():
    scores = table("scores")
    scores.loc[40, "score"] = 330.0
    study = small_study(scores=scores, readings=pd.DataFrame({"sample": ["P1"]}))
    found = check_study(study)
    ranks = [SEVERITIES.index(finding.severity) for finding in found]
    assert ranks == sorted(ranks)
    assert found[0].kind == "table_not_understood"
    assert found == check_study(study)
    assert findings_table(found)["kind"].tolist() == [finding.kind for finding in found]


def test_several_faults_at_once_are_all_told():
    scores, batches = table("scores"), table("batches")
    scores.loc[rows_of(scores, assessor="A02", session="2", prototype="P4", attribute="AF_GREASE"), "score"] = 330.0
    scores.loc[rows_of(scores, assessor="A03", session="1", prototype="P2", attribute="RO_ABS"), "score"] = np.nan
    scores = scores[~rows_of(scores, assessor="A04", session="2")].reset_index(drop=True)
    batches["made_on"] = ["2025-03-10T10:00", "2025-03-10T10:00", "2025-03-11T10:00", "2025-03-12T14:00"]
    found = [finding for finding in check_study(small_study(scores=scores, batches=batches)) if finding not in CLEAN]
    assert [finding.kind for finding in found] == [
        "batch_too_young",
        "making_day_and_swap",
        "score_outside_scale",
        "score_blank",
        "session_missed",
    ]


def test_an_empty_study_is_stopped_not_broken():
    found = check_study(Study({}))
    assert found[0].severity == "stop"
    assert found[0].kind == "no_scores"


def test_two_hundred_thousand_rows_take_seconds():
    study = crossed_study(np.random.default_rng(1), assessors=342, sessions=6)
    began = time.process_time()  # of the processor, for other programs may be running
    check_study(study)
    assert time.process_time() - began < SLOWEST


odd_cells = st.one_of(
    st.sampled_from(
        ["", " ", "P1", "P9", "A01", "0", "-1", "1e400", "330", "nan", "2025-03-10", "0000-00-00", "é;=", "="]
    ),
    st.text(max_size=6),
    st.floats(width=32),
    st.none(),
)


@st.composite
def damaged_studies(draw):
    """Draw the clean study with a few things gone wrong in its tables, facts and list of unread cells."""
    study = small_study()
    tables = {name: frame.copy() for name, frame in study.tables.items()}
    for _ in range(draw(st.integers(1, 6))):
        name = draw(st.sampled_from(CLEAN_NAMES))
        if name in tables:
            tables[name] = draw(damage(tables[name]))
        if draw(st.booleans()) and draw(st.booleans()):
            tables.pop(name, None)
    for name in draw(st.lists(st.sampled_from([*TABLES, "extra"]), max_size=2)):
        columns = TABLES[name].column_names if name in TABLES else ("x", "y")
        tables[name] = draw(small_tables(columns))
    facts = draw(st.dictionaries(st.sampled_from(["scale_min", "scale_max", "benchmark", "rules"]), odd_cells))
    unread = draw(
        st.lists(
            st.tuples(st.sampled_from([*TABLES, "x"]), st.sampled_from(["2", "x", "-5", "99999"]), *[odd_cells] * 3),
            max_size=4,
        )
    )
    frame = pd.DataFrame(unread, columns=["table", "row", "column", "text", "reason"]).astype("str").fillna("")
    return Study(tables, dict(study.facts) | facts, frame)


@st.composite
def small_tables(draw, columns):
    rows = draw(st.lists(st.tuples(*[odd_cells] * len(columns)), max_size=3))
    return pd.DataFrame(rows, columns=list(columns), dtype="object")


@st.composite
def damage(draw, frame):
    """Draw one way in which a table goes wrong."""
    kind = draw(st.sampled_from(["cell", "column", "same", "gone", "rows", "again", "shuffled", "empty", "renamed"]))
    if frame.empty or not len(frame.columns):
        return frame
    column = draw(st.sampled_from(list(frame.columns)))
    row = draw(st.integers(0, len(frame) - 1))
    odd = draw(odd_cells)
    if kind == "cell":
        frame = frame.astype({column: "object"})
        frame.iloc[row, list(frame.columns).index(column)] = odd
        return frame
    if kind in ("column", "same"):
        return frame.assign(**{column: odd if kind == "column" else frame[column].iloc[row]})
    if kind == "gone":
        return frame.drop(columns=column)
    if kind == "renamed":
        return frame.rename(columns={column: f"{column}_old"})
    chosen = {
        "rows": frame.index[row:],
        "again": [*frame.index, *frame.index[: row + 1]],
        "shuffled": draw(st.permutations(list(frame.index))),
        "empty": [],
    }[kind]
    return frame.loc[list(chosen)]


@settings(max_examples=40, deadline=None)
@given(damaged_studies())
def test_no_content_of_the_tables_makes_the_checks_raise(study):
    found = check_study(study)
    assert all(isinstance(finding, Finding) for finding in found)
    assert [SEVERITIES.index(f.severity) for f in found] == sorted(SEVERITIES.index(f.severity) for f in found)
    for finding in found:
        assert finding.kind
        assert finding.where
        assert finding.message
        assert finding.advice


def test_a_scale_that_is_no_number_does_not_make_a_score_that_cannot_be_read_raise():
    unread = pd.DataFrame([("scores", "2", "score", "4o", "no number")], columns=list(UNREAD_COLUMNS))
    study = replace(small_study(), facts={"scale_min": "none", "scale_max": "100"}, unread=unread)
    attributes = study.table("attributes").assign(scale_min=np.nan, scale_max=np.nan)
    found = check_study(replace(study, tables={**study.tables, "attributes": attributes}))
    assert "cell_not_read" in {finding.kind for finding in found}


def test_sources_of_scores_that_are_numbers_do_not_make_the_checks_raise():
    study = small_study()
    odd = Study({**study.tables, "scores": study.scores.assign(source=0.5)}, study.facts)
    assert {finding.kind for finding in check_study(odd)} >= {finding.kind for finding in check_study(study)}


def test_lines_of_the_file_that_are_no_numbers_do_not_make_the_checks_raise():
    study = small_study()
    texts = ["330", *map(str, study.scores["score"][1:])]  # one alone: of more it is the scale that is wrong
    odd = Study({**study.tables, "scores": study.scores.assign(raw_line="", score=texts)}, study.facts)
    assert any(finding.where.startswith("scores, row 2") for finding in check_study(odd))


@pytest.mark.parametrize("short", ["1", "row", "scores", "session", "A.1|"])
def test_only_an_attribute_is_called_by_its_words_whatever_else_has_the_same_sign(short):
    study = small_study()
    called = {"attribute": {"AF_GREASE": short}}
    tables = {name: study.table(name).replace(called) for name in ("attributes", "scores")}
    scores = tables["scores"].replace({"session": {"1": "1"}, "assessor": {"A01": "1"}})
    row = scores.index[scores["attribute"] == short][0]
    scores.loc[row, "score"] = 330.0
    found = check_study(replace(study, tables={**study.tables, **tables, "scores": scores}))
    (finding,) = [each for each in found if each.kind == "score_outside_scale"]
    assert finding.where == f"scores, row {row + 2}: 1, session 1, P1, greasy film"


def test_a_name_that_a_spreadsheet_would_calculate_is_told():
    scores = table("scores")
    for name in ("=1+1", "+cmd|' /C calc'!A0", "-2", "@SUM(A1)"):
        renamed = scores.assign(assessor=scores["assessor"].replace("A01", name))
        people = pd.DataFrame({"assessor": renamed["assessor"].unique()})
        found = check_study(small_study(scores=renamed, assessors=people, servings=None))
        (told,) = [finding for finding in found if finding.kind == "name_calculated"]
        assert told.message.startswith(f"{name}: a spreadsheet program that opens a file of the study takes such names")


def kinds_with(study: Study, answers: pd.DataFrame) -> dict[str, str]:
    more = pd.concat([study.table("answers"), answers], ignore_index=True)
    return {each.kind: each.message for each in check_study(replace(study, tables={**study.tables, "answers": more}))}


def test_answers_that_were_brought_twice_under_two_names_are_told_once():
    study = make_study()[0]
    answers = study.table("answers")
    assert "answers_alike" not in kinds_with(study, answers.iloc[:0])
    for kind, rows in answers.groupby("kind"):
        question = rows["question"].iloc[0]
        own = rows.loc[rows["question"] == question].sample(frac=1, random_state=3).assign(question="again")
        assert f"The answers to {question!r} and 'again' are the same" in kinds_with(study, own)["answers_alike"], kind
        turned = own.assign(assessor=own["assessor"].to_numpy()[::-1])  # the same answers, by other people
        assert "answers_alike" not in kinds_with(study, turned)


def test_answers_that_one_person_gave_twice_are_told_unless_a_repetition_parts_them():
    names = ["assessor", "prototype", "versus", "question", "kind", "answer", "session", "replicate"]
    once = [(f"C{n}", "P2", "P1", "tell", "triangle", str(n % 2), "1", "1") for n in range(12)]
    turned = [(f"C{n}", "P1", "P2", "tell", "triangle", "1", "1", "1") for n in range(3)]
    later = [(f"C{n}", "P2", "P1", "tell", "triangle", "1", "1", "2") for n in range(12)]

    def told(rows: list[tuple[str, ...]]) -> dict[str, str]:
        answers = pd.DataFrame(rows, columns=names, dtype="str")
        prototypes = pd.DataFrame({"prototype": ["P1", "P2"]}, dtype="str")
        return kinds_with(Study({"prototypes": prototypes, "answers": answers}, {}), answers.iloc[:0])

    assert "answered_again" not in told([*once, *later])
    message = told([*once, *turned])["answered_again"]
    assert message.startswith("3 answers of 3 people come after another to the same question about the same samples")
    assert "such as that of C0 to 'tell'" in message


@pytest.mark.parametrize("people", [2, 60])
def test_answers_that_agree_by_chance_are_not_called_the_same(people: int):
    """Two people who agree on two words, and many who all tick nothing: a coincidence, by the product of the shares."""
    rows = [
        (f"C{n}", "P1", question, "check_all", str(int(people == 2 and n)))
        for question in ("light", "airy")
        for n in range(people)
    ]
    answers = pd.DataFrame(rows, columns=["assessor", "prototype", "question", "kind", "answer"], dtype="str")
    study = Study({"prototypes": pd.DataFrame({"prototype": ["P1"]}, dtype="str"), "answers": answers}, {})
    assert "answers_alike" not in {each.kind for each in check_study(study)}
