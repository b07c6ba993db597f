"""One block per swap, everyday words first, and no effect lost on the way."""

from pathlib import Path

import pandas as pd
import pytest

from panel.models.emollients.swaps import trace_swaps
from panel.study.naming import naming
from panel.study.open_study import open_study
from panel.views.emollients.swaps import FIRST_WORDS, SEEN, swap_summaries, swaps_table

DEMO = Path(__file__).resolve().parents[3] / "data_demo" / "reading_room"


@pytest.fixture(scope="module")
def demo():
    study = open_study(DEMO)
    return trace_swaps(study), naming(study)


def test_each_swap_has_its_block_in_order(demo):
    result, names = demo
    titles = [summary.title for summary in swap_summaries(result, names)]
    assert titles == [swap.replace("->", "→") for swap in dict.fromkeys(result.swaps["swap"])]


def test_the_words_a_buyer_names_come_first(demo):
    for summary in swap_summaries(*demo):
        words = [word for word, _ in summary.lines]
        first = [word for word in words if word in FIRST_WORDS]
        assert words[: len(first)] == first == [word for word in FIRST_WORDS if word in words]


def test_every_attribute_is_told_once_and_by_its_test(demo):
    result, names = demo
    for summary, (_, rows) in zip(swap_summaries(result, names), result.swaps.groupby("swap", sort=False), strict=True):
        told = {"lines": " ".join(text for _, text in summary.lines), "no": summary.cannot_say}
        told["perhaps"] = " ".join(text for _, text in summary.perhaps)
        for row in rows.to_dict("records"):
            part = "lines" if row["p_adjusted"] < SEEN else "perhaps" if row["p_value"] < SEEN else "no"
            assert names.attribute(row["attribute"]) in told[part]


def test_a_fall_is_told_as_an_amount_with_its_interval(demo):
    result, names = demo
    row = result.swaps.query("attribute == 'AF_GREASE'").iloc[0]
    (summary, *_) = swap_summaries(result, names)
    line = dict(summary.lines)["greasiness"]
    assert line == f"greasy film falls by {-row.estimate:.0f} points ({-row.ci_high:.0f} to {-row.ci_low:.0f})"


def test_words_with_a_comma_are_quoted(demo):
    (summary, *_) = swap_summaries(*demo)
    assert "“residue, later” falls" in dict(summary.lines)["after-feel"]


def test_attributes_without_an_everyday_word_come_last(demo):
    result, names = demo
    renamed = result.swaps.assign(attribute=result.swaps["attribute"].replace("AF_GREASE", "OWN"))
    changed = type(result)(**{name: getattr(result, name) for name in result.__slots__} | {"swaps": renamed})
    (summary, *_) = swap_summaries(changed, names)
    assert summary.lines[-1][0] == "other"
    assert summary.lines[-1][1].startswith("OWN falls by")


def test_the_table_holds_every_effect(demo):
    result, names = demo
    table = swaps_table(result, names)
    assert len(table) == len(result.swaps) + len(result.joint)
    assert (table["Stands out"] == "yes").sum() == (pd.concat([result.swaps, result.joint])["p_adjusted"] < SEEN).sum()


def test_what_is_noted_about_a_swap_stands_with_it(demo):
    # in the demo the butter was made on a later day than the oil in every matched pair (data_demo/scenario.py)
    fast, medium, slow = swap_summaries(*demo)
    assert fast.mind == medium.mind == ()
    (note,) = slow.mind
    assert note.startswith(f"Making day and the swap {slow.title} cannot be told apart")
