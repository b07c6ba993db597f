"""Who is out, open or in the running, and when there is a choice."""

import numpy as np
import pandas as pd
import pytest

from panel.models.decision.contenders import AHEAD, IN, OPEN, OUT, contenders, standings, the_one
from panel.models.decision.wanted import FAILS, PASSES
from panel.models.prototypes.verdict import CANNOT_TELL
from panel.models.prototypes.verdict import CANNOT_TELL as NOT_TOLD


def rows(met=1.0, chance=0.9, versus=np.nan, must=True, prototype="P1", untold=False):
    found = {"prototype": prototype, "read_met": met, "chance": chance}
    return found | {"chance_versus": versus, "must_have": must, "untold_versus": untold}


def standing(windows, *results):
    gates = pd.DataFrame({"prototype": "P1", "result": list(results)}, columns=["prototype", "result"])
    return standings(("P1",), pd.DataFrame([windows]), gates).iloc[0]


@pytest.mark.parametrize(
    ("windows", "results", "expected"),
    [
        (rows(), [PASSES, PASSES], IN),
        (rows(), [], IN),
        (rows(), [PASSES, CANNOT_TELL], OPEN),
        (rows(), [CANNOT_TELL, FAILS], OUT),
        (rows(met=0.0, chance=0.2), [PASSES], IN),  # outside, but not clearly
        (rows(met=0.0, chance=0.01), [PASSES], OUT),
        (rows(met=0.0, chance=0.01, must=False), [PASSES], IN),
        (rows(met=0.0, chance=0.01, versus=0.5), [PASSES], IN),  # as a difference it may be met
        (rows(met=0.0, chance=0.01, versus=0.01), [PASSES], OUT),
        (rows(met=0.0, chance=0.01, untold=True), [PASSES], IN),  # beside the benchmark nothing is known
        (rows(met=np.nan, chance=np.nan), [PASSES], OPEN),
    ],
)
def test_standing(windows, results, expected):
    assert standing(windows, *results)["standing"] == expected


def test_counts_are_told_beside_the_standing():
    found = standing(rows(met=0.0, chance=0.2), PASSES, FAILS, CANNOT_TELL)
    assert found[["unmet", "gates_open"]].tolist() == [1, 1]


def ranking(**columns):
    made = {
        "prototype": ["P1", "P2", "P3"],
        "standing": IN,
        "desirability": [0.9, 0.8, 0.7],
        "unmet": 0,
        "chance_all": 0.99,
    }
    return pd.DataFrame(made | columns)


def pairs(*ahead):
    found = [(first, second, AHEAD) for first, second in ahead] or [("P1", "P2", NOT_TOLD)]
    return pd.DataFrame(found, columns=["prototype", "versus", "overall"])


def test_in_the_running_is_whom_nobody_is_ahead_of():
    assert contenders(ranking(), pairs()) == ("P1", "P2", "P3")
    assert contenders(ranking(), pairs(("P1", "P2"))) == ("P1", "P3")
    assert contenders(ranking(), pairs(("P1", "P2"), ("P1", "P3"))) == ("P1",)


def test_who_is_out_beats_nobody_and_who_is_not_ranked_is_not_in():
    out = ranking(standing=[OUT, IN, IN])
    assert contenders(out, pairs(("P1", "P2"), ("P1", "P3"))) == ("P2", "P3")
    assert contenders(ranking(desirability=[0.9, np.nan, 0.7]), pairs()) == ("P1", "P3")


def test_there_is_a_choice_only_if_one_is_left_and_everything_is_met():
    assert the_one(ranking(), ("P1",)) == "P1"
    assert the_one(ranking(), ("P1", "P2")) is None
    assert the_one(ranking(), ()) is None
    assert the_one(ranking(chance_all=0.9), ("P1",)) is None
    assert the_one(ranking(chance_all=np.nan), ("P1",)) is None
    assert the_one(ranking(unmet=1), ("P1",)) is None
    read = ranking(chance_all=0.1, chance_all_versus=0.99)  # the reading that decides
    assert the_one(read, ("P1",), chance="chance_all_versus") == "P1"
    assert the_one(ranking(standing=OPEN), ("P1",)) is None
