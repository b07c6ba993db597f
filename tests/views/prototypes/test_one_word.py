"""All text commands on three studies: whatever names a pair and an attribute gives them one word."""

from collections import defaultdict

import pandas as pd
import pytest
from click.testing import CliRunner

from panel.cli import main, shared
from panel.study.folder import write_study
from panel.study.naming import naming
from tests.test_cli import DEMO
from tests.views.prototypes.test_one_verdict import study_of

WRITE_OR_SERVE = (
    *("template", "import", "set", "lock", "rehearse", "archive", "remove-person"),
    *("ballots", "app", "report", "why"),  # report prints which files it wrote, why one number by its id
)
COMMANDS = sorted(set(main.commands) - set(WRITE_OR_SERVE))
JUDGED = ("In words", "Alike?", "Not worse?")
ELSEWHERE = "see the differences from"  # a pair with the benchmark is judged once
SIDES = {"differs": ("differs", "beyond the margin", "worse by", "shown"), "alike": ("alike within",)}


@pytest.fixture(scope="module", params=["demo", "null", "margin"])
def printed(request, tmp_path_factory, asked_once):
    """Return all that the commands print of a study: tables as they are printed, and lines."""
    place = DEMO
    if request.param != "demo":
        place = tmp_path_factory.mktemp(request.param) / "study"
        write_study(study_of(request.param), place)
    tables, kept = [], shared.print_table
    shared.print_table = lambda frame, *rest, **more: (tables.append(frame), kept(frame, *rest, **more))
    lines = []
    try:
        for command in COMMANDS:
            whole = ["--all"] if any(each.name == "everything" for each in main.commands[command].params) else []
            where = place.parent if command == "compare-all" else place  # a folder of studies
            result = CliRunner().invoke(main, [command, str(where), *whole])
            assert result.exception is None or isinstance(result.exception, SystemExit), (command, result.exception)
            lines += [(command, line) for line in result.stdout.splitlines()]
    finally:
        shared.print_table = kept
    return request.param, tables, lines


def test_every_command_is_walked_or_named_as_one_that_prints_no_verdicts():
    assert set(WRITE_OR_SERVE) < set(main.commands)
    assert {"map", "check", "plan", "history", "compare-all"} <= set(COMMANDS)


def test_no_two_rows_give_one_pair_two_words(printed):
    kind, tables, _ = printed
    words = defaultdict(lambda: defaultdict(set))
    for table in tables:
        if not {"Attribute", "Prototype", "Compared with"} <= set(table):
            continue
        for row in table.to_dict("records"):
            key = row["Attribute"], frozenset((row["Prototype"], row["Compared with"]))
            for heading in set(JUDGED) & set(table):
                if not row[heading].startswith(ELSEWHERE):
                    words[key][heading].add(row[heading])
    assert len(words) >= 24
    for key, own in words.items():
        every = {word for each in own.values() for word in each}
        sides = {side for side, starts in SIDES.items() if any(word.startswith(starts) for word in every)}
        assert len(sides) <= 1 or any(word.startswith("differs but small") for word in every), (key, own)
        asked = {word for word in own["In words"] if word not in ("shown", "not shown")}
        assert len(asked) <= 1, (key, own)
    if kind == "null":
        assert not any(word.startswith("differs") for own in words.values() for word in own["In words"])


def test_a_sentence_says_what_the_table_of_its_attribute_says(printed):
    kind, tables, lines = printed
    (tests,) = [table for table in tables if "Do prototypes differ?" in table]
    answers = dict(zip(tests["Attribute"], tests["Do prototypes differ?"], strict=True))
    told = {}
    for command, line in lines:
        name, _, words = line.partition(": ")
        if command == "compare" and name in answers and words:
            told.setdefault(name, words)
    assert set(told) == set(answers)
    for name, words in told.items():
        assert words.startswith("the prototypes differ") == (answers[name] == "yes"), (kind, name, words)
    largest = [line for _, line in lines if line.startswith("The largest difference, ")]
    assert len(largest) == (kind != "null")


def test_the_names_of_the_demo_are_told_apart():
    # else rows of two attributes would be held against each other above
    from panel.study.open_study import open_study

    names = naming(open_study(DEMO)).attributes
    assert pd.Series(list(names.values())).is_unique
