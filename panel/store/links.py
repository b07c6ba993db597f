"""Who may open which ballot? A personal token, one for each assessor and session; only its SHA-256 is kept."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime

import pandas as pd
from sqlalchemy import Connection, insert, select, update

from panel.errors import StudyError
from panel.store.database import Store
from panel.store.moments import written
from panel.store.tables import SERVING, TOKEN

TOKEN_BYTES = 18  # 144 bits
_LONGEST_TOKEN = 64


def make_tokens(
    store: Store, collection: int, session: str, *, at: datetime, assessors: tuple[str, ...] = ()
) -> pd.DataFrame:
    """Make a new token for each assessor of a session; the tokens before are revoked.

    Parameters
    ----------
    assessors
        Only these; all of the session if empty.

    Returns
    -------
    DataFrame
        Columns `session assessor token`. The tokens are nowhere else: they cannot be shown again.

    Raises
    ------
    StudyError
        If the session has no servings, or none for one of the assessors.
    """
    with store.writing() as connection:
        served = _served(connection, collection, session)
        unknown = sorted(set(assessors) - set(served))
        if not served or unknown:
            who = f" for {', '.join(unknown)}" if unknown else ""
            raise StudyError(f"Session {session} has no servings{who}; make the serving plan first.")
        rows = []
        for assessor in assessors or served:
            _revoke(connection, collection, session, assessor, at)
            token = secrets.token_urlsafe(TOKEN_BYTES)
            rows.append({"session": session, "assessor": assessor, "token": token})
            kept = {"collection": collection, "session": session, "assessor": assessor, "made_at": written(at)}
            connection.execute(insert(TOKEN).values(kept | {"token_sha256": token_sha256(token)}))
    return pd.DataFrame(rows, dtype="str")


def revoke_token(store: Store, collection: int, session: str, assessor: str, *, at: datetime) -> bool:
    """Revoke the token an assessor has for a session; return False if there was none."""
    with store.writing() as connection:
        return _revoke(connection, collection, session, assessor, at)


def assessors_with_token(store: Store, collection: int, session: str) -> tuple[str, ...]:
    """Return the assessors who have a token in force for a session."""
    wanted = (
        select(TOKEN.c.assessor)
        .where(TOKEN.c.collection == collection, TOKEN.c.session == session, TOKEN.c.revoked_at.is_(None))
        .order_by(TOKEN.c.assessor)
    )
    with store.reading() as connection:
        return tuple(connection.execute(wanted).scalars())


def token_sha256(token: str) -> str:
    """Return what is kept of a token: enough to recognise it, not enough to make it."""
    return hashlib.sha256(token[:_LONGEST_TOKEN].encode(errors="replace")).hexdigest()


def _served(connection: Connection, collection: int, session: str) -> list[str]:
    wanted = (
        select(SERVING.c.assessor)
        .where(SERVING.c.collection == collection, SERVING.c.session == session)
        .order_by(SERVING.c.assessor)
        .distinct()
    )
    return list(connection.execute(wanted).scalars())


def _revoke(connection: Connection, collection: int, session: str, assessor: str, at: datetime) -> bool:
    in_force = (
        TOKEN.c.collection == collection,
        TOKEN.c.session == session,
        TOKEN.c.assessor == assessor,
        TOKEN.c.revoked_at.is_(None),
    )
    return connection.execute(update(TOKEN).where(*in_force).values(revoked_at=written(at))).rowcount > 0
