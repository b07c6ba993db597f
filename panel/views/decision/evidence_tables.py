"""Tables that only the evidence file shows: ranks, interactions of swaps, scores and answers by person, files."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from panel.claims.judge import Claims
from panel.models.emollients.swaps import TracedSwaps
from panel.models.prototypes.rank_sums import RankComparison
from panel.study.study import Study
from panel.views.decision.claim_tables import claim_numbers_table
from panel.views.drawing.formats import NOTHING, format_change, format_interval, format_number, format_p
from panel.views.drawing.naming import Naming
from panel.views.emollients.swap_words import effect_digits, swap_words


def ranks_table(result: RankComparison, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: the test of the ranks, their agreement, and the mixed model's p-value beside it."""
    rows = result.attributes
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "Test of the ranks": list(rows["method"]),
            "Statistic": [format_number(value, 2) for value in rows["statistic"]],
            "p, adjusted": [format_p(value) for value in rows["p_adjusted"]],
            "Agreement (W)": [format_number(value, 2) for value in rows["kendall_w"]],
            "Mixed model, p, adjusted": [format_p(value) for value in rows["mixed_p_adjusted"]],
        },
        dtype="str",
    )


def interactions_table(result: TracedSwaps, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and two swaps: how much the effect of one changes when the other is made too."""
    rows, digits = result.interactions, effect_digits(result) + 1
    ends = zip(rows["ci_low"], rows["ci_high"], strict=True)
    return pd.DataFrame(
        {
            "Swap": [swap_words(str(swap)) for swap in rows["swap"]],
            "Together with": [swap_words(str(swap)) for swap in rows["with_swap"]],
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "Extra effect (points)": [format_change(value, digits) for value in rows["estimate"]],
            f"{100 * result.level:g} % interval": [format_interval(low, high, digits) for low, high in ends],
            "p, adjusted": [format_p(value) for value in rows["p_adjusted"]],
        },
        dtype="str",
    )


def files_table(files: Mapping[str, tuple[int, str]]) -> pd.DataFrame:
    """Return one row per file: its path, its size in bytes, its SHA-256."""
    return pd.DataFrame(
        {
            "File": list(files),
            "Bytes": [f"{size:d}" for size, _ in files.values()],
            "SHA-256": [digest for _, digest in files.values()],
        },
        dtype="str",
    )


def questions_table(study: Study) -> pd.DataFrame:
    """Return one row per question that consumers were asked, in the words they saw."""
    stated = study.facts.get("questions")
    entries = [entry for entry in stated if isinstance(entry, dict)] if isinstance(stated, list) else []
    columns = {
        "question": "Question",
        "kind": "Kind",
        "words": "Words shown",
        "low_end": "Low end",
        "high_end": "High end",
    }
    rows = [
        [*(_cell(entry.get(name)) for name in columns), "yes" if entry.get("foil") else NOTHING] for entry in entries
    ]
    return pd.DataFrame(rows, columns=[*columns.values(), "Untrue on purpose"], dtype="str")


def ballot_table(study: Study) -> pd.DataFrame:
    """Return one row per attribute as the trained assessors judged it."""
    rows = study.table("attributes")
    return pd.DataFrame(
        {
            "Attribute": [name or short for name, short in zip(rows["name"], rows["attribute"], strict=True)],
            "Stage": [_cell(text) for text in rows["stage"]],
            "Minutes": [format_number(value, 0) for value in rows["minutes"]],
            "What is judged": [_cell(text) for text in rows["definition"]],
            "How": [_cell(text) for text in rows["procedure"]],
            "Low end": [_cell(text) for text in rows["low_end"]],
            "High end": [_cell(text) for text in rows["high_end"]],
            "Scale": [
                format_interval(low, high, 0) for low, high in zip(rows["scale_min"], rows["scale_max"], strict=True)
            ],
        },
        dtype="str",
    )


def recorded_table(rows: pd.DataFrame, headings: Mapping[str, str]) -> pd.DataFrame:
    """Return the rows of a record as they stand, under headings in words; what is empty shows as a dash."""
    columns = {heading: [_cell(value) for value in rows[name]] for name, heading in headings.items()}
    return pd.DataFrame(columns, dtype="str")


def _cell(value: object) -> str:
    """Return a cell of a record as text."""
    if isinstance(value, float):
        return NOTHING if value != value else f"{value:g}"
    return str(value) if value not in (None, "") else NOTHING


def claim_numbers_of_all(result: Claims) -> pd.DataFrame:
    """Return one row per number that a claim was held against, with the claim before it."""
    sentences = result.claims.set_index("number")["claim"]
    parts = [
        claim_numbers_table(result, int(number)).assign(Claim=f"{number}. {sentences[number]}")
        for number in result.numbers["number"].unique()
    ]
    together = pd.concat(parts, ignore_index=True)
    return together[["Claim", *(name for name in together.columns if name != "Claim")]]
