"""Forced choices and preferences as tables a person reads: counts, needed counts, intervals, verdicts."""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.models.consumers.forced_choice import ForcedChoices
from panel.models.consumers.preference import Preferences
from panel.views.consumers.choice_words import METHOD_WORDS
from panel.views.drawing.formats import NOTHING, format_interval, format_number, format_p, format_share


def choices_table(result: ForcedChoices) -> pd.DataFrame:
    """Return one row per test: counts, p-values, d-prime, share who can tell, verdict."""
    rows = result.tests
    level = f"{100 * result.level:g} % interval"
    return pd.DataFrame(
        {
            "Question": list(rows["question"]),
            "Test": [METHOD_WORDS[method] for method in rows["method"]],
            "Samples": _pairs(rows),
            "Right": _of(rows["right"], rows["n"]),
            "Needed": [
                str(needed) if needed <= n else NOTHING for needed, n in zip(rows["needed"], rows["n"], strict=True)
            ],
            "p": [format_p(value) for value in rows["p_value"]],
            "p, adjusted": [format_p(value) for value in rows["p_adjusted"]],
            "d-prime": [format_number(value, 2) for value in rows["d_prime"]],
            "Standard error": [format_number(value, 2) for value in rows["d_std_error"]],
            f"d-prime, {level}": _intervals(rows["d_low"], rows["d_high"], 2),
            "People who can tell": [format_share(value) for value in rows["told"]],
            f"People who can tell, {level} (%)": _intervals(100 * rows["told_low"], 100 * rows["told_high"], 1),
            "In words": list(rows["verdict"]),
        },
        dtype="str",
    )


def similarity_table(result: ForcedChoices) -> pd.DataFrame:
    """Return one row per test with a share that matters: most right answers, p-value."""
    rows = result.tests.loc[result.tests["limit"].notna()]
    return pd.DataFrame(
        {
            "Question": list(rows["question"]),
            "Share who may tell": [format_share(value) for value in rows["limit"]],
            "Set beforehand": ["yes" if value else "no" for value in rows["limit_beforehand"]],
            "Right": _of(rows["right"], rows["n"]),
            "Most that show similarity": [f"{value:.0f}" if value >= 0 else NOTHING for value in rows["most"]],
            "p of similarity": [format_p(value) for value in rows["p_similar"]],
            "Chance to show it if nobody can tell": [format_share(value) for value in rows["power_similar"]],
        },
        dtype="str",
    )


def choice_sessions_table(result: ForcedChoices) -> pd.DataFrame:
    """Return one row per session of each test."""
    rows = result.sessions
    return pd.DataFrame(
        {
            "Question": list(rows["question"]),
            "Session": [str(session) or NOTHING for session in rows["session"]],
            "Right": _of(rows["right"], rows["n"]),
            "Share": [format_share(value) for value in rows["share"]],
            "p, one-sided, this session alone": [format_p(value) for value in rows["p_value"]],
        },
        dtype="str",
    )


def preferences_table(result: Preferences) -> pd.DataFrame:
    """Return one row per question, direction and way of counting votes for no preference."""
    rows = result.ways
    level = f"{100 * result.level:g} % interval"
    words = [
        ", ".join(kind for kind in ("superior", "unsurpassed", "parity") if row[kind]) or NOTHING
        for row in rows.to_dict("records")
    ]
    return pd.DataFrame(
        {
            "Question": list(rows["question"]),
            "Prefer": list(rows["prototype"]),
            "To": list(rows["versus"]),
            "No preference": list(rows["way"]),
            "Count": [f"{count:g} of {base:d}" for count, base in zip(rows["count"], rows["base"], strict=True)],
            "Share": [format_share(value) for value in rows["share"]],
            f"{level}, exact (%)": _intervals(100 * rows["ci_low"], 100 * rows["ci_high"], 1),
            f"{level}, Wilson (%)": _intervals(100 * rows["wilson_low"], 100 * rows["wilson_high"], 1),
            "p, one-sided": [format_p(value) for value in rows["p_value"]],
            "p, two-sided": [format_p(value) for value in rows["p_two_sided"]],
            "Needed: superior": _reachable(rows["needed"], rows["base"]),
            "Needed: unsurpassed": _reachable(rows["unsurpassed_needed"], rows["base"]),
            "Parity": _regions(rows),
            "Shown": words,
        },
        dtype="str",
    )


def _regions(rows: pd.DataFrame) -> list[str]:
    ends = zip(rows["parity_low"], rows["parity_high"], strict=True)
    return [f"{low} to {high}" if low <= high else "no count" for low, high in ends]


def _pairs(rows: pd.DataFrame) -> list[str]:
    return [f"{one}, {other}" for one, other in zip(rows["prototype"], rows["versus"], strict=True)]


def _of(counts: pd.Series, bases: pd.Series) -> list[str]:
    return [f"{count} of {base}" for count, base in zip(counts, bases, strict=True)]


def _intervals(low: pd.Series, high: pd.Series, digits: int) -> list[str]:
    return [format_interval(one, other, digits) for one, other in zip(low, high, strict=True)]


def _reachable(counts: pd.Series, bases: pd.Series) -> list[str]:
    return [
        f"{count}" if count <= base and np.isfinite(count) else NOTHING
        for count, base in zip(counts, bases, strict=True)
    ]
