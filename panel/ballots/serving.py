"""Serve the ballots of a study: prepare its record, drop the study, answer phones until told to stop."""

from __future__ import annotations

import ipaddress
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from datetime import timedelta
from pathlib import Path
from typing import Any

import httpx
import uvicorn

from panel.ballots.answers import with_links
from panel.ballots.app import Clock, ballot_app
from panel.ballots.pages import ASKED_FIRST, NO_BALLOT
from panel.ballots.protection import own_certificate, patient_protocol, what_to_compare
from panel.errors import PanelError, StudyError
from panel.store.board import last_moment, sessions_table
from panel.store.database import Store, name_in_record, now, open_store, store_url
from panel.store.events import assessors_with_token, make_tokens
from panel.store.preparing import follow_gate, prepare, refuse_scored, safety_signed
from panel.study.folder import read_folder
from panel.study.safe_write import place_warning
from panel.study.tables import DESCRIPTION

USUAL_PORT = 8600
_MOST_AT_ONCE = 2000  # connections; each phone opens one to six
_STARTS_WITHIN = 15.0  # seconds
_CLOCKS_DIFFER = timedelta(minutes=5)  # of two computers that share a record (common practice, no source)


def serve(
    folder: str | Path,
    store_at: str | Path = "",
    host: str = "127.0.0.1",
    port: int = USUAL_PORT,
    *,
    lan: bool = False,
    session: str = "",
    new_links: bool = False,
    tls: bool = False,
    password: str = "",
    tell: Callable[[str], None] = lambda words: None,
) -> None:
    """Serve the ballots of a study until the process is interrupted.

    StudyError if it is no study folder, has no serving plan or no attributes, was rehearsed, the record cannot be
    opened, or the port is taken.

    Parameters
    ----------
    store_at
        Where the ballots are kept; `panel.store.database.store_url(folder)` if empty.
    lan
        Listen at this computer's address in the local network, instead of on this computer only.
    session
        The session that is about to begin; the first that is not locked if empty.
    new_links
        Make a link for each assessor of that session and tell it; links handed out before open nothing any more.
    tls
        Let phones talk to the server through TLS, with a certificate of this computer's own, made at first.
    password
        Asked for once on each phone, beside the personal link; nothing is asked if empty.
    tell
        Takes the sentences for the person who started it: the address, personal links, warnings.
    """
    if not Path(folder).is_dir():
        raise StudyError(f"{folder} is no study folder. Ballots end up in one: save the study as a folder first.")
    address = _host_to_bind(host, lan=lan)
    certificate = own_certificate(address) if tls else None
    url = str(store_at) or store_url(folder)
    with closing(open_store(url)) as store:
        if store.engine.dialect.name == "sqlite" and (warning := place_warning(store.place)):
            tell(warning)
        _refuse_past(store)
        collection, sessions = prepare(store, read_folder(folder), name_in_record(folder, url), at=now())
        tell(follow_gate(store, collection, read_folder(folder), at=now()))
        listening = _listening_socket(address, port)
        watch = _GateWatch(store, collection, folder)
        with listening, watch.following():
            in_url = f"[{address}]" if ":" in address else address
            base = f"http{'s' if tls else ''}://{in_url}:{listening.getsockname()[1]}"
            refuse_scored(read_folder(folder), session or _first_open(store, collection, sessions))
            for words in _opening_words(store, collection, sessions, base, session, new_links=new_links, lan=lan):
                tell(words)
            if certificate is not None:
                tell(what_to_compare(certificate[2]))
            hosts = (address, "localhost")
            server = uvicorn.Server(
                _server_settings(store, hosts, now, watch.closed, certificate=certificate, password=password)
            )
            tell("Stop with Ctrl+C; every ballot that was sent is kept.")
            with suppress(KeyboardInterrupt):
                server.run(sockets=[listening])


def _refuse_past(store: Store, clock: Clock = now) -> None:
    """Raise StudyError if the record holds something later than the clock shows: that clock has gone back."""
    last, moment = last_moment(store), clock()
    if last is not None and last - moment > _CLOCKS_DIFFER:
        raise StudyError(
            f"The clock of this computer shows {moment.astimezone():%Y-%m-%d %H:%M}, but the record holds something of "
            f"{last.astimezone():%Y-%m-%d %H:%M}. Set the clock right first: times after rubbing hang on it."
        )


@contextmanager
def served(
    store: Store,
    *,
    port: int = 0,
    clock: Clock = now,
    closed: Callable[[], str] = lambda: "",
    certificate: tuple[Path, Path, str] | None = None,
    password: str = "",
) -> Iterator[str]:
    """Serve a record on this computer from another thread; give the address, stop at the end."""
    settings = _server_settings(store, ("127.0.0.1",), clock, closed, certificate=certificate, password=password)
    listening = _listening_socket("127.0.0.1", port)
    server = uvicorn.Server(settings)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    try:
        _wait_until_started(server, thread)
        yield f"http{'s' if certificate else ''}://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(_STARTS_WITHIN)
        listening.close()


def _wait_until_started(server: uvicorn.Server, thread: threading.Thread) -> None:
    pause = threading.Event()
    for _ in range(int(_STARTS_WITHIN / 0.01)):
        if server.started:
            return
        if not thread.is_alive():
            break
        pause.wait(0.01)
    raise StudyError("The ballot server did not start; try another port.")


def _server_settings(
    store: Store,
    hosts: tuple[str, ...],
    clock: Clock = now,
    closed: Callable[[], str] = lambda: "",
    *,
    certificate: tuple[Path, Path, str] | None = None,
    password: str = "",
) -> uvicorn.Config:
    """Return how the server is run; its log has no line for a request, because that would hold a token."""
    secure = certificate is not None
    return uvicorn.Config(
        ballot_app(store, hosts=hosts, clock=clock, closed=closed, password=password, secure=secure),
        ssl_certfile=str(certificate[0]) if certificate else None,
        ssl_keyfile=str(certificate[1]) if certificate else None,
        http=patient_protocol(),
        log_level="warning",
        access_log=False,
        server_header=False,
        lifespan="off",
        proxy_headers=False,
        limit_concurrency=_MOST_AT_ONCE,
        timeout_keep_alive=20,
        timeout_graceful_shutdown=5,
    )


def _opening_words(
    store: Store, collection: int, sessions: Sequence[str], base: str, session: str, *, new_links: bool, lan: bool
) -> Iterator[str]:
    """Yield the address, whether the ballots are open, and the links of the session."""
    yield f"Ballots are answered at {base}" + ("." if lan else ", on this computer only.")
    if lan:
        yield firewall_hint(int(base.rpartition(":")[2]), tls=base.startswith("https"))
    if not safety_signed(store, collection):
        yield "Every ballot stays closed until the safety gate is signed; nobody applies anything before."
    session = session or _first_open(store, collection, sessions)
    if not session:
        yield "All sessions are locked."
        return
    if not new_links:
        given_out = assessors_with_token(store, collection, session)
        yield (
            f"The links of session {session} that were handed out still hold: {', '.join(given_out)}."
            if given_out
            else f"Nobody has a link for session {session} yet. Make them on the page Ballots of the app, or start "
            "this again with --new-links."
        )
        return
    tokens = make_tokens(store, collection, session, at=now())
    for row in with_links(tokens, base).itertuples(index=False):
        yield f"session {row.session}, {row.assessor}: {row.link}"


def _first_open(store: Store, collection: int, sessions: Sequence[str]) -> str:
    table = sessions_table(store)
    locked = table.loc[(table["collection"] == collection) & (table["locked_at"] != ""), "session"]
    return next((session for session in sessions if session not in set(locked)), "")


_LOOKS_EVERY = 2.0  # seconds
_READS_EVERY = 30.0  # seconds after which the study is read again though no file has changed: a sign-off may run out
_LOOKS_THAT_FAIL = 2  # one may fall into the moment in which a study is being written
_TOO_LONG_AGO = 30.0  # seconds; whoever looks has stopped, or waits for something that does not come

_BACK = 60.0  # seconds; what a clock that is set from the network is put back by at the most

_Stamp = tuple[tuple[str, int, int], ...]


class _GateWatch:
    """Watches the safety gate of the study whose ballots are served, and closes them whatever goes wrong.

    The reason is kept here and not in the record, for the record may lie in the folder that is gone.
    """

    def __init__(self, store: Store, collection: int, folder: str | Path, seconds: float = _LOOKS_EVERY) -> None:
        self._store, self._collection, self._folder, self._seconds = store, collection, Path(folder), seconds
        self._reason = ""
        self._failed = 0
        self._read: tuple[_Stamp, float] | None = None
        self._last_look = time.monotonic()
        self._clock = time.time() - time.monotonic()

    def closed(self) -> str:
        """Return why nobody may apply anything now though the record says so; empty if there is no such reason."""
        if time.monotonic() - self._last_look > _TOO_LONG_AGO + 2 * self._seconds:
            return f"The safety gate has not been looked at for {_TOO_LONG_AGO:.0f} seconds"
        return self._reason

    @contextmanager
    def following(self) -> Iterator[None]:
        """Look at the gate in a thread of its own until the ballots are no longer served."""
        over = threading.Event()

        def look_again() -> None:
            while not over.wait(self._seconds):
                self.look()

        watching = threading.Thread(target=look_again, daemon=True)
        watching.start()
        try:
            yield
        finally:
            over.set()
            watching.join()

    def look(self) -> None:
        """Look once: follow the gate if the study can be read, else close, the second time that it cannot."""
        try:
            if not (self._folder / DESCRIPTION).is_file():
                raise StudyError(f"{self._folder} is not there any more, or is no study")
            files = sorted(file for file in self._folder.iterdir() if file.suffix == ".csv" or file.name == DESCRIPTION)
            facts = [(file.name, file.stat()) for file in files]
            stamp = tuple((name, fact.st_mtime_ns, fact.st_size) for name, fact in facts)
            moment = time.monotonic()
            if self._read is None or self._read[0] != stamp or moment - self._read[1] > _READS_EVERY:
                follow_gate(self._store, self._collection, read_folder(self._folder), at=now())
                self._read = (stamp, moment)
            self._failed, self._reason = 0, self._clock_went_back()
        except (PanelError, OSError) as error:
            self._failed += 1
            self._read = None
            if self._failed >= _LOOKS_THAT_FAIL:
                self._reason = f"The study with the safety gate cannot be read ({error})"
        except Exception as error:  # whatever it is, nobody may apply anything while it lasts
            self._read = None
            self._reason = f"The safety gate cannot be told ({type(error).__name__}: {error})"
        self._last_look = time.monotonic()

    def _clock_went_back(self) -> str:
        """Return that the clock was put back since the start; a sign-off that has run out would hold again."""
        now = time.time() - time.monotonic()
        back = self._clock - now
        self._clock = max(self._clock, now)  # a computer that slept is later than it seems, which is no fault
        if back <= _BACK:
            return ""
        return f"The clock of this computer went back by {back:.0f} seconds; set it right, then start the ballots again"


THIS_COMPUTER = "127.0.0.1"
_ANSWERS_WITHIN = 1.0  # seconds
# the ballot server speaks plain HTTP, or with a certificate that is in no list: none has to be read first
_PLAINLY: dict[str, Any] = {"verify": False, "trust_env": False, "follow_redirects": False}
_MOST_WAITING = 512  # connections that may wait to be taken
_ANY_OTHER = ("192.0.2.1", 9)  # an address for documents (RFC 5737): nothing is sent there, only a route is looked up
_FIREWALL = (
    "If a phone on the same network does not reach it, the firewall of this computer blocks port {port}: allow it for "
    "private networks, and make sure that the phone is in the same network and not on mobile data."
)
_NOT_ENCRYPTED = (
    " What phones send is not encrypted: use the laboratory's own network, never a public one, or start it with --tls."
)


def lan_address() -> str:
    """Return the address of this computer in the local network; StudyError if it is in none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_ANY_OTHER)
            found = str(probe.getsockname()[0])
        except OSError as error:
            raise StudyError(
                "This computer is in no network that phones could reach; join the laboratory's."
            ) from error
    return found


def _host_to_bind(host: str, *, lan: bool) -> str:
    """Return the one address to listen at; StudyError if it is another than this computer's own without `lan`."""
    if lan:
        return lan_address()
    try:
        own = host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        own = False
    if not own:
        raise StudyError(
            f"Ballots answer on this computer only; say that the local network may reach them, not {host}."
        )
    return THIS_COMPUTER if host == "localhost" else host


def firewall_hint(port: int, *, tls: bool = False) -> str:
    """Return what to do if phones do not reach the server."""
    return _FIREWALL.format(port=port) + ("" if tls else _NOT_ENCRYPTED)


def ballots_at(address: str) -> bool:
    """Return True if a ballot server answers at this address."""
    page = f"{address}/b/"
    return _answer(page, 404, NO_BALLOT) is True or _answer(page, 401, ASKED_FIRST) is True


def link_opens(link: str) -> bool:
    """Return False if a server answers that this link opens no ballot; True also if none answers."""
    return _answer(link, 404, NO_BALLOT) is not True


def _answer(link: str, status: int, words: str) -> bool | None:
    """Return whether a page has a status and holds these words; None if nobody answers."""
    try:
        found = httpx.get(link, timeout=_ANSWERS_WITHIN, **_PLAINLY)
    except (httpx.HTTPError, httpx.InvalidURL):
        return None
    return found.status_code == status and words in found.text


def _listening_socket(host: str, port: int) -> socket.socket:
    """Return a socket that listens there; port 0 takes any free one. StudyError if the port may not be used."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # the protocol is named so that asyncio sends small packets at once: without it each page takes 40 ms longer
    listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if os.name == "posix":
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
        listening.listen(_MOST_WAITING)
    except (OSError, OverflowError) as error:
        listening.close()
        raise StudyError(f"Port {port} at {host} cannot be used ({error}). Choose another port.") from error
    return listening
