"""Which sessions were locked: written when the record of a session is closed, read wherever their moments count."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from panel.study.study import LOCKED_FACT, Study


@dataclass(frozen=True, slots=True)
class LockedSession:
    """A session whose record is closed.

    `begun_at`: the first thing in its record, with its distance from UTC; empty where it was not noted. `locked_at`: by
    the clock on the wall, as the times of the scores are.
    """

    session: str
    locked_at: str
    who: str
    events_sha256: str
    begun_at: str = ""


def with_lock(facts: Mapping[str, Any], locked: LockedSession) -> dict[str, Any]:
    """Return the facts of a study with one more locked session; those before stay."""
    known = facts.get(LOCKED_FACT)
    return {**facts, LOCKED_FACT: [*(known if isinstance(known, list) else []), asdict(locked)]}


def locked_sessions(study: Study) -> tuple[LockedSession, ...]:
    """Return the sessions that were locked, in that order."""
    listed = study.facts.get(LOCKED_FACT)
    entries = [entry for entry in listed if isinstance(entry, Mapping)] if isinstance(listed, list) else []
    names = [field.name for field in fields(LockedSession)]
    return tuple(LockedSession(**{name: str(entry.get(name) or "") for name in names}) for entry in entries)
