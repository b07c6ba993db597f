"""What to make next: the demo's answer, gains by hand, aliases broken outside the region, and what is refused."""

from types import SimpleNamespace

import numpy as np
import pytest

from panel.errors import ModelError
from panel.models.emollients.next_prototype import _candidate_blends, _parts_of_swaps, propose_next
from panel.models.emollients.prediction_model import prediction_model
from panel.models.emollients.predictions import what_if
from panel.study.study import Study
from tests.blend_studies import DEMO, SHARES, hand_cream, mixture_formulas, scored
from tests.formula_studies import (
    ALKANE,
    ALMOND,
    BASE,
    CARBONATE,
    ISOSTEARATE,
    SHEA,
    TRIGLYCERIDE,
    hand_cream_formulas,
)

FOUND = propose_next(DEMO)
EFFECTS = [[-15.0, -8.0, 7.0], [0.0, 0.0, 18.0]]


def blend_of(found, number):
    part = found.blends.loc[found.blends["proposal"] == number]
    return dict(zip(part["ingredient"], part["percent"], strict=True))


def test_the_demo_asks_for_p4_with_its_slow_slot_split():
    # the story's own answer: both swaps, almond and shea together, inside the tested region
    blend = blend_of(FOUND, 1)
    assert set(blend) == {ALKANE, ISOSTEARATE, ALMOND, SHEA}
    assert blend[ALKANE] == 6
    assert blend[ISOSTEARATE] == 5
    first = FOUND.proposals.iloc[0]
    assert (first["purpose"], first["inside"], first["windows"]) == ("target", True, 6)


def test_no_candidate_is_expected_to_meet_more_windows():
    model = prediction_model(DEMO)
    from panel.models.emollients.predictions import study_targets

    targets = study_targets(DEMO)
    names = model.level.emollients
    sums = [
        what_if(model, dict(zip(names, row, strict=True)), targets).profile["chance"].sum()
        for row in _candidate_blends(model)[::6]
    ]
    assert FOUND.proposals["expected"].iloc[0] >= max(sums) - 1e-9


def test_profiles_are_those_of_what_if():
    model = prediction_model(DEMO)
    told = what_if(model, blend_of(FOUND, 2))
    part = FOUND.profiles.loc[FOUND.profiles["proposal"] == 2]
    assert part["estimate"].to_numpy() == pytest.approx(told.profile["estimate"].to_numpy())


def test_the_prototypes_that_were_made_are_counted_in_the_same_way():
    from scipy.stats import t

    model = prediction_model(DEMO)
    expected = dict(zip(FOUND.tested["prototype"], FOUND.tested["expected"], strict=True))
    total = 0.0
    for attribute, low, high in (
        ("AF_GREASE", -np.inf, 38),
        ("AF_STICK", -np.inf, 25),
        ("RO_ABS", 55, np.inf),
        ("RO_SPREAD", 60, np.inf),
        ("LA_RESID", -np.inf, 42),
        ("LA_SOFT", 54, np.inf),
    ):
        mean, error = model.level.means.loc["P4", attribute], np.sqrt(model.level.error.loc[attribute, "variance"])
        df = model.level.error.loc[attribute, "df"]
        total += t.cdf((high - mean) / error, df) - t.cdf((low - mean) / error, df)
    assert expected["P4"] == pytest.approx(total)
    assert max(expected, key=expected.get) == "P4"


def test_the_second_proposal_tells_most():
    second = FOUND.proposals.iloc[1]
    assert second["purpose"] == "learn"
    assert second["rank_gain"] == 1
    # the middle of everything is where a curve shows most
    assert blend_of(FOUND, 2) == {CARBONATE: 3, TRIGLYCERIDE: 2.5, ALMOND: 2, ALKANE: 3, ISOSTEARATE: 2.5, SHEA: 2}


def test_the_gain_is_that_of_the_determinant():
    model = prediction_model(DEMO)
    X = model.rows(model.level.amounts.to_numpy())
    new = model.rows(np.array([blend_of(FOUND, 1).get(name, 0.0) for name in model.level.emollients]))
    before, after = (np.linalg.slogdet(M.T @ M)[1] for M in (X, np.vstack([X, new])))
    assert FOUND.proposals["gain"].iloc[0] == pytest.approx(after - before)


def test_what_each_would_teach():
    first = FOUND.teaches.loc[FOUND.teaches["proposal"] == 1]
    assert first["kind"].tolist() == ["new level", "curvature"]
    assert first["about"].iloc[0].startswith("Prunus Amygdalus")
    assert (FOUND.teaches.loc[FOUND.teaches["proposal"] == 2, "kind"] == "new level").sum() == 3


def test_practical_warnings_come_with_every_proposal():
    for number in (1, 2):
        kinds = set(FOUND.warnings.loc[FOUND.warnings["proposal"] == number, "kind"])
        assert {"solid", "volatile", "caution"} <= kinds


def test_without_targets_only_learning_is_left():
    found = propose_next(hand_cream(EFFECTS))
    assert found.proposals["purpose"].tolist() == ["learn"]
    assert any("states no target window" in note for note in found.notes)


def test_targets_can_be_given_and_unknown_ones_are_said():
    found = propose_next(hand_cream(EFFECTS), targets={"T1": (20.0, 30.0), "T9": (0.0, 5.0)})
    assert found.proposals["purpose"].tolist() == ["target", "learn"]
    assert any("no predicted mean: T9" in note for note in found.notes)


def joint_study():
    """Carbonate and triglyceride always leave together; almond oil is swapped for shea by itself, in three steps."""
    rest = BASE | {"Aqua": 71.85}
    formulas = {}
    for number, (both, slow) in enumerate([(0, 0), (1, 0), (0, 4), (1, 4), (0, 2), (1, 2)], start=1):
        lines = {CARBONATE: 6.0 - 6 * both, TRIGLYCERIDE: 5.0 - 5 * both, ALKANE: 6.0 * both, ISOSTEARATE: 5.0 * both}
        lines |= {ALMOND: 4.0 - slow, SHEA: float(slow)}
        formulas[f"P{number}"] = rest | {name: amount for name, amount in lines.items() if amount}
    return scored(formulas, np.full((1, 6), 50.0) + np.array([[0, -10, 4, -6, 2, -8.0]]))


def test_emollients_that_always_changed_together_get_a_prototype_that_parts_them():
    found = propose_next(joint_study(), targets={"T1": (40.0, 45.0)})
    last = found.proposals.iloc[-1]
    assert (last["purpose"], last["inside"]) == ("untangle", False)
    assert np.isnan(last["expected"])
    blend = blend_of(found, last["proposal"])
    assert CARBONATE not in blend or TRIGLYCERIDE in blend
    assert blend[TRIGLYCERIDE] == 5
    assert sum(blend.values()) == pytest.approx(15)
    taught = found.teaches.loc[found.teaches["proposal"] == last["proposal"]]
    assert taught["kind"].tolist() == ["alias broken"]
    profile = found.profiles.loc[found.profiles["proposal"] == last["proposal"]]
    assert profile["estimate"].isna().all()


def test_blends_that_vary_freely_are_proposed_between_those_that_were_made():
    truth = 30 + 40 * SHARES[:, 0]
    found = propose_next(scored(mixture_formulas(), [truth]), targets={"T1": (45.0, 47.0)})
    assert found.proposals["inside"].all()
    profile = found.profiles.loc[found.profiles["proposal"] == 1]
    assert 43 < profile["estimate"].iloc[0] < 49


def test_too_few_prototypes_are_refused():
    formulas = hand_cream_formulas()
    study = scored({name: formulas[name] for name in ("P1", "P2", "P3", "P5")}, np.full((1, 4), 50.0))
    with pytest.raises(ModelError, match="are needed"):
        propose_next(study)


def test_always_make_and_test():
    assert FOUND.notes[0] == "Make it and test it beside the base: a prediction is no result."
    assert 1 <= len(FOUND.proposals) <= 3


def test_no_proposal_takes_more_of_an_emollient_than_there_is():
    # two swaps take from the same 10 %: both whole would leave -6.8 %, and what is proposed must still add up to 10
    origin, directions = np.array([10.0, 0.0, 0.0]), np.array([[-8.4, 8.4, 0], [-8.4, 0, 8.4]])
    moves = SimpleNamespace(names=("A → B", "A → C"), origin=origin, directions=directions)
    blends = _parts_of_swaps(SimpleNamespace(moves=moves))
    assert (blends >= 0).all()
    np.testing.assert_allclose(blends.sum(axis=1), 10, atol=1e-9)
    assert [1.6, 8.4, 0.0] in blends.round(9).tolist()


def test_a_swap_that_goes_along_with_a_session_predicts_nothing():
    # eight alike creams; those with the third swap are scored in a session of their own
    made = hand_cream(np.zeros((2, 3)))
    scores, late = made.scores, made.scores["prototype"].isin(list(made.table("prototypes")["prototype"])[4:])
    apart = late == (scores["session"] == "3")
    targets = {"T1": (46.0, 54.0), "T2": (46.0, 54.0)}
    with pytest.raises(ModelError, match="Nothing can be predicted: P1 and P5 were never served in one session"):
        propose_next(with_scores(made, scores.loc[apart]), targets=targets)
    found = propose_next(with_scores(made, scores.loc[apart | (scores["attribute"] == "T2")]), targets=targets)
    assert set(found.profiles["attribute"]) == {"T2"}
    assert any(note.startswith("Left out of what is predicted: T1, as P1 and P5") for note in found.notes)


def with_scores(made, scores):
    tables = {name: made.table(name) for name in ("prototypes", "formulas")}
    return Study(tables | {"scores": scores.reset_index(drop=True)}, made.facts)
