"""What is an assessor to do next? Sample by sample, stage by stage, timed stages when their time has come."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from panel.store.ballot import Ballot, Question, Serving

WAIT_RATHER_THAN_BEGIN = timedelta(minutes=5)
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
    stages = _stages(ballot.questions)
    timed = any(minutes is not None for _, minutes, _ in stages)
    last_untimed = max((number for number, stage in enumerate(stages, 1) if stage[1] is None), default=0)
    return tuple(
        Step(
            serving,
            number,
            stage,
            minutes,
            questions,
            timed and number == last_untimed,
            ballot.rubbing_ended.get(serving.serving),
            tuple(q for q in questions if (serving.serving, q.attribute) not in ballot.given),
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
    if first is None or waiting is None or waiting - now > WAIT_RATHER_THAN_BEGIN:
        return first
    begun = {serving for serving, _ in ballot.given} | set(ballot.rubbing_ended)
    return first if first.serving.serving in begun else None


def next_due(steps: Sequence[Step]) -> datetime | None:
    """Return when the next timed stage is due; None if none is waiting."""
    return min((step.due for step in steps if step.due is not None and not step.finished), default=None)


def _stages(questions: tuple[Question, ...]) -> list[tuple[str, float | None, tuple[Question, ...]]]:
    """Return the questions by stage and time, in the order in which they are asked."""
    groups: dict[tuple[str, float | None], list[Question]] = {}
    for question in questions:
        groups.setdefault((question.stage, question.minutes), []).append(question)
    return [(stage, minutes, tuple(asked)) for (stage, minutes), asked in groups.items()]
