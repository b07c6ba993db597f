"""What did somebody mark on a page? A posted form becomes entries of the record, or sentences about what is unclear."""

from __future__ import annotations

import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from html import escape
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl

import pandas as pd
import segno

from panel.errors import StudyError
from panel.store.ballot import Ballot, Question, Serving
from panel.store.events import Entry
from panel.study.numbers_read import typed_number

if TYPE_CHECKING:
    from starlette.requests import Request

TOO_MUCH = "This was too much to take in; nothing was kept. Go back and shorten it."
MOST_BYTES = 32_768
"""Largest form that is read; a full page with the longest comment needs about 14,000 bytes."""

_MOST_FIELDS = 300
_LONGEST_COMMENT = 2000
_LONGEST_NUMBER = 64


async def posted_form(request: Request) -> dict[str, str]:
    """Return the fields of a form that is posted; StudyError if it is larger than any ballot."""
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > MOST_BYTES:
            raise StudyError(TOO_MUCH)
    return form_fields(bytes(body))


def form_fields(body: bytes) -> dict[str, str]:
    """Return the fields of a posted form, of one that comes twice the last; StudyError if it has more than a ballot."""
    try:
        pairs = parse_qsl(body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=_MOST_FIELDS)
    except ValueError as error:
        raise StudyError("This form has more fields than a ballot; nothing was kept.") from error
    return {name: value.replace("\x00", "") for name, value in pairs}


def read_marks(
    fields: Mapping[str, str], step: Step, now: datetime, *, out_of_order: bool = False
) -> tuple[list[Entry], dict[str, str]]:
    """Return what goes into the record from the page of a step, and attribute to why a mark cannot be read.

    Lines that were not touched give nothing: an earlier answer stays. Numbers are read as people type them,
    with a decimal point or comma. An answer given in its time but `out_of_order` carries that mark.
    """
    entries: list[Entry] = []
    unclear: dict[str, str] = {}
    if fields.get("act") == "rubbed" and step.notes_end:
        entries.append(Entry("rubbing_ended", step.serving.serving))
    for place, question in enumerate(step.questions):
        minutes, flag = _timing(question, step.rubbing_ended, now)
        flag = flag or ("out of order" if out_of_order else "")
        typed = fields.get(f"v{place}", "").strip()
        common = {"serving": step.serving.serving, "attribute": question.attribute, "flag": flag, "minutes": minutes}
        if fields.get(f"c{place}"):
            entries.append(Entry("cannot_judge", **common))  # type: ignore[arg-type]  # the keys are those of Entry
            continue
        value, why = _value(typed, question)
        if why:
            unclear[question.attribute] = why
        elif value is not None:
            entries.append(Entry("answer", value=value, text=typed, **common))  # type: ignore[arg-type]  # the same
    comment = fields.get("comment", "").strip()[:_LONGEST_COMMENT]
    if comment:
        entries.append(Entry("comment", step.serving.serving, text=comment))
    return entries, unclear


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
    if len(typed) > _LONGEST_NUMBER:  # cut off it would be another number
        return None, f"{question.name}: this has more than {_LONGEST_NUMBER} signs. Write it shorter."
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


_WAIT_RATHER_THAN_BEGIN = timedelta(minutes=5)
"""A new sample is not begun when an earlier one has to be judged this soon (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Step:
    """One page: one stage of one sample.

    Parameters
    ----------
    number
        Place of the stage among the stages of a sample, from 1.
    minutes
        Minutes after the end of rubbing; None for a stage that is judged at once.
    ends_rubbing
        True for the last stage before the timed ones: here the assessor notes that rubbing has ended.
    due
        When a timed stage is to be judged; None for one judged at once, or while rubbing has not ended.
    left
        Questions that have no answer yet.
    held
        True if somebody reacted to this sample: nobody applies or judges it any more.
    """

    serving: Serving
    number: int
    stage: str
    minutes: float | None
    questions: tuple[Question, ...]
    ends_rubbing: bool
    rubbing_ended: datetime | None
    left: tuple[Question, ...]
    held: bool

    @property
    def due(self) -> datetime | None:
        """When this stage is to be judged, if that is known."""
        if self.minutes is None or self.rubbing_ended is None:
            return None
        return self.rubbing_ended + timedelta(minutes=self.minutes)

    @property
    def notes_end(self) -> bool:
        """Return True if the end of rubbing can be noted on this page, for the first time or once more."""
        return self.ends_rubbing or self.asks_for_end

    @property
    def asks_for_end(self) -> bool:
        """Return True if this page has to note when rubbing ended."""
        return self.rubbing_ended is None and (self.ends_rubbing or self.minutes is not None)

    @property
    def finished(self) -> bool:
        """Return True if nothing is left to do: all is answered and noted, or the sample is held back."""
        return self.held or (not self.left and not (self.ends_rubbing and self.asks_for_end))


def steps_of(ballot: Ballot) -> tuple[Step, ...]:
    """Return all pages of a ballot in the order of the servings and stages."""
    groups: dict[tuple[str, float | None], list[Question]] = {}
    for question in ballot.questions:
        groups.setdefault((question.stage, question.minutes), []).append(question)
    stages = [(stage, minutes, tuple(asked)) for (stage, minutes), asked in groups.items()]
    timed = any(minutes is not None for _, minutes, _ in stages)
    last_untimed = max((number for number, stage in enumerate(stages, 1) if stage[1] is None), default=0)
    given = ballot.given
    return tuple(
        Step(
            serving,
            number,
            stage,
            minutes,
            questions,
            timed and number == last_untimed,
            ballot.rubbing_ended.get(serving.serving),
            tuple([q for q in questions if (serving.serving, q.attribute) not in given]),
            serving.code in ballot.held,
        )
        for serving in ballot.servings
        for number, (stage, minutes, questions) in enumerate(stages, 1)
    )


def next_step(ballot: Ballot, steps: Sequence[Step], now: datetime) -> Step | None:
    """Return the page to open now, of all pages of a ballot; None if there is nothing to do, or nothing yet.

    First comes what is due, the longest due first; then the sample that was begun; then, unless something is due
    within a few minutes, the next sample.
    """
    open_steps = [step for step in steps if not step.finished]
    due = [step for step in open_steps if step.due is not None and step.due <= now]
    if due:
        return min(due, key=lambda step: step.due or now)
    first = next((step for step in open_steps if step.due is None), None)
    waiting = next_due(open_steps)
    if first is None or waiting is None or waiting - now > _WAIT_RATHER_THAN_BEGIN:
        return first
    begun = {serving for serving, _ in ballot.given} | set(ballot.rubbing_ended)
    return first if first.serving.serving in begun else None


def next_due(steps: Sequence[Step]) -> datetime | None:
    """Return when the next timed stage is due; None if none is waiting."""
    return min((step.due for step in steps if step.due is not None and not step.finished), default=None)


_PRINTED = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Personal links to the ballots</title><style>
body{font:14px/1.4 system-ui,sans-serif;margin:1rem;color:#222}
section{display:inline-block;width:15rem;margin:.5rem;padding:1rem;border:1px dashed #888;text-align:center;
vertical-align:top;break-inside:avoid}
h2{font-size:1.2rem;margin:0}small{overflow-wrap:anywhere}
</style></head><body>
<p>Cut along the lines. Each link opens the ballot of one person: hand it to nobody
else, and destroy this page afterwards.</p>
%s
</body></html>
"""


def with_links(tokens: pd.DataFrame, address: str) -> pd.DataFrame:
    """Return tokens as links: columns `session assessor link`."""
    links = [f"{address.rstrip('/')}/b/{token}" for token in tokens["token"]]
    return tokens[["session", "assessor"]].assign(link=pd.Series(links, index=tokens.index, dtype="str"))


def qr_svg(link: str) -> str:
    """Return a QR code of a link as an SVG picture, black on white, with its quiet zone."""
    code = segno.make(link, error="m", micro=False)
    picture = io.BytesIO()
    code.save(picture, kind="svg", scale=4, dark="#000", light="#fff", xmldecl=False, title="Personal link to a ballot")
    return picture.getvalue().decode("utf-8")


def links_page(links: pd.DataFrame) -> str:
    """Return an HTML page to print: for each of `with_links` a slip with session, assessor, QR code and link."""
    slips = [
        f"<section><h2>{escape(row['assessor'])}</h2>session {escape(row['session'])}<br>{qr_svg(row['link'])}<br>"
        f"<small>{escape(row['link'])}</small></section>"
        for row in links.astype("str").to_dict("records")
    ]
    return _PRINTED % "\n".join(slips)
