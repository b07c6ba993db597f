"""Words about the assumptions: one line per kind of problem, advice for each, and the limits."""

import numpy as np
import pandas as pd
import pytest

from panel.models.prototypes.assumptions import Assumptions, Problem
from panel.study.naming import Naming
from panel.views.prototypes.assumptions import _ADVICE, tell_assumptions

NAMES = Naming(attributes={"grease": "greasy film", "stick": "stickiness"})
NOTHING = pd.DataFrame()
ASSESSORS = pd.DataFrame({"attribute": ["grease"], "assessor": ["A6"], "residual_sd": [4.0], "ratio": [1.2]})
RESIDUALS = pd.DataFrame({"attribute": ["grease"] * 2, "assessor": "A6", "fitted": [1.0, 2.0], "residual": [0.5, -0.5]})
COLUMNS = ["attribute", "kind", "prototype", "assessor", "row", "size", "p_adjusted"]


def assumptions(*problems):
    found = pd.DataFrame([dict(zip(COLUMNS, row, strict=True)) for row in problems], columns=COLUMNS)
    return Assumptions(RESIDUALS, ASSESSORS, NOTHING, NOTHING, NOTHING, found, 999, "", ())


def found_and_advised(result):
    found, advised, _ = tell_assumptions(result, NAMES).drawers
    return list(found.items), list(advised.items)


def test_nothing_found_is_said():
    result = assumptions()
    assert tell_assumptions(result, NAMES).headline == (
        "Nothing in the scores speaks against the model: even spread, no crowded end, no single score that decides."
    )
    assert found_and_advised(result) == ([], [])


def problem(attribute, kind, size, p_adjusted=np.nan, prototype="", assessor="", row=np.nan):
    return (attribute, kind, prototype, assessor, row, size, p_adjusted)


@pytest.mark.parametrize(
    ("problems", "line"),
    [
        (
            [
                problem(a, Problem.UNEVEN_ASSESSORS, size, 0.01, assessor="A6")
                for a, size in (("grease", 1.62), ("stick", 2))
            ],
            "Scatter differs between assessors: A6 1.6 to 2.0 times as wide as the panel on greasy film and "
            "stickiness.",
        ),
        (
            [
                problem("grease", Problem.UNEVEN_ASSESSORS, 2.0, 0.01, assessor="A6"),
                problem("stick", Problem.UNEVEN_ASSESSORS, 3.0, 0.01, assessor="A2"),
            ],
            "Scatter differs between assessors: A6 2.0 times as wide as the panel on greasy film; A2 3.0 times as wide "
            "as the panel on stickiness.",
        ),
        (
            [
                problem("grease", Problem.SPREAD_FOLLOWS_LEVEL, 0.4, 0.01),
                problem("stick", Problem.SPREAD_FOLLOWS_LEVEL, -0.4, 0.01),
            ],
            "Scatter grows with the level on greasy film; it shrinks with the level on stickiness.",
        ),
        (
            [problem("grease", Problem.NOT_NORMAL, 0.95, 0.02), problem("stick", Problem.NOT_NORMAL, 0.9, 0.014)],
            "Residuals are not normal on greasy film and stickiness (clearest: stickiness, p after Holm = 0.014).",
        ),
        (
            [
                problem("grease", Problem.FLOOR, 0.257, prototype="P1"),
                problem("grease", Problem.FLOOR, 0.4, prototype="P2"),
            ],
            "Scores crowd at the low end of the scale: greasy film (P1 26 % and P2 40 % of the scores).",
        ),
        (
            [problem("stick", Problem.CEILING, 0.5, prototype="P1")],
            "Scores crowd at the high end of the scale: stickiness (P1 50 % of the scores).",
        ),
        (
            [problem("grease", Problem.ONE_SCORE_DECIDES, 1.34, prototype="P2", assessor="A6", row=812.0)],
            "A single score decides the result. greasy film: A6 on P2 (line 812), without it the widest difference "
            "moves by 1.3 standard errors.",
        ),
    ],
)
def test_each_kind_has_its_line(problems, line):
    assert found_and_advised(assumptions(*problems))[0] == [line]


def test_many_attributes_are_counted():
    problems = [problem(f"x{k}", Problem.NOT_NORMAL, 0.9, 0.01) for k in range(7)]
    ((line,), _) = found_and_advised(assumptions(*problems))
    assert "on 7 attributes, among them x0, x1 and x2" in line


def test_every_kind_has_advice_and_only_what_was_found_is_advised():
    kinds = {
        Problem.UNEVEN_ASSESSORS,
        Problem.SPREAD_FOLLOWS_LEVEL,
        Problem.NOT_NORMAL,
        Problem.FLOOR,
        Problem.CEILING,
        Problem.ONE_SCORE_DECIDES,
    }
    assert set(_ADVICE) == kinds
    told = assumptions(problem("grease", Problem.FLOOR, 0.2, prototype="P1"))
    assert [advice.partition(": ")[2] for advice in found_and_advised(told)[1]] == [_ADVICE[Problem.FLOOR]]
    assert tell_assumptions(told, NAMES).headline == "The scores speak against the model in 1 way."


def test_nobody_is_told_to_delete():
    assert "written" in _ADVICE[Problem.UNEVEN_ASSESSORS]
    assert "written reason" in _ADVICE[Problem.ONE_SCORE_DECIDES]


def test_limits_are_stated():
    words = " ".join(tell_assumptions(assumptions(), NAMES).cannot)
    assert "not at bias" in words
    assert "0.0010" in words
