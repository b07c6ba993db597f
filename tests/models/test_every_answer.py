"""What all frames of all answers have in common, and what no answer may depend on: of the demo, and of drawn studies.

Definitions (t is the estimate over its standard error, two-sided p from Student's t; a share is a count over its base)
and invariances: names, the order of the attributes, which end of the scale is high, the level of the intervals.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t

from panel.answers import QUESTIONS, Answers
from panel.study.folder import read_folder
from panel.study.study import Study
from tests.as_before import differing, read_lines
from tests.drawn_studies import DRAWN
from tests.models.as_answered import FOLDER, lines_answered
from tests.report.evidence_studies import DEMO, demo_results

SIX_DIGITS = 1e-6  # of a mixed model fitted in another order
TURNED = 1e-8  # of the same model of scores that are turned round or of attributes in another order
LOW = re.compile(r"(.*_|)(low|lowest)(_\d|)$")
PROBABLE = re.compile(r"p_value|(^|_)p$|p_adjusted|^share$|(?<!by_)chance|^p_|opinion_share|^rate$")
OF_BASE = {"count": "base", "ticked": "base", "agreed": "base", "right": "n"}
TOLD = {
    "readings.screening": "stands_out",
    "preference_map.sensations": "shown",
    "check_all.terms": "differs",
    "check_all.lift": "shown",
}
_ASKED = ("prototypes", "batches", "formulas", "attributes", "assessors", "servings", "scores")


class Frames(dict[str, pd.DataFrame]):
    """Frames of a study's answers by name, and whether it is asked everything."""

    def __init__(self, answers: Answers, *, whole: bool) -> None:
        super().__init__(frames(answers))
        self.answers = answers
        self.whole = whole


def frames(answers: Answers, names: tuple[str, ...] = tuple(QUESTIONS), **settings: Any) -> dict[str, pd.DataFrame]:
    """Every frame of the answers, by question and field."""
    asked = {name: replace(QUESTIONS[name], settings=(*QUESTIONS[name].settings, *settings)) for name in names}
    found = {name: answers.ask(question, **settings) for name, question in asked.items()}
    return {
        f"{name}.{each.name}": frame
        for name, answer in found.items()
        if is_dataclass(answer)
        for each in fields(answer)
        if isinstance(frame := getattr(answer, each.name), pd.DataFrame) and len(frame)
    }


@pytest.fixture(scope="module")
def demo() -> Study:
    return read_folder(DEMO)


def _answers_of(make: Callable[[], Study]) -> Answers:
    return Answers(make())


STUDIES = {"demo": demo_results} | {name: partial(_answers_of, make) for name, make in DRAWN.items()}


@pytest.fixture(scope="module", params=STUDIES)
def study_name(request) -> str:
    return request.param


@pytest.fixture(scope="module")
def every(study_name) -> Frames:
    """Every frame of the demo, and of drawn studies that take other ways."""
    return Frames(STUDIES[study_name](), whole=study_name == "demo")


def test_what_is_answered_is_what_was_answered_before(study_name, every):
    changed = differing(read_lines(FOLDER, study_name), lines_answered(every.answers))
    assert not changed, f"{len(changed)} fields; if it is wanted: python -m tests.models.as_answered. {changed[0]}"


@pytest.fixture(scope="module")
def measured(demo) -> Study:
    return replace(demo, tables={name: demo.tables[name] for name in _ASKED})


def _with(every, *columns: str) -> Iterator[tuple[str, pd.DataFrame]]:
    yield from ((name, frame) for name, frame in every.items() if set(columns) <= set(frame.columns))


def test_the_ends_of_every_interval_are_in_order_and_hold_its_estimate(every):
    tried = 0
    for name, frame in every.items():
        for column in filter(LOW.match, map(str, frame.columns)):
            high = frame.get(
                column.replace("lowest", "highest") if "lowest" in column else column.replace("low", "high")
            )
            if column.startswith("parity") or high is None or not pd.api.types.is_numeric_dtype(high):
                continue
            known = frame[column].notna() & high.notna()
            assert (frame.loc[known, column] <= high[known]).all(), (name, column)
            tried += 1
    for name, frame in _with(every, "estimate", "ci_low", "ci_high"):
        known = frame.dropna(subset=["estimate", "ci_low", "ci_high"])
        assert (known["ci_low"] <= known["estimate"] + SIX_DIGITS).all(), name
        assert (known["ci_high"] >= known["estimate"] - SIX_DIGITS).all(), name
    assert tried > 40 or not every.whole


def test_every_probability_and_share_lies_between_nought_and_one_and_adjusting_makes_none_smaller(every):
    for name, frame in every.items():
        for column in filter(PROBABLE.search, map(str, frame.columns)):
            if pd.api.types.is_float_dtype(frame[column]):
                assert frame[column].dropna().between(-1e-9, 1 + 1e-9).all(), (name, column)
    for name, frame in _with(every, "p_value", "p_adjusted"):
        known = frame.dropna(subset=["p_value", "p_adjusted"])
        assert (known["p_adjusted"] >= known["p_value"] - 1e-4).all(), name  # Tukey's and Dunnett's are integrals


def test_what_is_told_is_what_lies_below_the_bar_once_adjusted(every):
    for name, told in TOLD.items():
        if name in every:
            assert (every[name][told] == (every[name]["p_adjusted"] < 0.05)).all(), name
        assert not every.whole or every[name][told].nunique() == 2, name


def test_t_is_the_estimate_over_its_error_and_p_its_two_tails(every):
    tried = 0
    for name, frame in _with(every, "estimate", "std_error", "df", "statistic"):
        known = frame.dropna(subset=["estimate", "std_error", "statistic"]).query("std_error > 0")
        assert np.allclose(known["statistic"], known["estimate"] / known["std_error"]), name
        if "p_value" in frame:
            known = known.dropna(subset=["p_value"])
            np.testing.assert_allclose(known["p_value"], 2 * t.sf(known["statistic"].abs(), known["df"]), atol=1e-9)
            tried += 1
    assert tried > 6 or not every.whole


def test_an_interval_reaches_at_least_as_far_as_that_of_its_estimate_alone(every):
    tried = 0
    for name, frame in _with(every, "estimate", "std_error", "df", "ci_low", "ci_high"):
        known = frame.dropna(subset=["std_error", "ci_low", "ci_high"])
        alone = t.ppf(0.95 if name == "alike.differences" else 0.975, known["df"]) * known["std_error"]  # two one-sided
        assert (known["ci_high"] - known["estimate"] >= alone * (1 - 1e-4)).all(), name
        assert (known["estimate"] - known["ci_low"] >= alone * (1 - 1e-4)).all(), name
        tried += 1
    assert tried > 6 or not every.whole


def test_a_share_is_its_count_over_its_base(every):
    tried = 0
    for count, base in OF_BASE.items():
        for name, frame in _with(every, count, base, "share"):
            known = frame[frame[base] > 0]
            assert np.allclose(known["share"], known[count] / known[base]), name
            tried += 1
    assert tried >= 6 or not every.whole


def test_a_difference_is_that_of_the_two_means(every):
    for question in (each for each in ("differences", "liking") if f"{each}.means" in every):
        means = every[f"{question}.means"]
        by = [each for each in ("attribute",) if each in means]
        value = means.set_index([*by, "prototype"])["estimate"]
        for frame in (every[each] for each in (f"{question}.pairs", f"{question}.versus") if each in every):
            one, other = (
                value.reindex(pd.MultiIndex.from_frame(frame[[*by, end]]) if by else frame[end]).to_numpy()
                for end in ("prototype", "versus")
            )
            np.testing.assert_allclose(frame["estimate"], one - other, atol=SIX_DIGITS)


_TURNED = ("estimate", "statistic", "shrunken", "difference")


def test_turning_the_scale_round_turns_signs_and_nothing_else(measured):
    turned = measured.scores.assign(score=100 - measured.scores["score"])
    facts = {name: value for name, value in measured.facts.items() if name != "benchmark_levels"}
    plain = replace(measured, facts=facts)
    one, other = (
        frames(Answers(each), ("differences", "planned", "swaps", "ranks", "left_out", "sensitivity"))
        for each in (plain, replace(plain, tables={**plain.tables, "scores": turned}))
    )
    assert set(one) == set(other)
    for name, frame in one.items():
        second = other[name]
        key = [
            column
            for column in ("attribute", "prototype", "versus", "assessor", "swap", "with_swap", "family", "rules")
            if column in frame
        ]
        if not key:
            continue
        both = frame.merge(second, on=key, suffixes=("", "_turned"))
        for column in ("std_error", "df", "p_value", "p_adjusted", "smallest_difference", "kendall_w", "wrong_sign"):
            if column in frame:
                np.testing.assert_allclose(
                    both[f"{column}_turned"], both[column], rtol=TURNED, atol=TURNED, err_msg=name
                )
        if {"versus", "estimate"} & set(frame) and name.endswith(
            ("pairs", "versus", "differences", "swaps", "interactions")
        ):
            for column in (each for each in _TURNED if each in frame):
                np.testing.assert_allclose(
                    both[f"{column}_turned"], -both[column], atol=TURNED, rtol=TURNED, err_msg=name
                )
            for low, high in (("ci_low", "ci_high"), ("told_low", "told_high"), ("alike_low", "alike_high")):
                if low in frame:
                    np.testing.assert_allclose(
                        both[f"{low}_turned"], -both[high], atol=TURNED, rtol=TURNED, err_msg=name
                    )
        for column in ("verdict", "because"):
            if column in frame:
                assert list(both[f"{column}_turned"]) == list(both[column]), (name, column)


def test_the_order_of_the_attributes_changes_no_number(measured):
    backwards = measured.table("attributes").iloc[::-1].reset_index(drop=True)
    names = ("differences", "swaps", "ranks", "left_out", "scale_use")
    one, other = (
        frames(Answers(each), names)
        for each in (measured, replace(measured, tables={**measured.tables, "attributes": backwards}))
    )
    for name, frame in one.items():
        if "attribute" in frame:
            first, second = (
                each.sort_values("attribute", kind="stable", ignore_index=True).select_dtypes("number")
                for each in (frame, other[name])
            )
            np.testing.assert_allclose(second, first, rtol=TURNED, atol=TURNED, err_msg=name)


def test_every_assessor_twice_keeps_every_estimate(measured):
    scores = measured.scores
    twins = scores.assign(assessor=scores["assessor"] + "B")
    people = measured.table("assessors")
    tables = {
        "scores": pd.concat([scores, twins], ignore_index=True),
        "assessors": pd.concat([people, people.assign(assessor=people["assessor"] + "B")], ignore_index=True),
    }
    twice = replace(measured, tables={**measured.tables, **tables})
    one, other = (frames(Answers(each), ("swaps",)) for each in (measured, twice))
    for name in ("swaps.swaps", "swaps.interactions"):
        np.testing.assert_allclose(other[name]["estimate"], one[name]["estimate"], atol=1e-9)
        assert (other[name]["n_assessors"] == 2 * one[name]["n_assessors"]).all()
        assert (other[name]["std_error"] < one[name]["std_error"]).all()
