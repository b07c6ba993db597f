"""What did somebody mark on a page? A posted form becomes entries of the record, or sentences about what is unclear."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import parse_qsl

from panel.ballots.steps import Step
from panel.errors import StudyError
from panel.store.ballot import Question
from panel.store.events import Entry
from panel.study.typed_number import typed_number

MOST_BYTES = 32_768
"""Largest form that is read; a full page with the longest comment needs about 14,000 bytes."""

MOST_FIELDS = 300
LONGEST_COMMENT = 2000
_LONGEST_NUMBER = 64
_LONGEST_SUBMISSION = 64


@dataclass(frozen=True, eq=False, slots=True)
class Marked:
    """What a posted page holds.

    Parameters
    ----------
    submission
        The identifier that the page was made with; empty if it carries none.
    entries
        What goes into the record.
    unclear
        Attribute to a sentence about a mark that cannot be read.
    """

    submission: str
    entries: tuple[Entry, ...]
    unclear: Mapping[str, str]


def form_fields(body: bytes) -> dict[str, str]:
    """Return the fields of a posted form; of a field that comes twice the last one counts.

    Raises
    ------
    StudyError
        If it has more fields than a ballot page can have.
    """
    try:
        pairs = parse_qsl(body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=MOST_FIELDS)
    except ValueError as error:
        raise StudyError("This form has more fields than a ballot; nothing was kept.") from error
    return {name: value.replace("\x00", "") for name, value in pairs}


def read_marks(fields: Mapping[str, str], step: Step, now: datetime) -> Marked:
    """Return what was marked on the page of a step.

    Lines that were not touched give nothing: an earlier answer stays. Numbers are read as people type them,
    with a decimal point or comma.
    """
    entries: list[Entry] = []
    unclear: dict[str, str] = {}
    if fields.get("act") == "rubbed" and step.notes_end:
        entries.append(Entry("rubbing_ended", step.serving.serving))
    for place, question in enumerate(step.questions):
        minutes, flag = _timing(question, step.rubbing_ended, now)
        typed = fields.get(f"v{place}", "").strip()[:_LONGEST_NUMBER]
        common = {"serving": step.serving.serving, "attribute": question.attribute, "flag": flag, "minutes": minutes}
        if fields.get(f"c{place}"):
            entries.append(Entry("cannot_judge", **common))  # type: ignore[arg-type]  # the keys are those of Entry
            continue
        value, why = _value(typed, question)
        if why:
            unclear[question.attribute] = why
        elif value is not None:
            entries.append(Entry("answer", value=value, text=typed, **common))  # type: ignore[arg-type]  # the same
    comment = fields.get("comment", "").strip()[:LONGEST_COMMENT]
    if comment:
        entries.append(Entry("comment", step.serving.serving, text=comment))
    return Marked(fields.get("submission", "")[:_LONGEST_SUBMISSION], tuple(entries), unclear)


def _timing(question: Question, ended: datetime | None, now: datetime) -> tuple[float | None, str]:
    """Return the minutes since rubbing ended, and what is wrong with the time of an answer given now."""
    if question.minutes is None:
        return None, ""
    if ended is None:
        return None, "no clock"
    minutes = (now - ended).total_seconds() / 60.0
    early = minutes < (question.minutes if question.earliest is None else question.earliest)
    late = question.latest is not None and minutes > question.latest
    return round(minutes, 3), "early" if early else "late" if late else ""


def _value(typed: str, question: Question) -> tuple[float | None, str]:
    try:
        value = typed_number(typed, question.name)
    except StudyError as error:
        return None, str(error)
    if value is None:
        return None, ""
    if not (math.isfinite(value) and question.scale_min <= value <= question.scale_max):
        ends = f"{question.scale_min:.12g} to {question.scale_max:.12g}"
        return None, f"{question.name}: {typed} lies outside the line, which goes from {ends}. Write it again."
    return value, ""
