"""Moments that people write down: ISO 8601 text, with or without a time of day."""

from __future__ import annotations

from datetime import UTC, datetime

from panel.errors import StudyError


def moment(text: str, what: str) -> datetime:
    """Return a moment that can be compared; a day counts from its midnight, a time with an offset is taken to UTC.

    Raises
    ------
    StudyError
        If the text is no date; `what` says in the message what it was meant for.
    """
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise StudyError(
            f"{what} is {text!r}, which is no date. Write it like 2025-03-14 or 2025-03-14T14:00."
        ) from error
    return found if found.tzinfo is None else found.astimezone(UTC).replace(tzinfo=None)


def same_day_or_before(text: str, limit: str, what: str) -> bool:
    """Return True if a moment is not after the limit; a limit without a time of day holds until its end."""
    end = moment(limit, what)
    found = moment(text, what)
    return found.date() <= end.date() if len(limit.strip()) <= len("2025-03-14") else found <= end
