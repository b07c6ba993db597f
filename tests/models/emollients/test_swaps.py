"""Tracing differences to swaps: a hand cream with known truth, aliases that must not be named, what must be said."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import false_discovery_control, ttest_1samp

from panel.errors import ModelError
from panel.models.emollients.swaps import trace_swaps
from panel.models.prototypes.differences import find_differences
from panel.study.open_study import open_study
from panel.study.study import Study
from panel.words import format_list
from tests.formula_studies import (
    ALKANE,
    ALMOND,
    ARROW,
    BASE,
    CARBONATE,
    ISOSTEARATE,
    SHEA,
    TRIGLYCERIDE,
    hand_cream_formulas,
    scores_of,
    study_of,
)

PROTOTYPES = [f"P{number}" for number in range(1, 9)]
SWAP_A, SWAP_B, SWAP_C = ARROW
COLUMNS = [
    *("attribute", "swap", "removed", "added", "percent", "estimate", "std_error", "df", "statistic"),
    *("p_value", "p_adjusted", "ci_low", "ci_high", "told_low", "told_high", "told_level"),
    *("n_pairs", "n_assessors"),
]


def truth(base, effects, together=None):
    """The true scores of the eight prototypes: base, effect of each swap, and extra where two are made."""
    runs = np.array([[run >> slot & 1 for slot in range(3)] for run in range(8)])
    scores = base + runs @ np.array(effects)
    for (one, other), extra in (together or {}).items():
        scores = scores + extra * runs[:, one] * runs[:, other]
    return scores


def panel_scores(*truths, seed=5, noise=7.0, interaction=4.0):
    """Ten assessors, three sessions: level, prototype x assessor and noise around these true scores."""
    rng = np.random.default_rng(seed)
    shape = (10, 3, len(truths), 8)
    values = np.stack(truths)[None, None] + rng.normal(0, noise, shape)
    return values + rng.normal(0, interaction, (10, 1, *shape[2:])) + rng.normal(0, 6, (10, 1, shape[2], 1))


def hand_cream(values, **tables):
    return study_of(hand_cream_formulas(), scores=scores_of(values, PROTOTYPES), **tables)


# Greasy film: A lowers it by 15, B by 8, C raises it by 7, A and B together give back 5. Shape: only C, 18.
TRACED = trace_swaps(
    hand_cream(panel_scores(truth(52, [-15, -8, 7], {(0, 1): 5}), truth(46, [0, 0, 18]), truth(50, [0, 0, 0])))
)


def test_the_true_effects_lie_in_their_intervals_and_are_seen():
    rows = TRACED.swaps.set_index(["attribute", "swap"])
    # The mean effect of A over its four pairs: -15, and half of them have B too, which gives back 5.
    expected = {("T1", SWAP_A): -12.5, ("T1", SWAP_B): -5.5, ("T1", SWAP_C): 7, ("T2", SWAP_C): 18}
    for key, effect in expected.items():
        row = rows.loc[key]
        assert row["ci_low"] <= effect <= row["ci_high"]
        assert row["p_adjusted"] < 0.05
    assert (rows.loc["T3", "p_adjusted"] > 0.05).all()


VERDICT = ["seen", "verdict", "not_apart", "because", "goes_along"]
LUCK = ["shrunken", "wrong_sign"]


def test_columns_counts_and_masses():
    assert TRACED.swaps.columns.tolist() == [*COLUMNS, *VERDICT, *LUCK]
    assert TRACED.joint.columns.tolist() == [*COLUMNS, *VERDICT, *LUCK]
    assert TRACED.joint.empty
    assert len(TRACED.swaps) == 9
    assert set(TRACED.swaps["n_pairs"]) == {4}
    assert set(TRACED.swaps["n_assessors"]) == {10}
    assert TRACED.swaps.groupby("swap")["percent"].first().to_dict() == ARROW


def test_the_family_is_all_attributes_and_swaps():
    # scipy as the judge.
    np.testing.assert_allclose(TRACED.swaps["p_adjusted"], false_discovery_control(TRACED.swaps["p_value"]), rtol=1e-12)
    assert "all 9 tests of attributes x swaps" in TRACED.method


def test_interactions_are_the_extra_where_both_swaps_are_made():
    rows = TRACED.interactions.set_index(["attribute", "swap", "with_swap"])
    row = rows.loc[("T1", SWAP_A, SWAP_B)]
    assert row["ci_low"] <= 5 <= row["ci_high"]
    assert set(TRACED.interactions["n_squares"]) == {2}
    assert len(TRACED.interactions) == 9
    noiseless = panel_scores(truth(50, [1, 2, 3], {(0, 2): 6, (0, 1): -4}), noise=1e-6, interaction=1e-6)
    rows = trace_swaps(hand_cream(noiseless)).interactions.set_index(["swap", "with_swap"])
    assert rows.loc[(SWAP_A, SWAP_C), "estimate"] == pytest.approx(6, abs=1e-4)
    assert rows.loc[(SWAP_A, SWAP_B), "estimate"] == pytest.approx(-4, abs=1e-4)
    assert rows.loc[(SWAP_B, SWAP_C), "estimate"] == pytest.approx(0, abs=1e-4)


def test_an_interaction_is_told_by_its_adjusted_p_and_one_that_may_be_there_as_perhaps():
    seen = set()
    for seed in range(6):
        rows = trace_swaps(hand_cream(panel_scores(truth(50, [1, 2, 3], {(0, 2): 8}), seed=seed))).interactions
        expected = np.where(
            rows["p_adjusted"] < 0.05, "differs", np.where(rows["p_adjusted"] < 0.2, "perhaps", "cannot tell")
        )
        assert rows["verdict"].tolist() == expected.tolist()
        seen |= set(expected)
    assert seen == {"differs", "perhaps", "cannot tell"}


def test_an_interaction_is_the_swap_judged_with_minus_without_the_other():
    # A second computation from the swaps' own frame: A in the four prototypes with B, minus A in those without.
    values = panel_scores(truth(50, [5, 5, 5], {(0, 1): 3}), seed=8)
    whole = trace_swaps(hand_cream(values)).interactions.set_index(["swap", "with_swap"])
    formulas = hand_cream_formulas()
    estimates = []
    for side in (0, 2):
        kept = [PROTOTYPES[run] for run in range(8) if run & 2 == side]
        scores = scores_of(values[..., [run for run in range(8) if run & 2 == side]], kept)
        part = trace_swaps(study_of({name: formulas[name] for name in kept}, scores=scores)).swaps
        estimates.append(part.set_index("swap").loc[SWAP_A, "estimate"])
    assert whole.loc[(SWAP_A, SWAP_B), "estimate"] == pytest.approx(estimates[1] - estimates[0], rel=1e-9)


def test_three_independent_moves_made_from_six_emollients():
    assert TRACED.n_moves == 3
    # Each swap is an orthogonal direction of length share * sqrt(2) / 2 * sqrt(8): 80, 66.7 and 53.3, by hand.
    np.testing.assert_allclose(TRACED.moves["singular_value"][:3], [80, 200 / 3, 160 / 3], rtol=1e-9)
    assert TRACED.moves["counts"].tolist() == [True, True, True, False, False, False]


def test_what_moves_with_a_swap_is_in_its_alias_group():
    groups = [set(part["descriptor"]) for _, part in TRACED.aliases.groupby("group")]
    assert any({ALKANE, CARBONATE, "volatile_share", "hydrocarbon_share"} <= group for group in groups)
    # Weak descriptors (almond oil and shea butter have no molar mass) are not compared.
    assert not any("molar_mass_by_mass" in group for group in groups)


def four_creams():
    return {
        "P1": BASE | {CARBONATE: 6.0, TRIGLYCERIDE: 5.0, ALMOND: 4.0},
        "P2": BASE | {ALKANE: 6.0, ISOSTEARATE: 5.0, ALMOND: 4.0},
        "P3": BASE | {CARBONATE: 6.0, TRIGLYCERIDE: 5.0, SHEA: 4.0},
        "P4": BASE | {ALKANE: 6.0, ISOSTEARATE: 5.0, SHEA: 4.0},
    }


def test_swaps_that_always_come_together_are_never_named_singly():
    values = panel_scores(truth(50, [10, 0, 0]))[..., [0, 3, 4, 7]]
    traced = trace_swaps(study_of(four_creams(), scores=scores_of(values, ["P1", "P2", "P3", "P4"])))
    assert traced.n_moves == 2
    assert set(traced.swaps["swap"]) == {SWAP_C}
    together = f"{CARBONATE} + {TRIGLYCERIDE} → {ALKANE} + {ISOSTEARATE}"
    assert traced.joint["swap"].tolist() == [together]
    assert traced.joint["n_pairs"].tolist() == [2]
    assert (
        f"Always changed at once, so these data cannot say which of them a change goes with: {together}."
        in traced.notes
    )
    group = next(set(p["descriptor"]) for _, p in traced.aliases.groupby("group") if ALKANE in set(p["descriptor"]))
    assert {CARBONATE, TRIGLYCERIDE, ALKANE, ISOSTEARATE} <= group
    whole = pd.concat([traced.swaps, traced.joint])  # one family
    np.testing.assert_allclose(whole["p_adjusted"], false_discovery_control(whole["p_value"]), rtol=1e-12)


def test_one_pair_only_and_prototypes_without_a_pair_are_told():
    formulas = {name: hand_cream_formulas()[name] for name in ("P1", "P2", "P8")}
    formulas["P8"] |= {"Aqua": 70.85, "Glycerin": 7.0}
    formulas["P9"] = BASE | {"Aqua": 75.85, CARBONATE: 2.0, TRIGLYCERIDE: 5.0, ALMOND: 4.0}
    formulas["P10"] = formulas["P1"]
    values = panel_scores(truth(50, [10, 0, 0]))[..., [0, 1, 7, 0, 0]]
    traced = trace_swaps(study_of(formulas, scores=scores_of(values, list(formulas))))
    assert "In no matched pair, so without part in any swap effect: P8, P9." in traced.notes
    assert any(
        note.startswith("Not swaps, because water took up the difference") and "P9 and P1" in note
        for note in traced.notes
    )
    assert any(note.startswith("The same formula") and "P10 and P1" in note for note in traced.notes)
    alone = {name: formulas[name] for name in ("P1", "P2")}
    traced = trace_swaps(study_of(alone, scores=scores_of(values[..., :2], ["P1", "P2"])))
    assert f"Rests on one matched pair only, no interaction can be seen: {SWAP_A}." in traced.notes
    assert traced.interactions.empty


def test_where_two_differ_and_their_swap_cannot_be_told_it_is_said_why():
    formulas = {name: hand_cream_formulas()[name] for name in ("P1", "P2", "P3")}
    said = []
    for seed in range(12):
        small = [truth(50, [effect, 0, 0]) for effect in (6, 7, 8, 0, 0, 0, 0, 0, 0, 0)]
        values = panel_scores(*small, seed=seed, interaction=6.0)[..., :3]
        study = study_of(formulas, scores=scores_of(values, list(formulas)))
        traced, told = trace_swaps(study), find_differences(study).pairs.set_index("attribute")
        rows = traced.swaps.loc[traced.swaps["swap"] == SWAP_A].set_index("attribute")
        pair = told.loc[(told["prototype"].isin(["P1", "P2"])) & told["versus"].isin(["P1", "P2"]), "verdict"]
        both = [name for name in rows.index if (pair[name], rows["verdict"][name]) == ("differs", "cannot tell")]
        notes = [note for note in traced.notes if "own change" in note and "P2 and P1" in note]
        assert len(notes) == bool(both)
        if both:
            assert notes[0] == (
                f"P2 and P1 differ on {format_list(both)}, and their swap cannot be told there: it is judged by each "
                "person's own change, all 20 tests adjusted together."
            )
        said.append(bool(both))
    assert {*said} == {True, False}


def test_half_of_a_swap_is_told_from_its_own_pair_where_the_score_bends():
    # Truth: nothing at 3 %, 20 at 6 %; half the way along a straight line would be 10. scipy as the judge.
    steps = [{CARBONATE: 6.0}, {CARBONATE: 3.0, ALKANE: 3.0}, {ALKANE: 6.0}]
    values = panel_scores(truth(50, [0, 20, 0]))[..., :3]  # 50, 50, 70
    study = study_of({f"P{n}": BASE | blend for n, blend in enumerate(steps, 1)}, scores=scores_of(values, PROTOTYPES))
    traced = trace_swaps(study)
    rows = traced.swaps.set_index("percent")
    for percent, column in ((3.0, 1), (6.0, 2)):
        by_hand = (values[..., column] - values[..., 0]).mean(axis=1)[:, 0]
        assert rows.loc[percent, "estimate"] == pytest.approx(by_hand.mean())
        assert rows.loc[percent, "p_value"] == pytest.approx(ttest_1samp(by_hand, 0).pvalue)
    assert rows["verdict"].to_dict() == {3.0: "cannot tell", 6.0: "differs"}
    assert f"Each amount is told from its own pairs, not along a straight line: {SWAP_A}, 3 % and 6 %." in traced.notes
    assert set(traced.unpaired["kind"]) == {"further"}


def test_without_any_matched_pair_the_rest_is_still_told():
    formulas = {"P1": BASE | {CARBONATE: 15.0}, "P2": BASE | {"Aqua": 80.0, CARBONATE: 6.85}}
    values = panel_scores(truth(50, [10, 0, 0]))[..., :2]
    traced = trace_swaps(study_of(formulas, scores=scores_of(values, ["P1", "P2"])))
    assert traced.swaps.empty
    assert traced.swaps.columns.tolist() == [*COLUMNS, *VERDICT, *LUCK]
    assert any(note.startswith("No two prototypes differ by exactly one emollient") for note in traced.notes)


def test_a_making_day_that_goes_with_a_swap_is_told():
    batches = [
        {"batch": f"B{n}", "prototype": f"P{n}", "made_on": f"2025-03-1{1 if n <= 4 else 2}T09:0{n}"}
        for n in range(1, 9)
    ]
    notes = trace_swaps(hand_cream(panel_scores(truth(50, [0, 0, 0])), batches=batches)).notes
    confounded = [note for note in notes if "cannot be told apart" in note]
    assert len(confounded) == 1
    assert SWAP_C in confounded[0]
    assert any(note.startswith("At least one prototype is known from one batch only") for note in notes)


def test_assessors_who_lack_every_pair_are_named_and_the_others_counted():
    values = panel_scores(truth(50, [10, 0, 0]))
    values[3, :, :, 1::2] = np.nan  # A04 never sees a prototype with swap A
    values[4, 0, :, 1] = np.nan  # A05 misses one serving: the other sittings still count
    traced = trace_swaps(hand_cream(values))
    assert f"Scored no pair of {SWAP_A} in one sitting, so without part in its effect: A04." in traced.notes
    rows = traced.swaps.set_index("swap")
    assert rows["n_assessors"].to_dict() == {SWAP_A: 9, SWAP_B: 10, SWAP_C: 10}


def test_a_blank_score_is_no_score():
    values = panel_scores(truth(50, [10, 0, 0]))
    study = hand_cream(values)
    blanked = study.scores.copy()
    blanked.loc[0, "score"] = np.nan
    values[0, 0, 0, 0] = np.nan
    pd.testing.assert_frame_equal(
        trace_swaps(Study({**study.tables, "scores": blanked})).swaps, trace_swaps(hand_cream(values)).swaps
    )


def test_what_always_holds_is_always_said():
    for start in (
        "The effects hold in this base.",
        "The intervals generalise over assessors, not over other formulas, and over batches only",
    ):
        assert any(note.startswith(start) for note in TRACED.notes)


def test_a_study_without_formulas_says_what_to_add():
    with pytest.raises(ModelError, match=r"The study has no formulas.*Add the table formulas, one row per ingredient"):
        trace_swaps(Study({}))


@pytest.mark.parametrize(
    "formulas", [{"P1": BASE | {CARBONATE: 15.0}}, {"P1": BASE, "P2": BASE}, {"P1": BASE | {CARBONATE: np.nan}}]
)
def test_fewer_than_two_blends_say_what_to_add(formulas):
    with pytest.raises(ModelError, match=r"Fewer than two prototypes have a complete formula with an emollient\. Add"):
        trace_swaps(study_of(formulas))


DEMO = Path(__file__).resolve().parents[3] / "data_demo" / "reading_room"


def test_the_demo_study_leads_to_its_known_conclusions():
    # Invented data with known truth: A lowers greasy film, B lowers stickiness and raises slip, C raises firmness
    # and later softness; the making day goes with C.
    traced = trace_swaps(open_study(DEMO))
    rows = traced.swaps.set_index(["attribute", "swap"])
    for attribute, swap, sign in (
        ("AF_GREASE", SWAP_A, -1),
        ("AF_STICK", SWAP_B, -1),
        ("AF_SLIP", SWAP_B, 1),
        ("PU_FIRM", SWAP_C, 1),
        ("LA_SOFT", SWAP_C, 1),
    ):
        row = rows.loc[(attribute, swap)]
        assert np.sign(row["estimate"]) == sign
        assert row["p_adjusted"] < 0.05
    assert traced.n_moves == 3
    assert any("cannot be told apart" in note and SWAP_C in note for note in traced.notes)


def test_a_stated_spread_between_batches_stands_in_the_method_and_in_every_error():
    values = panel_scores(truth(50, [5, 5, 5]))
    plain = trace_swaps(hand_cream(values))
    study = hand_cream(values)
    wider = trace_swaps(Study(study.tables, {**study.facts, "batch_sd": 3.0}))
    assert "standard deviation of 3 between batches, stated for the study" in wider.method
    assert "between batches," not in plain.method
    assert (wider.swaps["std_error"] > plain.swaps["std_error"]).all()
