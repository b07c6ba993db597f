"""Tiny and odd studies: every command answers or says in a sentence why not; no traceback, no warning of numpy."""

from __future__ import annotations

import json
from itertools import product

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from panel.cli import main
from panel.models.assessors.performance import check_panel
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.panel_design import fit_panel
from panel.stats.mixed.residuals import _NOT_TOLD_APART
from panel.study.folder import write_study
from panel.study.study import Study

EMOLLIENTS = ("Dicaprylyl Carbonate", "C13-15 Alkane", "Isopropyl Palmitate", "Isoamyl Laurate")
COMMANDS = (
    ("check",),
    ("compare",),
    ("compare", "--beside", "--margin", "5"),
    ("compare", "--kenward-roger"),
    ("panel",),
    ("map", "--draws", "100"),
    ("trace",),
    ("decide",),
    ("claim",),
    ("over-time",),
)


def scores(assessors=4, prototypes=3, attributes=2, sessions=2, replicates=1, seed=0):
    rng = np.random.default_rng(seed)
    rows = [
        (f"A{a}", f"P{p}", f"T{q}", round(40 + 8 * p + rng.normal(0, 3), 1), str(s), str(r))
        for a, p, q, s, r in product(*map(range, (assessors, prototypes, attributes, sessions, replicates)))
    ]
    return pd.DataFrame(rows, columns=["assessor", "prototype", "attribute", "score", "session", "replicate"])


def study_of(frame):
    names, attributes = sorted(set(frame["prototype"])), sorted(set(frame["attribute"]))
    recipe = [
        (name, *line)
        for name, emollient in zip(names, EMOLLIENTS, strict=False)
        for line in (("Aqua", 90.0, "other"), (emollient, 10.0, "emollient"))
    ]
    windows = {"scale_min": 0.0, "scale_max": 100.0, "target_low": 20.0, "target_high": 60.0}
    tables = {
        "prototypes": pd.DataFrame({"prototype": names, "role": ["benchmark", *["prototype"] * (len(names) - 1)]}),
        "attributes": pd.DataFrame({"attribute": attributes}).assign(**windows),
        "formulas": pd.DataFrame(recipe, columns=["prototype", "ingredient", "percent", "kind"]),
        "scores": frame.reset_index(drop=True),
    }
    return Study(tables, {"scale_min": 0, "scale_max": 100})


WHOLE = scores()
FEW = WHOLE["assessor"].isin(["A0", "A1"])
ODD = {
    "one assessor": scores(assessors=1),
    "two assessors, one repeat": scores(assessors=2, sessions=1),
    "two assessors, two prototypes, two replicates": scores(2, 2, 1, 1, 2),
    "one prototype": scores(prototypes=1),
    "two prototypes": scores(prototypes=2),
    "one attribute, one repeat": scores(attributes=1, sessions=1),
    "an assessor with one score": WHOLE[(WHOLE["assessor"] != "A0") | (WHOLE.index == 0)],
    "two assessors with one score": WHOLE[~FEW | WHOLE.index.isin([0, 16])],
    "an assessor whose scores are all equal": WHOLE.assign(score=WHOLE["score"].where(WHOLE["assessor"] != "A0", 50.0)),
    "all scores equal": WHOLE.assign(score=50.0),
    "scores repeat exactly": WHOLE.assign(score=WHOLE["prototype"].map({"P0": 40.0, "P1": 45.0, "P2": 49.0})),
    "each prototype by people of its own": WHOLE[WHOLE["assessor"].str[1:] == WHOLE["prototype"].str[1:]],
    "two camps of people and prototypes": scores(prototypes=4).pipe(
        lambda f: f[f["assessor"].isin(["A0", "A1"]) == f["prototype"].isin(["P0", "P1"])]
    ),
    "an attribute scored by two, one prototype each": WHOLE[
        (WHOLE["attribute"] != "T1") | (WHOLE["assessor"].str[1:] == WHOLE["prototype"].str[1:])
    ],
    "a session for each assessor": WHOLE.assign(session=WHOLE["assessor"]),
    "a session for each prototype": WHOLE.assign(session=WHOLE["prototype"]),
    "one score": WHOLE.iloc[:1],
    "no scores": WHOLE.assign(score=np.nan),
    "no names": WHOLE.assign(assessor=""),
} | {f"a few scores, drawn {seed}": scores(4, 4, 2, 2, 1, seed).sample(9, random_state=seed) for seed in range(6)}


@pytest.mark.parametrize("name", ODD)
def test_every_command_answers_or_says_why_not(name, tmp_path, asked_once):
    write_study(study_of(ODD[name]), tmp_path / "study")
    for command, *options in COMMANDS:
        for words in ([], ["--json"]):
            result = CliRunner().invoke(main, [command, str(tmp_path / "study"), *options, *words])
            assert result.exception is None or isinstance(result.exception, SystemExit), (command, result.exception)
            assert result.exit_code in (0, 1), (command, result.stderr)
            if result.exit_code == 0 and words:
                json.loads(result.stdout)
            elif not words and command != "check":
                assert (result.exit_code == 1) is result.stderr.startswith("afterfeel: "), command
                assert "nan" not in result.stdout.lower().split(), command


def test_people_who_go_along_with_the_prototypes_are_told_and_leave_the_other_attributes_alone():
    study = study_of(ODD["an attribute scored by two, one prototype each"])
    found = find_differences(study)
    assert found.attributes["attribute"].tolist() == ["T0"]
    assert found.not_estimated.to_dict("records") == [{"attribute": "T1", "why": _NOT_TOLD_APART}]
    alone = find_differences(study_of(WHOLE[WHOLE["attribute"] == "T0"]))
    pd.testing.assert_frame_equal(found.pairs, alone.pairs)


def test_sessions_that_are_each_one_persons_are_that_persons():
    own = WHOLE.assign(session=WHOLE["assessor"], replicate=WHOLE["session"])
    without = WHOLE.assign(session="", replicate=WHOLE["session"])
    pd.testing.assert_frame_equal(find_differences(study_of(own)).pairs, find_differences(study_of(without)).pairs)
    study = study_of(own)
    ((design, _),), _ = fit_panel(study, study.scores)
    assert design.factors == ()


def one_repeat(twice=(), people=6):
    """Two attributes on which five prototypes clearly differ, each scored once; twice by the people in `twice`."""
    rng = np.random.default_rng(11)
    rows = [
        (f"A{a}", f"P{p}", name, round(10 + 15 * p + 2 * a + rng.normal(0, 3), 1), replicate)
        for a in range(people)
        for p in range(5)
        for name in ("gloss", "film")
        for replicate in (("1", "2") if f"A{a}" in twice else ("1",))
    ]
    frame = pd.DataFrame(rows, columns=["assessor", "prototype", "attribute", "score", "replicate"])
    return Study({"scores": frame}, {"scale_min": 0, "scale_max": 100})


def test_with_one_repeat_nobody_is_told_to_separate_or_repeat():
    result = check_panel(one_repeat())
    assert (result.people["n_judged"] == 2).all()
    assert result.people[["n_separated", "repeat_ratio"]].isna().all(axis=None)
    assert result.assessors[["p_value", "repeat_sd", "repeat_ratio"]].isna().all(axis=None)
    assert result.panel[["n_separating", "repeatability"]].isna().all(axis=None)
    assert any("Nobody scored a prototype twice" in note for note in result.notes)


def test_of_some_who_repeated_it_is_told():
    people = check_panel(one_repeat(twice=("A0", "A3"))).people.set_index("assessor")
    assert people.loc[["A0", "A3"], "n_separated"].tolist() == [2, 2]
    assert people.loc[["A1", "A2", "A4", "A5"], "n_separated"].isna().all()


@pytest.mark.parametrize("twice", [(), tuple(f"A{a}" for a in range(6))])
def test_the_command_gives_words_and_null_and_no_count_of_nought(tmp_path, twice):
    write_study(one_repeat(twice), tmp_path / "study")
    text = CliRunner().invoke(main, ["panel", str(tmp_path / "study")])
    assert text.exit_code == 0
    assert ("cannot be told with one repeat" in text.stdout) is not bool(twice)
    assert "0 of 2" not in text.stdout
    found = json.loads(CliRunner().invoke(main, ["panel", str(tmp_path / "study"), "--json"]).stdout)
    assert all((person["n_separated"] is None) is not bool(twice) for person in found["people"])
    assert all((row["repeatability"] is None) is not bool(twice) for row in found["panel"])
