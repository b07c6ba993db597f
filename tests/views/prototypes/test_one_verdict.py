"""Headline, table, picture and sentences of `compare` say the same of a pair: read back on studies with known truth."""

import re

import numpy as np
import pandas as pd
import pytest

from panel.models.prototypes.alike import find_alike, planned_differences
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.verdict import DIFFERS
from panel.study.naming import naming
from panel.study.shown import shown
from panel.study.study import Study
from panel.views.prototypes.alike import _ALIKE, tell_alike, tell_planned
from panel.views.prototypes.differences import _BRIEFLY, _FROM_BENCHMARK, _MEANS, _PAIRS, _TESTS, tell_differences

PROTOTYPES, ATTRIBUTES = ("P1", "P2", "P3", "P4", "P5"), ("A", "B", "C", "D", "E", "F")
MARGIN = 8.0


def study_of(kind: str) -> Study:
    """Nine assessors, two repeats: no difference at all, one attribute only, or differences about the margin."""
    # in the first, pairs stand out alone though no attribute differs: they must not be told to differ
    rng = np.random.default_rng({"null": 1, "one": 2, "margin": 3}[kind])
    truth = np.zeros((len(PROTOTYPES), len(ATTRIBUTES)))
    if kind == "one":
        truth[:, 0] = (0, 12, -12, 1, 5)
    if kind == "margin":
        truth[1:] = rng.choice([0.0, 8.0, -8.0], (len(PROTOTYPES) - 1, len(ATTRIBUTES)))
    people = rng.normal(0, 5, 9)
    rows = [
        (f"J{person}", prototype, attribute, str(repeat), 50 + people[person] + truth[j, k] + rng.normal(0, 5))
        for person in range(9)
        for j, prototype in enumerate(PROTOTYPES)
        for k, attribute in enumerate(ATTRIBUTES)
        for repeat in (1, 2)
    ]
    scores = pd.DataFrame(rows, columns=["assessor", "prototype", "attribute", "replicate", "score"])
    roles = ["benchmark", *["candidate"] * (len(PROTOTYPES) - 1)]
    facts = {
        "scale_min": 0,
        "scale_max": 100,
        "margin": MARGIN,
        "planned_differences": [{"prototype": "P2", "versus": "P1"}],
    }
    return Study({"scores": scores, "prototypes": pd.DataFrame({"prototype": PROTOTYPES, "role": roles})}, facts)


def verdict_of(words: str) -> str:
    return "differs" if words.startswith("differs") else "alike" if words.startswith("alike") else "cannot tell"


def lines_of(told) -> list[str]:
    drawers = [each for each in told.drawers if each.title != "With luck taken out"]
    return [item for each in drawers for item in each.items if isinstance(item, str)]


@pytest.fixture(scope="module", params=["null", "one", "margin"])
def found(request):
    study = study_of(request.param)
    result = find_differences(study)
    return request.param, study, result, naming(study), tell_differences(result, naming(study))


def test_every_table_gives_a_pair_one_verdict(found):
    _, study, result, names, _ = found
    long = shown(_FROM_BENCHMARK, result, names)
    told = {(row["Attribute"], row["Prototype"]): verdict_of(row["In words"]) for row in long.to_dict("records")}
    assert len(told) == 24
    for row in shown(_BRIEFLY, result, names).to_dict("records"):
        attribute = row.pop("Attribute (0 to 100)")
        for prototype, cell in row.items():
            brief = "alike" if cell.startswith("= ") else "cannot tell" if cell.startswith("(") else "differs"
            assert brief == told[attribute, prototype], (attribute, prototype)
    pairs = shown(_PAIRS, result, names)
    twice = pairs.loc[(pairs["Compared with"] == "P1") | (pairs["Prototype"] == "P1"), "In words"]
    assert set(twice) == {"see the differences from P1"}
    for row in shown(_ALIKE, find_alike(study, result), names).to_dict("records"):
        verdict = told[row["Attribute"], row["Prototype"]]
        if row["Alike?"].startswith("beyond") or row["Not worse?"].startswith("worse"):
            assert verdict == "differs"
        assert (row["Alike?"] == "alike within the margin") <= (verdict != "cannot tell")


def test_letters_part_exactly_who_differs(found):
    _, _, result, names, _ = found
    means = shown(_MEANS, result, names).set_index("Attribute (0 to 100)")
    verdicts = pd.concat([result.pairs.loc[~result.pairs["with_benchmark"]], result.versus])
    assert len(verdicts) == 60
    for row in verdicts.to_dict("records"):
        cells = [means.loc[row["attribute"], row[name]].split(" ")[1] for name in ("prototype", "versus")]
        assert (set(cells[0]) & set(cells[1]) == set()) == (row["verdict"] == DIFFERS)


def test_the_headline_counts_what_the_table_says_and_no_row_differs_beyond_it(found):
    kind, study, result, names, told = found
    answers = shown(_TESTS, result, names).set_index("Attribute")["Do prototypes differ?"]
    differing = set(answers.index[answers == "yes"])
    if differing:
        counted = {"The prototypes differ on all 6 attributes", f"The prototypes differ on {len(differing)} of 6"}
        assert any(told.headline.startswith(words) for words in counted)
    else:
        assert told.headline.startswith("On no attribute can the prototypes be told apart.")
    assert (kind == "null") == (not differing)
    if kind == "null":  # else this study would try nothing
        both = pd.concat([result.versus, result.pairs])
        assert ((both["ci_low"] > 0) | (both["ci_high"] < 0)).any()
    for table in (_FROM_BENCHMARK, _PAIRS):
        rows = shown(table, result, names)
        assert set(rows.loc[rows["In words"].str.startswith("differs"), "Attribute"]) <= differing
    for line in lines_of(told):
        attribute, words = line.split(": ", 1)
        assert ("the prototypes differ" in words) == (attribute in differing)
        if attribute not in differing:
            assert not re.search("Higher than|Lower than|Widest", words)
    assert len(told.mind) <= 3
    planned = tell_planned(planned_differences(study, result), names)
    table = shown(planned.table, planned.result, names).set_index("Attribute")["In words"]
    for line in lines_of(planned):
        assert line.split("), ")[1].rstrip(".") == table[line.split(":")[0]]


def test_the_picture_fills_what_the_table_says_differs(found):
    _, _, result, names, told = found
    rows = shown(_FROM_BENCHMARK, result, names)
    for axes in told.picture.figure().axes:
        words = rows.loc[rows["Prototype"] == axes.get_title(), "In words"]
        marks = [line for line in axes.lines if line.get_transform() == axes.transData and line.get_marker() != "None"]
        drawn = sorted((y, mark.get_markerfacecolor()) for mark in marks for y in mark.get_ydata())
        assert [fill not in ("white", "#d0d0d0") for _, fill in drawn] == [
            verdict_of(text) == "differs" for text in words
        ]


def test_within_the_margin_is_shown_with_the_interval_that_decides(found):
    _, study, result, names, _ = found
    for table, column in ((_FROM_BENCHMARK, "In words"), (_ALIKE, "Alike?")):
        answer = result if table is _FROM_BENCHMARK else find_alike(study, result)
        rows = shown(table, answer, names)
        for row in rows.loc[rows[column].str.startswith("alike")].to_dict("records"):
            ends = re.match(r"(\S+) to (\S+) \(", row["Interval that decides likeness"])
            low, high = (float(end.replace("\N{MINUS SIGN}", "-")) for end in ends.groups())
            assert -MARGIN - 0.05 < low < high < MARGIN + 0.05  # printed with one decimal
    typed = find_differences(study, margin=2 * MARGIN)
    said = shown(_FROM_BENCHMARK, typed, names)["In words"]
    assert not said.str.startswith("alike").any()
    assert "would be" in " ".join([*said, tell_alike(find_alike(study, typed), names).headline])
