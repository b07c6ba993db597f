"""Numbers of the evidence file, computed again from the study's CSV files with the standard library alone.

Another path than the file's own: rows are read with `csv`, sums, shares and tests are written out. Sources beside each.
"""

from __future__ import annotations

import csv
import math
from collections import defaultdict
from datetime import datetime
from functools import cache
from statistics import NormalDist, fmean, stdev

import pytest

from tests.report.evidence_studies import DEMO, demo_report

ROUNDING = 1e-9  # relative; the same sums in another order
ATTRIBUTES = ("AF_STICK", "LA_SOFT", "RO_ABS")
# The eight prototypes are every combination of three swaps; pairs without and with each of them, in the same base.
SWAPS = {
    "Dicaprylyl.Carbonate-C13~15.Alkane": ("P1 P2", "P3 P4", "P5 P6", "P7 P8"),
    "Caprylic%2F%Capric.Triglyceride-Isopropyl.Isostearate": ("P1 P3", "P2 P4", "P5 P7", "P6 P8"),
}
SCALE = (0, 100)


@cache
def rows(name):
    with (DEMO / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def answers(question, prototype):
    return {
        (row["assessor"], row["session"]): row["answer"]
        for row in rows("answers")
        if row["question"] == question and row["prototype"] == prototype and not row["versus"]
    }


def wilson(count, base):
    """Wilson 1927; Brown, Cai and DasGupta 2001, Statistical Science 16, formula (4)."""
    z, share = NormalDist().inv_cdf(0.975), count / base
    middle = (share + z * z / (2 * base)) / (1 + z * z / base)
    half = z / (1 + z * z / base) * math.sqrt(share * (1 - share) / base + z * z / (4 * base * base))
    return middle - half, middle + half


def binomial_tail(least, n, p):
    """The chance of `least` or more of n: the sum of the binomial terms."""
    return sum(math.comb(n, k) * p**k * (1 - p) ** (n - k) for k in range(least, n + 1))


def of_readings():
    values = defaultdict(list)
    for row in rows("readings"):
        if row["prototype"] in ("P1", "P4"):
            values[row["measure"], row["prototype"]].append(float(row["value"]))
    for (measure, prototype), own in values.items():
        name = f"R-{measure.replace(' ', '.')}-{prototype}"
        yield f"{name}-estimate", fmean(own)
        yield f"{name}-sd", stdev(own)


def of_scores():
    for attribute in sorted({row["attribute"] for row in rows("scores")}):
        given = [float(row["score"]) for row in rows("scores") if row["attribute"] == attribute and row["score"]]
        # the rule recorded in the study sets scores outside the scale aside
        yield f"T-{attribute}-n_scores", sum(SCALE[0] <= score <= SCALE[1] for score in given)


def of_swaps():
    """The paired t test: mean of the assessors' differences over its standard error."""
    for attribute in ATTRIBUTES:
        score = {
            (row["assessor"], row["session"], row["prototype"]): float(row["score"])
            for row in rows("scores")
            if row["attribute"] == attribute and row["score"]
        }
        for swap, pairs in SWAPS.items():
            apart = defaultdict(list)
            for who, session in dict.fromkeys(key[:2] for key in score):
                for one, other in (pair.split() for pair in pairs):
                    apart[who].append(score[who, session, other] - score[who, session, one])
            means = [fmean(own) for own in apart.values()]
            error = stdev(means) / math.sqrt(len(means))
            yield f"S-{attribute}-{swap}-estimate", fmean(means)
            yield f"S-{attribute}-{swap}-std_error", error
            yield f"S-{attribute}-{swap}-statistic", fmean(means) / error


def of_liking():
    for prototype in (f"P{n}" for n in range(1, 9)):
        given = [float(answer) for answer in answers("overall liking", prototype).values()]
        yield f"H-{prototype}-n", len(given)
        yield f"H-{prototype}-raw_mean", fmean(given)
        top = sum(answer >= 8 for answer in given)
        yield f"HB-{prototype}-top.2-count", top
        yield f"HB-{prototype}-top.2-ci_low", wilson(top, len(given))[0]


def of_ticks():
    for term in ("greasy", "white marks", "soaks in fast"):
        for prototype in ("P1", "P4"):
            given = [answer == "1" for answer in answers(term, prototype).values()]
            name = f"X-{term.replace(' ', '.')}-{prototype}"
            low, high = wilson(sum(given), len(given))
            yield f"{name}-ticked", sum(given)
            yield f"{name}-share", sum(given) / len(given)
            yield f"{name}-ci_low", low
            yield f"{name}-ci_high", high


def of_statements():
    for statement, bars in (("sinks in", (0.5,)), ("no mark on paper", (0.5, 0.8)), ("comforting", (0.5,))):
        given = list(answers(statement, "P4").values())
        agreed = sum(answer in ("4", "5") for answer in given)
        name, claims = (
            f"Y-P4-{statement.replace(' ', '.')}",
            [row for row in rows("claims") if row["question"] == statement],
        )
        low, high = wilson(agreed, len(given))
        yield f"{name}-agreed", agreed
        yield f"{name}-base", len(given)
        yield f"{name}-share", agreed / len(given)
        yield f"{name}-ci_low", low
        yield f"{name}-ci_high", high
        yield f"{name}-disagreed", sum(answer in ("1", "2") for answer in given)
        for claim, bar in zip(claims, bars, strict=True):
            own = f"YB{name[1:]}-{claim['claim'].replace(' ', '.')}-claim"
            yield f"{own}-p_value", binomial_tail(agreed, len(given), bar)
            yield f"{own}-needed", next(k for k in range(len(given) + 1) if binomial_tail(k, len(given), bar) <= 0.05)


def of_just_about_right():
    for question in ("thickness", "glide", "richness of the after-feel"):
        given = answers(question, "P4")
        little = [key for key, answer in given.items() if answer in ("1", "2")]
        name = f"J-P4-{question.replace('-', '~').replace(' ', '.')}-too.little"
        yield f"{name}-count", len(little)
        yield f"{name}-share", len(little) / len(given)


def of_choices():
    votes = [row["answer"] for row in rows("answers") if row["kind"] == "preference"]
    first, second = votes.count("P4"), votes.count("P1")
    yield "E-preference-P4-P1-left.out-share", first / (first + second)
    yield "E-preference-P4-P1-left.out-p_value", binomial_tail(first, first + second, 0.5)
    right = [row["answer"] == "1" for row in rows("answers") if row["kind"] == "triangle"]
    yield "FC-P4.against.P8-triangle-P4-P8-right", sum(right)
    yield "FC-P4.against.P8-triangle-P4-P8-p_value", binomial_tail(sum(right), len(right), 1 / 3)


def of_servings():
    """How often each prototype stands at each place, test by test."""
    for name, sessions in (("N-place-all", "123"), ("NC-hall.1%2C%.hall.2-place-all", ("hall 1", "hall 2"))):
        places = defaultdict(int)
        for row in rows("servings"):
            if row["session"] in sessions:
                places[row["prototype"], row["position"]] += 1
        yield f"{name}-smallest", min(places.values())
        yield f"{name}-largest", max(places.values())


PARTS = (
    of_readings,
    of_scores,
    of_swaps,
    of_liking,
    of_ticks,
    of_statements,
    of_just_about_right,
    of_choices,
    of_servings,
)


@cache
def written():
    return {
        f"{own}-{name}": value
        for table in demo_report().tables
        for name in table.number_columns
        for own, value in zip(table.full_ids, table.full[name].tolist(), strict=True)
    }


@pytest.mark.parametrize("part", PARTS)
def test_numbers_are_those_of_the_raw_files(part):
    computed = dict(part())
    assert computed
    for name, value in computed.items():
        assert written()[name] == pytest.approx(value, rel=ROUNDING), name


def test_they_are_sixty_and_more():
    assert sum(len(dict(part())) for part in PARTS) >= 60


def shown(code):
    return next(table.shown for table in demo_report().tables if table.code == code)


def test_the_totals_of_the_formulas_are_sums_of_the_file():
    sums, emollients = defaultdict(float), defaultdict(float)
    for row in rows("formulas"):
        sums[row["prototype"]] += float(row["percent"])
        emollients[row["prototype"]] += float(row["percent"]) * (row["kind"] == "emollient")
    printed = {row.iloc[0]: row for _, row in shown("F").iterrows()}
    for prototype in sums:
        assert float(printed["Total"][prototype]) == pytest.approx(sums[prototype], abs=0.005)
        assert float(printed["All emollients"][prototype]) == pytest.approx(emollients[prototype], abs=0.005)


def test_the_ages_of_the_batches_are_the_hours_between_making_and_test():
    printed = dict(zip(shown("BT")["Batch"], shown("BT")["Age at test"], strict=True))
    for row in rows("batches"):
        hours = (
            datetime.fromisoformat(row["tested_on"]) - datetime.fromisoformat(row["made_on"])
        ).total_seconds() / 3600
        number, unit = printed[row["batch"]].split("\u00a0" if "\u00a0" in printed[row["batch"]] else " ")
        assert abs(float(number) * {"h": 1, "days": 24}[unit] - hours) <= (0.5 if unit == "h" else 12)
