"""All effects and interactions stand beside the matrix of causes, and none is told that p does not carry."""

from dataclasses import replace
from pathlib import Path

import pytest

from panel.answers import Answers
from panel.models.emollients.swaps import trace_swaps
from panel.models.prototypes.verdict import DIFFERS
from panel.study.open_study import open_study
from panel.study.shown import shown
from panel.views.emollients.swaps import _INTERACTIONS, _SWAPS, _interaction_sentences, swap_drawers, swap_words
from tests.blend_studies import scored
from tests.formula_studies import ALKANE, BASE, CARBONATE

DEMO = Path(__file__).parents[3] / "data_demo" / "reading_room"


@pytest.fixture(scope="module")
def demo():
    return Answers(open_study(DEMO))


def test_the_table_holds_every_effect_with_its_verdict(demo):
    traced = demo.swaps
    table = shown(_SWAPS, traced, demo.names)
    assert len(table) == len(traced.swaps) + len(traced.joint)
    assert (table["In words"] == DIFFERS).sum() == (traced.swaps["verdict"] == DIFFERS).sum()
    row = table.loc[table["Attribute"] == "greasy film"].iloc[0]
    assert row["Swap"] == "Dicaprylyl Carbonate → C13-15 Alkane"
    assert (row["Change of the score"], row["Interval that decides, 96.43 %"]) == ("−11.1", "−13.8 to −8.4")
    assert row["Seen on"] == "4 pairs, 10 assessors"
    assert table.shape[1] <= 8


def test_each_swap_rests_on_the_scores_of_its_own_prototypes(demo):
    (source,) = _SWAPS.behind(demo.swaps)
    column, members = source.group
    assert column == "swap"
    swap = demo.swaps.swaps["swap"].iloc[0]
    pairs = demo.swaps.pairs.loc[demo.swaps.pairs["swap"] == swap]
    assert set(members[swap]) == {*pairs["prototype"], *pairs["versus"]}


def test_each_amount_of_a_swap_rests_on_its_own_prototypes():
    steps = {"P1": BASE | {CARBONATE: 6.0}, "P2": BASE | {CARBONATE: 3.0, ALKANE: 3.0}, "P3": BASE | {ALKANE: 6.0}}
    traced = trace_swaps(scored(steps, [[50.0, 50.0, 70.0]]))
    (source,) = _SWAPS.behind(traced)
    half, whole = traced.swaps.sort_values("percent")["swap"]
    assert {name: set(source.group[1][name]) for name in (half, whole)} == {half: {"P1", "P2"}, whole: {"P1", "P3"}}


def test_only_interactions_that_may_be_there_are_told(demo):
    traced = demo.swaps
    assert _interaction_sentences(traced, demo.names)[0].startswith("No two swaps clearly")
    rows = traced.interactions.assign(p_adjusted=[0.03, 0.199] + [0.9] * 40)
    likely = replace(traced, interactions=rows.assign(verdict=["differs", "perhaps"] + ["cannot tell"] * 40))
    told, perhaps = _interaction_sentences(likely, demo.names)
    more = "more" if traced.interactions["estimate"].iloc[0] > 0 else "less"
    assert f") go with {more} gloss in the dish than their two changes added up" in told
    assert told.endswith("p = 0.030 after adjusting).")
    assert ") may go with " in perhaps
    assert perhaps.endswith("p = 0.199 after adjusting); this can be chance.")
    none = replace(traced, interactions=traced.interactions.head(0))
    assert _interaction_sentences(none, demo.names)[0].startswith(
        "Whether swaps strengthen or weaken each other cannot"
    )
    assert len(shown(_INTERACTIONS, traced, demo.names)) == len(traced.interactions)


def test_what_is_behind_the_matrix(demo):
    titles = [drawer.title for drawer in swap_drawers(demo.swaps, demo.names)]
    assert titles == ["All effects of the swaps", "With luck taken out", "Two swaps together"]
    assert swap_words("A → B") == "A → B"
    assert swap_words("A → 1,2-Hexanediol, 0.5 %") == "A → 1,2-Hexanediol (0.5 %)"
