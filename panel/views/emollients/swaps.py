"""What the emollient swaps did, and what these data cannot say about it, in plain sentences made from the numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from panel.models.emollients.descriptors import BlendDescriptors
from panel.models.emollients.swaps import TracedSwaps
from panel.study.knowledge import everyday_words
from panel.study.naming import Naming
from panel.words import (
    MINUS,
    NOTHING,
    format_change,
    format_interval,
    format_list,
    format_number,
    format_p,
    p_words,
)

# Below this adjusted p-value an effect is told as seen.
SEEN = 0.05

_DESCRIPTORS = {
    "emollient_total": "emollient total",
    "spreading_whole": "spreading of the whole blend",
    "spreading_liquids": "spreading of the liquids",
    "spreading_breadth": "breadth of spreading",
    "log10_viscosity_liquids": "viscosity of the liquids",
    "surface_tension": "surface tension",
    "surface_tension_lowest": "lowest surface tension",
    "interfacial_tension": "interfacial tension with water",
    "molar_mass_by_mass": "mean molar mass by mass",
    "molar_mass_by_number": "mean molar mass by number",
}


def what_the_swaps_show(result: TracedSwaps, names: Naming) -> tuple[str, ...]:
    """Return one sentence per attribute and swap, and per attribute and joint change."""
    digits = effect_digits(result)
    rows = [*result.swaps.to_dict("records"), *result.joint.to_dict("records")]
    return tuple(effect_sentence(row, names, result.level, digits) for row in rows)


def effect_sentence(row: Mapping[Any, Any], names: Naming, level: float, digits: int = 0) -> str:
    """Return the sentence for one row of the swaps or the joint changes.

    In this base, replacing 6 % Dicaprylyl Carbonate by C13-15 Alkane lowers greasy film by 13 points (95 % interval 9
    to 17, 4 matched pairs, 10 assessors).
    """
    change, attribute = _replacing(row), _inside_sentence(names.attribute(str(row["attribute"])))
    base = f"{_counted(row['n_pairs'], 'matched pair')}, {_counted(row['n_assessors'], 'assessor')}"
    at, estimate = f"{100 * level:g} % interval", float(row["estimate"])
    digits += _ends_at_zero(row, digits)
    signed = f"{at} {format_interval(row['ci_low'], row['ci_high'], digits)}, {base}"
    if pd.isna(row["p_value"]):
        return (
            f"In this base, {change} changes {attribute} by {_points(estimate, digits)}; no interval can "
            f"be given ({base})."
        )
    if row["p_adjusted"] < SEEN:
        verb = "raises" if estimate > 0 else "lowers"
        return (
            f"In this base, {change} {verb} {attribute} by {_points(abs(estimate), digits)} "
            f"({at} {format_interval(*_ends_of_size(row), digits)}, {base})."
        )
    if row["p_value"] < SEEN:
        direction = "raise" if estimate > 0 else "lower"
        return (
            f"In this base, {change} may {direction} {attribute} ({_points(estimate, digits)}, {signed}), "
            f"but among so many questions this can be chance ({p_words(row['p_adjusted'])} after adjusting)."
        )
    return (
        f"In this base, these data cannot say whether {change} changes {attribute} "
        f"({_points(estimate, digits)}, {signed})."
    )


def effect_digits(result: TracedSwaps) -> int:
    """Return how many decimals effects deserve: none where they are known to about a point, else one or two."""
    errors = pd.concat([result.swaps["std_error"], result.joint["std_error"]])
    typical = float(errors.median()) if errors.notna().any() else 1.0
    if typical >= 0.5:
        return 0
    return 1 if typical >= 0.05 else 2


def moves_sentence(result: TracedSwaps, n_prototypes: int, n_emollients: int) -> str:
    """Return how many independent directions the blends differ in."""
    directions = _counted(result.n_moves, "independent direction")
    return (
        f"The blends of {n_prototypes} prototypes, made from {n_emollients} emollients, differ in {directions}: no "
        "more than that can be told apart, whatever is computed from them."
    )


def alias_sentences(result: TracedSwaps) -> tuple[str, ...]:
    """Return one sentence per group of emollients and properties that move together."""
    sentences = []
    for _, group in result.aliases.groupby("group", sort=True):
        named = _column_words(group)
        words = [f"{'more' if sign > 0 else 'less'} {name}" for name, sign in zip(named, group["sign"], strict=True)]
        words = list(dict.fromkeys(words))
        sentences.append(
            f"In these prototypes {format_list(words)} come together, or all the other way round. If an attribute "
            "changes along with them, these data cannot say which of them is the cause."
        )
    return tuple(sentences)


def interaction_sentences(result: TracedSwaps, names: Naming) -> tuple[str, ...]:
    """Return one sentence per interaction that is seen or may be there, or one saying that none is."""
    if result.interactions.empty:
        return ("Whether swaps strengthen or weaken each other cannot be seen from these prototypes.",)
    digits = effect_digits(result)
    seen = result.interactions.loc[result.interactions["p_value"] < SEEN]
    if seen.empty:
        return (
            "No two swaps clearly strengthen or weaken each other; interactions are known less well than the swaps "
            "themselves.",
        )
    return tuple(_interaction(row, names, result.level, digits) for row in seen.to_dict("records"))


def what_the_swaps_cannot_show() -> tuple[str, ...]:
    """Return the sentences that keep a reader from reading too much."""
    return (
        "An effect belongs to the whole swap, the emollient that went as much as the one that came, never to one "
        "property of it.",
        "No clear effect is not no effect: look at how far the interval reaches.",
        "Nothing here says what another base, another amount or another batch would do, nor what people like.",
    )


def swap_alt_text(result: TracedSwaps, names: Naming) -> str:
    """Return what a person who cannot see the picture of the effects should hear."""
    return f"Effect of each swap on each attribute, with intervals. {' '.join(what_the_swaps_show(result, names))}"


def blend_alt_text(blend: pd.DataFrame, names: Naming) -> str:
    """Return what a person who cannot see the picture of the blends should hear."""
    parts = []
    for prototype, row in blend.iterrows():
        shares = [f"{format_number(share, 0)} % {name}" for name, share in row.items() if share > 0]
        parts.append(f"{names.prototype(str(prototype))}: {format_list(shares)}.")
    return f"Emollient part of each prototype. {' '.join(parts)}"


def swap_words(swap: str) -> str:
    """Return the label of a swap with a real arrow."""
    return swap.replace(" -> ", " → ")


def descriptor_words(descriptor: str) -> str:
    """Return a descriptor of a blend in words."""
    if descriptor in _DESCRIPTORS:
        return _DESCRIPTORS[descriptor]
    parts = descriptor.split("_")
    if len(parts) == 4 and parts[1] == "share":
        return f"{parts[0]}-spreading share (limits {parts[2]} and {parts[3]})"
    return " ".join(parts)


def _interaction(row: Mapping[Any, Any], names: Naming, level: float, digits: int) -> str:
    attribute, estimate = _inside_sentence(names.attribute(str(row["attribute"]))), float(row["estimate"])
    digits += _ends_at_zero(row, digits)
    doubt = f"; among so many questions this can be chance, {p_words(row['p_adjusted'])} after adjusting"
    return (
        f"On {attribute}, both swaps together ({swap_words(row['swap'])}; {swap_words(row['with_swap'])}) give "
        f"{_points(abs(estimate), digits)} {'more' if estimate > 0 else 'less'} than their effects added up "
        f"({100 * level:g} % interval {format_interval(*_ends_of_size(row), digits)}"
        f"{doubt if row['p_adjusted'] >= SEEN else ''})."
    )


def _replacing(row: Mapping[Any, Any]) -> str:
    removed, added = str(row["removed"]).split(" + "), str(row["added"]).split(" + ")
    together = " together" if len(removed) + len(added) > 2 else ""
    percent = f"{float(row['percent']):g} %"
    return f"replacing {percent} {format_list(removed)} by {format_list(added)}{together}"


def _column_words(group: pd.DataFrame) -> list[str]:
    """Return the columns of a group in words, without class limits where the class is there under all of them."""
    words = [
        name if kind == "emollient" else descriptor_words(name)
        for kind, name in zip(group["kind"], group["descriptor"], strict=True)
    ]
    bare = [text.split(" (limits")[0] for text in words]
    return [short if bare.count(short) > 1 else text for text, short in zip(words, bare, strict=True)]


def _ends_of_size(row: Mapping[Any, Any]) -> tuple[float, float]:
    """Return the interval of the size of an effect, its direction being told in words."""
    low, high = float(row["ci_low"]), float(row["ci_high"])
    return (low, high) if row["estimate"] > 0 else (-high, -low)


def _ends_at_zero(row: Mapping[Any, Any], digits: int) -> bool:
    """Return whether an end of the interval would be written as zero, so that its side could not be seen."""
    return any(round(float(row[end]), digits) == 0 for end in ("ci_low", "ci_high") if not pd.isna(row[end]))


def _points(value: float, digits: int) -> str:
    text = format_number(value, digits)
    return f"{text} point" if text.lstrip(MINUS) == "1" else f"{text} points"


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _inside_sentence(words: str) -> str:
    """Return words with a small first letter, unless they are an abbreviation or a code."""
    return words[:1].lower() + words[1:] if words[1:2].islower() else words


# What each swap did, everyday words first: one block per swap, one short line per attribute.


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


# Effects of the swaps and descriptors of the blends as tables a person reads.


# Unit of each descriptor; shares and the emollient total are per cent.
_UNITS = {
    "spreading_whole": "mm² in 10 min",
    "spreading_liquids": "mm² in 10 min",
    "spreading_breadth": "decades",
    "log10_viscosity_liquids": "log10 of mPa s",
    "surface_tension": "mN/m",
    "surface_tension_lowest": "mN/m",
    "interfacial_tension": "mN/m",
    "molar_mass_by_mass": "g/mol",
    "molar_mass_by_number": "g/mol",
}
_DECIMALS = {"spreading_breadth": 2, "log10_viscosity_liquids": 2}
_WEAK, _FROM_MEMORY = "little of it known", "partly from memory"


def swaps_table(result: TracedSwaps, names: Naming) -> pd.DataFrame:
    """Return one row per swap (or joint change) and attribute: its effect with interval and p-values."""
    effects = pd.concat([result.swaps, result.joint], ignore_index=True)
    digits = effect_digits(result) + 1
    ends = zip(effects["ci_low"], effects["ci_high"], strict=True)
    return pd.DataFrame(
        {
            "Swap": [swap_words(str(swap)) for swap in effects["swap"]],
            "Attribute": [names.attribute(str(name)) for name in effects["attribute"]],
            "Effect (points)": [format_change(value, digits) for value in effects["estimate"]],
            f"{100 * result.level:g} % interval": [format_interval(low, high, digits) for low, high in ends],
            "p": [format_p(value) for value in effects["p_value"]],
            "p, adjusted": [format_p(value) for value in effects["p_adjusted"]],
            "Stands out": ["yes" if value < SEEN else "no" for value in effects["p_adjusted"]],
            "Pairs": [f"{count:d}" for count in effects["n_pairs"]],
            "Assessors": [f"{count:d}" for count in effects["n_assessors"]],
        },
        dtype="str",
    )


def descriptors_table(result: BlendDescriptors) -> pd.DataFrame:
    """Return one row per descriptor and one column per prototype; how much of it is known, and what to mind.

    A descriptor that is zero or unknown for every prototype has no row.
    """
    rows = []
    for descriptor, part in result.values.groupby("descriptor", sort=False):
        name, values = str(descriptor), part["value"]
        if values.isna().all() or (values == 0).all():
            continue
        shown = [format_number(value, _DECIMALS.get(name, 0)) for value in values]
        marks = [_WEAK] * bool(part["weak"].any()) + [_FROM_MEMORY] * bool((part["from_memory"] > 0).any())
        rows.append([_heading(name), *shown, _coverage(part["coverage"]), ", ".join(marks) or NOTHING])
    prototypes = [str(name) for name in result.wide.index]
    return pd.DataFrame(rows, columns=["Descriptor of the blend", *prototypes, "Mass known", "Mind"], dtype="str")


def _heading(descriptor: str) -> str:
    words = descriptor_words(descriptor)
    return f"{words[0].upper()}{words[1:]}, {_UNITS.get(descriptor, '%')}"


def _coverage(coverage: pd.Series) -> str:
    """Return the per cent of the mass whose value is known, from the prototype with least to that with most."""
    known = coverage.dropna()
    if known.empty:
        return NOTHING
    low, high = (format_number(value, 0) for value in (known.min(), known.max()))
    return f"{low} %" if low == high else f"{low} to {high} %"
