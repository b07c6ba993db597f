"""A folder of studies is compared as each of its studies is."""

import json

import numpy as np
from click.testing import CliRunner

from panel.cli import main
from panel.study.folder import write_study
from tests.simulated_panels import simulated_panel


def compare_all(*words):
    return CliRunner(catch_exceptions=False).invoke(main, ["compare-all", *[str(word) for word in words]])


def test_a_folder_of_studies_is_compared_as_each_of_them_is(tmp_path):
    for seed, name in enumerate(("one", "two")):
        write_study(simulated_panel(np.random.default_rng(seed)), tmp_path / name)
    found = json.loads(compare_all(tmp_path, "--workers", 1, "--json").stdout)
    assert [each["study"] for each in found["studies"]] == ["one", "two"]
    for each in found["studies"]:
        single = json.loads(CliRunner().invoke(main, ["compare", str(tmp_path / each["study"]), "--json"]).stdout)
        for name in ("attributes", "means", "pairs", "versus"):
            assert [row for row in found[name] if row["study"] == each["study"]] == [
                row | {"study": each["study"]} for row in single[name]
            ]
        assert each["differ_on"] == [row["attribute"] for row in single["attributes"] if row["verdict"] == "differs"]
    lines = compare_all(tmp_path, "--workers", 1).stdout.splitlines()  # of the attributes alone
    for line, each in zip(lines, found["studies"], strict=True):
        own = each["differ_on"]
        count = f"the prototypes differ on {len(own)} of 12 attributes in these batches"
        assert line == f"{each['study']}: {count} ({', '.join(own)})."


def test_a_study_that_cannot_be_compared_is_told_beside_the_others(tmp_path):
    write_study(simulated_panel(np.random.default_rng(1)), tmp_path / "good")
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "datapackage.json").write_text("{")
    (tmp_path / "notes.txt").write_text("no study")
    result = compare_all(tmp_path, "--workers", 1)
    assert result.exit_code == 1
    assert [line.partition(":")[0] for line in result.stdout.splitlines()] == ["broken", "good"]
    assert "1 of 2 studies could not be compared: broken." in result.stderr


def test_a_folder_without_studies_is_told(tmp_path):
    result = compare_all(tmp_path)
    assert result.exit_code == 1
    assert "holds no studies" in result.stderr
