"""What is told of the claims and sentences of these tests, line by line: see `tests/as_before.py`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields
from pathlib import Path

import pandas as pd

from panel.claims.judge import Claims, Draft
from panel.claims.verdict import AS_WORDED
from tests.as_before import summed, write_lines

FOLDER = Path(__file__).parent / "as_judged"


def lines_judged(found: Claims) -> list[str]:
    """Everything told of the claims of a study."""
    frames = [(each.name, getattr(found, each.name)) for each in fields(found)]
    told = [line for name, frame in frames if isinstance(frame, pd.DataFrame) for line in _rows(name, frame)]
    return [line.replace("\n", " / ") for line in (*told, *found.notes)]


def _rows(name: str, frame: pd.DataFrame) -> Iterator[str]:
    numbers = frame.select_dtypes("number").columns.drop("number", errors="ignore")
    texts = [column for column in frame.columns.drop(numbers) if column != "claim" or name == "claims"]
    for row in frame.to_dict("records"):
        yield f"{name}: " + " | ".join(str(row[column]) for column in texts)
        yield from (summed(f"{name}.{column}", [row[column]]) for column in numbers if pd.notna(row[column]))


def lines_drafted(drafts: Sequence[Draft]) -> list[str]:
    """What is told of sentences because of their words, each in a line."""
    of_statement = {words for draft in drafts if draft.verdict in AS_WORDED for words in (*draft.reasons, *draft.needs)}
    told = [[words for words in (*each.reasons, *each.needs) if words not in of_statement] for each in drafts]
    return [_sentence(*each) for each in zip(drafts, told, strict=True)]


def lines_left_over(drafts: Sequence[Draft]) -> list[str]:
    """The verdict on sentences and their words that nothing accounts for, each in a line."""
    return [_sentence(draft, ()) for draft in drafts]


def _sentence(draft: Draft, told: Sequence[str]) -> str:
    return (
        " | ".join([draft.claim, draft.verdict, ", ".join(draft.not_covered), *told]).replace("\n", " / ").rstrip(" |")
    )


if __name__ == "__main__":
    from tests.claims.test_fresh import lines_of_fresh
    from tests.claims.test_judge import lines_of_cases, lines_of_demo
    from tests.claims.test_new_products import lines_of_new_products
    from tests.claims.test_other_products import lines_of_other_products
    from tests.claims.test_wording import lines_of_battery

    for told in (lines_of_fresh, lines_of_cases, lines_of_demo, lines_of_new_products, lines_of_other_products,
                 lines_of_battery):  # fmt: skip
        write_lines(FOLDER, told.__name__.removeprefix("lines_of_"), told())
