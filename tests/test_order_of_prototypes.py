"""A randomised sheet changes neither the order of the prototypes nor the direction in which a swap is told."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from panel.cli import main
from panel.errors import StudyError
from panel.models.emollients.swaps import trace_swaps
from panel.study.folder import write_study
from panel.study.formulas import formulated
from panel.study.layout import guess_layout
from panel.study.open_study import open_study
from panel.study.raw_table import raw_file, raw_table
from panel.study.scores_import import read_scores, study_from_scores
from panel.study.study import Study
from panel.study.swaps import matched_pairs

PALMITATE, LAURATE = "Isopropyl Palmitate", "Isoamyl Laurate"
EMOLLIENTS = {"L1": PALMITATE, "L2": LAURATE, "L10": "Coco-Caprylate"}
LEVEL = {"L1": 60.0, "L2": 45.0, "L10": 50.0}


def scores(order=("L10", "L2", "L1"), people=6):
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
    return scores().sample(frac=1, random_state=seed)


@pytest.mark.parametrize("seed", range(4))
def test_prototypes_of_a_randomised_sheet_are_in_natural_order_and_attributes_in_that_of_the_file(seed):
    study = imported(shuffled(seed))
    assert study.prototypes == ("L1", "L2", "L10")
    assert study.table("prototypes")["prototype"].tolist() == ["L1", "L2", "L10"]
    assert study.attributes == ("greasy", "absorbing")
    assert study.assessors == tuple(f"A{a}" for a in range(6))


def test_codes_with_leading_zeros_keep_them_and_go_by_size():
    frame = scores().replace({"prototype": {"L1": "104", "L2": "017", "L10": "023"}})
    assert imported(frame).prototypes == ("017", "023", "104")


def test_a_table_of_prototypes_keeps_its_order_and_what_it_does_not_list_follows_in_natural_order():
    own = pd.DataFrame({"prototype": ["L10"]})
    assert imported(scores(), tables={"prototypes": own}).prototypes == ("L10", "L1", "L2")
    without = imported(scores(), tables={"formulas": formulas()})
    study = Study({"scores": without.scores, "formulas": without.table("formulas")}, {})
    assert study.prototypes == formulated(study) == ("L1", "L2", "L10")
    assert study.in_order(["X10", "L2", "X9", "L1"]) == ("L1", "L2", "X9", "X10")


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
    pairs = matched_pairs(imported(scores(), "", {"formulas": formulas()}))
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
    sheet, out = tmp_path / "sheet.csv", tmp_path / "study"
    scores().to_csv(sheet, index=False)
    result = run("import", sheet, "--benchmark", "L2", "--scale-min", 0, "--scale-max", 100, "--out", out, "--json")
    assert result.exit_code == 0, result.stderr
    assert json.loads(result.stdout)["benchmark"] == "L2"
    assert json.loads(result.stdout)["prototypes"] == ["L1", "L2", "L10"]
    study = open_study(out)
    assert study.table("prototypes").set_index("prototype")["role"].to_dict() == {
        "L1": "",
        "L2": "benchmark",
        "L10": "",
    }
    write_study(Study({**study.tables, "formulas": formulas()}, study.facts), tmp_path / "whole")
    told = json.loads(run("trace", tmp_path / "whole", "--json").stdout)
    assert {row["swap"] for row in told["swaps"]} >= {f"{LAURATE} -> {PALMITATE}", f"{LAURATE} -> Coco-Caprylate"}
    compared = json.loads(run("compare", tmp_path / "whole", "--json").stdout)
    assert compared["benchmark"] == "L2"
    assert {row["versus"] for row in compared["versus"]} == {"L2"}


def test_a_benchmark_that_was_not_scored_is_refused_with_the_names_there_are(tmp_path):
    with pytest.raises(StudyError, match=r"The benchmark 'L3' is none of the prototypes; they are L1, L2, L10\."):
        imported(scores(), "L3")
    sheet = tmp_path / "sheet.csv"
    scores().to_csv(sheet, index=False)
    result = run("import", sheet, "--benchmark", "L3", "--out", tmp_path / "study")
    assert result.exit_code == 2
    assert "none of the prototypes" in result.stderr
    assert not (tmp_path / "study").exists()
