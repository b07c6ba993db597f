"""Editing the facts of a study, each in a field of its own kind; none is shown as it stands in the file."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping
from contextlib import suppress
from datetime import date
from types import MappingProxyType
from typing import Any

import pandas as pd
import streamlit as st

from panel.app.state import StudyInUse
from panel.app.widgets import attempt, plain
from panel.checks.moments_recorded import days_stated
from panel.errors import StudyError
from panel.models.decision.wanted import FREE_OF, GATES, LIMITED, SHARES, STABILITY, STABILITY_OUTCOMES
from panel.plan.codes import moment
from panel.plan.protocol import ANALYST, CLAIM_REVIEWER, PANEL_LEADER
from panel.study.editing import typed_fact, with_benchmark, with_facts
from panel.study.facts import FOR_REVIEW, dates_in, facts_with_unread
from panel.study.numbers_read import typed_number
from panel.study.study import Study
from panel.study.table_cells import number_text

_Save = Callable[[Callable[[Study], Study], str], None]

_TEXTS = MappingProxyType(
    {
        "title": ("What the study is called", ""),
        "purpose": ("What it is to find out, and what the product should feel like", ""),
        "product": ("Product", "such as: hand cream for staff who handle paper"),
        "area": ("Where on the skin", "such as: circle of 5 cm on the inner forearm"),
        "dose": ("How much of each sample", "such as: 50 mg from a syringe"),
        "strokes": ("How it is rubbed in", ""),
        "moment": ("What minutes count from, where that is not rubbing in", "such as: after rinsing, after drying"),
        "room": ("Room", "such as: 21 \u00b0C, 50 % relative humidity"),
        "panel": ("Who takes part", ""),
        "notes": ("Notes, one a line", ""),
    }
)
_NUMBERS = MappingProxyType(
    {
        "margin": "Smallest difference that matters, in scale units",
        "liking_margin": "Smallest difference in liking that matters",
        "scale_min": "Lowest possible score",
        "scale_max": "Highest possible score",
    }
)
_LONG = ("purpose", "notes")
_GATE_WORDS = MappingProxyType(
    {
        "ph": "pH",
        "viscosity_mpa_s": "Viscosity (mPa s)",
        "solid_share": "Solid emollients (% of the emollients)",
        "volatile_share": "Volatile emollients (% of the emollients)",
        "cost": "Cost",
    }
)


def edit_facts(study: StudyInUse, save: _Save) -> None:
    """Let the user state what concerns the whole study; `save` takes the change and what was done."""
    with st.expander("Days of the test", expanded=not days_stated(study.study)):
        _days(study.study, study.key, save)
    _about(study.study, study.key, save)
    with st.expander("For the reviewer of the evidence file"):
        _for_the_reviewer(study.study, study.key, save)
    with st.expander("What a prototype must pass"):
        _gates(study.study, study.key, save)


def _stated_text(study: Study, name: str) -> str:
    """Return a fact as somebody would type it; empty where it is not stated or has its own form."""
    value = facts_with_unread(study).get(name)
    if isinstance(value, bool) or value is None:
        return ""
    if isinstance(value, int | float):
        return number_text(float(value))
    if isinstance(value, list) and all(isinstance(line, str) for line in value):
        return "\n".join(value)
    return value if isinstance(value, str) else ""


def _about(study: Study, key: str, save: _Save) -> None:
    with st.form(f"facts {key}"):
        typed = {}
        for name, (label, hint) in _TEXTS.items():
            if isinstance(study.facts.get(name), Mapping):
                continue  # names with texts stay as they are
            field = st.text_area if name in _LONG else st.text_input
            typed[name] = field(label, _stated_text(study, name), placeholder=hint, key=f"fact {name}") or ""
        benchmark = _benchmark_field(study)
        for name, label in _NUMBERS.items():
            hint = "7.5 and 7,5 are both read. Empty: not stated."
            typed[name] = st.text_input(label, _stated_text(study, name), help=hint, key=f"fact {name}") or ""
        if st.form_submit_button("Save", type="primary"):
            _save_about(study, typed, benchmark, save)


def _benchmark_field(study: Study) -> str:
    now, label = study.benchmark or "", "The prototype that the others are compared with"
    options = list(dict.fromkeys(["", *study.prototypes, now]))
    at, none = options.index(now), {"": "none"}
    return st.selectbox(label, options, at, format_func=lambda name: none.get(name, name), key="fact benchmark") or ""


def _facts_changed(study: Study, typed: Mapping[str, str]) -> dict[str, Any]:
    low, high = (typed_number(typed[name], name) for name in ("scale_min", "scale_max"))
    if low is not None and high is not None and low >= high:
        raise StudyError("The lowest possible score must lie below the highest.")
    return {name: typed_fact(name, text) for name, text in typed.items() if text != _stated_text(study, name)}


def _save_about(study: Study, typed: Mapping[str, str], benchmark: str, save: _Save) -> None:
    values = attempt(_facts_changed, study, typed)
    if values is None:
        return
    other = benchmark != (study.benchmark or "")
    if not values and not other:
        st.info("Nothing was changed.")
        return

    def change(now: Study) -> Study:
        stated = with_facts(now, values)
        return with_benchmark(stated, benchmark) if other else stated

    save(change, f"Facts stated: {', '.join([*values, *(['benchmark'] if other else [])])}.")


# When each session was held, as it is typed; a claim that was stamped earlier stands only with that.


def _days(study: Study, key: str, save: _Save) -> None:
    stated = days_stated(study)
    held = [name for table in ("scores", "answers") for name in study.table(table)["session"].unique()]
    labels = list(dict.fromkeys([*(held or study.table("servings")["session"].unique()), *stated])) or [""]
    with st.form(f"days {key}"):
        typed = {}
        for label in labels:
            told = (
                f"Session {plain(label)}" if label else "Where no session is named" if len(labels) > 1 else "The test"
            )
            days = "; ".join(stated.get(label, ()))
            typed[label] = st.text_input(told, days, placeholder="2026-03-10; 2026-03-11", key=f"day {label}") or ""
        if st.form_submit_button("Save the days", type="primary"):
            days_typed = attempt(_days_of, typed, held)
            if days_typed is not None:
                save(lambda now: with_facts(now, {"dates": days_typed or None}), "The days of the test were stated.")


def _days_of(typed: Mapping[str, str], held: Collection[str] = ()) -> dict[str, list[str]]:
    """Return label of a session to its days; StudyError if one cannot be read, or in two ways.

    Nor may a session that is `held` already, with scores or answers, lie in the future: a claim that is stamped today
    would count as stamped before it.
    """
    split = {label: [part.strip() for part in text.split(";") if part.strip()] for label, text in typed.items()}
    days = {label: [_day(part) for part in parts] for label, parts in split.items() if parts}
    today = date.today().isoformat()
    if late := [day for label, own in days.items() if label in held for day in own if day[: len(today)] > today]:
        raise StudyError(f"{late[0]} lies in the future, and what was scored or answered then is in the study already.")
    return days


def _day(text: str) -> str:
    with suppress(StudyError):
        moment(text, "The day")
        return text
    ways = {day for days in dates_in(text).values() for day in days}
    if len(ways) == 1:
        return ways.pop()
    raise StudyError(f"Which day {text!r} is cannot be told. Write it as 2026-03-10.")


# What only the evidence file repeats: how the test was done, who the consumers were, who has which role.


_OF_REVIEW = MappingProxyType(
    {
        **{name: label for name, (label, _) in FOR_REVIEW.items() if name not in ("panel", "users")},
        "statistics_plan_dated": "Day of the plan of the statistics",
        "recheck_after_years": "Years until the evidence is to be looked at again",
    }
)
_OF_CONSUMERS = MappingProxyType({"who": "Who the consumers were", "ages": "Ages of the consumers"})
_ROLES = (PANEL_LEADER, ANALYST, CLAIM_REVIEWER)


def _for_the_reviewer(study: Study, key: str, save: _Save) -> None:
    users, listed = study.facts.get("users"), study.facts.get("people")
    now = users if isinstance(users, Mapping) else {}
    team = [entry for entry in listed if isinstance(entry, Mapping)] if isinstance(listed, list) else []
    with st.form(f"for the reviewer {key}"):
        own = {name: label for name, label in _OF_REVIEW.items() if not isinstance(study.facts.get(name), Mapping)}
        before = {name: _stated_text(study, name) for name in own}
        typed = {name: st.text_input(label, before[name], key=f"fact {name}") or "" for name, label in own.items()}
        people = {
            name: st.text_input(label, str(now.get(name) or ""), key=f"users {name}") or ""
            for name, label in _OF_CONSUMERS.items()
        }
        roles = {
            role: st.text_input(f"Code of the {role}", _who_is(role, team), key=f"role {role}") or "" for role in _ROLES
        }
        if st.form_submit_button("Save", type="primary"):
            values = {name: typed_fact(name, text) for name, text in typed.items() if text != before[name]}
            told = {**now, **{name: text.strip() for name, text in people.items()}}
            values |= {"users": {name: text for name, text in told.items() if text} or None}
            values |= {"people": _with_roles(team, roles) or None}
            save(lambda now: with_facts(now, values), "What the reviewer asks for was stated.")


def _who_is(role: str, team: list[Mapping[str, Any]]) -> str:
    return next((str(entry.get("person") or "") for entry in team if role in (entry.get("roles") or ())), "")


def _with_roles(team: list[Mapping[str, Any]], roles: Mapping[str, str]) -> list[dict[str, Any]]:
    """Return who works on a study, these roles given to those who were named; whatever else is known of them stays."""
    kept = [{**entry, "roles": [role for role in entry.get("roles") or () if role not in roles]} for entry in team]
    for person in dict.fromkeys(filter(None, map(str.strip, roles.values()))):
        known = next((entry for entry in kept if entry.get("person") == person), None)
        if known is None:
            kept.append(known := {"person": person, "roles": []})
        known["roles"] += [role for role, who in roles.items() if who.strip() == person]
    return [entry for entry in kept if entry["roles"] or set(entry) > {"person", "roles"}]


# Gates: lowest and highest value of each, what must not be in it, how stable it is.


def _gates(study: Study, key: str, save: _Save) -> None:
    stated = study.facts.get(GATES)
    now: Mapping[str, Any] = stated if isinstance(stated, Mapping) else {}
    with st.form(f"gates {key}"):
        ends: dict[str, tuple[str, str]] = {}
        for name in LIMITED:
            low, high = st.columns(2)
            words, limits = _GATE_WORDS[name], _limit_texts(now.get(name), name)
            ends[name] = (
                low.text_input(f"{words}: from", limits[0], key=f"gate {name} from") or "",
                high.text_input(f"{words}: to", limits[1], key=f"gate {name} to") or "",
            )
        free = now.get(FREE_OF)
        listed = "; ".join(map(str, free)) if isinstance(free, list) else ""
        free_of = st.text_input("Free of (INCI or allergen, separated by ;)", listed, key="gate free of") or ""
        stable = st.checkbox("A stability record is needed", bool(now.get(STABILITY)), key="gate stability")
        texts = _stability_grid(study, key)
        if st.form_submit_button("Save the gates", type="primary"):
            further = {name: held for name, held in now.items() if name not in (*LIMITED, FREE_OF, STABILITY)}
            gates = attempt(_gates_of, ends, free_of, stable=stable)
            if gates is not None:
                values = {GATES: {**further, **gates} or None, STABILITY: _stability_of(texts) or None}
                save(lambda now: with_facts(now, values), "What a prototype must pass was stated.")


def _limit_texts(value: object, name: str) -> tuple[str, str]:
    """Return lowest and highest value of a gate as typed; shares in per cent."""
    ends = value if isinstance(value, list | tuple) and len(value) == 2 else (None, None)
    scale = 100 if name in SHARES else 1
    low, high = ("" if not isinstance(end, int | float) else number_text(round(float(end) * scale, 9)) for end in ends)
    return low, high


def _gates_of(ends: Mapping[str, tuple[str, str]], free_of: str, *, stable: bool) -> dict[str, Any]:
    """Return the fact about gates from what was typed; shares are typed in per cent. StudyError if ends are crossed."""
    gates: dict[str, Any] = {}
    for name, typed in ends.items():
        values = [typed_number(text, f"The gate {_GATE_WORDS[name]}") for text in typed]
        if any(value is not None for value in values):
            scale = 100 if name in SHARES else 1
            gates[name] = [None if value is None or math.isnan(value) else value / scale for value in values]
    crossed = [_GATE_WORDS[name] for name, (low, high) in gates.items() if None not in (low, high) and low > high]
    if crossed:
        raise StudyError(f"From lies above to: {', '.join(crossed)}. Exchange them.")
    words = [word.strip() for word in free_of.split(";") if word.strip()]
    return gates | ({FREE_OF: words} if words else {}) | ({STABILITY: True} if stable else {})


_STABILITY_COLUMNS = ("prototype", "outcome", "who", "date", "document")


def _stability_grid(study: Study, key: str) -> pd.DataFrame:
    stated = study.facts.get(STABILITY)
    held: Mapping[str, Any] = stated if isinstance(stated, Mapping) else {}
    names = list(dict.fromkeys([*study.prototypes, *held]))
    known = {name: entry if isinstance(entry := held.get(name), Mapping) else {} for name in names}
    rows = [[name, *(str(entry.get(one) or "") for one in _STABILITY_COLUMNS[1:])] for name, entry in known.items()]
    frame = pd.DataFrame(rows, columns=list(_STABILITY_COLUMNS), dtype="str")
    st.caption("Stability: what a named person stated, on which day, in which document.")
    columns = {
        "prototype": st.column_config.TextColumn("Prototype", disabled=True),
        "outcome": st.column_config.SelectboxColumn("Outcome", options=["", *STABILITY_OUTCOMES]),
        **{name: st.column_config.TextColumn(name.capitalize()) for name in _STABILITY_COLUMNS[2:]},
    }
    return st.data_editor(
        frame, hide_index=True, column_config=columns, key=f"stability {key}", alt="Stability"
    ).fillna("")


def _stability_of(texts: pd.DataFrame) -> dict[str, dict[str, str]]:
    """Return the fact about stability from its grid: a row without an outcome says nothing."""
    rows = texts.astype("str").to_dict("records")
    return {
        str(row["prototype"]): {name: str(row[name]) for name in _STABILITY_COLUMNS[1:] if row[name]}
        for row in rows
        if row["outcome"]
    }
