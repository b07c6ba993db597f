"""A claim whose pair or swap goes along with something else cannot be told yet; batches are in word and error."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from benchmarks.confounds import one_swap, simulated
from panel.claims.judge import judge_claims
from panel.claims.materials import _panel_numbers
from panel.models.emollients.swaps import trace_swaps
from panel.models.prototypes.panel_design import fit_study
from panel.study.study import Study
from tests.claims.claim_studies import claim_row, study_with
from tests.models.decision.known_studies import decided


def judged(study, **claim):
    row = claim_row("greasier than P1", "superiority", attribute="T0000", direction="more", versus="P1", **claim)
    made = study_with([row])
    facts = made.facts | study.facts
    attributes = pd.DataFrame({"attribute": ["T0000"], "name": ["greasy film"]})
    return judge_claims(Study({**study.tables, "attributes": attributes, "claims": made.table("claims")}, facts))


@pytest.fixture(scope="module")
def split():
    return simulated(np.random.default_rng(2), 1, split=True, session_sd=4.0, shift=40.0)


def test_a_pair_never_served_in_one_session_cannot_be_told_yet(split):
    found = judged(split, prototype="P4")
    assert found.claims["verdict"].tolist() == ["cannot tell yet"]
    assert found.needs["need"].tolist()[0] == (
        "P1 and P4 were never served in one session, and no others join their sessions. Serve P1 and P4 together in "
        "one session."
    )


def test_a_pair_of_one_session_is_supported_in_these_batches(split):
    found = judged(split, prototype="P2")
    assert found.claims["verdict"].tolist() == ["supported as worded, in these batches"]


def test_two_batches_or_a_stated_spread_take_the_batches_out_of_the_word():
    more = simulated(np.random.default_rng(2), 1, prototypes=4, batches=3, shift=40.0)
    assert judged(more, prototype="P2").claims["verdict"].tolist() == ["supported as worded"]
    one = simulated(np.random.default_rng(2), 1, prototypes=4, shift=40.0, facts={"batch_sd": 3.0})
    found = judged(one, prototype="P2")
    assert found.claims["verdict"].tolist() == ["supported as worded"]
    assert "a standard deviation of 3 between batches, as stated for the study" in found.claims["method"].iloc[0]
    plain = judged(Study(one.tables, {}), prototype="P2").claims["std_error"].iloc[0]
    assert found.claims["std_error"].iloc[0] == pytest.approx(np.sqrt(plain**2 + 2 * 9.0))


def test_a_known_spread_enters_dunnetts_family_too():
    study = simulated(np.random.default_rng(4), 2, prototypes=4)
    wide = Study(study.tables, study.facts | {"batch_sd": 3.0})
    rows = [_panel_numbers(each, fit_study(each)).from_one("T0000", "P1") for each in (study, wide)]
    np.testing.assert_allclose(rows[1]["std_error"], np.sqrt(rows[0]["std_error"] ** 2 + 18.0))
    assert (rows[1]["p_adjusted"] > rows[0]["p_adjusted"]).all()


def made_on(study, *days):
    batches = pd.DataFrame(
        {"batch": [f"P{k + 1}-1" for k in range(len(days))], "prototype": [f"P{k + 1}" for k in range(len(days))]}
    ).assign(made_on=days)
    return Study(dict(study.tables) | {"batches": batches}, study.facts)


def test_a_swap_tied_to_the_making_day_is_never_credited():
    study = simulated(np.random.default_rng(5), 1, prototypes=2, shift=40.0, formulas=one_swap())
    row = claim_row(
        "more thanks to it",
        "ingredient_attribution",
        prototype="P2",
        versus="P1",
        attribute="T0000",
        direction="more",
        ingredient="Isohexadecane",
    )
    claims = study_with([row])

    def verdict(*days):
        base = made_on(study, *days)
        return judge_claims(Study({**base.tables, "claims": claims.table("claims")}, claims.facts | study.facts))

    tied = verdict("2025-03-10", "2025-03-11")
    assert tied.claims["verdict"].tolist() == ["cannot tell yet"]
    assert tied.needs["need"].tolist()[0] == "Make both of a matched pair on one day."
    assert any("goes along with the swap or the making day" in reason for reason in tied.reasons["reason"])
    free = verdict("2025-03-10", "2025-03-10")
    assert free.claims["verdict"].tolist() == ["not as worded: this may be said"]
    assert free.claims["suggestion"].iloc[0]
    traced = trace_swaps(made_on(study, "2025-03-10", "2025-03-11")).swaps.iloc[0]
    assert (traced["verdict"], traced["goes_along"]) == ("cannot tell", "making day")
    assert trace_swaps(made_on(study, "2025-03-10", "2025-03-10")).swaps["verdict"].tolist() == ["differs"]


def test_a_stated_spread_enters_swaps_and_their_method():
    study = simulated(np.random.default_rng(5), 3, prototypes=2, formulas=one_swap())
    wide = trace_swaps(Study(study.tables, study.facts | {"batch_sd": 3.0}))
    plain = trace_swaps(study)
    np.testing.assert_allclose(wide.swaps["std_error"], np.sqrt(plain.swaps["std_error"] ** 2 + 18.0))
    assert "A standard deviation of 3 between batches, stated for the study" in wide.method


def test_nobody_is_ahead_across_sessions_and_the_spread_widens_the_draws(split):
    attributes = pd.DataFrame(
        {"attribute": ["T0000"], "direction": ["target"], "target_low": [70.0], "target_high": [100.0]}
    )
    study = Study(dict(split.tables) | {"attributes": attributes}, split.facts)
    found = decided(study)
    pairs = found.pairs.set_index(["prototype", "versus"])
    crossing = [pair for pair in pairs.index if (pair[0] in ("P1", "P2", "P3")) != (pair[1] in ("P1", "P2", "P3"))]
    assert set(pairs.loc[crossing, "overall"]) == {"cannot tell"}
    assert pairs.loc[crossing, "because"].str.contains("never served in one session").all()
    assert any("never served in one session" in note for note in found.notes)
    wide = decided(replace(study, facts=study.facts | {"batch_sd": 3.0}))
    np.testing.assert_allclose(wide.windows["std_error"], np.sqrt(found.windows["std_error"] ** 2 + 9.0), rtol=1e-9)
    assert "between batches, stated for the study" in wide.method


def test_groups_that_see_the_prototypes_apart_are_among_the_reasons():
    study = simulated(np.random.default_rng(2), 1, prototypes=4, shift=40.0)
    north = study.scores["assessor"].isin([f"A{k:02d}" for k in range(1, 5)])
    higher = north & (study.scores["prototype"] == "P2")
    names = sorted(study.scores["assessor"].unique())
    people = pd.DataFrame({"assessor": names, "kind": "trained", "group": ["north"] * 4 + ["south"] * 4})
    for apart, told in ((0.0, 0), (30.0, 1)):
        scores = study.scores.assign(score=study.scores["score"].where(~higher, study.scores["score"] + apart))
        found = judged(Study({**study.tables, "scores": scores, "assessors": people}, study.facts), prototype="P2")
        reasons = found.reasons["reason"].str.startswith(
            "The groups of assessors do not show the prototypes alike here"
        )
        assert reasons.sum() == told
