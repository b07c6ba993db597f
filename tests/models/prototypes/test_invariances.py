"""What must not matter: the order of rows, prototypes and sessions, the names of people, the zero of the scale."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.models.assessors.performance import check_panel
from panel.models.consumers.liking import liking_model
from panel.models.over_time.after_feel import follow_after_feel
from panel.models.prototypes.differences import find_differences
from panel.study.study import Study
from tests.studies import crossed_study

EXAMPLES = settings(max_examples=8, deadline=None)
NINE_DIGITS = 1e-9
SHIFT = 1e6
TESTED = ["statistic", "df", "df_error", "p_value", "p_adjusted"]
ESTIMATED = ["estimate", "std_error", "df", "p_value", "p_adjusted"]


def panel(kind):
    """Return a study: complete, with gaps, with prototypes split over sessions, or with positions to take out."""
    rng = np.random.default_rng(11)
    study = crossed_study(rng, assessors=6, prototypes=5, attributes=2, sessions=3, difference_sd=6.0)
    scores = study.scores
    if kind == "gaps":
        scores = scores.loc[rng.random(len(scores)) > 0.25]
    if kind == "split":
        early = scores["prototype"].isin(["P01", "P02", "P03"])
        scores = scores.loc[(early & (scores["session"] != "3")) | (~early & (scores["session"] == "3"))]
    if kind == "positions":
        scores = scores.assign(position=rng.integers(1, 6, len(scores)).astype(float), session="1")
    return replace(study, tables={**study.tables, "scores": scores.reset_index(drop=True)})


def with_scores(study, scores, prototypes=None):
    tables = {**study.tables, "scores": scores.reset_index(drop=True)}
    if prototypes is not None:
        tables["prototypes"] = pd.DataFrame({"prototype": list(prototypes)}, dtype="str")
    return replace(study, tables=tables)


def numbers(study, adjust_for=()):
    """Return all tests and differences, each pair once and in one direction."""
    found = find_differences(study, versus="P02", adjust_for=adjust_for)
    tests = found.attributes.set_index("attribute")[TESTED].sort_index()
    versus = found.versus.set_index(["attribute", "prototype"])[ESTIMATED].sort_index()
    means = found.means.set_index(["attribute", "prototype"])[["estimate", "std_error", "df"]].sort_index()
    return tests, versus, means


def alike(one, other, relative=1e-7):
    for left, right in zip(one, other, strict=True):
        pd.testing.assert_frame_equal(left, right, rtol=relative, atol=1e-9)


KINDS = ("complete", "gaps", "split", "positions")


def taken_out(kind):
    return ("position",) if kind == "positions" else ()


@pytest.mark.parametrize("kind", KINDS)
@EXAMPLES
@given(seed=st.integers(0, 2**32 - 1))
def test_the_order_of_rows_and_of_prototypes_changes_nothing(kind, seed):
    study, rng = panel(kind), np.random.default_rng(seed)
    mixed = study.scores.sample(frac=1, random_state=rng)
    listed = rng.permutation(list(study.prototypes))
    alike(numbers(study, taken_out(kind)), numbers(with_scores(study, mixed, listed), taken_out(kind)))


@pytest.mark.parametrize("kind", KINDS)
@EXAMPLES
@given(seed=st.integers(0, 2**32 - 1))
def test_the_names_of_people_change_nothing(kind, seed):
    study = panel(kind)
    names = dict(zip(study.assessors, np.random.default_rng(seed).permutation(list("zyxwvu")), strict=True))
    renamed = study.scores.assign(assessor=study.scores["assessor"].map(names))
    alike(numbers(study, taken_out(kind)), numbers(with_scores(study, renamed), taken_out(kind)))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("shift", [SHIFT, -SHIFT])
def test_the_zero_of_the_scale_changes_nothing_in_nine_digits(kind, shift):
    # eighths keep every digit beside a million: what is compared is the computation, not the rounding of the scores
    study = panel(kind)
    study = with_scores(study, study.scores.assign(score=(study.scores["score"] * 8).round() / 8))
    moved = with_scores(study, study.scores.assign(score=study.scores["score"] + shift))
    one, other = (numbers(Study(made.tables), taken_out(kind)) for made in (study, moved))
    alike(one[:1], other[:1], NINE_DIGITS)
    for column in ESTIMATED:
        # differences of about 10, whose parts are told from a million by a ten-thousandth of a millionth
        np.testing.assert_allclose(other[1][column], one[1][column], rtol=NINE_DIGITS, atol=1e-8)
    np.testing.assert_allclose(other[2]["estimate"] - shift, one[2]["estimate"], atol=1e-8)
    np.testing.assert_allclose(other[2]["std_error"], one[2]["std_error"], rtol=NINE_DIGITS)


def test_scores_that_hardly_scatter_about_a_large_number_are_compared():
    study = panel("gaps")
    small = with_scores(study, study.scores.assign(score=SHIFT + study.scores["score"] * 2.0**-10))
    found = find_differences(Study(small.tables))
    assert found.not_estimated.empty
    expected = find_differences(study).attributes["statistic"]
    np.testing.assert_allclose(found.attributes["statistic"], expected, rtol=1e-6)


def test_only_scores_that_do_repeat_exactly_are_said_to():
    people, prototypes = [f"A{n}" for n in range(4)], ["P1", "P2", "P3"]
    rows = [
        {"assessor": a, "prototype": p, "session": s, "attribute": "X", "score": 10.0 * i + 3.0 * j + 0.1}
        for i, a in enumerate(people)
        for j, p in enumerate(prototypes)
        for s in ("1", "2")
    ]
    exact = pd.DataFrame(rows)
    other = exact.assign(attribute="Y", score=np.random.default_rng(1).normal(50, 8, len(exact)))
    for moved, words in ((0.0, "the scores repeat exactly"), (1e-5, "the scores repeat nearly exactly")):
        jitter = moved * np.random.default_rng(2).standard_normal(len(exact))
        scores = pd.concat([exact.assign(score=exact["score"] + jitter), other], ignore_index=True)
        (why,) = find_differences(Study({"scores": scores})).not_estimated["why"]
        assert why.startswith(words)


def test_the_check_of_the_panel_does_not_lean_on_the_zero_of_the_scale():
    study = panel("complete")
    study = with_scores(study, study.scores.assign(score=(study.scores["score"] * 8).round() / 8))
    moved = with_scores(study, study.scores.assign(score=study.scores["score"] + SHIFT))
    one, other = (check_panel(Study(made.tables)) for made in (study, moved))
    for column in ("statistic", "p_value", "repeat_sd", "correlation", "slope"):
        np.testing.assert_allclose(other.assessors[column], one.assessors[column], rtol=1e-7, atol=1e-9)


def test_liking_and_after_feel_do_not_lean_on_the_order_of_prototypes():
    rng = np.random.default_rng(5)
    answers = pd.DataFrame(rng.integers(1, 10, (30, 5)).astype(float), columns=[f"P{n}" for n in (1, 2, 3, 4, 10)])
    answers = answers.mask(rng.random(answers.shape) < 0.3)
    one, other = (liking_model(frame).test for frame in (answers, answers[["P10", "P3", "P1", "P4", "P2"]]))
    for name in ("statistic", "df_error", "p_value"):
        assert other[name] == pytest.approx(one[name], rel=1e-7)
    study = panel("gaps")
    attributes = pd.DataFrame({"attribute": ["T01", "T02"], "name": "film", "minutes": [0.0, 5.0]})
    timed = replace(study, tables={**study.tables, "attributes": attributes})
    turned = with_scores(timed, timed.scores.sample(frac=1, random_state=3), reversed(study.prototypes))
    left, right = (
        follow_after_feel(made).tests.set_index("term")[["statistic", "df_error", "p_value"]]
        for made in (timed, turned)
    )
    pd.testing.assert_frame_equal(left, right, rtol=1e-6)


def two_laboratories(apart):
    """Return a study of two laboratories `apart` in level: both score the benchmark P02, each two of the others."""
    study = panel("whole")
    scores = study.scores.assign(session="", replicate=study.scores["session"])
    second = scores["assessor"].isin(list(study.assessors)[1::2])
    own = np.where(second, scores["prototype"].isin(["P01", "P03"]), scores["prototype"].isin(["P04", "P05"]))
    scores = scores.loc[own | (scores["prototype"] == "P02")].assign(score=scores["score"] + apart * second)
    people = pd.DataFrame({"assessor": study.assessors, "group": ["one", "two"] * 3}, dtype="str")
    return with_scores(replace(study, tables={**study.tables, "assessors": people}), scores)


def test_the_level_of_a_laboratory_is_no_difference_between_the_prototypes_it_scored():
    # known truth: without the group in the model, prototypes of two laboratories 15 apart that share the benchmark
    # differed in 19 of 100 studies in which none does
    near, far = two_laboratories(0.0), two_laboratories(15.0)
    model = find_differences(far).attributes["model"]
    assert model.str.contains("prototype, group of assessors (fixed)", regex=False).all()
    alike(numbers(near)[:2], numbers(far)[:2])


def test_a_group_that_every_session_names_already_is_taken_out_once():
    study = two_laboratories(15.0)
    group = study.scores["assessor"].map(study.table("assessors").set_index("assessor")["group"])
    told = find_differences(with_scores(study, study.scores.assign(session=group + study.scores["replicate"])))
    assert told.attributes["model"].str.contains("prototype, session (fixed)", regex=False).all()


def test_prototypes_that_other_people_scored_are_compared_with_a_word_on_the_people():
    study = panel("whole")
    late, second = (
        study.scores["assessor"].isin(list(study.assessors)[3:]),
        study.scores["prototype"].isin(["P04", "P05"]),
    )
    apart = find_differences(with_scores(study, study.scores.loc[late == second].assign(session="1")))
    (note,) = (note for note in apart.notes if note.startswith("Nobody scored"))
    assert ": P01, P02 and P03; P04 and P05. Differences between them may be the people" in note
    by_session = with_scores(
        study, study.scores.loc[late == second].assign(session=np.where(late[late == second], "2", "1"))
    )
    for told in (study, by_session):  # all scored everything; sessions keep the same sets apart already
        assert not any(note.startswith("Nobody scored") for note in find_differences(told).notes)
