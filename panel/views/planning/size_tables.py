"""Numbers of people as tables a person reads: what a panel can see, how many answers are enough."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from panel.plan.answers_needed import AnswerNumbers
from panel.plan.sample_size import PanelSizes
from panel.views.drawing.formats import format_number, format_share
from panel.views.drawing.naming import Naming


def panel_sizes_table(result: PanelSizes, digits: int = 1) -> pd.DataFrame:
    """Return one row per number of assessors and replicates: what that panel can see, in scale units."""
    rows = result.sizes
    percent = f"{100 * result.power:g} %"
    return pd.DataFrame(
        {
            "Assessors": [f"{count:d}" for count in rows["assessors"]],
            "Replicates": [f"{count:d}" for count in rows["replicates"]],
            "Servings": [f"{count:,d}" for count in rows["servings"]],
            "Standard error of a difference": _numbers(rows["std_error"], digits),
            "Least significant difference": _numbers(rows["least_significant"], digits),
            "The same, all pairs (Tukey)": _numbers(rows["least_significant_pairs"], digits),
            f"Found with {percent}: one planned difference": _numbers(rows["seen"], digits),
            f"Found with {percent}: among all pairs": _numbers(rows["seen_pairs"], digits),
            f"Found with {percent}: against the benchmark": _numbers(rows["seen_benchmark"], digits),
            f"Found with {percent}: a swap effect": _numbers(rows["seen_swap"], digits),
            f"Chance to find {format_number(result.difference, digits)}": [format_share(v) for v in rows["power"]],
        },
        dtype="str",
    )


def needed_table(result: PanelSizes) -> pd.DataFrame:
    """Return the fewest assessors for each kind of comparison and number of replicates."""
    rows = result.needed
    tried = int(result.sizes["assessors"].max())
    return pd.DataFrame(
        {
            "What is compared": list(rows["comparison"]),
            "Replicates": [f"{count:d}" for count in rows["replicates"]],
            "Assessors needed": [f"{n:d}" if n else f"more than {tried}" for n in rows["assessors"]],
            "Servings": [f"{n:,d}" if n else "–" for n in rows["servings"]],
        },
        dtype="str",
    )


def what_you_can_see_table(seen: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: what the people you have can see of it, in scale units."""
    headings = {
        "std_error": "Standard error of a difference",
        "least_significant": "Least significant difference",
        "seen": "One planned difference found",
        "seen_pairs": "Among all pairs found",
        "seen_benchmark": "Against the benchmark found",
        "seen_swap": "A swap effect found",
    }
    words = [names.attribute(name) if name else "planning values" for name in seen["attribute"]]
    columns = {heading: _numbers(seen[column], names.digits) for column, heading in headings.items()}
    return pd.DataFrame({"Attribute": words} | columns, dtype="str")


def answers_table(results: Iterable[AnswerNumbers]) -> pd.DataFrame:
    """Return one row per question: the first number of answers that is enough, and from when on it always is."""
    rows = list(results)
    return pd.DataFrame(
        {
            "To show": [row.question for row in rows],
            "First enough": [f"{row.first:,d}" for row in rows],
            "Always enough from": [f"{row.always:,d}" for row in rows],
            "Answers that show it": [_limits(row) for row in rows],
            "Chance of success": [format_share(row.power) for row in rows],
        },
        dtype="str",
    )


def share_width_table(widths: pd.DataFrame) -> pd.DataFrame:
    """Return one row per number of people: between which limits a share will be known."""
    return pd.DataFrame(
        {
            "People": [f"{n:,d}" for n in widths["n"]],
            "Share": [format_share(share) for share in widths["share"]],
            "95 % interval": [
                f"{format_number(100 * low, 0)} to {format_number(100 * high, 0)} %"
                for low, high in zip(widths["ci_low"], widths["ci_high"], strict=True)
            ],
        },
        dtype="str",
    )


def _limits(result: AnswerNumbers) -> str:
    """Return how many answers show it when the number from which on it is always enough is asked."""
    row = result.curve.loc[result.curve["n"] == result.always].iloc[0]
    fewest, most = row["minimum"], row["maximum"]
    parts = []
    if not np.isnan(fewest):
        parts.append(f"at least {format_number(fewest, 0)}")
    if not np.isnan(most):
        parts.append(f"at most {format_number(most, 0)}")
    return f"{' and '.join(parts)} of {result.always:,d}" if parts else "–"


def _numbers(values: pd.Series, digits: int) -> list[str]:
    return [format_number(value, digits) for value in values]
