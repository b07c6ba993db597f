"""Verdicts attribute by attribute: each step of the ladder, and what it takes to get there."""

import numpy as np
import pandas as pd

from panel.models.emollients.ladder import attribute_verdicts
from panel.models.emollients.prediction_model import PrototypeLevel

A, B = "X → Y", "V → W"


def level(p_values):
    names = pd.Index(list(p_values), name="attribute", dtype="str")
    error = pd.DataFrame({"variance": 1.0, "df": 60.0, "statistic": 5.0, "p_adjusted": list(p_values.values())}, names)
    means = pd.DataFrame(np.zeros((3, len(names))), ["P1", "P2", "P3"], names)
    return PrototypeLevel(means, means, error, "P1", True, means, pd.Series(dtype="str"), ())


def effects(rows):
    frame = pd.DataFrame(rows, columns=["attribute", "swap", "p_adjusted"])
    return frame.assign(seen=frame["p_adjusted"].astype(float) < 0.05)


def links(named=(), running=()):
    return (
        pd.DataFrame(named, columns=["attribute", "descriptor"], dtype="str"),
        pd.DataFrame(running, columns=["attribute", "descriptor", "kind"], dtype="str"),
    )


def verdict(judged, made, p=0.001, **of_links):
    frame = attribute_verdicts(
        level({"T": p}), effects(judged), None if made is None else effects(made), *links(**of_links)
    )
    return frame.iloc[0]


def test_a_swap_seen_both_ways_made_the_difference():
    row = verdict([("T", A, 0.01), ("T", B, 0.01)], [("T", A, 0.02), ("T", B, 0.4)])
    assert (row["verdict"], row["swaps"], row["doubtful"]) == ("swaps", A, B)


def test_a_swap_the_assessors_alone_agree_on_is_doubtful():
    row = verdict([("T", A, 0.01)], [("T", A, 0.3)])
    assert (row["verdict"], row["swaps"], row["doubtful"]) == ("assessors", "", A)
    assert verdict([("T", A, 0.01)], None)["verdict"] == "assessors"


def test_a_swap_the_prototypes_alone_show_is_none_where_pairs_were_judged():
    assert verdict([("T", A, 0.3)], [("T", A, 0.01)])["verdict"] == "unclear"


def test_without_matched_pairs_the_prototypes_decide():
    assert verdict([], [("T", A, 0.01)])["swaps"] == A


def test_prototypes_that_are_not_told_apart_are_alike():
    assert verdict([("T", A, 0.3)], [("T", A, 0.3)], p=0.4)["verdict"] == "alike"
    assert verdict([("T", A, 0.3)], [("T", A, 0.3)])["verdict"] == "unclear"


def test_a_named_property_comes_first_and_rivals_are_listed():
    row = verdict(
        [("T", A, 0.01)],
        [("T", A, 0.01)],
        named=[("T", "solid_share")],
        running=[("T", "solid_share", "descriptor"), ("T", "Shea", "emollient")],
    )
    assert (row["verdict"], row["driver"], row["running"]) == ("driver", "solid_share", "solid_share; Shea")


def test_without_links_nothing_is_named():
    frame = attribute_verdicts(level({"T": 0.001}), effects([]), None, pd.DataFrame(), pd.DataFrame())
    assert frame["driver"].tolist() == [""]
