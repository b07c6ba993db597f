"""The words of a decision: each kind of answer, from studies that give it."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from data_demo import make_demo
from panel.models.consumers.segments import find_segments
from panel.models.decision.contenders import OPPOSED
from panel.study.naming import Naming, naming
from panel.study.study import Study
from panel.views.decision.decide import tell_decision
from panel.words import chance_words
from tests.models.decision.known_studies import decided, target_study

CLEAR = {"P1": (60, 45), "P2": (25, 75), "P3": (52, 50)}
NAMES = Naming()


def head(result, names=NAMES):
    return tell_decision(result, names).headline


def said(result, names=NAMES):
    told = tell_decision(result, names)
    items = [item for each in told.drawers for item in each.items if isinstance(item, str)]
    return " ".join([*told.mind, *items])


@pytest.fixture(scope="module")
def demo():
    study, _ = make_demo.make_study()
    return decided(study, segments=find_segments(study, np.random.default_rng(1))), naming(study)


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.0, "< 1 %"),
        (0.004, "< 1 %"),
        (0.5, "50 %"),
        (0.99, "99 %"),
        (0.999, "> 99 %"),
        (1.0, "> 99 %"),
        (np.nan, "–"),
    ],
)
def test_a_chance_is_never_none_nor_certain(chance, words):
    assert chance_words(chance) == words


def test_where_all_lie_beyond_the_tolerance_nobody_is_called_nearest(demo):
    result, names = demo
    far = replace(
        result,
        ranking=result.ranking.assign(desirability=0.0),
        weight_changes=result.weight_changes.assign(prototype=""),
    )
    assert head(far, names).endswith("None comes near: each lies beyond the tolerance of some window.")
    assert "nearest" not in head(far, names)
    assert "No weight puts a prototype first" in said(far, names)


def test_a_choice_is_named_with_what_it_rests_on():
    result = decided(target_study(CLEAR))
    assert head(result) == "P2 meets both windows and is ahead of every other prototype in these batches."
    batches = pd.DataFrame({"batch": ["a", "b", "c"], "prototype": ["P1", "P2", "P3"], "ph": 5.5})
    gated = decided(target_study(CLEAR, facts={"gates": {"ph": [5, 6]}}, batches=batches))
    assert (
        head(gated) == "P2 passes all gates, meets both windows and is ahead of every other prototype in these batches."
    )
    assert "P2 meets 2 of 2 windows, read on this panel's scale; all at once with a chance of > 99 %." in said(result)


def test_no_winner_is_made_up():
    result = decided(target_study({"P1": (60, 45), "P2": (25, 75), "P3": (25, 75)}))
    first, second = result.contenders
    assert head(result).startswith(f"{first} is nearest to the target in these batches (")
    assert head(result).endswith(f"%), but over all pairs the panel's windows do not separate it from {second}.")


def test_the_only_one_left_may_still_fall_short():
    near = decided(target_study({"P1": (75, 30), "P2": (39, 56), "P3": (75, 30)}, noise=1.0))
    assert near.contenders == ("P2",)
    assert head(near).startswith("P2 is nearest to the target in these batches (")
    batches = pd.DataFrame({"batch": ["a", "b"], "prototype": ["P1", "P3"], "ph": [5.5, 5.5]})
    unknown = decided(target_study(CLEAR, facts={"gates": {"ph": [5, 6]}}, batches=batches))
    assert head(unknown).endswith(", but pH cannot be told yet.")
    assert "Open: P2, because pH cannot be told yet." in said(unknown)
    inside = near.windows.assign(read_met=1.0)
    unsure = replace(near, choice=None, windows=inside, ranking=near.ranking.assign(gates_open=0, chance_all=0.62))
    assert head(unsure).endswith("meets all windows at once has a chance of 62 %.")
    nearly = replace(unsure, ranking=unsure.ranking.assign(chance_all=0.9461))
    assert head(nearly).endswith("has a chance of under 95 %.")


def test_what_is_missed_is_named_with_its_numbers():
    result = decided(target_study({"P1": (60, 45), "P2": (44, 75), "P3": (59, 50)}))
    mean = result.windows.set_index(["attribute", "prototype"]).loc[("GREASE", "P2"), "estimate"]
    assert head(result).endswith(f"it misses GREASE ({mean:.1f}, wanted 40 or less).")
    facts = {"windows_read_as": "benchmark", "benchmark_levels": {"GREASE": 70, "SOFT": 50}}
    versus = decided(target_study({"P1": (60, 45), "P2": (44, 75), "P3": (59, 50)}, facts=facts))
    row = versus.windows.set_index(["attribute", "prototype"]).loc[("GREASE", "P2")]
    assert f"GREASE (−{-row['difference']:.1f} from P1, wanted −30 or less)" in head(versus)
    assert "read as differences from P1" in said(versus)


def test_a_must_have_that_nobody_meets_is_the_headline():
    must = {"must_have": ["yes", ""]}
    result = decided(target_study({"P1": (60, 45), "P2": (46, 75), "P3": (59, 50)}, columns=must))
    assert result.nobody_meets == ("GREASE",)
    assert head(result).startswith(
        "No prototype meets the target for GREASE, which must be met. P2 is nearest to the target in these batches ("
    )
    assert decided(target_study(CLEAR, columns=must)).nobody_meets == ()


def test_nobody_left_is_said_with_the_reasons():
    batches = pd.DataFrame({"batch": list("abc"), "prototype": list(CLEAR), "ph": [7.0, 7.0, 7.0]})
    result = decided(target_study(CLEAR, facts={"gates": {"ph": [5, 6]}}, batches=batches))
    assert head(result).startswith("No prototype is left")
    assert "Out: P2, P3 and P1; each fails pH." in said(result)
    alone = decided(target_study(CLEAR, facts={"gates": {"ph": [5, 6]}}, batches=batches.assign(ph=[5.5, 7.0, 5.5])))
    assert "Out: P2, because it fails pH." in said(alone)


def test_who_is_out_and_who_is_open_stands_among_the_first_lines():
    batches = pd.DataFrame({"batch": list("abc"), "prototype": list(CLEAR), "ph": [7.0, 5.5, np.nan]})
    known = decided(target_study(CLEAR, facts={"gates": {"ph": [5, 6]}}, batches=batches))
    assert tell_decision(known, NAMES).mind[-1] == "Out: P1; not known yet: P3."
    none = tell_decision(decided(target_study(CLEAR)), NAMES).mind
    assert not [line for line in none if line.startswith(("Out", "Not known"))]


def test_the_demo_is_told_as_it_is(demo):
    result, names = demo
    words, told = said(result, names), tell_decision(result, names)
    assert told.headline.startswith(
        "No prototype meets the target for greasy film, which must be met. "
        "P4 is nearest to the target in these batches ("
    )
    assert told.headline.endswith("but over all pairs neither consumers nor panel separate it from P2 and P8.")
    assert "There is no winner" not in told.headline
    assert "P4 meets 4 of 6 windows, read on this panel's scale" in words
    assert "Read as differences from P1 it meets 6; all at once with a chance of" in words
    assert "stronger evidence" not in words
    assert "P4 and P8 cannot be separated overall; they please different people: group 1" in words
    means = demo[0].divided  # P8 less P4: below nought in the first group, above it in the second
    assert (means.query("prototype == 'P8' and versus == 'P4'")["estimate"] < 0).tolist() == [True, False]
    assert "(38 consumers) prefers P4 and group 2 (19 consumers) prefers P8." in words
    assert "Open:" not in words
    in_doubt = result.ranking["standing"].mask(result.ranking["prototype"] == "P6", "open")
    doubted = replace(result, ranking=result.ranking.assign(standing=in_doubt))
    assert "Open: P6, because stability cannot be told yet." in said(doubted, names)
    assert "each clearly misses a window that must be met (greasy film)." in words
    assert len(told.mind) <= 3
    assert sum(len(line.split()) for line in (told.headline, *told.mind)) <= 120


def test_groups_that_are_not_divided_are_told_by_what_they_like(demo):
    result, names = demo
    words = said(replace(result, divided=result.divided.iloc[:0]), names)
    assert "Liked best of those in the running: group 1 (" in words
    assert "please different people" not in words


def test_other_weights_that_turn_the_order_are_named():
    result = decided(target_study({"P1": (70, 30), "P2": (41, 40), "P3": (60, 54)}, noise=0.2))
    first = result.ranking["prototype"].iloc[0]
    other = result.weight_changes.loc[result.weight_changes["prototype"] != first]
    assert len(other)
    row = other.iloc[0]
    assert f"{row['attribute']} {row['change']}: {row['prototype']}" in said(result)


def test_evidence_that_disagrees_is_told_pair_by_pair():
    result = decided(target_study(CLEAR, liking={"P1": 8.0, "P2": 4.0, "P3": 6.0}))
    assert (result.pairs["overall"] == OPPOSED).any()
    assert "Panel and consumers disagree on P2 and P1" in said(result)
    assert "Panel and consumers disagree" not in said(decided(target_study(CLEAR)))


def test_what_consumers_did_not_try_is_not_what_they_do_not_separate():
    far = {"P1": (60, 45), "P2": (25, 75), "P3": (52, 50), "P4": (54, 52)}
    result = decided(target_study(far, liking={"P1": 4.0, "P2": 8.0}))
    assert head(result).endswith("but consumers did not try P4 and P3.")
    assert "do not separate" not in head(result)
    assert "; told apart from every other they tried." in said(result)
    mute = decided(target_study(far, liking={"P1": 4.0, "P3": 8.0}))
    assert head(mute).startswith("P2 is nearest")
    assert head(mute).endswith("but consumers did not try P2.")


def test_without_a_ranking_that_is_said():
    result = decided(target_study(CLEAR))
    empty = replace(result, ranking=result.ranking.assign(desirability=np.nan))
    assert head(replace(empty, contenders=(), choice=None)) == (
        "No prototype was scored on every attribute with a window, so none can be ranked."
    )


def test_what_it_cannot_show_leaves_the_decision_to_people():
    words = " ".join(tell_decision(decided(target_study(CLEAR)), NAMES).cannot)
    assert "People do" in words
    assert "not a safety assessment" in words


@pytest.mark.parametrize("read_as", ["panel", "benchmark"])
def test_what_no_session_joins_is_not_ranked_and_not_held_against_the_benchmark(read_as):
    result = split_over_sessions({"GREASE": 60, "SOFT": 45}, read_as)
    told = said(result)
    assert "chance" not in head(result).partition(",")[0]
    assert "were never served in one session" in told
    assert f"what {result.ranking['prototype'].iloc[0]} meets, read as differences from P1, cannot be told." in told
    assert "highest in" not in told
    assert "Read as differences from P1 it meets" not in told


def test_what_is_out_in_another_session_is_not_what_the_choice_is_ahead_of():
    result = split_over_sessions(None)
    assert result.ranking["standing"].tolist() == ["in", "out", "out", "out"]
    assert result.choice is None
    assert head(result) == (
        "P3 is nearest to the target in these batches, but P1 and P3 were never served in one session, and no others "
        "join their sessions."
    )


def split_over_sessions(levels, read_as="panel"):
    truth = {"P1": (80, 10), "P2": (80, 10), "P3": (20, 80), "P4": (80, 10)}
    facts = {"benchmark_levels": levels, "windows_read_as": read_as} if levels else {}
    made = target_study(truth, columns={"must_have": ["yes", "yes"]}, facts=facts)
    scores = made.scores
    apart = (scores["session"] == "3") == scores["prototype"].isin(["P3", "P4"])
    roles = ["benchmark" if levels else "prototype", *["prototype"] * 3]
    tables = {"prototypes": made.table("prototypes").assign(role=roles), "attributes": made.table("attributes")}
    study = Study(tables | {"scores": scores.loc[apart].reset_index(drop=True)}, made.facts)
    return decided(study)
