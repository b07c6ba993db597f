"""What a sheet says by its rows: a row without a name is in no analysis; the order of rows changes no answer."""

from __future__ import annotations

import json
from dataclasses import fields

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from panel.answers import QUESTIONS, Answers
from panel.cli import main
from panel.errors import StudyError
from panel.models.emollients.swaps import trace_swaps
from panel.study.folder import write_study
from panel.study.formulas import formulated, matched_pairs
from panel.study.open_study import open_study
from panel.study.raw_table import raw_file, raw_table
from panel.study.scores_import import guess_layout, read_scores, study_from_scores
from panel.study.scores_used import named_rows, scores_used
from panel.study.study import Study
from tests.studies import crossed_study, small_study
from tests.test_cli import DEMO
from tests.time_studies import everything_over_time

NAMES = {
    "scores": ("assessor", "prototype"),
    "answers": ("assessor", "prototype"),
    "courses": ("assessor", "prototype"),
    "dominances": ("assessor", "prototype"),
}
COMMANDS = (
    ("compare",),
    ("panel",),
    ("map", "--draws", "100"),
    ("trace",),
    ("decide",),
    ("over-time",),
    ("consumers",),
    ("forced-choice",),
)


def answers(words):
    result = CliRunner().invoke(main, [*words, "--json"])
    assert result.exit_code == 0, result.stderr
    found = json.loads(result.stdout)
    found.pop("set_aside", None)
    return found


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    """The demo, and sensations over time, with names wiped from a tenth of the rows, and without those rows."""
    demo, rng = open_study(DEMO), np.random.default_rng(8)
    timed = everything_over_time().tables
    demo = Study({**demo.tables, **{name: timed[name] for name in ("courses", "dominances")}}, demo.facts, demo.unread)
    wiped, dropped = dict(demo.tables), dict(demo.tables)
    for table, names in NAMES.items():
        frame = demo.table(table)
        chosen = rng.random(len(frame)) < 0.1
        wiped[table] = frame.copy()
        wiped[table].loc[chosen, names[0]] = ""
        wiped[table].loc[chosen & (rng.random(len(frame)) < 0.5), names[1]] = " "
        dropped[table] = frame.loc[~chosen].reset_index(drop=True)
    place = tmp_path_factory.mktemp("nameless")
    for name, tables in (("wiped", wiped), ("dropped", dropped)):
        write_study(Study(tables, demo.facts, demo.unread), place / name)
    return place


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command[0])
def test_a_row_without_a_name_changes_no_answer(folders, command):
    name, *options = command
    wiped, dropped = (answers([name, str(folders / place), *options]) for place in ("wiped", "dropped"))
    assert wiped == dropped


def test_the_check_stops_and_says_where(folders):
    result = CliRunner().invoke(main, ["check", str(folders / "wiped"), "--json"])
    assert result.exit_code == 1
    missing = [one for one in json.loads(result.stdout)["findings"] if one["kind"] == "cell_missing"]
    assert {one["where"].split(",")[0] for one in missing} == set(NAMES)
    assert {one["severity"] for one in missing if one["where"].startswith("scores")} == {"stop"}


@pytest.mark.parametrize("column", ["assessor", "prototype", "attribute", "session"])
@pytest.mark.parametrize("blank", ["", "  "])
def test_scores_without_a_name_are_not_used(column, blank):
    study = small_study()
    scores = study.scores.copy()
    scores.loc[[0, 7, 50], column] = blank
    used = scores_used(Study({**study.tables, "scores": scores}, study.facts))
    assert used.frame.index.tolist() == [row for row in range(96) if row not in (0, 7, 50)]


def test_a_correction_names_no_person():
    study = small_study()
    scores = study.scores.copy()
    scores.loc[0, "assessor"] = ""
    fix = {"when": "2025-04-01", "who": "leader", "table": "scores", "key": "attribute=AF_GREASE", "new": "50"}
    corrections = study.table("corrections").reindex([0]).fillna("").assign(**fix, why="x")
    used = scores_used(Study({**study.tables, "scores": scores, "corrections": corrections}, study.facts))
    assert 0 not in used.frame.index


def test_a_study_without_sessions_needs_none_and_is_as_before():
    study = crossed_study(np.random.default_rng(1), assessors=4, prototypes=3, attributes=1, sessions=2)
    without = Study({**study.tables, "scores": study.scores.assign(session="")}, study.facts)
    assert scores_used(without).set_aside.empty
    assert len(scores_used(without).frame) == 24


def test_the_session_of_an_answer_is_a_matter_of_its_question():
    study = open_study(DEMO)
    answers = study.table("answers").copy()
    one = answers["question"] == answers["question"].iloc[0]
    answers["session"] = np.where(one, "1", "")
    assert len(named_rows(Study({"answers": answers}), "answers")) == len(answers)
    answers.loc[answers.index[one][:5], "session"] = ""
    assert len(named_rows(Study({"answers": answers}), "answers")) == len(answers) - 5


PALMITATE, LAURATE = "Isopropyl Palmitate", "Isoamyl Laurate"
EMOLLIENTS = {"L1": PALMITATE, "L2": LAURATE, "L10": "Coco-Caprylate"}
LEVEL = {"L1": 60.0, "L2": 45.0, "L10": 50.0}


def sheet(order=("L10", "L2", "L1"), people=6):
    """A wide sheet in serving order; greasiness falls by 15 from L1 to L2."""
    rng = np.random.default_rng(4)
    rows = [
        (f"A{a}", name, *(round(LEVEL[name] + rng.normal(0, 2), 1) for _ in "xy"), session)
        for session in "12"
        for a in rng.permutation(people)
        for name in order
    ]
    return pd.DataFrame(rows, columns=["assessor", "prototype", "greasy", "absorbing", "session"])


def formulas(names=("L2", "L10", "L1")):
    rows = [
        (name, ingredient, percent, kind)
        for name in names
        for ingredient, percent, kind in (("Aqua", 90.0, "other"), (EMOLLIENTS[name], 10.0, "emollient"))
    ]
    return pd.DataFrame(rows, columns=["prototype", "ingredient", "percent", "kind"])


def imported(frame, benchmark="", tables=None):
    file = raw_file("sheet.csv", frame.to_csv(index=False).encode())
    table = raw_table(file)
    study = study_from_scores(read_scores(table, guess_layout(table)), file, "t", 0, 100, benchmark)
    return Study({**study.tables, **(tables or {})}, study.facts, study.unread, study.raw_files)


def shuffled(seed):
    return sheet().sample(frac=1, random_state=seed)


@pytest.mark.parametrize("seed", range(4))
def test_prototypes_of_a_randomised_sheet_are_in_natural_order_and_attributes_in_that_of_the_file(seed):
    study = imported(shuffled(seed))
    assert study.prototypes == ("L1", "L2", "L10")
    assert study.table("prototypes")["prototype"].tolist() == ["L1", "L2", "L10"]
    assert study.attributes == ("greasy", "absorbing")


def test_codes_with_leading_zeros_keep_them_and_go_by_size():
    frame = sheet().replace({"prototype": {"L1": "104", "L2": "017", "L10": "023"}})
    assert imported(frame).prototypes == ("017", "023", "104")


def test_a_table_of_prototypes_keeps_its_order_and_what_it_does_not_list_follows_in_natural_order():
    own = pd.DataFrame({"prototype": ["L10"]})
    assert imported(sheet(), tables={"prototypes": own}).prototypes == ("L10", "L1", "L2")
    without = imported(sheet(), tables={"formulas": formulas()})
    study = Study({"scores": without.scores, "formulas": without.table("formulas")}, {})
    assert study.prototypes == formulated(study) == ("L1", "L2", "L10")


@pytest.mark.parametrize("seed", range(3))
def test_swaps_are_told_from_the_benchmark_whatever_came_first_in_the_file(seed):
    for benchmark in ("L1", "L2", "L10"):
        study = imported(shuffled(seed), benchmark, {"formulas": formulas()})
        assert study.benchmark == benchmark
        pairs = matched_pairs(study)
        own = pairs.loc[(pairs["prototype"] == benchmark) | (pairs["versus"] == benchmark)]
        assert len(own) == 2
        assert set(own["versus"]) == {benchmark}
        assert set(own["removed"]) == {EMOLLIENTS[benchmark]}
        other = pairs.loc[~pairs.index.isin(own.index)].iloc[0]
        assert (other["versus"], other["prototype"]) == tuple(name for name in EMOLLIENTS if name != benchmark)


def test_without_a_benchmark_swaps_go_in_the_natural_order_of_names():
    pairs = matched_pairs(imported(sheet(), "", {"formulas": formulas()}))
    assert list(zip(pairs["versus"], pairs["prototype"], strict=True)) == [("L1", "L2"), ("L1", "L10"), ("L2", "L10")]


@pytest.mark.parametrize("seed", range(3))
def test_the_effect_is_the_same_however_the_rows_stand(seed):
    traced = trace_swaps(imported(shuffled(seed), "L1", {"formulas": formulas()}))
    row = traced.swaps.loc[(traced.swaps["attribute"] == "greasy") & (traced.swaps["added"] == LAURATE)].iloc[0]
    assert row["removed"] == PALMITATE
    assert row["estimate"] == pytest.approx(-15, abs=3)


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def test_the_command_asks_for_the_benchmark_and_tells_the_swap_from_it(tmp_path):
    file, out = tmp_path / "sheet.csv", tmp_path / "study"
    sheet().to_csv(file, index=False)
    result = run("import", file, "--benchmark", "L2", "--scale-min", 0, "--scale-max", 100, "--out", out, "--json")
    assert result.exit_code == 0, result.stderr
    assert json.loads(result.stdout)["prototypes"] == ["L1", "L2", "L10"]
    study = open_study(out)
    assert study.table("prototypes").set_index("prototype")["role"].to_dict() == {
        "L1": "",
        "L2": "benchmark",
        "L10": "",
    }
    write_study(Study({**study.tables, "formulas": formulas()}, study.facts), tmp_path / "whole")
    told = json.loads(run("trace", tmp_path / "whole", "--json").stdout)
    assert {row["swap"] for row in told["swaps"]} >= {f"{LAURATE} → {PALMITATE}", f"{LAURATE} → Coco-Caprylate"}
    compared = json.loads(run("compare", tmp_path / "whole", "--json").stdout)
    assert compared["benchmark"] == "L2"
    assert {row["versus"] for row in compared["versus"]} == {"L2"}


def test_a_benchmark_that_was_not_scored_is_refused_with_the_names_there_are(tmp_path):
    with pytest.raises(
        StudyError, match=r"L3 was not scored, so it cannot be the benchmark\. Choose among L1, L2, L10\."
    ):
        imported(sheet(), "L3")
    file = tmp_path / "sheet.csv"
    sheet().to_csv(file, index=False)
    result = run("import", file, "--benchmark", "L3", "--out", tmp_path / "study")
    assert result.exit_code == 2
    assert "cannot be the benchmark" in result.stderr
    assert not (tmp_path / "study").exists()


# What rests on the panel's model: neither the order of rows and prototypes, nor people's names, nor the zero counts.

FITTED = [
    QUESTIONS[name]
    for name in ["differences", "panel", "left_out", "scale_use", "swaps", "alike", "ranks", "sensitivity", "planned"]
]
SHIFT = 1e6
PEOPLE = {f"A{n:02d}": name for n, name in enumerate(("zoe", "bea", "kim", "Ada", "leo", "uma"), start=1)}
ORDERED = ("shuffled rows", "prototypes listed otherwise", "people renamed", "zero moved")


def invariant_study():
    """Return a study with formulas that differ by a swap, gaps, and scores in eighths, which keep all their digits."""
    study = crossed_study(np.random.default_rng(5), assessors=6, prototypes=4, attributes=2, sessions=3)
    scores = study.scores.assign(score=(study.scores["score"] * 8).round() / 8)
    scores = scores.loc[np.random.default_rng(6).random(len(scores)) > 0.15].reset_index(drop=True)
    oils = zip(study.prototypes, (PALMITATE, LAURATE, "Coco-Caprylate", "Squalane"), strict=True)
    rows = [
        (name, ingredient, percent, kind)
        for name, oil in oils
        for ingredient, percent, kind in (("Aqua", 90.0, "other"), (oil, 10.0, "emollient"))
    ]
    tables = {
        "scores": scores,
        "formulas": pd.DataFrame(rows, columns=["prototype", "ingredient", "percent", "kind"]),
        "prototypes": pd.DataFrame({"prototype": study.prototypes, "role": ["benchmark", *["prototype"] * 3]}),
    }
    planned = [{"prototype": study.prototypes[1], "versus": study.prototypes[0]}]
    return Study({**study.tables, **tables}, {"margin": 6.0, "planned_differences": planned})


def changed_study(study, what):
    scores, tables = study.scores, dict(study.tables)
    if what == "shuffled rows":
        tables["scores"] = scores.sample(frac=1, random_state=3).reset_index(drop=True)
        tables["formulas"] = study.table("formulas").sample(frac=1, random_state=3).reset_index(drop=True)
    elif what == "prototypes listed otherwise":
        tables["prototypes"] = study.table("prototypes").iloc[::-1].reset_index(drop=True)
    elif what == "people renamed":
        tables = {
            name: frame.assign(assessor=frame["assessor"].map(PEOPLE)) if "assessor" in frame else frame
            for name, frame in tables.items()
        }
    else:
        tables["scores"] = scores.assign(score=scores["score"] + SHIFT)
    return Study(tables, study.facts)


def frames_of(answer):
    """Return the frames of an answer, people by their first names, rows sorted by what names them."""
    back = {new: old for old, new in PEOPLE.items()}
    found = {}
    for field in fields(answer):
        frame = getattr(answer, field.name)
        if not isinstance(frame, pd.DataFrame) or field.name == "set_aside":
            continue
        frame = frame.reset_index().drop(columns="index", errors="ignore").replace(back)
        named = [name for name in NAMED if name in frame]
        found[field.name] = frame.sort_values(named, kind="stable", ignore_index=True) if named else frame
    return found


NAMED = ("attribute", "assessor", "prototype", "versus", "swap", "family", "measure", "left_out", "pattern", "kind")


@pytest.fixture(scope="module")
def as_it_is():
    return Answers(invariant_study())


@pytest.mark.parametrize("what", ORDERED)
@pytest.mark.parametrize("question", FITTED, ids=lambda question: question.name)
def test_nothing_that_rests_on_the_model_hangs_on_order_names_or_zero(question, what, as_it_is):
    one = frames_of(as_it_is.need(question))
    other = frames_of(Answers(changed_study(as_it_is.study, what)).need(question))
    assert one.keys() == other.keys()
    assert any(len(frame) for frame in one.values())
    for name, frame in one.items():
        turned = {"versus", "swap"} & set(frame)  # the direction of a pair or swap goes by the table; told above
        if what == "prototypes listed otherwise" and turned:
            continue
        assert len(frame) == len(other[name]), name
        for column in frame.select_dtypes("number").columns:
            before, after = frame[column].to_numpy(float), other[name][column].to_numpy(float)
            moved = SHIFT if np.abs(np.nan_to_num(after - before)).max(initial=0.0) > SHIFT / 2 else 0.0
            # nine digits beside a million; what comes of differences of such numbers has fewer
            np.testing.assert_allclose(after - moved, before, rtol=1e-6, atol=2e-6, err_msg=f"{name} {column}")
