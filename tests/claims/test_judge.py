"""Every kind of claim: a study whose truth supports it, one whose truth does not, and the demo.

The truths are constructed; what counts as enough evidence follows the kinds of claim in `shared/claim_kinds.csv`.
"""

import math
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import ttest_1samp

from panel.claims.judge import Claims, _with_sides, judge_claims, judge_drafts, suggested
from panel.claims.verdict import (
    AGAINST,
    AS_WORDED,
    CANNOT_TELL,
    CONTRARY,
    FOR,
    IN_BATCHES,
    NOT_SUPPORTED,
    NOT_THIS_TOOL,
    OPEN,
    SUPPORTED,
    VERDICTS,
    WITH_WORDING,
)
from panel.study.knowledge import shared_table
from panel.study.open_study import open_study
from tests.as_before import differing, read_lines
from tests.claims.as_judged import FOLDER, lines_judged
from tests.claims.claim_studies import (
    answer_rows,
    claim_row,
    panel_scores,
    row_of,
    seeded,
    study_with,
    swapped_scores,
    time_rows,
    verdict_of,
    vote_rows,
)
from tests.fine_scale import PART, finer, without_numbers
from tests.formula_studies import ALKANE, CARBONATE, hand_cream_formulas
from tests.studies import small_study

DEMO = Path(__file__).resolve().parents[2] / "data_demo" / "reading_room"
PRECISE = {"scatter": 2.0, "own_view": 1.0}
SINK = {"attribute": "SINK", "unit": "s"}
FITTED = 1e-6  # the mixed model is found by iteration
MORE = {"attribute": "SOFT", "direction": "more", "minutes": 480.0}


def grease(p1, p2, p3=None, *, roles=None, **how):
    truth = {"P1": p1, "P2": p2} | ({"P3": p3} if p3 is not None else {})
    return {"scores": panel_scores({"GREASE": truth}, seeded(), **(PRECISE | how)), "roles": roles}


def soft(p1, p2, minutes=480.0, role="untreated", **how):
    return {
        "scores": panel_scores({"SOFT": {"P1": p1, "P2": p2}}, seeded(), **(PRECISE | how)),
        "attributes": [MORE | {"minutes": minutes}],
        "roles": {"P2": role},
    }


def changed(before, after, untreated_before, untreated_after, role="untreated"):
    rows, rng = [], seeded()
    for sitting, treated, untreated in (("before", before, untreated_before), ("after", after, untreated_after)):
        means = {"SOFT": {"P1": treated, "P2": untreated}}
        rows += panel_scores(means, rng, replicates=1, sessions=[sitting], **PRECISE)
    dates = {"before": ["2025-03-02"], "after": ["2025-03-09"]}
    return {
        "scores": rows,
        "attributes": [MORE | {"minutes": float("nan")}],
        "roles": {"P2": role},
        "facts": {"dates": dates},
    }


def creams(effects):
    return {"scores": swapped_scores(seeded(), effects), "formulas": hand_cream_formulas()}


AGREE = ("most users agreed that it feels soft", "agreement", {"question": "soft", "bar": 50})
FILM = ("low greasy film in a trained-panel test", "perceived_attribute", {"attribute": "GREASE", "bar": 30})
NON = (
    "non-greasy 2 minutes after rubbing in",
    "absolute_negative",
    {"attribute": "GREASE", "question": "none", "bar": 50, "bar_panel": 20, "minutes": 2},
)
NONE = {"questions": [{"question": "none", "words": "It does not feel greasy."}]}
SINKS = ("sinks in within 60 seconds", "time", {"attribute": "SINK", "bar": 60})
LASTS = ("soft for 8 hours", "duration", {"attribute": "SOFT", "versus": "P2", "minutes": 480})
SOFTER = (
    "softer after 7 days",
    "change_over_time",
    {"attribute": "SOFT", "versus": "P2", "session_before": "before", "session_after": "after"},
)
LESS = ("less greasy than our previous cream", "superiority", {"attribute": "GREASE", "versus": "P2"})
PREFER = ("preferred to our previous cream by more than half", "preference", {"versus": "P2", "bar": 50})
ALIKE = ("as greasy as our previous cream", "parity", {"attribute": "GREASE", "versus": "P2", "margin": 8})
ALIKE_VOTES = ("liked as much as our previous cream", "parity", {"versus": "P2", "margin": 10})
NOTHING = (
    "nothing in our range is less greasy",
    "unsurpassed",
    {"attribute": "GREASE", "competitors": "P2; P3", "margin": 5},
)
NOTHING_VOTES = ("nothing is preferred", "unsurpassed", {"competitors": "P2", "margin": 5})
DRIEST = ("the least greasy of our range", "ranking", {"attribute": "GREASE", "direction": "less"})
THANKS = (
    f"dry touch thanks to {ALKANE}",
    "ingredient_attribution",
    {"attribute": "AF_GREASE", "prototype": "P2", "versus": "P1", "ingredient": ALKANE},
)
BEYOND = ("moisturises for 24 hours", "beyond_sensory", {})

HIGH = ("high softness in a trained-panel test", "perceived_attribute", {"attribute": "SOFT", "bar": 67})
LOWER = ("low greasy film beside our previous formula", "perceived_attribute", {"attribute": "GREASE", "versus": "P2"})
SOFTER_THAN = ("softer than our previous formula", "superiority", {"attribute": "SOFT", "versus": "P2", "margin": 8})
SOFTEST = ("the softest of our range", "ranking", {"attribute": "SOFT", "direction": "more"})
NO_SOFTER = ("nothing in our test is softer", "unsurpassed", {"attribute": "SOFT", "competitors": "P2", "margin": 5})


def but(case, **other):
    """A case with another statement."""
    sentence, kind, row = case
    return sentence, kind, row | other


CASES = [
    (AGREE, {"answers": answer_rows(37, 60)}, SUPPORTED),  # 37 of 60 is the majority of the tables
    (AGREE, {"answers": answer_rows(36, 60)}, CANNOT_TELL),
    (AGREE, {"answers": answer_rows(30, 60)}, NOT_SUPPORTED),
    (FILM, grease(20, 40), IN_BATCHES),
    (FILM, grease(40, 40), NOT_SUPPORTED),
    (FILM, grease(20, 40, assessors=6), CANNOT_TELL),  # fewer than eight assessors
    (NON, grease(10, 40) | {"answers": answer_rows(50, 60, question="none"), "facts": NONE}, IN_BATCHES),
    (
        NON,
        grease(30, 40) | {"answers": answer_rows(50, 60, question="none"), "facts": NONE},
        NOT_SUPPORTED,
    ),  # the panel says no
    (
        NON,
        grease(10, 40) | {"answers": answer_rows(20, 60, question="none"), "facts": NONE},
        NOT_SUPPORTED,
    ),  # the users say no
    (NON, grease(10, 40), CANNOT_TELL),  # no users were asked
    (SINKS, {"scores": time_rows([30] * 60), "attributes": [SINK]}, SUPPORTED),
    (SINKS, {"scores": time_rows([30] * 40 + [90] * 10), "attributes": [SINK]}, WITH_WORDING),
    # the mean is 40 s, and half of them need longer than a minute
    (SINKS, {"scores": time_rows([15] * 20 + [65] * 20), "attributes": [SINK]}, NOT_SUPPORTED),
    (LASTS, soft(60, 40), IN_BATCHES),
    (LASTS, soft(40, 60), NOT_SUPPORTED),
    (LASTS, soft(60, 40, minutes=120.0), CANNOT_TELL),  # judged last after two hours
    (LASTS, soft(60, 40, role="prototype"), CANNOT_TELL),  # no untreated control
    (SOFTER, changed(50, 70, 50, 52), IN_BATCHES),
    (SOFTER, changed(50, 55, 50, 65), NOT_SUPPORTED),
    (SOFTER, changed(50, 70, 50, 52, role="benchmark"), CANNOT_TELL),  # no untreated control
    (LESS, grease(30, 50), IN_BATCHES),
    (LESS, grease(50, 30), NOT_SUPPORTED),
    (PREFER, {"answers": vote_rows(60, 20, 5)}, SUPPORTED),
    (PREFER, {"answers": vote_rows(20, 60, 5)}, NOT_SUPPORTED),
    (PREFER, {"answers": vote_rows(40, 12, 33)}, WITH_WORDING),  # more than half only of those with a preference
    (ALIKE, grease(40, 40), IN_BATCHES),
    (ALIKE, grease(30, 50), NOT_SUPPORTED),
    (ALIKE, grease(40, 40, scatter=30.0, own_view=20.0), CANNOT_TELL),  # no difference is found, and nothing is shown
    (ALIKE_VOTES, {"answers": vote_rows(120, 120, 10)}, SUPPORTED),
    (ALIKE_VOTES, {"answers": vote_rows(200, 40, 10)}, NOT_SUPPORTED),
    (NOTHING, grease(40, 40, 60), IN_BATCHES),
    (NOTHING, grease(40, 20, 60), NOT_SUPPORTED),  # one competitor is enough
    (NOTHING_VOTES, {"answers": vote_rows(400, 380, 0)}, WITH_WORDING),  # one competitor: it must be named
    (NOTHING_VOTES, {"answers": vote_rows(100, 300, 0)}, NOT_SUPPORTED),
    (DRIEST, grease(20, 40, 50), IN_BATCHES),
    (DRIEST, grease(40, 20, 50), NOT_SUPPORTED),
    (THANKS, creams((-15, 0, 0)), WITH_WORDING),
    (THANKS, creams((15, 0, 0)), NOT_SUPPORTED),
    (BEYOND, {"answers": answer_rows(60, 60)}, NOT_THIS_TOOL),
    (HIGH, soft(80, 40), IN_BATCHES),
    (HIGH, soft(50, 40), NOT_SUPPORTED),
    (HIGH, soft(72, 40, assessors=8, scatter=30.0), CANNOT_TELL),  # on the right side of the bar, and not surely so
    (LOWER, grease(20, 40), WITH_WORDING),  # less of it is shown, and no low level
    (LOWER, grease(40, 20), NOT_SUPPORTED),
    (but(LESS, sides="one", margin=8), grease(30, 50), IN_BATCHES),
    (but(LESS, margin=20), grease(30, 50), IN_BATCHES),  # surely less, and perhaps by less than what matters
    (but(LESS, margin=8), grease(50, 50), NOT_SUPPORTED),
    (LESS, grease(48, 50, assessors=8, scatter=20.0), CANNOT_TELL),
    (SOFTER_THAN, soft(60, 40), IN_BATCHES),
    (SOFTER_THAN, soft(40, 60), NOT_SUPPORTED),
    (ALIKE, grease(42, 40, assessors=40), IN_BATCHES),  # they differ, and by less than the margin
    (
        but(NON, bar_panel=math.nan),
        grease(10, 40) | {"answers": answer_rows(34, 60, question="none"), "facts": NONE},
        CANNOT_TELL,
    ),  # more than half, and not surely so
    (
        but(LASTS, attribute="GREASE", direction="less", minutes=2),
        grease(30, 50, roles={"P2": "untreated"}),
        WITH_WORDING,
    ),  # soft was not judged
    (SOFTEST, soft(60, 40, role="prototype"), IN_BATCHES),
    (SOFTEST, soft(40, 60, role="prototype"), NOT_SUPPORTED),
    (NO_SOFTER, soft(60, 60), IN_BATCHES),
    (NO_SOFTER, soft(40, 60), NOT_SUPPORTED),
    (NOTHING, grease(40, 44, 60, assessors=8, scatter=30.0), CANNOT_TELL),
    (but(DRIEST, competitors="P2"), grease(20, 40, 50), WITH_WORDING),  # it has to be named
    (but(PREFER, bar=60), {"answers": vote_rows(55, 40, 5)}, NOT_SUPPORTED),
    (PREFER, {"answers": vote_rows(45, 35, 5)}, CANNOT_TELL),
    (ALIKE_VOTES, {"answers": vote_rows(60, 50, 0)}, CANNOT_TELL),
    (SINKS, {"scores": time_rows([30] * 20 + [90] * 18), "attributes": [SINK]}, CANNOT_TELL),
    (
        ("greasier thanks to C13-15 Alkane", "ingredient_attribution", THANKS[2] | {"direction": "more"}),
        creams((15, 0, 0)),
        WITH_WORDING,
    ),
    (
        (
            "greasy thanks to Dicaprylyl Carbonate",
            "ingredient_attribution",
            THANKS[2] | {"direction": "more", "ingredient": CARBONATE, "prototype": "P1", "versus": "P2"},
        ),
        creams((-15, 0, 0)),
        WITH_WORDING,
    ),
]


def judged(case, built):
    sentence, kind, row = case
    return study_with([claim_row(sentence, kind, **row)], **built)


@cache
def found_of(number):
    """What is found of one of the cases."""
    case, built, _ = CASES[number]
    return judge_claims(judged(case, built))


def lines_of_cases():
    return [line for number in range(len(CASES)) for line in (f"## case {number + 1}", *lines_judged(found_of(number)))]


@cache
def found_of_demo():
    return judge_claims(open_study(DEMO))


def lines_of_demo():
    return lines_judged(found_of_demo())


@pytest.mark.parametrize(("study", "now"), [("cases", lines_of_cases), ("demo", lines_of_demo)])
def test_what_is_told_is_what_was_told_before(study, now):
    assert differing(read_lines(FOLDER, study), now()) == []


@pytest.mark.parametrize("number", range(len(CASES)))
def test_each_kind_is_supported_by_its_truth_and_refused_by_another(number):
    result, expected = found_of(number), CASES[number][-1]
    assert result.claims["verdict"].iloc[0] == expected, "\n".join(result.reasons["reason"])
    assert len(result.reasons)
    if expected in (NOT_SUPPORTED, CANNOT_TELL):
        assert len(result.needs), "what it would take is said"
    levels = [
        float(level) for level in re.findall(r"([\d.]+) % (?:interval|limit)", " ".join(result.reasons["reason"]))
    ]
    assert {*levels} <= {95, 90}  # at 5 %; two one-sided tests of parity by the interval of 90 % (Schuirmann)
    for side in re.findall(r"must lie (above|below) ", " ".join(result.reasons["reason"])):
        # the limit that is shown lies on the side that is told
        assert result.numbers["limit_low" if side == "above" else "limit_high"].notna().any()


def test_a_change_is_that_of_each_person_beside_the_change_of_the_control():
    """By scipy's one-sample t test on the changes, taken from the rows; the two begin far apart."""
    built = changed(30, 60, 60, 62)
    cells = pd.DataFrame(built["scores"]).pivot_table(
        index="assessor", columns=["prototype", "session"], values="score", aggfunc="mean"
    )
    own, control = (cells[name]["after"] - cells[name]["before"] for name in ("P1", "P2"))
    expected = ttest_1samp(own - control, 0.0)
    found = judge_claims(judged(SOFTER, built)).claims.iloc[0]
    assert found["verdict"] == IN_BATCHES
    np.testing.assert_allclose(found["estimate"], (own - control).mean(), rtol=1e-9)
    np.testing.assert_allclose(found["statistic"], expected.statistic, rtol=1e-9)
    np.testing.assert_allclose(found[["ci_low", "ci_high"]].astype(float), expected.confidence_interval(0.95))


@pytest.mark.parametrize("direction", ["more", "less"])
def test_where_nothing_changed_on_average_no_change_is_told(direction):
    """Constructed: as many people up as down, by the same; the control stays where it was."""
    built = changed(50, 50, 50, 50) | {
        "scores": [
            {"assessor": f"A{person}", "prototype": prototype, "attribute": "SOFT", "session": sitting,
             "score": 50.0 + own * (prototype == "P1") * (sitting == "after")}
            for person, own in enumerate((4, -4, 2, -2, 1, -1, 3, -3, 5, -5))
            for prototype in ("P1", "P2") for sitting in ("before", "after")
        ]
    }  # fmt: skip
    found = judge_claims(judged(but(SOFTER, direction=direction), built))
    assert found.claims["estimate"].tolist() == [0.0]
    assert found.claims["verdict"].tolist() == [NOT_SUPPORTED]
    assert "Another sentence: the change does not go the way this one says." in set(found.needs["need"])


@pytest.mark.parametrize(
    ("case", "built", "side", "allowed"),
    [
        (NOTHING, grease(40, 40, 60), "at most", 5),
        (
            ("nothing in our range is softer", "unsurpassed", {**NOTHING[2], "attribute": "SOFT"}),
            soft(60, 60),
            "at least",
            -5,
        ),
    ],
)
def test_the_limit_and_the_margin_of_not_worse_stand_on_the_side_of_the_claim(case, built, side, allowed):
    sentence, kind, row = case
    found = judge_claims(judged((sentence, kind, row | {"competitors": "P2"}), built))
    (said,) = re.findall(
        rf"Against P2: .*, {side} (\S+) \(one-sided 95 % limit\), margin (\S+),", " ".join(found.reasons["reason"])
    )
    bound, margin = (float(text.replace("−", "-")) for text in said)
    assert margin == allowed
    assert abs(bound) < 5  # closer to nought than the margin: not worse is shown


def test_a_mean_just_on_the_claimed_side_of_its_bar_is_nothing_against_it():
    mean = judge_claims(judged(FILM, grease(20, 40))).claims["estimate"].iloc[0]
    for beyond, against in ((0.5, False), (-0.5, True)):
        found = judge_claims(judged((*FILM[:2], FILM[2] | {"bar": mean + beyond}), grease(20, 40)))
        assert (found.claims["verdict"].iloc[0] == NOT_SUPPORTED) == against


def _on_the_scale(kind):
    """The limits of a claim that are given on the scale of the panel; a bar of answers is a share."""
    return {"margin", "bar_panel"} | ({"bar"} if kind == "perceived_attribute" else set())


LIMITED = [n for n, ((_, kind, row), _, _) in enumerate(CASES) if "attribute" in row and _on_the_scale(kind) & {*row}]


@pytest.mark.parametrize("number", LIMITED)
def test_no_verdict_depends_on_how_small_the_numbers_of_a_scale_are(number):
    (sentence, kind, row), built, _ = CASES[number]
    small = {name: cell * PART if name in _on_the_scale(kind) else cell for name, cell in row.items()}
    study = finer(judged((sentence, kind, row), built))
    claims = judged((sentence, kind, small), built).table("claims")
    told, other = found_of(number), judge_claims(replace(study, tables={**study.tables, "claims": claims}))
    for name, column in (("claims", "verdict"), ("claims", "suggestion"), ("reasons", "reason"), ("numbers", "side")):
        words, same = ([*map(without_numbers, getattr(each, name)[column])] for each in (told, other))
        assert words == same
    assert other.claims["p_value"].iloc[0] == pytest.approx(told.claims["p_value"].iloc[0], rel=FITTED, nan_ok=True)


def test_the_table_has_a_case_for_and_against_every_kind():
    kinds = set(shared_table("claim_kinds")["kind"])
    positive = {case[1] for case, _, expected in CASES if expected in (SUPPORTED, IN_BATCHES, WITH_WORDING)}
    refused = {case[1] for case, _, expected in CASES if expected not in (SUPPORTED, IN_BATCHES, WITH_WORDING)}
    assert positive == kinds - {"beyond_sensory"}
    assert refused == kinds


def test_not_significant_is_never_sold_as_equal():
    found = judge_claims(judged(ALIKE, grease(40, 40, scatter=30.0, own_view=20.0)))
    assert found.claims["p_value"].iloc[0] > 0.05
    assert any("no difference was found shows nothing" in reason for reason in found.reasons["reason"])


def test_not_judged_at_the_time_the_sentence_speaks_of():
    row = dict(LESS[2]) | {"minutes": 20}
    found = judge_claims(study_with([claim_row(LESS[0], LESS[1], **row)], **grease(30, 50)))
    assert found.claims["verdict"].iloc[0] == CANNOT_TELL
    assert "was judged at 2 min" in found.needs["need"].iloc[0]


def test_a_claim_fixed_too_late_is_exploratory_and_cannot_be_supported():
    built = grease(30, 50)
    late = claim_row(LESS[0], LESS[1], stamped=False, **LESS[2])
    row = row_of(study_with([late], **built))
    assert row["verdict"] == CANNOT_TELL
    assert row["exploratory"]
    assert verdict_of(study_with([claim_row(LESS[0], LESS[1], **LESS[2])], **built)) == IN_BATCHES
    # what speaks against a claim does so whenever it was written down
    assert verdict_of(study_with([late], **grease(50, 30))) == NOT_SUPPORTED


def test_a_rehearsal_supports_nothing():
    study = judged(AGREE, {"answers": answer_rows(60, 60), "facts": {"rehearsal": True}})
    found = judge_claims(study)
    assert found.claims["verdict"].iloc[0] == CANNOT_TELL
    assert "rehearsal" in found.reasons["reason"].iloc[0]


def test_a_small_difference_that_is_real_is_said_to_be_small():
    study = study_with([claim_row(LESS[0], LESS[1], margin=8, **LESS[2])], **grease(37, 40, assessors=40))
    found = judge_claims(study)
    assert found.claims["verdict"].iloc[0] == WITH_WORDING
    assert found.claims["suggestion"].iloc[0] == "slightly less greasy than our previous formula"


@pytest.mark.parametrize("seconds", [[30] * 10, [30] * 40 + [90] * 3, [30] * 40 + [90] * 10])
def test_nobody_agrees_to_a_stopwatch_and_nothing_need_be_rubbed(seconds):
    found = judge_claims(judged(SINKS, {"scores": time_rows(seconds), "attributes": [SINK]}))
    words = " ".join([*found.reasons["reason"], *found.needs["need"]])
    assert "agree" not in words
    assert "rubb" not in words
    assert "need no longer" in words


def test_less_time_to_soak_in_is_soaking_in_faster():
    """Constructed: P1 takes 50 s and P2 80 s; the sentence speaks of speed, the attribute of seconds."""
    scores = panel_scores({"SINK": {"P1": 50, "P2": 80}}, seeded(), **PRECISE)
    timed = {"attribute": "SINK", "name": "time to soak in", "unit": "s", "direction": "less", "minutes": 2.0}
    of = {"attribute": "SINK", "versus": "P2", "direction": "less", "minutes": 2.0}
    said = ("sinks in faster than our previous formula", "sinks in more slowly than our previous formula")
    claims = [claim_row(words, "superiority", **of) for words in said]
    result = judge_claims(study_with(claims, scores=scores, attributes=[timed]))
    assert result.claims["verdict"].isin(AS_WORDED).tolist() == [True, False]
    assert result.claims["suggestion"].iloc[1] == said[0]
    assert any("\u00a0s (95 % interval" in words for words in result.reasons["reason"])


def test_what_the_study_does_not_name_is_not_told_as_nothing():
    """Constructed: a benchmark without a name; the sentence calls it something that the study does not know."""
    said = ("less greasy", "less greasy than our old balm")
    claims = [claim_row(words, "superiority", attribute="GREASE", versus="P2") for words in said]
    result = judge_claims(study_with(claims, **grease(20, 60, roles={"P2": "benchmark"}), names={"P2": ""}))
    messages = result.findings.groupby("number")["message"].agg(list)
    assert messages[1] == ["The sentence compares and does not say with what."]
    assert "The sentence compares with something that the study does not name." in messages[2]


def test_words_that_say_too_much_change_a_verdict():
    built = {"answers": answer_rows(50, 60)}
    plain = claim_row("feels soft", "agreement", question="soft")
    loud = claim_row("clinically proven: feels soft", "agreement", question="soft")
    stop = claim_row("soothes eczema", "agreement", question="soft")
    study = study_with([plain, loud, stop], **built)
    assert [verdict_of(study, number) for number in (1, 2, 3)] == [SUPPORTED, WITH_WORDING, NOT_THIS_TOOL]


def test_in_order_stand_the_same_claims_by_their_verdicts_and_then_their_numbers():
    found = found_of_demo()
    places = [(VERDICTS.index(row["verdict"]), row["number"]) for row in found.in_order.to_dict("records")]
    assert places == sorted(places)
    assert len({verdict for verdict, _ in places}) > 1
    again = found.in_order.sort_values("number", ignore_index=True)
    pd.testing.assert_frame_equal(again, found.claims)
    assert found.in_order.index.equals(pd.RangeIndex(len(places)))


def test_a_study_without_claims_gives_frames_without_rows():
    found = judge_claims(study_with([], answers=answer_rows(5, 6)))
    assert isinstance(found, Claims)
    for frame in (found.claims, found.reasons, found.needs, found.findings, found.numbers, found.gaps):
        assert frame.empty
        assert {"number", "claim"} <= set(frame.columns)


def test_what_is_missing_is_named_and_not_guessed():
    study = study_with(
        [
            claim_row("soft", "agreement", prototype="", question="soft"),
            claim_row("drier", "wishful"),
            claim_row("as soft", "parity", versus="P2", attribute="GREASE"),
            claim_row("less greasy than P9", "superiority", versus="P9", attribute="GREASE"),
        ],
        answers=answer_rows(5, 6),
        **grease(30, 50),
    )
    found = judge_claims(study)
    assert (found.claims["verdict"] == CANNOT_TELL).all()
    text = " ".join(found.needs["need"])
    for words in ("needs “prototype”", "'wishful' is not known", "needs “margin”", "'P9' is not in the study"):
        assert words in text


# --- the demo, whose truth is known: P4 52 - 15 - 8 + 5 = 34 against 52 on greasy film


@pytest.fixture(scope="module")
def demo():
    return found_of_demo()


EXPECTED = {
    "less greasy than our previous hand cream": IN_BATCHES,
    "does not leave hands feeling greasy": CONTRARY,
    "sinks in quickly": SUPPORTED,
    "left no mark on the paper I handled": WITH_WORDING,
    "8 in 10 users found no mark on their paper": NOT_SUPPORTED,
    "comforting": NOT_SUPPORTED,
    "non-greasy": NOT_SUPPORTED,
    "dry touch thanks to C13-15 Alkane": WITH_WORDING,
    "moisturises for 24 hours": NOT_THIS_TOOL,
}


@pytest.mark.parametrize(("sentence", "expected"), EXPECTED.items())
def test_the_demo_says_what_its_truth_allows(demo, sentence, expected):
    row = demo.claims.loc[demo.claims["claim"] == sentence].iloc[0]
    assert row["verdict"] == expected
    assert not row["exploratory"]


def test_the_demo_gives_shares_with_their_base_and_never_rounds_up(demo):
    study = open_study(DEMO)
    answers = study.table("answers")
    own = answers.loc[(answers["question"] == "no mark on paper") & (answers["kind"] == "agreement"), "answer"]
    agreed = int(own.isin(["4", "5"]).sum())
    row = demo.claims.loc[demo.claims["claim"].str.startswith("8 in 10")].iloc[0]
    assert row["n"] == len(own) == 58  # don't knows stay in the base; two of sixty did not answer
    assert row["suggestion"].startswith(f"{100 * agreed // 58} % agreed")
    assert f"({agreed} of 58)" in row["suggestion"]
    found = demo.findings.loc[demo.findings["claim"] == row["claim"], "check"]
    assert "not the counted share" in set(found)
    assert row["footnote"] == "Home-use test, 58 adults aged 21 to 63, 7 days, March 2025; agreed or strongly agreed."


def test_the_demo_credits_the_swap_in_this_base_and_no_property(demo):
    row = demo.claims.loc[demo.claims["kind"] == "ingredient_attribution"].iloc[0]
    reasons = " ".join(demo.reasons.loc[demo.reasons["number"] == row["number"], "reason"])
    assert row["suggestion"].startswith(f"in this base, replacing 6 % {CARBONATE} by {ALKANE}")
    assert "always moves together with volatile share" in reasons
    assert "none may be named as the cause" in reasons
    assert row["ci_high"] < 0


def test_a_credit_in_a_balanced_plan_is_the_difference_of_plain_means_whichever_end_is_named():
    scores = swapped_scores(seeded(), (-15, 0, 0))
    with_it = {name for name, recipe in hand_cream_formulas().items() if ALKANE in recipe}
    own, rest = ([row["score"] for row in scores if (row["prototype"] in with_it) == side] for side in (True, False))
    told = {"kind": "ingredient_attribution", "attribute": "AF_GREASE"}
    rows = [
        claim_row("x", **told, prototype="P2", versus="P1", ingredient=ALKANE),
        claim_row("y", **told, prototype="P1", versus="P2", ingredient=CARBONATE),
    ]
    found = judge_claims(study_with(rows, scores=scores, formulas=hand_cream_formulas())).claims
    difference = np.mean(own) - np.mean(rest)
    np.testing.assert_allclose(found["estimate"], [difference, -difference], rtol=1e-9)
    np.testing.assert_allclose(found["ci_low"] + found["ci_high"], 2 * found["estimate"], rtol=1e-9)
    assert (found["ci_low"] < found["ci_high"]).all()


def test_the_verdict_on_the_difference_is_the_one_of_the_panel_model(demo):
    from panel.models.prototypes.differences import find_differences

    pairs = find_differences(open_study(DEMO)).pairs
    pair = pairs.loc[(pairs["attribute"] == "AF_GREASE") & (pairs["prototype"] == "P4") & (pairs["versus"] == "P1")]
    row = demo.claims.loc[demo.claims["kind"] == "superiority"].iloc[0]
    for column in ("estimate", "std_error", "df", "statistic", "p_value"):
        np.testing.assert_allclose(row[column], pair[column].iloc[0], rtol=1e-9)


def test_verdicts_are_the_known_ones(demo):
    assert set(demo.claims["verdict"]) <= set(VERDICTS)


def test_one_batch_of_each_is_said_and_several_are_not():
    # with one batch of each, batch and formula are the same factor: no analysis can take them apart
    rows = panel_scores({"GREASE": {"P1": 30, "P2": 50}}, seeded(), **PRECISE)
    claims = [claim_row(LESS[0], LESS[1], **LESS[2]), claim_row(FILM[0], FILM[1], **FILM[2])]
    one = [row | {"batch": f"B-{row['prototype']}"} for row in rows]
    words = judge_claims(study_with(claims, scores=one)).reasons
    told = words.loc[words["reason"].str.startswith("One batch of")].set_index("number")["reason"]
    assert "One batch of each prototype (B-P1 and B-P2) was scored" in told.loc[1]
    assert told.loc[2].startswith("One batch of P1 was scored")
    two = [row | {"batch": f"B-{row['prototype']}-{row['replicate']}"} for row in rows]
    for scores in (two, rows):  # two batches of each, and none recorded
        reasons = judge_claims(study_with(claims, scores=scores)).reasons["reason"]
        assert not reasons.str.startswith("One batch").any()


def test_a_margin_wider_than_what_matters_shows_nothing():
    scores = panel_scores({"GREASE": {"P1": 40, "P2": 41}}, seeded(), **PRECISE)
    wide, fitting = ({**ALIKE[2], "margin": margin} for margin in (50, 8))
    study = study_with(
        [claim_row(ALIKE[0], "parity", **wide), claim_row(f"just {ALIKE[0]}", "parity", **fitting)],
        scores=scores,
        facts={"margin": 8},
    )
    result = judge_claims(study)
    assert result.claims["verdict"].tolist() == [CANNOT_TELL, IN_BATCHES]
    assert "(50) is wider than the smallest difference that matters" in result.needs["need"].iloc[0]


def test_how_often_each_assessor_scored_is_not_smoothed_over():
    scores = panel_scores({"GREASE": {"P1": 30, "P2": 50}}, seeded(), replicates=3, **PRECISE)
    gone = [row for row in scores if not (row["assessor"] == "A10" and row["replicate"] == "3")]
    for rows, words in ((scores, "10 assessors, 3 scores each"), (gone, "10 assessors, 2 to 3 scores each")):
        result = judge_claims(study_with([claim_row(LESS[0], LESS[1], **LESS[2])], scores=rows))
        assert words in result.reasons["reason"].iloc[0]


@pytest.mark.parametrize(
    ("interval", "limits", "side"),
    [
        ((51, 60), (50, np.nan), FOR),
        ((40, 49), (50, np.nan), AGAINST),
        ((49, 60), (50, np.nan), OPEN),
        ((-9, -1), (np.nan, 0), FOR),
        ((1, 9), (np.nan, 0), AGAINST),
        ((-2, 2), (-8, 8), FOR),
        ((-2, 9), (-8, 8), OPEN),
        ((8, 9), (-8, 8), AGAINST),
        ((50, np.inf), (50, np.nan), OPEN),
        ((1, 2), (np.nan, np.nan), ""),
    ],
)
def test_a_number_is_for_a_claim_only_where_its_whole_interval_keeps_to_its_side(interval, limits, side):
    row = {"ci_low": interval[0], "ci_high": interval[1], "limit_low": limits[0], "limit_high": limits[1]}
    assert _with_sides(pd.DataFrame([row]))["side"].tolist() == [side]


@cache
def drafted(number):
    """A case as a draft, once as it is and once with words that nothing accounts for; its study and its statement."""
    (sentence, kind, row), built, _ = CASES[number]
    study, statement = study_with([], **built), {"kind": kind, "prototype": "P1", **row}
    rows = [statement | {"claim": words} for words in (sentence, f"{sentence}, and how")]
    return judge_drafts(study, rows), study, statement


@pytest.mark.parametrize("number", range(len(CASES)))
def test_what_may_be_said_instead_is_supported_as_worded_whatever_the_kind(number):
    drafts, study, statement = drafted(number)
    offered = {draft.may_be_said: draft.said_as for draft in drafts if draft.may_be_said}
    rows = [statement | {"claim": words, "kind": kind} for words, kind in offered.items()]
    for said in judge_drafts(study, rows) if rows else ():
        assert said.verdict in AS_WORDED, (said.claim, said.reasons)
        assert said.not_covered == ()


def test_what_may_be_said_is_offered_for_every_kind_but_one():
    offered = {CASES[number][0][1] for number in range(len(CASES)) if drafted(number)[0][1].may_be_said}
    assert offered == {kind for (_, kind, _), _, _ in CASES} - {"beyond_sensory"}


def test_the_p_value_told_is_that_of_the_interval_told_whichever_way_the_difference_goes():
    for p1, p2 in ((52, 50), (48, 50)):
        claim, kind, rest = LESS
        study = study_with([claim_row(claim, kind, **rest)], **grease(p1, p2, scatter=8.0, own_view=5.0))
        told = next(each for each in judge_claims(study).reasons["reason"] if "(two-sided)" in each)
        assert 0.05 < float(told.split("p = ")[1].split(" ")[0]) < 1, told


def test_what_is_not_supported_is_not_to_be_said_with_a_qualifier():
    claim, kind, rest = LESS
    for p1, slightly in ((52, False), (47, True)):
        built = {**grease(p1, 50), "facts": {"margin": 8.0}}
        claims = judge_claims(study_with([claim_row(claim, kind, **rest)], **built))
        told = claims.findings["message"].str.contains("say 'slightly'").any()
        assert told == slightly


def test_what_a_comparing_sentence_is_held_against_is_proposed_also_where_its_attribute_is_not_known():
    # the sheet was in another language, so no attribute has the word; the way and the benchmark are in the sentence
    study = small_study(attributes=small_study().table("attributes").assign(name=["Einziehen", "Kleben", "Fett"]))
    assert suggested(study, "less greasy than P1") == {"versus": "P1", "direction": "less"}
    known = suggested(small_study(), "less greasy than P1")
    assert known == {"attribute": "AF_GREASE", "versus": "P1", "direction": "less"}
    assert suggested(study, "soft all day") == {}
