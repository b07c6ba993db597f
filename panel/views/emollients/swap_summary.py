"""What each swap did, everyday words first: one block per swap, one short line per attribute."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from panel.models.emollients.swaps import TracedSwaps
from panel.study.knowledge import everyday_words
from panel.views.drawing.formats import format_change, format_interval, format_list, format_number, p_words
from panel.views.drawing.naming import Naming
from panel.views.emollients.swap_words import SEEN, effect_digits, swap_words

# What a buyer names first comes first; other everyday words follow in the order of use.
FIRST_WORDS = ("spreadability", "tack", "greasiness", "after-feel")
OTHER = "other"


@dataclass(frozen=True, slots=True)
class SwapSummary:
    """What one swap did.

    Parameters
    ----------
    title
        The swap with a real arrow.
    opening
        How much of what was replaced, and on how much the lines rest.
    lines
        Everyday word and what is seen under it, in words, for effects that stand out.
    perhaps
        The same for effects that may be chance among so many questions.
    cannot_say
        The attributes of which these data cannot say whether the swap changes them.
    mind
        What was noted about this very swap and must be known before trusting the lines.
    """

    title: str
    opening: str
    lines: tuple[tuple[str, str], ...]
    perhaps: tuple[tuple[str, str], ...]
    cannot_say: str
    mind: tuple[str, ...]


def swap_summaries(result: TracedSwaps, names: Naming) -> tuple[SwapSummary, ...]:
    """Return one summary per swap, then per joint change, in the order of the result."""
    words = {attribute: word for word, attributes in everyday_words().items() for attribute in attributes}
    effects = pd.concat([result.swaps, result.joint], ignore_index=True)
    digits = effect_digits(result)
    return tuple(
        _summary(str(swap), rows, names, words, digits, result) for swap, rows in effects.groupby("swap", sort=False)
    )


def _summary(
    swap: str, rows: pd.DataFrame, names: Naming, words: Mapping[str, str], digits: int, result: TracedSwaps
) -> SwapSummary:
    first = rows.iloc[0]
    removed, added = (format_list(str(first[end]).split(" + ")) for end in ("removed", "added"))
    pairs, people = (_range(rows[column]) for column in ("n_pairs", "n_assessors"))
    seen = rows["p_adjusted"] < SEEN
    perhaps = ~seen & (rows["p_value"] < SEEN)
    left = [_quoted(names.attribute(str(name))) for name in rows.loc[~seen & ~perhaps, "attribute"]]
    return SwapSummary(
        title=swap_words(swap),
        opening=(
            f"In this base, replacing {first['percent']:g} % {removed} by {added} ({pairs} matched pairs, {people} "
            f"assessors; in brackets {100 * result.level:g} % intervals):"
        ),
        lines=_grouped(rows.loc[seen], names, words, digits, doubt=False),
        perhaps=_grouped(rows.loc[perhaps], names, words, digits, doubt=True),
        cannot_say=f"These data cannot say whether it changes {format_list(left)}." if left else "",
        mind=tuple(swap_words(note) for note in result.notes if swap in note),
    )


def _grouped(
    rows: pd.DataFrame, names: Naming, words: Mapping[str, str], digits: int, *, doubt: bool
) -> tuple[tuple[str, str], ...]:
    """Return the effects under their everyday word, the words a buyer names first before the others."""
    found: dict[str, list[str]] = {}
    for row in rows.to_dict("records"):
        found.setdefault(words.get(str(row["attribute"]), OTHER), []).append(_effect(row, names, digits, doubt=doubt))
    order = [*(word for word in FIRST_WORDS if word in found), *(w for w in found if w not in (*FIRST_WORDS, OTHER))]
    order += [OTHER] if OTHER in found else []
    return tuple((word, "; ".join(found[word])) for word in order)


def _effect(row: Mapping[Any, Any], names: Naming, digits: int, *, doubt: bool) -> str:
    """Return such as `greasy film falls by 11 points (9 to 14)`, for a rise and a fall alike as amounts."""
    estimate, low, high = (float(row[column]) for column in ("estimate", "ci_low", "ci_high"))
    if any(round(end, digits) == 0 for end in (low, high)):
        digits += 1
    attribute = _quoted(names.attribute(str(row["attribute"])))
    if doubt:
        ends = format_interval(low, high, digits)
        return f"{attribute} {format_change(estimate, digits)} ({ends}; {p_words(row['p_adjusted'])} after adjusting)"
    verb = "rises" if estimate > 0 else "falls"
    ends = format_interval(low, high, digits) if estimate > 0 else format_interval(-high, -low, digits)
    amount = format_number(abs(estimate), digits)
    return f"{attribute} {verb} by {amount} {'point' if amount == '1' else 'points'} ({ends})"


def _quoted(words: str) -> str:
    """Words with a comma in them would read as two things in a list."""
    return f"\u201c{words}\u201d" if "," in words else words


def _range(counts: pd.Series) -> str:
    low, high = int(counts.min()), int(counts.max())
    return f"{low}" if low == high else f"{low} to {high}"
