"""What does a phone get to see? Plain HTML that works without scripts; every word from outside is shown as text."""

from __future__ import annotations

import math
import secrets
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from panel.ballots.answers import Step, next_due, next_step, steps_of
from panel.store.ballot import Ballot

NO_BALLOT = "This link opens no ballot. Ask the panel leader for your own link."
ASKED_FIRST = "The password that the panel leader gave you"
_MORE_PHONES = (
    "This link was opened on another phone too, or in another browser. Answer on one of them only: of two marks for "
    "the same line the later one counts. If it was not you, tell the panel leader now."
)


@cache
def _templates() -> Environment:
    loader = PackageLoader("panel.ballots", "templates")
    return Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)


def overview_page(ballot: Ballot, path: str, now: datetime, nonce: str) -> str:
    """Return the page with the samples of a session: what is done, what is next, what has to wait until when."""
    steps = steps_of(ballot)
    due = next_due(steps)
    rows = [_overview_row(ballot, serving.serving, steps, now) for serving in ballot.servings]
    return page_of(
        "overview.html",
        nonce,
        ballot=ballot,
        ballot_path=path,
        rows=rows,
        next=next_step(ballot, steps, now),
        finished=all(step.finished for step in steps),
        wait=_wait(due, now),
        due=_clock(due),
    )


def step_page(
    ballot: Ballot,
    step: Step,
    path: str,
    now: datetime,
    nonce: str,
    *,
    unclear: Mapping[str, str] | None = None,
    incomplete: bool = False,
) -> str:
    """Return the page of one stage of one sample. Its lines are blank, whatever was answered before."""
    given = {q.attribute: ballot.given.get((step.serving.serving, q.attribute), "") for q in step.questions}
    # it holds the moment, so that of two pages the newer one is known
    return page_of(
        "step.html",
        nonce,
        ballot=ballot,
        ballot_path=path,
        step=step,
        given=given,
        unclear=unclear or {},
        incomplete=incomplete,
        submission=f"{int(now.timestamp() * 1000)}-{secrets.token_urlsafe(16)}",
        wait=_wait(step.due, now),
        due=_clock(step.due),
        ended=_clock(step.rubbing_ended),
        place=1 + [serving.serving for serving in ballot.servings].index(step.serving.serving),
    )


def made_at(page: str) -> int:
    """Return when the page with an identifier was made, in milliseconds; 0 if it does not say so."""
    moment = page.rpartition(" ")[2].partition("-")[0]
    return int(moment) if moment.isascii() and moment.isdigit() else 0


def page_of(template: str, nonce: str, **values: Any) -> str:
    """Return the page that a template of `panel/ballots/templates` makes of these values."""
    return _templates().get_template(template).render(nonce=nonce, number=_number, more_phones=_MORE_PHONES, **values)


def _overview_row(ballot: Ballot, serving: int, steps: tuple[Step, ...], now: datetime) -> dict[str, Any]:
    own = [step for step in steps if step.serving.serving == serving]
    left = [step for step in own if not step.finished]
    due = min((step.due for step in left if step.due is not None), default=None)
    if own[0].held:
        state = "held back, do not use it"
    elif not left:
        state = "done"
    elif due is not None and due <= now:
        state = "due now"
    elif due is not None and all(step.due is not None for step in left):
        state = f"wait until {_clock(due)}"
    elif len(left) < len(own):
        state = "begun"
    else:
        state = "to do"
    return {"serving": own[0].serving, "state": state, "steps": own}


def _wait(due: datetime | None, now: datetime) -> int:
    """Return the whole seconds until something is due; 0 if it is due or nothing is."""
    return 0 if due is None else max(0, math.ceil((due - now).total_seconds()))


def _clock(moment: datetime | None) -> str:
    return "" if moment is None else moment.astimezone().strftime("%H:%M:%S")


def _number(value: float) -> str:
    return f"{value:.12g}"
