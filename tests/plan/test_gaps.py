"""What it does to a plan that somebody may not get a prototype."""

import numpy as np
import pandas as pd
import pytest

from panel.plan.orders import _NO_GAPS, _design_gaps, plan_servings

NAMES = [f"P{number}" for number in range(1, 9)]
PEOPLE = [f"A{number:02d}" for number in range(1, 11)]


def forbid(*pairs, reason="avoids nuts"):
    return pd.DataFrame([(*pair, reason) for pair in pairs], columns=["assessor", "prototype", "reason"], dtype="str")


def plan(forbidden, people=PEOPLE, **how):
    return plan_servings(NAMES, people, np.random.default_rng(1), forbidden=forbidden, **how)


def test_pairs_that_do_not_concern_the_plan_are_no_gaps():
    assert not len(_design_gaps(forbid(("A99", "P1"), ("A01", "P99")), NAMES, PEOPLE))
    assert not len(_design_gaps(_NO_GAPS, NAMES, PEOPLE))


def test_each_pair_is_told_once_with_all_reasons():
    twice = pd.concat([forbid(("A01", "P1"), ("A01", "P1")), forbid(("A01", "P1"), reason="avoids soy")])
    assert _design_gaps(twice, NAMES, PEOPLE).to_numpy().tolist() == [["A01", "P1", "avoids nuts; avoids soy"]]


def test_nobody_is_served_what_is_forbidden_and_the_others_move_up():
    result = plan(forbid(("A01", "P5"), ("A01", "P6")), replicates=2)
    mine = result.servings.loc[result.servings["assessor"] == "A01"]
    assert set(mine["prototype"]) == set(NAMES) - {"P5", "P6"}
    assert mine["position"].tolist() == [1.0, 2.0, 3.0, 4.0, 5.0, 6.0] * 2
    others = result.servings.loc[result.servings["assessor"] != "A01"]
    assert (others.groupby(["session", "assessor"]).size() == 8).all()


def test_the_report_says_who_misses_what_and_what_that_costs():
    # one value missing among r blocks and t treatments: variance of a difference 2/r + t / (r (r - 1) (t - 1)),
    # Yates (1933), Emp. J. Exp. Agric. 1:129; from memory
    complete, with_gap = 2 / 10, 2 / 10 + 8 / (10 * 9 * 7)
    result = plan(forbid(("A01", "P5")))
    assert result.balance.together["share"].min() == pytest.approx(complete / with_gap)
    notes = " ".join(result.notes)
    assert "A01 does not get P5: avoids nuts." in notes
    assert "P5, is tried by 9 of 10 assessors" in notes
    assert f"about {100 * (np.sqrt(with_gap / complete) - 1):.0f} % larger" in notes
    assert "holds for the others" in notes


def test_somebody_who_may_get_nothing_is_not_served():
    result = plan(forbid(*[("A03", name) for name in NAMES]))
    assert "A03" not in set(result.servings["assessor"])
    assert "A03 is served nothing: avoids nuts." in result.notes


def test_one_prototype_says_nothing_about_differences():
    notes = plan(forbid(*[("A03", name) for name in NAMES[1:]])).notes
    assert "A03 tries only one prototype, which says nothing about differences." in notes


def test_prototypes_that_nobody_links_are_named():
    # one half of the people may only get P1 to P4, the other half only P5 to P8
    apart = [(person, name) for person in PEOPLE[:5] for name in NAMES[4:]]
    apart += [(person, name) for person in PEOPLE[5:] for name in NAMES[:4]]
    result = plan(forbid(*apart))
    lost = result.balance.together.loc[result.balance.together["share"] == 0]
    assert len(lost) == 16
    assert "Cannot be compared, because nobody links them: P1 and P5" in " ".join(result.notes)


def test_few_people_left_is_said():
    notes = " ".join(plan(forbid(*[(person, "P5") for person in PEOPLE[:6]])).notes)
    assert "Some differences rest on 4 assessors." in notes


def test_without_a_gap_nothing_is_said():
    assert not any("tried by" in note or "does not get" in note for note in plan(_NO_GAPS).notes)


@pytest.mark.parametrize("per_session", [8, 4])
def test_codes_and_sites_stay_complete_with_gaps(per_session):
    servings = plan(forbid(("A01", "P5")), per_session=per_session).servings
    assert (servings["code"] != "").all()
    assert not servings.duplicated(["session", "assessor", "site"]).any()
