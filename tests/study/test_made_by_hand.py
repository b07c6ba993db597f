"""Any study that can stand in a folder can be made with the functions behind the editors, beginning with nothing."""

from __future__ import annotations

import csv
import io
import json

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from panel.errors import StudyError
from panel.study.editing import put_block, put_fact, put_table, texts_of_table
from panel.study.facts import STATED, facts_with_unread
from panel.study.folder import files_of_study, study_of_files
from panel.study.pasted import read_block
from panel.study.study import Study
from panel.study.tables import DESCRIPTION, TABLES

NAMES = st.sampled_from(
    ["P1", "P10", "007", "1.10", "A01", "a01", "Crème", "x, y", 'say "no"', "two\nlines", " P1", "=1+1", "stop"]
)
NUMBERS = st.sampled_from(
    ["", "0", "7", "7.5", "-0.5", "1.234", "0.1", "1e-7", "123456789", "n/a", "4o", "<1", "5 - strong", "330", "12 %"]
)
DAYS = st.sampled_from(["", "2026-03-10", "2026-03-10 16:30", "10/03/2026", "soon"])
FACTS = {
    "number": st.sampled_from([8, 0.5, "wide", [1]]),
    "text": st.sampled_from(["lotion", "", "p = 0.05, or so", 3]),
    "list": st.sampled_from([["tacky", "dry"], [], "tacky"]),
    "object": st.sampled_from([{"women": 20}, {}, "women"]),
    "entries": st.sampled_from([[{"name": "B. Lead", "role": "leader"}], [], "nobody"]),
}


@st.composite
def files(draw: st.DrawFn) -> dict[str, bytes]:
    """Return the files of a study as somebody may have written them: any tables, columns in any order, any cells."""
    made: dict[str, bytes] = {}
    for name in draw(st.lists(st.sampled_from(list(TABLES)), unique=True, max_size=4)):
        known = draw(st.permutations(TABLES[name].columns))[: draw(st.integers(1, 5))]
        header = [column.name for column in known] + draw(
            st.sampled_from([[], ["mine"], ["Note of mine", "x of mine"]])
        )
        kinds = {column.name: column for column in known}
        rows = [[draw(cell(kinds.get(head))) for head in header] for _ in range(draw(st.integers(0, 4)))]
        text = io.StringIO()
        csv.writer(text).writerows([header, *rows])
        made[f"{name}.csv"] = text.getvalue().encode()
    stated = draw(st.lists(st.sampled_from([fact for fact in STATED if fact.kind in FACTS]), unique=True, max_size=3))
    facts = {fact.name: draw(FACTS[fact.kind]) for fact in stated} | draw(
        st.sampled_from([{}, {"mine": [1, {"a": None}]}])
    )
    package = {"resources": [], "afterfeel": facts}
    made[DESCRIPTION] = json.dumps(package).encode()
    return made


def cell(column: object) -> st.SearchStrategy[str]:
    kind, choices = getattr(column, "kind", "text"), getattr(column, "choices", ())
    if kind in ("number", "integer"):
        return NUMBERS
    return (
        DAYS
        if kind == "date"
        else st.sampled_from([*choices, "", "Other"])
        if choices
        else st.one_of(NAMES, st.just(""))
    )


def columns_of(of: Study, name: str) -> pd.DataFrame:
    """Return a table as texts with the columns that it has, in their order: what an editor shows of it."""
    return texts_of_table(of, name)[[str(column) for column in of.tables[name]]]


def by_rows(made: Study, name: str, texts: pd.DataFrame) -> Study:
    for end in range(len(texts) + 1):
        made = put_table(made, name, texts.iloc[:end])
    return made


def by_blocks(made: Study, name: str, texts: pd.DataFrame) -> Study:
    for start in range(0, max(len(texts), 1), 2):
        made = put_block(made, name, texts.iloc[start : start + 2])
    return made


def description_of(written: dict[str, bytes]) -> object:
    return json.loads(written[DESCRIPTION])


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(files(), st.sampled_from(["whole", "row by row"]), st.randoms(use_true_random=False))
def test_the_two_folders_are_equal_byte_for_byte(of: dict[str, bytes], way: str, order: object) -> None:
    kept = study_of_files(of.get, "kept")
    made = Study({})
    names = list(kept.tables)
    order.shuffle(names)  # type: ignore[attr-defined]
    for name in names:
        texts = columns_of(kept, name)
        made = put_table(made, name, texts) if way == "whole" else by_rows(made, name, texts)
    for name, value in facts_with_unread(kept).items():
        made = put_fact(made, name, value)
    written, again = files_of_study(kept), files_of_study(made)
    assert {name: again[name] for name in again if name != DESCRIPTION} == {
        name: written[name] for name in written if name != DESCRIPTION
    }
    assert description_of(again) == description_of(written)
    assert sorted(made.unread.values.tolist()) == sorted(kept.unread.values.tolist())


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(files())
def test_blocks_put_below_each_other_hold_the_same_rows(of: dict[str, bytes]) -> None:
    kept = study_of_files(of.get, "kept")
    for name in kept.tables:
        texts = columns_of(kept, name)
        key = list(TABLES[name].key)
        if name == "formulas" or not set(key) <= set(texts) or texts.duplicated(key or None).any():
            continue  # a block replaces a formula, changes the row of the same key, and doubles none
        made = by_blocks(Study({}), name, texts)
        assert sorted(columns_of(made, name).values.tolist()) == sorted(texts.values.tolist())


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(files())
def test_a_pasted_block_gives_the_same_file(of: dict[str, bytes]) -> None:
    kept = study_of_files(of.get, "kept")
    for name in kept.tables:
        texts = columns_of(kept, name)
        texts = texts[(texts != "").any(axis=1)].reset_index(drop=True)
        texts = texts[[column for column in texts if (texts[column] != "").any()]]
        key = [column for column in TABLES[name].key if column in texts]
        if texts.empty or name == "formulas" or texts.apply(lambda cells: cells != cells.str.strip()).any(axis=None):
            continue
        if len(texts.columns) < 2 or (key and texts.duplicated(key).any()):
            continue
        if not set(texts) & set(TABLES[name].column_names):
            continue  # without a heading that the table knows, the first row is taken for cells, and that is said
        text = io.StringIO()
        csv.writer(text, delimiter="\t").writerows([list(texts), *texts.values.tolist()])
        made = put_block(Study({}), name, read_block(text.getvalue(), name).texts)
        assert columns_of(made, name).values.tolist() == texts.values.tolist()
        assert files_of_study(put_table(Study({}), name, texts))[f"{name}.csv"] == files_of_study(made)[f"{name}.csv"]


def test_what_no_file_can_hold_is_refused_by_both() -> None:
    made = put_table(Study({}), "prototypes", pd.DataFrame({"prototype": ["P\0"]}))
    with pytest.raises(StudyError, match="holds a character that no table file can hold"):
        files_of_study(made)
