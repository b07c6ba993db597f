"""What the evidence says about the choice of a prototype, in plain sentences, the answer first."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Any

import pandas as pd

from panel.models.decision.contenders import AHEAD, BEHIND, IN, OPEN, OPPOSED, OUT
from panel.models.decision.decide import Decision
from panel.models.decision.gates import (
    CANNOT_TELL,
    COST,
    FAILS,
    FREE_OF,
    PASSES,
    PH,
    SHARES,
    SOLID,
    STABILITY,
    VISCOSITY,
    VOLATILE,
)
from panel.study.naming import Naming
from panel.words import (
    NOTHING,
    format_change,
    format_interval,
    format_list,
    format_number,
    format_share,
)


def chance_words(chance: float) -> str:
    """Return a chance in per cent; never 0 or 100, which draws cannot show."""
    if math.isnan(chance):
        return "–"
    if chance < 0.01:
        return "< 1 %"
    return "> 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def decision_headline(result: Decision) -> str:
    """Return the answer in one sentence: the choice, or that there is none and who cannot be separated."""
    left = list(result.contenders)
    if result.choice is not None:
        return f"{result.choice} passes all gates, meets all windows and is ahead of every other prototype."
    if not left:
        return "No prototype is left: each fails a gate or clearly misses a window that must be met."
    if len(left) > 1:
        return f"{format_list(left)} cannot be separated overall. There is no winner here."
    return f"{left[0]} is ahead of every other prototype, but {_shortfall(left[0], result)}."


def what_the_decision_shows(result: Decision, names: Naming) -> list[str]:
    """Return plain sentences: who comes nearest, on which evidence, beside the benchmark, for whom, what is open."""
    return [line for line in _lines(result, names) if line]


def what_the_decision_cannot_show() -> tuple[str, ...]:
    """Return what a reader must not take from it."""
    return (
        "It does not decide. People do, and write down why; the tool keeps the record.",
        "A chance holds for this panel, these batches, this dose and this base. It takes each mean as it came out, "
        "although of several prototypes the one that came out best was usually a little lucky. The chance of meeting "
        "all windows at once is therefore rather too high (in simulated panels a stated 80 % came true in about 70 %); "
        "windows set after a look at the scores make it worse.",
        "Desirability weighs what was wanted beforehand. Other weights are other wishes, not better statistics.",
        "Gates repeat what was recorded. Whether a product is stable or safe is judged by the qualified person; this "
        "is not a safety assessment.",
    )


def _lines(result: Decision, names: Naming) -> Iterator[str]:
    ranked = result.ranking.dropna(subset=["desirability"])
    if ranked.empty:
        yield "No prototype was scored on every attribute with a window, so none can be ranked."
        return
    best = str(ranked.iloc[0]["prototype"])
    row = ranked.iloc[0]
    total = len(result.profile.wanted)
    yield (
        f"Nearest to the target by the trained panel: {best}, desirability {format_number(row['desirability'], 2)} "
        f"({format_interval(row['ci_low'], row['ci_high'], 2)}), first with a chance of "
        f"{chance_words(row['chance_first'])}."
    )
    yield _windows_met(best, row, total, result, names)
    yield _from_benchmark(best, row, total, result, names)
    yield _panel_apart(best, result)
    yield _liking(result)
    yield from _people(result)
    yield from _out(result, names)
    yield _weights(best, result, names)


def _windows_met(best: str, row: pd.Series, total: int, result: Decision, names: Naming) -> str:
    own = result.windows.loc[result.windows["prototype"] == best]
    missed = own.loc[own["met"] == 0]
    told = f"{best} meets {total - len(missed)} of {total} windows with its means"
    if len(missed):
        told += f"; it misses {format_list([names.attribute(str(name)) for name in missed['attribute']])}"
    told += f". The chance that it truly meets all of them at once is {chance_words(float(row['chance_all']))}."
    unsure = own.loc[(own["met"] == 1) & (own["chance"] < result.level)].sort_values("chance")
    if len(unsure):
        least = unsure.iloc[0]
        told += (
            f" Least sure of those it meets: {names.attribute(str(least['attribute']))}, "
            f"{format_number(least['estimate'], names.digits)} with an interval from "
            f"{format_interval(least['ci_low'], least['ci_high'], names.digits)}, chance "
            f"{chance_words(least['chance'])}."
        )
    return told


def _from_benchmark(best: str, row: pd.Series, total: int, result: Decision, names: Naming) -> str:
    if result.benchmark is None or best == result.benchmark:
        return ""
    own = result.windows.loc[result.windows["prototype"] == best]
    met = int((own["met_versus"] == 1).sum())
    better = own.loc[own["chance_better"] >= result.level, "attribute"]
    told = (
        f"Read as differences from {result.benchmark}, which a drift of the panel's level does not touch, {best} "
        f"meets {met} of {total} windows; all at once with a chance of {chance_words(float(row['chance_all_versus']))}."
    )
    if len(better):
        told += (
            f" It lies on the wanted side of {result.benchmark} on "
            f"{format_list([names.attribute(str(name)) for name in better])}."
        )
    return f"{told} This is stronger evidence than the windows as they stand."


def _panel_apart(best: str, result: Decision) -> str:
    alike = _not_told_apart(best, result, "panel")
    if not alike:
        return f"By the panel's windows {best} is told apart from every other prototype."
    return (
        f"By the panel's windows {best} cannot be told apart from {format_list(alike)}: the intervals of these "
        "differences, for all pairs at once, hold zero, however often it comes first."
    )


def _liking(result: Decision) -> str:
    liked = result.ranking.dropna(subset=["liking"])
    if not result.has_liking or liked.empty:
        return ""
    top = liked.sort_values("liking", ascending=False, kind="stable").iloc[0]
    best = str(top["prototype"])
    told = (
        f"Best liked by {result.n_consumers} consumers: {best}, mean {format_number(top['liking'], 1)}, with a "
        f"chance of {chance_words(top['chance_best_liked'])} to be the best liked of all"
    )
    alike = _not_told_apart(best, result, "consumers")
    return f"{told}; not told apart from {format_list(alike)}." if alike else f"{told}; told apart from every other."


def _people(result: Decision) -> Iterator[str]:
    """Yield who divides the consumers with the first in the running; without such pairs whom each group likes best."""
    best = result.contenders[0] if result.contenders else ""
    for (first, second), own in result.divided.groupby(["prototype", "versus"], sort=False):
        if best not in (first, second):
            continue
        groups = [
            f"group {row['segment']} ({row['n']} consumers) {_leaning(row, str(first), str(second))}"
            for row in own.to_dict("records")
        ]
        other = second if first == best else first
        yield f"{best} and {other} cannot be separated overall; they please different people: {format_list(groups)}."
    if result.divided.empty and len(result.favourites):
        liked = [
            f"group {row['segment']} ({row['n']} consumers) {row['prototype']}"
            + (f", not told apart from {row['alike']}" if row["alike"] else "")
            for row in result.favourites.to_dict("records")
        ]
        yield f"Liked best of those in the running: {'; '.join(liked)}."


def _leaning(row: Mapping[Any, Any], first: str, second: str) -> str:
    """Return which of two prototypes a group likes better, and whether that is clear."""
    liked = first if row["estimate"] > 0 else second
    clear = row["ci_low"] > 0 or row["ci_high"] < 0
    return f"clearly likes {liked} better" if clear else f"leans to {liked}"


def _out(result: Decision, names: Naming) -> Iterator[str]:
    """Yield who is out and why, those with the same reason together, and who is open."""
    reasons: dict[str, list[str]] = {}
    for name in result.ranking.loc[result.ranking["standing"] == OUT, "prototype"]:
        reasons.setdefault(_why_out(str(name), result, names), []).append(str(name))
    for why, out in reasons.items():
        yield (
            f"Out: {format_list(out)}, because it {why}." if len(out) == 1 else f"Out: {format_list(out)}; each {why}."
        )
    for name in result.ranking.loc[result.ranking["standing"] == OPEN, "prototype"]:
        unknown = _gates(str(name), result, CANNOT_TELL) or ["a window that was not scored"]
        yield f"Open: {name}, because {format_list(unknown)} cannot be told yet."


def _why_out(prototype: str, result: Decision, names: Naming) -> str:
    failed = _gates(prototype, result, FAILS)
    reasons = [f"fails {format_list(failed)}"] if failed else []
    own = result.windows.loc[(result.windows["prototype"] == prototype) & result.windows["must_have"]]
    clear = own.loc[(own["chance"] < 1 - result.level) & ~(own["chance_versus"] >= 1 - result.level), "attribute"]
    if len(clear):
        reasons.append(
            f"clearly misses a window that must be met ({format_list([names.attribute(str(a)) for a in clear])})"
        )
    return format_list(reasons)


def _gates(prototype: str, result: Decision, wanted: str) -> list[str]:
    own = result.gates.loc[(result.gates["prototype"] == prototype) & (result.gates["result"] == wanted), "gate"]
    return [gate_name(str(gate)) for gate in own]


def _weights(best: str, result: Decision, names: Naming) -> str:
    share = result.weights.shares.set_index("prototype")["share"]
    other = result.weights.changes.loc[~result.weights.changes["prototype"].isin([best, ""])]
    told = f"Under random weights {best} comes first in {format_share(float(share.get(best, 0.0)))} of the cases"
    if other.empty:
        return f"{told}, and halving or doubling any one weight leaves it first."
    changes = [
        f"{names.attribute(str(r['attribute']))} {r['change']}: {r['prototype']}" for r in other.to_dict("records")
    ]
    return f"{told}. Another one comes first with {format_list(changes)}."


def _not_told_apart(prototype: str, result: Decision, column: str) -> list[str]:
    """Return the prototypes that are not out and that a column of verdicts does not separate from this one."""
    able = set(result.ranking.loc[result.ranking["standing"] != OUT, "prototype"])
    pairs = result.pairs
    own = pairs.loc[
        ((pairs["prototype"] == prototype) | (pairs["versus"] == prototype)) & ~pairs[column].isin([AHEAD, BEHIND])
    ]
    found = [str(a) if b == prototype else str(b) for a, b in zip(own["prototype"], own["versus"], strict=True)]
    return [name for name in found if name in able]


def _shortfall(prototype: str, result: Decision) -> str:
    """Return why the only contender is no choice yet."""
    row = result.ranking.loc[result.ranking["prototype"] == prototype].iloc[0]
    if row["gates_open"]:
        return f"{format_list(_gates(prototype, result, CANNOT_TELL))} cannot be told yet"
    if row["unmet"]:
        return f"its means miss {int(row['unmet'])} of {len(result.profile.wanted)} windows"
    return f"that it truly meets all windows at once has a chance of only {chance_words(float(row['chance_all']))}"


def opposed_sentences(result: Decision) -> list[str]:
    """Return a sentence for each pair that panel and consumers put the other way round."""
    rows = result.pairs.loc[result.pairs["overall"] == OPPOSED].to_dict("records")
    return [
        f"Panel and consumers disagree on {row['prototype']} and {row['versus']}: one is nearer to the windows, the "
        "other is liked better. Then the target profile does not describe what these consumers want."
        for row in rows
    ]


# The evidence behind the choice of a prototype as tables a person reads.


_STANDING = {IN: "in the running", OPEN: "open", OUT: "out"}


def ranking_table(result: Decision, names: Naming) -> pd.DataFrame:
    """Return one row per prototype, nearest to the target first."""
    rows = result.ranking
    shown = {
        "Prototype": [names.prototype(str(name)) for name in rows["prototype"]],
        "Standing": [_STANDING[str(standing)] for standing in rows["standing"]],
        "Desirability (0 to 1)": [format_number(value, 2) for value in rows["desirability"]],
        _interval(result): _intervals(rows, "ci_low", "ci_high", 2),
        "Windows missed": [str(count) for count in rows["unmet"]],
        "Chance of all windows": [chance_words(value) for value in rows["chance_all"]],
    }
    if result.benchmark is not None:
        shown["Chance of all, from the benchmark"] = [chance_words(value) for value in rows["chance_all_versus"]]
        shown[f"Desirability above {result.benchmark}"] = [format_change(value, 2) for value in rows["gain"]]
    shown["Chance to be first"] = [chance_words(value) for value in rows["chance_first"]]
    if result.has_liking:
        shown["Liking"] = [format_number(value, 2) for value in rows["liking"]]
        shown["Chance to be best liked"] = [chance_words(value) for value in rows["chance_best_liked"]]
    shown["Gates failed / open"] = [
        f"{failed} / {unknown}" for failed, unknown in zip(rows["gates_failed"], rows["gates_open"], strict=True)
    ]
    return pd.DataFrame(shown, dtype="str")


def windows_table(rows: pd.DataFrame, names: Naming, level: float) -> pd.DataFrame:
    """Return one row per prototype and attribute: the mean, its interval, the window and the chance of meeting it.

    `rows` are rows of the windows, or of the unmet ones.
    """
    digits = names.digits
    shown = {
        "Prototype": list(rows["prototype"]),
        "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
        names.with_scale("Mean"): [format_number(value, digits) for value in rows["estimate"]],
        f"{100 * level:g} % interval": _intervals(rows, "ci_low", "ci_high", digits),
        "Window": [window_text(low, high) for low, high in zip(rows["target_low"], rows["target_high"], strict=True)],
        "Met": [_met(value) for value in rows["met"]],
        "Chance": [chance_words(value) for value in rows["chance"]],
        "Must have": ["yes" if must else "no" for must in rows["must_have"]],
    }
    if (rows["versus"] != "").any():
        base = str(rows.loc[rows["versus"] != "", "versus"].iloc[0])
        ends = zip(rows["versus_low"], rows["versus_high"], strict=True)
        shown |= {
            f"Difference from {base}": [format_change(value, digits) for value in rows["difference"]],
            "Its interval": _intervals(rows, "difference_low", "difference_high", digits),
            "Window as a difference": [window_text(low, high, digits) for low, high in ends],
            "Chance as a difference": [chance_words(value) for value in rows["chance_versus"]],
            f"Chance to be better than {base}": [chance_words(value) for value in rows["chance_better"]],
        }
    return pd.DataFrame(shown, dtype="str")


def window_text(low: float, high: float, digits: int = 0) -> str:
    """Return a window in words: `up to 38`, `from 55 on`, `40 to 50`."""
    first, last = (format_number(end, digits if end != round(end) else 0) if end == end else "" for end in (low, high))
    if not first and not last:
        return NOTHING
    if not first:
        return f"up to {last}"
    return f"{first} to {last}" if last else f"from {first} on"


def gates_table(result: Decision) -> pd.DataFrame:
    """Return one row per gate and one column per prototype: passes, fails or cannot tell, with the value."""
    rows: dict[str, dict[str, str]] = {}
    limits: dict[str, str] = {}
    for row in result.gates.to_dict("records"):
        gate = str(row["gate"])
        factor, digits, unit = gate_unit(gate)
        ends = (row["low"] * factor, row["high"] * factor)
        text = window_text(*ends, digits)
        limits[gate] = f"{gate_name(gate)}" + (f": {text}{unit}" if text != NOTHING else "")
        rows.setdefault(gate, {})[str(row["prototype"])] = _gate_cell(row, factor, digits, unit)
    order = [str(name) for name in result.ranking["prototype"]]
    cells = [[limits[gate], *(own.get(name, NOTHING) for name in order)] for gate, own in rows.items()]
    return pd.DataFrame(cells, columns=["Gate", *order], dtype="str")


def pairs_decision_table(result: Decision) -> pd.DataFrame:
    """Return one row per pair: what separates the two by the panel and by consumers."""
    rows = result.pairs
    shown = {
        "Prototype": list(rows["prototype"]),
        "Compared with": list(rows["versus"]),
        "Difference in desirability": [format_change(value, 2) for value in rows["estimate"]],
        "Interval, all pairs at once": _intervals(rows, "ci_low", "ci_high", 2),
        "Chance to rank above": [chance_words(value) for value in rows["chance_above"]],
        "Panel": list(rows["panel"]),
    }
    if result.has_liking:
        shown |= {
            "Difference in liking": [format_change(value, 2) for value in rows["liking"]],
            "Its interval": _intervals(rows, "liking_low", "liking_high", 2),
            "Consumers": list(rows["consumers"]),
        }
    return pd.DataFrame(shown | {"Overall": list(rows["overall"])}, dtype="str")


def front_table(result: Decision, names: Naming) -> pd.DataFrame:
    """Return one row per prototype: whether another beats it on everything at once."""
    rows = result.front
    said = {1.0: "no", 0.0: "yes"}
    return pd.DataFrame(
        {
            "Prototype": [names.prototype(str(name)) for name in rows["prototype"]],
            "Beaten on everything": [said.get(value, "not known") for value in rows["on_front"]],
            "By": [name or NOTHING for name in rows["beaten_by"]],
            "Not beaten, share of the draws": [format_share(value) for value in rows["share"]],
        },
        dtype="str",
    )


def weights_table(result: Decision, names: Naming) -> pd.DataFrame:
    """Return one row per attribute with a window: window, weight, and who comes first when the weight changes."""
    first = result.weights.changes.set_index(["attribute", "change"])["prototype"]
    wanted = result.profile.wanted
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in wanted["attribute"]],
            "Window": [
                window_text(low, high) for low, high in zip(wanted["target_low"], wanted["target_high"], strict=True)
            ],
            "Must have": ["yes" if must else "no" for must in wanted["must_have"]],
            "Weight": [f"{value:g}" for value in wanted["weight"]],
            "First when halved": [first.get((name, "halved"), "") or NOTHING for name in wanted["attribute"]],
            "First when doubled": [first.get((name, "doubled"), "") or NOTHING for name in wanted["attribute"]],
        },
        dtype="str",
    )


def weight_shares_table(result: Decision, names: Naming) -> pd.DataFrame:
    """Return one row per prototype: in which share of random weightings it comes first."""
    rows = result.weights.shares.sort_values("share", ascending=False, kind="stable")
    return pd.DataFrame(
        {
            "Prototype": [names.prototype(str(name)) for name in rows["prototype"]],
            "First under random weights": [format_share(value) for value in rows["share"]],
        },
        dtype="str",
    )


def decisions_table(decisions: pd.DataFrame) -> pd.DataFrame:
    """Return the decisions recorded so far, the last one first."""
    rows = decisions.iloc[::-1]
    return pd.DataFrame(
        {
            "Number": list(rows["decision"]),
            "Chosen": list(rows["chosen"]),
            "Runner-up": [name or NOTHING for name in rows["runner_up"]],
            "Reason": list(rows["reason"]),
            "Not established": list(rows["not_established"]),
            "Who": [f"{who}, {role}" if role else who for who, role in zip(rows["who"], rows["role"], strict=True)],
            "Date": list(rows["date"]),
            "Study since": ["unchanged" if same else "changed" for same in rows["same_data"]],
        },
        dtype="str",
    )


def _gate_cell(row: Mapping[Any, Any], factor: float, digits: int, unit: str) -> str:
    low, high = float(row["value_low"]) * factor, float(row["value_high"]) * factor
    value = "" if math.isnan(low) else format_number(low, digits)
    if value and high - low > 0.5 * 10.0**-digits:
        value = f"{value} to {format_number(high, digits)}"
    reason = "" if row["result"] == PASSES else str(row["reason"])
    about = "; ".join(part for part in (f"{value}{unit}" if value else "", reason) if part)
    return f"{row['result']} ({about})" if about else str(row["result"])


def _met(value: float) -> str:
    return "not known" if math.isnan(value) else "yes" if value else "no"


def _interval(result: Decision) -> str:
    return f"{100 * result.level:g} % interval"


def _intervals(rows: pd.DataFrame, low: str, high: str, digits: int) -> list[str]:
    return [format_interval(first, last, digits) for first, last in zip(rows[low], rows[high], strict=True)]


# What the gates of a decision are called on a screen.


_NAMES = MappingProxyType(
    {
        PH: "pH",
        VISCOSITY: "viscosity (mPa s)",
        SOLID: "solid share of the emollients",
        VOLATILE: "volatile share of the emollients",
        COST: "cost of the emollients in 100 units of formula",
        STABILITY: "stability",
    }
)
_DIGITS = MappingProxyType({PH: 2, VISCOSITY: 0, SOLID: 0, VOLATILE: 0, COST: 2})


def gate_name(gate: str) -> str:
    """Return what a gate is called."""
    if gate.startswith(f"{FREE_OF} "):
        return f"free of {gate.removeprefix(f'{FREE_OF} ')}"
    return _NAMES.get(gate, gate)


def gate_unit(gate: str) -> tuple[float, int, str]:
    """Return the factor, the decimals and the sign behind a value of a gate."""
    return (100.0, 0, " %") if gate in SHARES else (1.0, _DIGITS.get(gate, 2), "")
