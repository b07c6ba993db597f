"""How is a moment written in the record? UTC to the millisecond, so that text sorts as time does."""

from __future__ import annotations

from datetime import UTC, datetime


def written(moment: datetime) -> str:
    """Return an aware moment as `2025-03-14T13:00:10.123+00:00`."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds")


def read(text: str) -> datetime:
    """Return the moment that a text of the record stands for."""
    return datetime.fromisoformat(text)


def local(text: str) -> str:
    """Return a moment of the record as the clock on the wall showed it, to the second, as study files hold it."""
    return read(text).astimezone().replace(tzinfo=None).isoformat(timespec="seconds")


def now() -> datetime:
    """Return this moment, with its distance from UTC."""
    return datetime.now(UTC)
