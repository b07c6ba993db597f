"""What the evidence says about the choice of a prototype: the answer, the targets with their chances, all else."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Any

import pandas as pd

from panel.models.decision.contenders import IN, OPEN, OPPOSED, OUT, Decision
from panel.models.decision.wanted import COST, FAILS, FREE_OF, PASSES, PH, SHARES, SOLID, STABILITY, VISCOSITY, VOLATILE
from panel.models.prototypes.verdict import CANNOT_TELL
from panel.stats.comparing.multiplicity import LEVEL
from panel.study import shown
from panel.study.naming import Naming
from panel.views.decision.decision_pictures import chances_picture
from panel.views.told import Told, drawer
from panel.words import (
    NOTHING,
    all_of,
    capital,
    chance_words,
    counted,
    format_change,
    format_interval,
    format_list,
    format_number,
    format_share,
    format_window,
    with_interval,
)

_MOST_MISSED = 2


def tell_decision(result: Decision, names: Naming) -> Told:
    """Return what is told of the choice of a prototype."""
    leader = _leader(result)
    return Told(
        result,
        names,
        decision_headline(result, names),
        chances_picture(result, names),
        mind=tuple(_mind(result, names)) if leader else (),
        table=_RANKING,
        drawers=(
            drawer("How near each prototype is", *_nearest(result, names), _RANKING),
            drawer(
                "Who is out, and what is open", *_out(result, names), *([_GATES] if len(result.gates) else [_NO_GATES])
            ),
            drawer("Who can be told apart", *_apart(result), _PAIRS),
            drawer("Every window", _WINDOWS),
            *([drawer(f"Windows as differences from {result.benchmark}", _VERSUS_WINDOWS)] if result.benchmark else []),
            drawer("For whom", *_people(result)),
            drawer("Other weights", _weights(result, names), _WEIGHTS),
        ),
        cannot=_CANNOT,
    )


_NO_GATES = "The study states no gates. Write them into its facts (gates): pH, viscosity, shares, contents."
_CANNOT = (
    "It does not decide. People do, and write down why; the tool keeps the record.",
    "A chance holds for this panel, these batches, this dose and this base. Windows set after a look at the scores "
    "make it too high.",
    "Desirability weighs what was wanted beforehand. Other weights are other wishes, not better statistics.",
    "Gates repeat what was recorded. Whether a product is stable or safe is judged by the qualified person; this is "
    "not a safety assessment.",
)


def _leader(result: Decision) -> str:
    """Return the first of those in the running, else the nearest of all; empty where none can be ranked."""
    ranked = result.ranking.dropna(subset=["desirability"])
    return result.contenders[0] if result.contenders else "" if ranked.empty else str(ranked.iloc[0]["prototype"])


def _row(result: Decision, prototype: str) -> pd.Series:
    return result.ranking.loc[result.ranking["prototype"] == prototype].iloc[0]


def decision_headline(result: Decision, names: Naming) -> str:
    """Return the answer in one sentence: who is nearest, who is not separated from it, and what it misses."""
    leader, total = _leader(result), len(result.profile.wanted)
    if not leader:
        return "No prototype was scored on every attribute with a window, so none can be ranked."
    if result.choice is not None:
        gates = "passes all gates, " if len(result.gates) else ""  # a study may state none
        ahead = f"is ahead of every other prototype {result.drawn.holds}".rstrip()
        return f"{result.choice} {gates}meets {all_of(total, 'window')} and {ahead}."
    first = float(_row(result, leader)["chance_first"])
    chance = "" if math.isnan(first) else f" (chance {chance_words(first)})"
    nearest = f"{leader} is nearest to the target {result.drawn.holds}".rstrip() + chance
    alike, missed = _not_separated(leader, result), _missed(leader, result, names)
    more = [*alike, *missed] or [_shortfall(leader, result)]
    if _row(result, leader)["desirability"] == 0:
        nearest, alike, missed, more = "None comes near: each lies beyond the tolerance of some window", [], [], []
    if result.nobody_meets:
        must = format_list([names.attribute(name) for name in result.nobody_meets])
        return f"No prototype meets the target for {must}, which must be met. " + _joined(nearest, alike or missed)
    if not result.contenders:
        return f"No prototype is left: each fails a gate or clearly misses a window that must be met. {nearest}."
    return _joined(nearest, more)


def _joined(first: str, more: list[str]) -> str:
    return f"{first}, but {'; '.join(more)}." if more else f"{first}."


def _not_separated(leader: str, result: Decision) -> list[str]:
    able = set(result.ranking.loc[result.ranking["standing"] == IN, "prototype"])
    others = [name for name in result.contenders if name != leader and name in able]
    panel, people = (
        [name for name in _alike(leader, result, column) if name in others] for column in ("panel", "consumers")
    )
    told = [f"consumers do not separate it from {format_list(people)}"] if people else []
    told += [f"the panel's windows do not separate it from {format_list(panel)}"] if panel else []
    if people == panel and people:
        told = [f"neither consumers nor panel separate it from {format_list(people)}"]
    unrated = set(result.ranking.loc[result.ranking["liking"].isna(), "prototype"]) if result.has_liking else set()
    untried = [leader] if leader in unrated else [name for name in others if name in unrated]
    more = [f"consumers did not try {format_list(untried)}"] if untried else []
    return [f"over all pairs {told[0]}", *told[1:], *more] if told else more


def _missed(leader: str, result: Decision, names: Naming) -> list[str]:
    own = result.windows.loc[(result.windows["prototype"] == leader) & (result.windows["read_met"] == 0)]
    own = own.sort_values("must_have", ascending=False, kind="stable")
    if own.empty:
        return []
    told = [_miss(row, result, names) for row in own.to_dict("records")[:_MOST_MISSED]]
    more = len(own) - len(told)
    return [f"it misses {format_list([*told, *([f'{more} more'] if more else [])])}"]


def _miss(row: Mapping[Any, Any], result: Decision, names: Naming) -> str:
    attribute, low, high = str(row["attribute"]), row["target_low"], row["target_high"]
    seen = names.number(attribute, row["estimate"])
    if result.by_benchmark:
        low, high = row["versus_low"], row["versus_high"]
        seen = f"{names.change(attribute, row['difference'])} from {result.benchmark}"
    wanted = names.window(attribute, low, high, typed=not result.by_benchmark)
    return f"{names.attribute(attribute)} ({seen}, wanted {wanted})"


def _mind(result: Decision, names: Naming) -> Iterator[str]:
    """Yield on which scale windows lie, how sure all of them at once are, and who is out or open."""
    leader = _leader(result)
    row, total = _row(result, leader), len(result.profile.wanted)
    own = result.windows.loc[result.windows["prototype"] == leader]
    met = int((own["read_met"] == 1).sum())
    both = [_chance_text(row, name, "such came true in ") for name in ("chance_all", "chance_all_versus")]
    here, there = both[::-1] if result.by_benchmark else both
    on = f"as differences from {result.benchmark}" if result.by_benchmark else "on this panel's scale"
    at_once = "all at once with" if total > 1 else "with"
    if untold := _untold_from_benchmark(leader, result):
        yield f"{capital(untold)}: what {leader} meets, read as differences from {result.benchmark}, cannot be told."
    if not (untold and result.by_benchmark):
        yield f"{leader} meets {met} of {counted(total, 'window')}, read {on}; {at_once} a chance of {here}."
    if result.benchmark is not None and leader != result.benchmark and not untold:
        other = int((own["met_versus" if not result.by_benchmark else "met"] == 1).sum())
        way = "on this panel's scale" if result.by_benchmark else f"as differences from {result.benchmark}"
        yield f"Read {way} it meets {other}; {at_once} a chance of {there}."
    out, open_ = (list(result.ranking.loc[result.ranking["standing"] == name, "prototype"]) for name in (OUT, OPEN))
    parts = [f"out: {format_list(out)}"] if out else []
    parts += [f"not known yet: {format_list(open_)}"] if open_ else []
    if parts:
        yield capital(f"{'; '.join(parts)}.")


def _untold_from_benchmark(prototype: str, result: Decision) -> str:
    """Return why a prototype cannot be held against the benchmark; empty where it can."""
    pairs = result.pairs.loc[result.pairs["because"] != ""]
    both = (pairs[["prototype", "versus"]].isin([prototype, result.benchmark])).all(axis=1)
    return next(iter(pairs.loc[both, "because"]), "")


def _chance_text(row: Mapping[Any, Any] | pd.Series, name: str, came: str = "") -> str:
    """Return a chance, and how often such a one came true where that says something."""
    chance, true = float(row[name]), float(row[f"{name}_true"])
    told = chance_words(chance)
    return f"{told} ({came}{format_share(true)})" if true == true and told == format_share(chance) else told


def _nearest(result: Decision, names: Naming) -> Iterator[str]:
    leader = _leader(result)
    if not leader:
        return
    row = _row(result, leader)
    first = chance_words(row["chance_first"])
    highest = f"; highest in {first} of the draws of what the true means may be" if first != NOTHING else ""
    ends = format_interval(row["ci_low"], row["ci_high"], 2)
    yield f"{leader}: desirability {format_number(row['desirability'], 2)} ({ends}){highest}."
    own = result.windows.loc[(result.windows["prototype"] == leader) & (result.windows["read_met"] == 1)]
    for one in own.sort_values("read_chance").head(1).to_dict("records"):
        least, chance = names.attribute(str(one["attribute"])), chance_words(one["read_chance"])
        yield f"Least sure of the windows it meets: {least}, chance {chance}."


def _out(result: Decision, names: Naming) -> Iterator[str]:
    """Yield who is out and why, those with the same reason together, and who is open."""
    reasons: dict[str, list[str]] = {}
    for name in result.ranking.loc[result.ranking["standing"] == OUT, "prototype"]:
        reasons.setdefault(_why_out(str(name), result, names), []).append(str(name))
    for why, out in reasons.items():
        yield f"Out: {format_list(out)}{', because it' if len(out) == 1 else '; each'} {why}."
    for name in result.ranking.loc[result.ranking["standing"] == OPEN, "prototype"]:
        untold = f"what it meets beside {result.benchmark}" if _untold_from_benchmark(str(name), result) else ""
        unknown = _gates(str(name), result, CANNOT_TELL) or [untold or "a window that was not scored"]
        yield f"Open: {name}, because {format_list(unknown)} cannot be told yet."
    yield (
        "A must-have puts a prototype out only where it is clearly missed, on this panel's scale and, with a "
        "benchmark, as a difference from it as well."
    )


def _why_out(prototype: str, result: Decision, names: Naming) -> str:
    failed = _gates(prototype, result, FAILS)
    reasons = [f"fails {format_list(failed)}"] if failed else []
    rows = result.windows.loc[(result.windows["prototype"] == prototype) & result.windows["clearly_missed"]]
    if clear := [names.attribute(str(name)) for name in rows["attribute"]]:
        reasons.append(f"clearly misses a window that must be met ({format_list(clear)})")
    return format_list(reasons)


def _gates(prototype: str, result: Decision, wanted: str) -> list[str]:
    own = result.gates.loc[(result.gates["prototype"] == prototype) & (result.gates["result"] == wanted), "gate"]
    return [_gate_name(str(gate)) for gate in own]


def _shortfall(prototype: str, result: Decision) -> str:
    row = _row(result, prototype)
    if row["gates_open"]:
        return f"{format_list(_gates(prototype, result, CANNOT_TELL))} cannot be told yet"
    lost = result.pairs.loc[(result.pairs[["prototype", "versus"]] == prototype).any(axis=1), "because"]
    if because := next(filter(None, lost), ""):
        return because
    chance = chance_words(float(row["chance_all_versus" if result.by_benchmark else "chance_all"]))
    under = "under " if chance == chance_words(LEVEL) else ""  # rounded it would be what is asked for
    return f"that it truly meets all windows at once has a chance of {under}{chance}"


def _alike(prototype: str, result: Decision, column: str) -> list[str]:
    """Return the prototypes that are not out and that a column of verdicts does not separate from this one."""
    able = set(result.ranking.loc[result.ranking["standing"] != OUT, "prototype"])
    pairs = result.pairs.loc[result.pairs[column] == CANNOT_TELL, ["prototype", "versus"]]
    own = pairs.loc[(pairs == prototype).any(axis=1)].to_numpy().tolist()
    return [other for pair in own for other in map(str, pair) if other != prototype and other in able]


def _apart(result: Decision) -> Iterator[str]:
    """Yield the pairs that panel and consumers put the other way round, and the best liked."""
    for row in result.pairs.loc[result.pairs["overall"] == OPPOSED].to_dict("records"):
        yield (
            f"Panel and consumers disagree on {row['prototype']} and {row['versus']}: one is nearer to the windows, "
            f"the other is liked better. Then the target profile does not describe what these consumers want."
        )
    liked = result.ranking.dropna(subset=["liking"])
    if result.has_liking and len(liked):
        top = liked.sort_values("liking", ascending=False, kind="stable").iloc[0]
        alike = _alike(str(top["prototype"]), result, "consumers")
        told = f"not told apart from {format_list(alike)}" if alike else "told apart from every other they tried"
        yield (
            f"Best liked by {result.n_consumers} consumers: {top['prototype']}, mean "
            f"{format_number(top['liking'], 1)}; {told}."
        )


def _people(result: Decision) -> Iterator[str]:
    """Yield who divides the consumers with the first in the running; without such pairs whom each group likes best."""
    best = result.contenders[0] if result.contenders else ""
    for (first, second), own in result.divided.groupby(["prototype", "versus"], sort=False):
        if best not in (first, second):
            continue
        groups = [
            f"group {row['segment']} ({row['n']} consumers) {row['leaning']} {first if row['estimate'] > 0 else second}"
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


def _weights(result: Decision, names: Naming) -> str:
    best = _leader(result)
    first = result.weight_changes["prototype"]
    other = result.weight_changes.loc[~first.isin([best, ""])]
    if (first == "").all():
        return "No weight puts a prototype first: each lies beyond the tolerance of some window."
    if other.empty:
        return f"Halving or doubling any one weight leaves {best} first."
    rows = other.to_dict("records")
    changes = [f"{names.attribute(str(row['attribute']))} {row['change']}: {row['prototype']}" for row in rows]
    return f"Another one than {best} comes first with {format_list(changes)}."


def _chance(heading: str, name: str) -> shown.Column:
    """Describe a column of chances, with how often such a chance came true."""
    return shown.each_row(heading, lambda row, _: _chance_text(row, name), name, f"{name}_true", figure=True)


def _with_interval(
    heading: str, name: str, low: str, high: str, digits: int = shown.SCALE, *, changes: bool = False
) -> shown.Column:
    def cell(row: Mapping[str, Any], about: shown.Shown) -> str:
        own, write = about.digits(digits, row.get("attribute")), format_change if changes else format_number
        return with_interval(row[name], row[low], row[high], own, write)

    return shown.each_row(heading, cell, name, low, high, figure=True)


def _plain_chance(heading: str, name: str) -> shown.Column:
    return shown.each_row(heading, lambda row, _: chance_words(row[name]), name, figure=True)


def _window(heading: str, low: str, high: str, *, typed: bool = True) -> shown.Column:
    def write(row: Mapping[str, Any], about: shown.Shown) -> str:
        return format_window(row[low], row[high], None if typed else about.digits(shown.SCALE, row["attribute"]))

    return shown.each_row(heading, write, low, high)


def _ranking_columns(result: Decision) -> tuple[shown.Column, ...]:
    versus = [_chance(f"From {result.benchmark} (came true)", "chance_all_versus")] if result.benchmark else []
    liking = [_with_interval("Liking", "liking", "liking_low", "liking_high", 2)] if result.has_liking else []
    return (
        shown.PROTOTYPE_IN_WORDS,
        shown.text("Standing", "standing", {IN: "in the running", OPEN: "open", OUT: "out"}),
        _with_interval("Desirability (0 to 1)", "desirability", "ci_low", "ci_high", 2),
        _plain_chance("First of all", "chance_first"),
        shown.count("Windows missed", "unmet"),
        _chance("All windows (came true)", "chance_all"),
        *versus,
        *liking,
    )


def _scores_behind(result: Decision) -> tuple[shown.Source, ...]:
    attributes = tuple(dict.fromkeys(result.windows["attribute"]))
    return (shown.Source("scores", only={"attribute": attributes}, direct=("prototype",)),)


_RANKING = shown.Table(
    name="ranking",
    title="Prototypes by desirability, and chances; in brackets how often such a chance came true",
    rows="ranking",
    columns=_ranking_columns,
    key=("prototype",),
    code="DE",
    sources=_scores_behind,
)
_WINDOWS = shown.Table(
    name="windows",
    title="Every window and prototype; in brackets beside a chance how often such a chance came true",
    rows="windows",
    columns=(
        shown.PROTOTYPE,
        shown.ATTRIBUTE,
        _with_interval("Mean{scale}", "estimate", "ci_low", "ci_high"),
        _with_interval("Shrunken", "shrunken", "shrunken_low", "shrunken_high"),
        _window("Window", "target_low", "target_high"),
        shown.yes_no("Met", "met"),
        _chance("Chance", "chance"),
        shown.yes_no("Must have", "must_have"),
    ),
    key=("attribute", "prototype"),
    code="DW",
    sources=(shown.Source("scores", same={"attribute": "attribute"}, direct=("prototype", "versus")),),
)
_VERSUS_WINDOWS = shown.Table(
    name="windows_versus",
    title="Every window as a difference from {benchmark}; the chance that the sign seen is the wrong one",
    rows=lambda result: result.windows.loc[result.windows["prototype"] != result.benchmark],
    columns=(
        shown.PROTOTYPE,
        shown.ATTRIBUTE,
        _with_interval("Difference", "difference", "difference_low", "difference_high", changes=True),
        shown.each_row(
            "Difference, shrunken",
            lambda row, about: format_change(row["difference_shrunken"], about.digits(shown.SCALE, row["attribute"])),
            "difference_shrunken",
            figure=True,
        ),
        _plain_chance("Sign wrong", "wrong_sign"),
        _window("Window of the difference", "versus_low", "versus_high", typed=False),
        shown.yes_no("Met", "met_versus"),
        _chance("Chance, as a difference", "chance_versus"),
    ),
    key=("attribute", "prototype"),
)


def _pair_columns(result: Decision) -> tuple[shown.Column, ...]:
    people = (
        _with_interval("Difference in liking", "liking", "liking_low", "liking_high", 2, changes=True),
        shown.text("Consumers", "consumers"),
    )
    return (
        shown.PROTOTYPE,
        shown.VERSUS,
        _with_interval("Difference in desirability", "estimate", "ci_low", "ci_high", 2, changes=True),
        _plain_chance("Chance to rank above", "chance_above"),
        shown.text("Panel", "panel"),
        *(people if result.has_liking else ()),
        shown.text("Overall", "overall"),
    )


_PAIRS = shown.Table(
    name="pairs",
    title="What separates two prototypes overall; intervals hold for all pairs at once",
    rows="pairs",
    columns=_pair_columns,
    key=("prototype", "versus"),
    code="DP",
    sources=lambda result: tuple(
        shown.Source(each.table, only=each.only, direct=("prototype", "versus")) for each in _scores_behind(result)
    ),
    printed=False,
)


def _gate_rows(result: Decision) -> pd.DataFrame:
    order = {name: place for place, name in enumerate(result.ranking["prototype"])}
    gates = list(dict.fromkeys(result.gates["gate"]))
    places = result.gates.assign(row=result.gates["gate"].map(gates.index), place=result.gates["prototype"].map(order))
    return places.sort_values(["row", "place"], kind="stable", ignore_index=True).drop(columns=["row", "place"])


def _gate_heading(row: Mapping[str, Any], _: shown.Shown) -> str:
    factor, digits, unit = _gate_unit(str(row["gate"]))
    limits = format_window(row["low"] * factor, row["high"] * factor, digits, unit)
    return _gate_name(str(row["gate"])) + (f": {limits}" if limits != NOTHING else "")


def _gate_cell(row: Mapping[str, Any], _: shown.Shown) -> str:
    factor, digits, unit = _gate_unit(str(row["gate"]))
    low, high = float(row["value_low"]) * factor, float(row["value_high"]) * factor
    value = "" if math.isnan(low) else format_number(low, digits)
    if value and high - low > 0.5 * 10.0**-digits:
        value = f"{value} to {format_number(high, digits)}"
    reason = "" if row["result"] == PASSES else str(row["reason"])
    about = "; ".join(part for part in (f"{value}{unit}" if value else "", reason) if part)
    return f"{row['result']} ({about})" if about else str(row["result"])


_GATES = shown.Table(
    name="gates",
    title="Gates: limits that a prototype has to keep; what is not known never passes",
    rows=_gate_rows,
    columns=(shown.each_row("Gate", _gate_heading, "gate", "low", "high"),),
    key=("gate", "prototype"),
    across=shown.Across("prototype", shown.each_row("", _gate_cell, "result")),
    code="DG",
    sources=(
        shown.Source("batches", same={"prototype": "prototype"}),
        shown.Source("formulas", same={"prototype": "prototype"}),
    ),
    none="The study states no gates, such as limits of pH, viscosity or cost.",
)


def _weight_rows(result: Decision) -> pd.DataFrame:
    first = result.weight_changes.set_index(["attribute", "change"])["prototype"]
    wanted = result.profile.wanted
    changed = {
        change: [first.get((name, change), "") for name in wanted["attribute"]] for change in ("halved", "doubled")
    }
    return wanted.assign(**changed)


_WEIGHTS = shown.Table(
    name="weights",
    title="Who comes first when one weight changes",
    rows=_weight_rows,
    columns=(
        shown.ATTRIBUTE,
        _window("Window", "target_low", "target_high"),
        shown.yes_no("Must have", "must_have"),
        shown.typed("Weight", "weight"),
        shown.text("First when halved", "halved"),
        shown.text("First when doubled", "doubled"),
    ),
)
DECISIONS = shown.Table(
    name="decisions",
    title="Decisions recorded, the last one first",
    rows=lambda decisions: decisions.iloc[::-1].reset_index(drop=True),
    columns=(
        shown.text("Number", "decision"),
        shown.text("Chosen", "chosen"),
        shown.text("Runner-up", "runner_up"),
        shown.text("Reason", "reason"),
        shown.text("Not established", "not_established"),
        shown.each_row("Who", lambda row, _: f"{row['who']}, {row['role']}".rstrip(", "), "who", "role"),
        shown.text("Date", "date"),
        shown.yes_no("Study since", "same_data", yes="unchanged", no="changed"),
    ),
)


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
NUMBERS = (_RANKING, _WINDOWS, _GATES, _PAIRS)


def _gate_name(gate: str) -> str:
    free_of = gate.removeprefix(f"{FREE_OF} ")
    return _NAMES.get(gate, gate) if free_of == gate else f"free of {free_of}"


def _gate_unit(gate: str) -> tuple[float, int, str]:
    """Return the factor, the decimals and the sign behind a value of a gate."""
    return (100.0, 0, " %") if gate in SHARES else (1.0, _DIGITS.get(gate, 2), "")
