import pandas as pd

from panel.checks.structure import unread_rows
from panel.study.study import Study


def test_lines_of_the_file_become_rows():
    unread = pd.DataFrame(
        [
            ("scores", "12", "score", "abc", "not a number"),
            ("scores", "14", "score", "?", "not a number"),
            ("batches", "2", "ph", "x", "not a number"),
            ("batches", "unknown", "ph", "x", "not a number"),
        ],
        columns=["table", "row", "column", "text", "reason"],
    )
    found = unread_rows(Study({}, unread=unread))
    assert {key: rows.tolist() for key, rows in found.items()} == {
        ("scores", "score"): [10, 12],
        ("batches", "ph"): [0],
    }


def test_a_study_read_whole_has_none():
    assert unread_rows(Study({})) == {}
