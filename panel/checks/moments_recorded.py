"""When was the study run? What people stated comes first, then the moments that its own scores and locks carry.

Were the claims left as they were stamped? The seal of each claim, and the chain that joins the stamps, say.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from panel.checks.finding import read_dates
from panel.errors import StudyError
from panel.plan.codes import first_changed_opening, first_opening, moment, moments_opened
from panel.study.facts import locked_sessions
from panel.study.study import Study, kept
from panel.words import format_list, when_words


def days_stated(study: Study) -> dict[str, tuple[str, ...]]:
    """Return what the fact `dates` says: label of a session, or of several, to its days; empty if it says nothing."""
    stated = study.facts.get("dates")
    entries = stated if isinstance(stated, Mapping) else {"": stated}
    listed = {str(label): value if isinstance(value, list | tuple) else [value] for label, value in entries.items()}
    told = {label: tuple(str(day) for day in days if day is not None) for label, days in listed.items()}
    return {label: days for label, days in told.items() if days}


def days_of_scores(study: Study) -> dict[str, tuple[str, ...]]:
    """Return session to the days on which its scores were recorded (ISO 8601, in order); no entry without a time."""
    scores = study.scores
    days = read_dates(scores["recorded_at"]).days
    known = ~np.isnat(days)
    frame = pd.DataFrame({"session": scores["session"].to_numpy()[known], "day": days[known].astype(str)})
    return {str(name): tuple(np.unique(part)) for name, part in frame.groupby("session", sort=False)["day"]}


@kept
def _first_moments(study: Study) -> tuple[str, ...]:
    """Return for each session the first moment of its scores: of a locked one as its record says, with its offset.

    The times of scores show the clock on the wall. What has an offset, such as a stamp or a seal, is held against the
    moment in the record, which has one too.
    """
    locked = locked_sessions(study)
    begun = {str(session): str(at) for session, at in zip(locked["session"], locked["begun_at"], strict=True) if at}
    scores = study.scores
    others = scores.loc[~scores["session"].isin(list(begun)) & (scores["recorded_at"] != "")]
    first = read_dates(others["recorded_at"]).values
    frame = pd.DataFrame({"session": others["session"].to_numpy(), "at": others["recorded_at"].to_numpy(), "m": first})
    frame = frame.sort_values("m", kind="stable").drop_duplicates("session")
    return (*begun.values(), *map(str, frame["at"]))


def first_score(study: Study) -> str:
    """Return the moment of the first score; empty if no score carries one that can be read."""
    return _earliest(_first_moments(study))


@kept
def judged_blind(study: Study) -> bool:
    """Return whether every sample had a code, no prototype's name, and the key stayed shut to the last score."""
    codes, prototypes = study.listed("servings", "code", "prototype")
    return bool(codes) and all(codes) and not {*codes} & {*prototypes} and not _scored_after_opening(study)


def _scored_after_opening(study: Study) -> bool:
    """Return whether scores came in on a later day than the key's first opening, or at a later time of that day."""
    sessions = {str(name) for name in study.scores["session"].unique()}
    days = [day for label, own in days_stated(study).items() for day in own if label and _of_sessions(label, sessions)]
    scored = read_dates(pd.Series(list(filter(None, study.scores["recorded_at"].unique())) or days, dtype="str"))
    opened = read_dates(pd.Series([first_opening(study)], dtype="str"))
    timed = scored.has_time & opened.has_time & (scored.has_offset == opened.has_offset)
    return bool(((scored.days > opened.days) | (timed & (scored.values > opened.values))).any())


def _earliest(moments: Iterable[str]) -> str:
    readable = [text for text in moments if not np.isnat(read_dates(pd.Series([text])).values[0])]
    return min(readable, key=lambda text: moment(text, "The time of a score"), default="")


@kept
def order_of_testing(study: Study) -> tuple[dict[str, int], dict[str, str]]:
    """Return which attributes are tested in which order, as fixed beforehand.

    Returns
    -------
    places
        Attribute to its place; what shares a place is tested together.
    late
        Attribute to why its place does not count, in words.
    """
    if np.isnan(study.listed("attributes", "test_order")[0]).all():
        return {}, {}
    listed = study.table("attributes")
    listed = listed.drop_duplicates("attribute")
    listed = listed.loc[listed["test_order"].notna() & (listed["attribute"] != "")]
    if listed.empty or study.scores.empty:
        return dict(zip(listed["attribute"], listed["test_order"].astype(int), strict=True)), {}
    first, places, late = _first_known(study), dict[str, int](), dict[str, str]()
    for name, place, at in zip(listed["attribute"], listed["test_order"], listed["test_order_at"], strict=True):
        why = _why_late(str(at), first)
        if why:
            late[str(name)] = why
        else:
            places[str(name)] = int(place)
    return places, late


def margins_stated(study: Study) -> bool:
    """Return whether the margins of the study count as stated beforehand: no scores were there when they were written.

    Those changed later count where the plan of the statistics is dated before the first score.
    """
    plan = str(study.facts.get("statistics_plan_dated", ""))
    return not study.facts.get("margin_changed_at") or not _why_late(plan, _first_known(study))


def _first_known(study: Study) -> str:
    """Return the moment of the first score, else the first day that is stated; empty if neither can be read."""
    return _earliest(_first_moments(study) or [day for days in days_stated(study).values() for day in days])


def _why_late(at: str, first: str) -> str:
    """Return why what was fixed at one moment does not count beside the first score; empty if it does."""
    if not at or np.isnat(read_dates(pd.Series([at])).values[0]):
        return "nothing shows when it was fixed"
    if not first:
        return "the study does not say when its first score was given"
    if moment(at, "The time of the order") < moment(first, "The time of a score"):
        return ""
    return f"it was fixed at {when_words(at)}, not before the first score ({when_words(first)})"


def batches_tested(study: Study) -> pd.DataFrame:
    """Return the table of batches, `tested_on` taken from the first score of the batch where it is empty.

    A score that names no batch belongs to the only batch of its prototype, if there is one.
    """
    batches, scores = study.table("batches"), study.scores
    if not (batches["tested_on"] == "").any() or not (scores["recorded_at"] != "").any():
        return batches
    alone = batches.drop_duplicates("prototype", keep=False)
    only = scores["prototype"].map(dict(zip(alone["prototype"], alone["batch"], strict=True))).fillna("")
    frame = pd.DataFrame(
        {
            "batch": scores["batch"].where(scores["batch"] != "", only),
            "at": scores["recorded_at"],
            "moment": read_dates(scores["recorded_at"]).values,
        }
    )
    known = frame.loc[(frame["batch"] != "") & frame["moment"].notna()].sort_values("moment", kind="stable")
    first = known.drop_duplicates("batch").set_index("batch")["at"]
    found = batches["batch"].map(first).fillna("").astype("str")
    return batches.assign(tested_on=batches["tested_on"].where(batches["tested_on"] != "", found))


_SEALED = (
    *("claim", "kind", "prototype", "versus", "attribute", "question", "competitors", "direction", "sides"),
    *("ingredient", "session_before", "session_after", "family", "minutes", "margin", "bar", "bar_panel"),
    *("stamped_at", "stamped_by"),
)


def claim_seal(row: Mapping[Any, Any]) -> str:
    """Return the SHA-256 over what decides a claim, from its row in the table of claims; absent columns are empty."""
    facts = {name: _canonical(row.get(name, "")) for name in _SEALED}
    return hashlib.sha256(json.dumps(facts, ensure_ascii=True, sort_keys=True).encode()).hexdigest()


def _canonical(value: object) -> str:
    """Return a cell as text: numbers in their shortest form, what is missing empty, names one way."""
    if isinstance(value, int | float):
        return "" if math.isnan(value) else repr(float(value))
    return "; ".join(name.strip() for name in str(value or "").split(";") if name.strip())


def next_link(claims: pd.DataFrame, stamp: str) -> str:
    """Return the link of a stamp that follows these claims: a SHA-256 over it and the last link, or stamp without."""
    return _link(None if claims.empty else claims.iloc[-1], stamp)


def _link(last: Mapping[Any, Any] | pd.Series | None, stamp: str) -> str:
    before = "afterfeel claims" if last is None else str(last["chain"]) or str(last["stamp"])
    return hashlib.sha256(json.dumps([before, stamp]).encode()).hexdigest()


def first_broken_link(claims: pd.DataFrame) -> int | None:
    """Return the first row whose link no longer fits its stamp and the one before, counted from 0; None without one."""
    last: Mapping[Any, Any] | None = None
    for number, (chain, stamp) in enumerate(zip(claims["chain"].tolist(), claims["stamp"].tolist(), strict=True)):
        if str(chain) and str(chain) != _link(last, str(stamp)):
            return number
        last = {"chain": chain, "stamp": stamp}
    return None


def broken_chain(row: int) -> str:
    """Say where the chain of stamps is broken; `row` as `first_broken_link` gives it."""
    return f"The chain of stamps is broken before claim {row + 1}: one was changed, exchanged or taken out."


def stamps_hash(claims: pd.DataFrame) -> str:
    """Return the SHA-256 that stands for all these claims, to be signed on paper or sent to be time-stamped."""
    stamps = [[str(row["stamp"]), str(row["chain"])] for row in claims.to_dict("records")]
    return hashlib.sha256(json.dumps(stamps).encode()).hexdigest()


STAMPED, NOT_STAMPED = "stamped before the data", "not stamped before the data"
NOT_SHOWN = "not shown to be stamped before the data"  # it is stamped; when the data came in is not said
GIVE_DAYS = "Say on which day each session was held: then it shows."


def when_stamped(study: Study, number: int, row: Mapping[Any, Any]) -> tuple[str, str]:
    """Return whether a claim was stamped before its data, not, or not that it shows; and why, in one sentence.

    Only what is `STAMPED` counts as fixed beforehand. `row` is that of claim `number`, counted from 1, as it was read.
    """
    broken = first_broken_link(study.table("claims"))
    if broken is not None and number - 1 in (broken - 1, broken):
        return NOT_STAMPED, broken_chain(broken)
    at, who, stamp = (str(row[name]) for name in ("stamped_at", "stamped_by", "stamp"))
    if not (at and who and stamp):
        return NOT_STAMPED, "Nothing shows that sentence, margin and bar were stamped before the data were seen."
    if claim_seal(row) != stamp:
        return NOT_STAMPED, "The claim was changed after it was stamped: it no longer fits its seal."
    if first_changed_opening(study.table("unblindings")) is not None:
        return NOT_SHOWN, "The list of unblindings was changed after it was written, so the order of events is open."
    try:
        stamped = moment(at, "The time of the stamp")
        limit, words = _seen(study, str(row["attribute"]), str(row["question"]))
    except StudyError as error:
        return NOT_SHOWN, str(error)
    if limit is not None and stamped >= limit:
        return NOT_STAMPED, f"Stamped on {when_words(at)}, not before {words}."
    if limit is None or (undated := _undated(study, str(row["attribute"]))):
        return NOT_SHOWN, f"Stamped on {when_words(at)}. {words if limit is None else undated}"
    return STAMPED, f"Stamped on {when_words(at)} by {who}, before {words}."


def _seen(study: Study, attribute: str, question: str) -> tuple[datetime | None, str]:
    """Return the first moment from which the data of a claim could have been seen, and what it was."""
    found: list[tuple[datetime, str]] = []
    openings, entered, words = moments_opened(study), _entered(study, attribute, question), "behind it ({})"
    if not entered and not openings:
        entered = [*_first_moments(study), *(day for days in days_stated(study).values() for day in days)]
        words = "({}; no unblinding is recorded)"
    if entered:
        first = min(entered, key=lambda when: moment(when, "The time of a score"))
        found.append(
            (moment(first, "The time of a score"), f"the first score or answer {words.format(when_words(first))}")
        )
    if openings:
        first = min(openings, key=lambda when: moment(when, "The time of an unblinding"))
        only_stated = study.table("unblindings").empty
        so = "; the study states this day, no record says who opened the key" if only_stated else ""
        found.append((moment(first, "The time of an unblinding"), f"the first unblinding ({when_words(first)}{so})"))
    if not found and study.scores.empty and study.table("answers").empty:
        return None, "No score or answer is there yet."
    if not found:
        return None, f"The study records neither an unblinding nor when its scores and answers came in. {GIVE_DAYS}"
    return min(found, key=lambda each: each[0])


def _undated(study: Study, attribute: str) -> str:
    """Say which sessions behind a claim of the panel have no day, where no unblinding stands in for it; else empty."""
    if not attribute or moments_opened(study):
        return ""
    known, stated = {*days_of_scores(study), *locked_sessions(study)["session"]}, days_stated(study)
    sessions = [str(name) for name in study.scores["session"].unique() if name not in known]
    open_yet = [name for name in sessions if not stated.keys() & {"", name, re.sub(r"[\d\s]+$", "", name)}]
    which = f"The day is not recorded of session {format_list([name or 'without a name' for name in open_yet])}."
    return f"{which} {GIVE_DAYS}" if open_yet else ""


def _entered(study: Study, attribute: str, question: str) -> list[str]:
    """Return when scores or answers of the kind a claim rests on came in, as far as the study says."""
    days = days_stated(study)
    answers = study.table("answers")
    asked = answers.loc[answers["question"] == question] if question else answers
    of_people = {str(name) for name in asked["session"].unique()} if question or not attribute else set()
    of_panel = {str(name) for name in study.scores["session"].unique()} if attribute else set()
    moments = _first_moments(study) if attribute else ()
    meant = of_people | of_panel
    named = [day for label, own in days.items() for day in own if _of_sessions(label, meant)]
    return [*moments, *named]


def _of_sessions(label: str, sessions: set[str]) -> bool:
    """Return whether a label of the fact dates, such as hall for hall 1 and hall 2, stands for one of the sessions."""
    names, own = [name.casefold() for name in sessions if name], label.casefold()
    return not label or any(name.startswith(own) or own.startswith(re.sub(r"[\d\s]+$", "", name)) for name in names)


# What does the study record about the test behind a claim: who took part, when, for how long?


_KINDS = (("home", "Home-use test"), ("hall", "Hall test"), ("central", "Hall test"))
_OTHER_TEST = "Consumer test"
_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)


def test_record(study: Study, sessions: tuple[str, ...]) -> dict[str, Any]:
    """Return what is recorded about the consumer test with these sessions: empty text and 0 where it is not.

    `kind days month between` of the test; `who ages sex staff` of the fact `users`, where `staff` says whether they
    work for the maker (`yes`, `no`). Answers without a session are of the one test of users that has stated days;
    `either` names these tests where there are several.
    """
    users = study.facts.get("users", {})
    users = users if isinstance(users, Mapping) else {}
    tests = [name for name in days_stated(study) if _of_users(name)]
    label = next(iter(sessions), "") or (tests[0] if len(tests) == 1 else "")
    told = {name: str(users.get(name, "")).strip() for name in ("who", "ages", "sex", "staff")}
    kind = next((words for start, words in _KINDS if label.casefold().startswith(start)), _OTHER_TEST)
    start, end = (_moment(day) for day in _days_of(study, label))
    days = (end.date() - start.date()).days + 1 if start and end else 0
    month = _months(start, end)
    last = f" to {end.day} " if end else ""
    days_of = f"{start.day} {month}" if start and " and " in month else f"{start.day} and {month}" if start else ""
    between = days_of.replace(" and ", last) if end else ""
    either = tests if not label else []
    return {"kind": kind, "days": days, "month": month, "between": between, "either": either, **told}


def _months(first: datetime | None, last: datetime | None) -> str:
    """Return the month of a test, or the months of its first and last day: `September and October 2025`."""
    one, other = (f"{_MONTHS[day.month - 1]} {day.year}" if day else "" for day in (first, last))
    if not (one and other) or one == other:
        return one
    return f"{one.removesuffix(other[-5:])} and {other}"


def _of_users(label: str) -> bool:
    """Return whether a label of the fact `dates` is that of a test of users."""
    return any(label.casefold().startswith(start) for start, _ in _KINDS)


test_record.__test__ = False  # type: ignore[attr-defined]  # a function about tests of products, not a test of pytest


def panel_days(study: Study) -> str:
    """Return the months in which the trained panel scored; empty if no score carries a time, nor the panel a day.

    Days are the panel's if their label is a session of its scores, or the only one that is not of users.
    """
    entered = [when for when in study.scores["recorded_at"].unique() if when]
    stated = {name.strip().casefold(): days for name, days in days_stated(study).items() if not _of_users(name)}
    sessions = {str(name).strip().casefold() for name in study.scores["session"].unique()}
    own = list(stated.values()) if len(stated) == 1 else [stated[name] for name in sessions & set(stated)]
    moments = [*filter(None, map(_moment, entered or [day for days in own for day in days]))]
    return _months(min(moments), max(moments)) if moments else ""


def minutes_between(study: Study, before: str, after: str) -> float:
    """Return the time between the first days of two sittings in minutes; NaN where they are not recorded."""
    first, second = (_moment(_days_of(study, label)[0]) for label in (before, after))
    return (second.date() - first.date()).days * 1440.0 if first and second else float("nan")


def _days_of(study: Study, label: str) -> tuple[str, str]:
    """Return the first and the last day of the sessions with this label, as recorded in the fact `dates`."""
    start = re.sub(r"[\d\s]+$", "", label).casefold()
    if not start:
        return "", ""
    found = next((days for name, days in days_stated(study).items() if name.casefold().startswith(start)), ("",))
    return found[0], found[-1]


def _moment(text: str) -> datetime | None:
    try:
        return moment(text, "A day of the test") if text else None
    except StudyError:
        return None
