"""Does the whole way work before anybody comes? Simulated assessors answer through the real server, marked for ever."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pandas as pd

from panel.ballots.serving import served
from panel.errors import StudyError
from panel.store.board import board_of_servings, session_record
from panel.store.database import OWN_FILE, OWN_STUDY, Store, now, open_store
from panel.store.events import make_tokens
from panel.store.lock import Locked, lock_session
from panel.store.preparing import prepare
from panel.study.folder import write_study
from panel.study.study import LOCKED_FACT, REHEARSAL_FACT, Study
from panel.study.tables import COLLECTED

_ABOUT_SCORES = ("corrections", "unblindings", "reactions")
_REAL = ("readings", "curves")  # what instruments said stays true in a rehearsal

_SPREAD_OF_PROTOTYPES, _SPREAD_OF_ASSESSORS, _SPREAD_OF_MARKS = 0.10, 0.06, 0.08
"""Standard deviations of the simulated marks, as parts of the line."""

_CANNOT_JUDGE, _COMMENT = 0.02, 0.1
"""How often a simulated assessor cannot judge, or writes a comment."""

_MOST_PAGES = 5000  # per assessor and session: a ballot has about fifty


@dataclass(frozen=True, eq=False, slots=True)
class Rehearsal:
    """What a rehearsal did.

    Parameters
    ----------
    collection
        Its number in the record; everything in it is marked as rehearsed.
    servings
        How far each serving came, as `panel.store.board.board_of_servings` tells it.
    sent
        Every mark that was sent: `session assessor code field text`; `field` is `v` and the place of the line, `c`
        and the same for `cannot judge`, or `comment`.
    failures
        What did not work, in sentences; empty if all went well.
    """

    collection: int
    servings: pd.DataFrame
    sent: pd.DataFrame
    failures: tuple[str, ...]


class _Clock:
    """A clock that jumps over the waiting times."""

    def __init__(self) -> None:
        self.time = now()

    def __call__(self) -> datetime:
        self.time += timedelta(milliseconds=200)
        return self.time

    def jump(self, minutes: float) -> None:
        self.time += timedelta(minutes=minutes)


def rehearse(
    study: Study, store: Store, rng: np.random.Generator, *, name: str = "rehearsal", sessions: tuple[str, ...] = ()
) -> Rehearsal:
    """Let simulated assessors answer all ballots of a study through the server, on this computer only.

    Nobody applies anything, so the safety gate may still be open. The marks are drawn, not measured: they show that
    codes, pages, timers and the record work, and say nothing about the prototypes. StudyError if the study has no
    serving plan or no attributes, or the server does not answer.

    Parameters
    ----------
    store, name
        An open record, in which a collection of its own is made, and what the study is called there.
    sessions
        Only these; all if empty.
    """
    collection, planned = prepare(store, study, name, at=now(), rehearsal=True)
    unknown = sorted(set(sessions) - set(planned))
    if unknown:
        raise StudyError(f"There is no session {', '.join(unknown)} in the serving plan; it has {planned}.")
    clock = _Clock()
    sent: list[tuple[str, ...]] = []
    failures: list[str] = []
    with served(store, clock=clock) as address:
        for session in sessions or planned:
            tokens = make_tokens(store, collection, session, at=now())
            for assessor, token in zip(tokens["assessor"], tokens["token"], strict=True):
                with _Visitor(address, token) as visitor:
                    marks, trouble = _answer(visitor, clock, _Hand(study, session, assessor, rng))
                sent += [(session, assessor, *mark) for mark in marks]
                failures += [f"session {session}, {assessor}: {words}" for words in trouble]
    board = board_of_servings(store, collection)
    board = board.loc[board["session"].isin(sessions or planned)].reset_index(drop=True)
    table = pd.DataFrame(sent, columns=["session", "assessor", "code", "field", "text"], dtype="str")
    failures += _missing(store, collection, board, table)
    return Rehearsal(collection, board, table, tuple(failures))


def rehearse_into(study: Study, folder: str | Path, seed: int) -> tuple[Rehearsal, tuple[Locked, ...]]:
    """Rehearse a study in a new folder, from the ballots to the locked scores; return what happened.

    The folder gets a copy of the study without anything that people said, marked as a rehearsal. StudyError if it holds
    something already, or the study has no serving plan or no attributes; nothing is written into a study that is there.
    """
    folder = Path(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StudyError(f"{folder} holds something already. A rehearsal goes into a new folder; choose another name.")
    write_study(_to_rehearse(study), folder)
    with closing(open_store(folder / OWN_FILE)) as store:
        result = rehearse(study, store, np.random.default_rng(seed), name=OWN_STUDY)
        sessions = result.servings["session"].unique() if not result.failures else ()
        locked = [lock_session(store, result.collection, name, folder, who="rehearsal", at=now()) for name in sessions]
    return result, tuple(locked)


def _to_rehearse(study: Study) -> Study:
    """Return a copy of a study to rehearse in: marked as a rehearsal, without anything that people said so far."""
    dropped = {table.name for table in COLLECTED if table.name not in _REAL} | set(_ABOUT_SCORES)
    facts = {name: value for name, value in study.facts.items() if name not in (LOCKED_FACT, "deviations")}
    title = str(facts.get("title") or "").strip()
    facts |= {REHEARSAL_FACT: True, "title": f"Rehearsal of {title}" if title else "Rehearsal"}
    tables = {name: frame for name, frame in study.tables.items() if name not in dropped}
    return replace(study, tables=tables, facts=facts, unread=study.unread.iloc[:0], raw_files=())


def _answer(visitor: _Visitor, clock: _Clock, hand: _Hand) -> tuple[list[tuple[str, str, str]], list[str]]:
    """Go through one ballot to its end; return what was sent and what went wrong."""
    sent: list[tuple[str, str, str]] = []
    page = visitor.go()
    for _ in range(_MOST_PAGES):
        if page.status != 200:
            return sent, [f"{page.path.rpartition('/b/')[0]} answered {page.status}: {page.words}"]
        if page.waits is False:
            return sent, []
        if page.waits:
            clock.jump(1.0)
            page = visitor.go()
        elif page.lines:
            if "rubbed" in page.acts and "Press this at the moment" in page.words:
                page = visitor.send(page, {}, act="rubbed")
            marks = hand.marks(page)
            sent += [(page.code, name, text) for name, text in marks.items()]
            page = visitor.send(page, marks)
        else:
            page = visitor.go(page.onward or visitor.path)
    return sent, ["the ballot did not come to an end"]


class _Hand:
    """A simulated assessor: how this person marks the lines of each sample."""

    def __init__(self, study: Study, session: str, assessor: str, rng: np.random.Generator) -> None:
        plan = study.table("servings")
        own = plan.loc[(plan["session"] == session) & (plan["assessor"] == assessor)]
        self._centre = {code: _centre(prototype) for code, prototype in zip(own["code"], own["prototype"], strict=True)}
        self._level = float(rng.normal(0.0, _SPREAD_OF_ASSESSORS))
        self._rng = rng

    def marks(self, page: _SeenPage) -> dict[str, str]:
        """Return the fields that this person fills in on a page; numbers are written the way people do."""
        fields: dict[str, str] = {}
        for line, (low, high) in page.ends.items():
            if self._rng.random() < _CANNOT_JUDGE:
                fields[f"c{line[1:]}"] = "1"
                continue
            part = self._centre.get(page.code, 0.5) + self._level + float(self._rng.normal(0.0, _SPREAD_OF_MARKS))
            value = low + (high - low) * float(np.clip(part, 0.0, 1.0))
            digits = max(1, 2 - math.floor(math.log10(high - low)))  # three would let 1,234 be a thousand
            text = f"{value:.{digits}f}"
            text = text if low <= float(text) <= high else f"{value:.12g}"
            fields[line] = text.replace(".", ",") if self._rng.random() < 0.5 else text
        if self._rng.random() < _COMMENT:
            fields["comment"] = "rehearsed comment"
        return fields


def _centre(prototype: str) -> float:
    """Return a made-up place on the line for a prototype: the same in each rehearsal, no matter what it is."""
    drawn = np.random.default_rng([ord(sign) for sign in prototype])
    return 0.5 + float(drawn.normal(0.0, _SPREAD_OF_PROTOTYPES))


def _missing(store: Store, collection: int, board: pd.DataFrame, sent: pd.DataFrame) -> list[str]:
    """Compare what was sent with what is in the record."""
    kept = sum(
        line.count(b'"kind":"answer"') + line.count(b'"kind":"cannot_judge"') + line.count(b'"kind":"comment"')
        for session in board["session"].unique()
        for line in session_record(store, collection, session).splitlines()
    )
    words = [f"{len(sent)} marks were sent, {kept} are in the record"] if kept != len(sent) else []
    short = board.loc[board["answered"] + board["cannot_judge"] < board["asked"]]
    return words + [
        f"session {row.session}, {row.assessor}, code {row.code}: {row.answered} of {row.asked} marks"
        for row in short.itertuples()
    ]


_PATIENCE = 60.0  # seconds; an answer takes a few milliseconds


class _SeenPage(HTMLParser):
    """What a page shows: its address, words, links, the fields of its form, the names of its lines and their ends."""

    def __init__(self, path: str, status: int, html: str) -> None:
        super().__init__()
        self.path, self.status, self.html = path, status, html
        self.links: list[str] = []
        self.fields: dict[str, str] = {}
        self.lines: list[str] = []
        self.ends: dict[str, tuple[float, float]] = {}
        self.acts: set[str] = set()
        self._texts: list[str] = []
        self._inside = ""
        self.feed(html)
        self.close()
        self.words = " ".join(" ".join(self._texts).split())

    @property
    def code(self) -> str:
        """The code of the sample on the page; empty if it shows none."""
        found = re.search(r"^Sample (\S+)", self.words)
        return found[1] if found else ""

    @property
    def onward(self) -> str:
        """Where `Go on with sample ...` leads; empty if nothing is to be done now."""
        return next((link for link in self.links if re.search(r"/\d+/\d+$", link)), "") if self.waits is None else ""

    @property
    def waits(self) -> bool | None:
        """True if there is nothing to do yet, False if all is done, None otherwise."""
        if "Nothing to do until" in self.words:
            return True
        return False if "All samples are done" in self.words else None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {name: value or "" for name, value in attrs}
        self._inside = tag
        if tag == "a":
            self.links.append(values.get("href", ""))
        elif tag == "button" and values.get("name") == "act":
            self.acts.add(values["value"])
        elif tag == "input" and values.get("type") == "hidden":
            self.fields[values["name"]] = values.get("value", "")
        elif tag == "input" and values.get("type") == "text":
            self.lines.append(values["name"])
            if "data-low" in values:
                self.ends[values["name"]] = (float(values["data-low"]), float(values["data-high"]))

    def handle_endtag(self, tag: str) -> None:
        self._inside = ""

    def handle_data(self, data: str) -> None:
        if self._inside not in ("style", "script", "title"):
            self._texts.append(data)


class _Visitor:
    """Opens one personal link and follows it."""

    def __init__(self, address: str, token: str) -> None:
        self.path = f"/b/{token}"
        # plain HTTP on this computer: reading the list of certificates would take longer than a whole ballot
        options: Any = {"verify": False, "trust_env": False, "follow_redirects": True}
        self._client = httpx.Client(base_url=address, timeout=_PATIENCE, **options)

    def __enter__(self) -> _Visitor:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.close()

    def go(self, path: str = "") -> _SeenPage:
        """Return the page at a path; the overview of the ballot if none is given."""
        return self._seen(lambda: self._client.get(path or self.path))

    def send(self, page: _SeenPage, marks: Mapping[str, str], act: str = "send") -> _SeenPage:
        """Send the form of a page with these fields; return the page that follows."""
        fields = {**page.fields, **marks, "act": act}
        return self._seen(lambda: self._client.post(page.path, data=fields))

    def _seen(self, ask: Any) -> _SeenPage:
        try:
            answer: httpx.Response = ask()
        except httpx.HTTPError as error:
            raise StudyError(f"The ballot server did not answer: {error}. Start it, then try again.") from error
        return _SeenPage(answer.url.path, answer.status_code, answer.text)
