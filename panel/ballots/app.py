"""The server that phones talk to: it reads servings and appends answers, and knows no prototype names.

Every page is behind a personal token. A wrong token, a revoked one and a mistyped address get the same plain page.
"""

from __future__ import annotations

import re
import secrets
import threading
import time
from collections import deque
from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from anyio import CapacityLimiter, to_thread
from starlette.applications import Starlette
from starlette.convertors import IntegerConvertor, register_url_convertor
from starlette.datastructures import MutableHeaders
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from panel.ballots import pages
from panel.ballots.answers import MOST_BYTES, TOO_MUCH, Step, next_step, posted_form, read_marks, steps_of
from panel.ballots.protection import Password
from panel.errors import StudyError
from panel.store.ballot import Ballot, Known, ballot_of, find_ballot, last_sent
from panel.store.database import Connection, Store
from panel.store.database import now as this_moment
from panel.store.events import Entry, add_entries

_SHORTEST = 8  # signs of a password
_NO_PAGE = "There is no such page."
_NOT_OPEN = "The ballots are not open yet. Wait for the panel leader; do not apply anything."
_CLOSED = "The ballots are closed. {reason}. Tell the panel leader; do not apply anything."
_SESSION_OVER = "This session is over. Thank you."
_STOPPED = "Your ballot has stopped because you reported a reaction. Talk to the panel leader before anything else."
_HELD = "This sample is held back: do not use it, wash it off if it is on your skin. Go back and take the next one."
_OLDER_PAGE = (
    "This was answered later on another page or phone; that newer answer counts, and what you just sent does not "
    "replace it. Use one phone only. To change an answer open the sample again."
)
_TOO_OFTEN = (
    "That was very often in a short time; this one was not kept. Wait a few minutes, then send it again. If your skin "
    "reacts, talk to the panel leader now."
)

_HEADERS = {
    "cache-control": "no-store",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "x-robots-tag": "noindex",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
_POLICY = (
    "default-src 'none'; script-src 'nonce-{nonce}'; style-src 'nonce-{nonce}'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)


class _SafeHeaders:
    """Puts the protecting headers on every answer, also on refusals and errors."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        nonce = secrets.token_urlsafe(12)
        scope["nonce"] = nonce

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(_HEADERS)
                headers["content-security-policy"] = _POLICY.format(nonce=nonce)
            await send(message)

        await self.app(scope, receive, with_headers)


class _Often:
    """Counts how often something was done with one link within a while, and says when it is too often."""

    def __init__(self, most: int, seconds: float, now: Callable[[], float] = time.monotonic) -> None:
        self._most, self._seconds, self._now = most, seconds, now
        self._done: dict[str, deque[float]] = {}
        self._lock = threading.Lock()

    def too_often(self, link: str) -> bool:
        """Count one more; return True if it is one too many, which is not counted."""
        moment = self._now()
        with self._lock:
            for other in [name for name, done in self._done.items() if done[-1] < moment - self._seconds]:
                del self._done[other]
            done = self._done.setdefault(link, deque())
            while done and done[0] < moment - self._seconds:
                done.popleft()
            if len(done) >= self._most:
                return True
            done.append(moment)
            return False


def _nonce_of(request: Request) -> str:
    """Return the word that the scripts and styles of this one page carry."""
    return str(request.scope.get("nonce", ""))


def _too_long(request: Request, most: int) -> bool:
    """Return True if the request says that its body is larger than allowed, or gives no clear length."""
    stated = request.headers.get("content-length", "0")
    if "transfer-encoding" in request.headers and "content-length" in request.headers:
        return True  # two lengths: what stands between may have taken the other one (RFC 9112, 6.3)
    return not stated.isdecimal() or int(stated) > most


class _Place(IntegerConvertor):
    """A number in an address that can be the place of a sample or a stage; Python refuses to read very long ones."""

    regex = "[0-9]{1,6}"


register_url_convertor("place", _Place())

Clock = Callable[[], datetime]
_Answers = Callable[[Request, Mapping[str, str] | Response], Response]

_LONGEST_REPORT = 2000  # characters of what somebody writes about a reaction
_AT_ONCE = 40
"""Requests that are worked on at once; the others wait in the order in which they came. Ballots that arrive together
share a transaction: more at once means fewer of them, but more threads (40 was the best measured on two processors)."""


_MOST_COMMENTS, _MOST_REACTIONS, _WHILE = 60, 10, 600.0
"""Comments and reactions that one link may send within so many seconds: far more than anybody writes at a session."""


_MOST_TRIES = 30
"""Passwords that one address may try in that time; several phones may share an address."""

_MOST_PHONES = 5
"""Phones of one link that are written down; a browser that keeps no cookie looks like a new one each time."""

_PHONE = "phone"
_PHONE_NAME = re.compile("[0-9a-f]{8}")


def ballot_app(
    store: Store,
    *,
    hosts: Sequence[str] = ("127.0.0.1", "localhost"),
    clock: Clock = this_moment,
    closed: Callable[[], str] = lambda: "",
    password: str = "",
    secure: bool = False,
) -> Starlette:
    """Return the ballot server as an ASGI application.

    Parameters
    ----------
    store
        The open record of ballots.
    hosts
        Names under which the server may be addressed; others are refused.
    clock
        Gives the time; a rehearsal has one that runs faster.
    closed
        Says why no ballot may be answered now, whatever the record says; empty if there is no such reason.
    password
        Asked for once on each phone; nothing is asked if empty.
    secure
        True if phones talk to the server through TLS.
    """
    server = _Server(store, clock, closed, CapacityLimiter(_AT_ONCE), secure)
    routes = [
        Route("/b/{token}", server.answering(server.overview), methods=["GET"]),
        Route("/b/{token}/reaction", server.answering(server.reaction), methods=["GET", "POST"]),
        Route("/b/{token}/{position:place}/{stage:place}", server.answering(server.step), methods=["GET", "POST"]),
    ]
    middleware = [Middleware(_SafeHeaders), Middleware(TrustedHostMiddleware, allowed_hosts=list(hosts))]
    if password:
        if len(password) < _SHORTEST:
            raise StudyError(f"The password is too short; take {_SHORTEST} characters or more.")
        tried = _Often(_MOST_TRIES, _WHILE)
        middleware.append(Middleware(Password, password=password, too_often=tried.too_often, secure=secure))
    handlers = {HTTPException: _no_page, Exception: _broken}
    app = Starlette(routes=routes, middleware=middleware, exception_handlers=handlers)
    app.router.redirect_slashes = False  # a mistyped address gets the plain page like any other
    return app


@dataclass(frozen=True, eq=False, slots=True)
class _Server:
    """The pages, each answering for the ballot that its token opens."""

    store: Store
    clock: Clock
    closed: Callable[[], str]
    limiter: CapacityLimiter
    secure: bool = False
    known: Known = field(default_factory=dict)
    comments: _Often = field(default_factory=lambda: _Often(_MOST_COMMENTS, _WHILE))
    reactions: _Often = field(default_factory=lambda: _Often(_MOST_REACTIONS, _WHILE))

    def answering(self, page: _Answers) -> Callable[[Request], Awaitable[Response]]:
        """Return what answers requests with a page, in a thread of its own."""

        async def answer(request: Request) -> Response:
            return await to_thread.run_sync(page, request, await _fields(request), limiter=self.limiter)

        return answer

    def overview(self, request: Request, _fields: Mapping[str, str] | Response) -> Response:
        found = self._ballot(request)
        if isinstance(found, Response):
            return found
        return self._on_phone(
            request, found, lambda seen: pages.overview_page(seen, _path(request), self.clock(), _nonce_of(request))
        )

    def _on_phone(self, request: Request, ballot: Ballot, page: Callable[[Ballot], str]) -> Response:
        """Return a page of a ballot, and write down on which phone the link was opened: a second one is told."""
        known = request.cookies.get(_PHONE, "")
        phone = known if _PHONE_NAME.fullmatch(known) else secrets.token_hex(4)
        if phone not in ballot.phones and len(ballot.phones) < _MOST_PHONES:
            key = f"phone {ballot.collection} {ballot.session} {ballot.assessor} {phone}"
            try:
                self._add(ballot, Entry("shown", text=phone), key, self.clock(), who="")
            except StudyError as error:
                return _plain(request, str(error), 503)
            ballot = replace(ballot, phones=ballot.phones | {phone})
        answer = _page(page(ballot))
        if phone != known:
            answer.set_cookie(_PHONE, phone, path="/b/", httponly=True, samesite="strict", secure=self.secure)
        return answer

    def step(self, request: Request, fields: Mapping[str, str] | Response) -> Response:
        if isinstance(fields, Response):
            return self._refused(request, fields)
        if request.method == "POST":
            return self._take(request, fields)
        found = self._ballot(request)
        if isinstance(found, Response):
            return found
        step = _step_at(request, steps_of(found))
        return step if isinstance(step, Response) else self._show(request, found, step)

    def _show(self, request: Request, ballot: Ballot, step: Step) -> Response:
        moment = self.clock()
        key = (step.serving.serving, str(step.number))
        if key not in ballot.shown:
            entry = Entry("shown", step.serving.serving, text=str(step.number))
            try:
                self._add(ballot, entry, f"shown {ballot.collection} {key[0]} {key[1]}", moment, who=ballot.assessor)
            except StudyError as error:
                return _plain(request, str(error), 503)
        asked_again = "open" in request.query_params
        return self._on_phone(
            request,
            ballot,
            lambda seen: pages.step_page(
                seen, step, _path(request), moment, _nonce_of(request), incomplete=asked_again
            ),
        )

    def _take(self, request: Request, fields: Mapping[str, str]) -> Response:
        """Keep what was marked; then the next page, or the same one with what is unclear or has no mark."""
        moment = self.clock()
        if fields.get("comment", "").strip() and self.comments.too_often(request.path_params["token"]):
            return self._refused(request, _plain(request, _TOO_OFTEN, 429))
        try:
            kept = self.store.add(lambda connection: _keep(connection, request, fields, moment, self))
        except StudyError as error:
            return _page(pages.page_of("not_kept.html", _nonce_of(request), words=str(error), fields=dict(fields)), 503)
        if isinstance(kept, Response):
            return kept
        ballot, step, entries, unclear = kept
        after = ballot.after(entries, moment)
        steps = steps_of(after)
        again = next(s for s in steps if (s.serving, s.number) == (step.serving, step.number))
        if unclear:
            page = pages.step_page(after, again, _path(request), moment, _nonce_of(request), unclear=unclear)
            return _page(page, 422)
        if not again.finished:
            asked = "" if fields.get("act") == "rubbed" else "?open=1"
            return RedirectResponse(f"{_path(request)}/{step.serving.position}/{step.number}{asked}", 303)
        following = next_step(after, steps, moment)
        onward = "" if following is None else f"/{following.serving.position}/{following.number}"
        return RedirectResponse(f"{_path(request)}{onward}", 303)

    def reaction(self, request: Request, fields: Mapping[str, str] | Response) -> Response:
        """Show the page on which a reaction is reported, or keep the report and stop the ballot.

        Skin can react at any time: also after the session, and while the safety gate is closed again.
        """
        if isinstance(fields, Response):
            return self._refused(request, fields)
        try:
            found = find_ballot(self.store, request.path_params["token"], self.known)
            if found is None:
                return _plain(request, pages.NO_BALLOT, 404)
            if request.method != "POST":
                asks = {"ballot": found, "ballot_path": _path(request), "submission": secrets.token_urlsafe(16)}
                return _page(pages.page_of("reaction.html", _nonce_of(request), **asks))
            if self.reactions.too_often(request.path_params["token"]):
                return _plain(request, _TOO_OFTEN, 429)
            serving = _opened_sample(found, request.query_params.get("sample", ""))
            entry = Entry("reaction", serving, text=fields.get("reaction", "").strip()[:_LONGEST_REPORT])
            submission = _submission(fields) or secrets.token_urlsafe(16)
            key = f"reaction {found.collection} {found.assessor} {submission}"
            self._add(found, entry, key, self.clock(), who=found.assessor)
        except StudyError as error:
            return _page(pages.page_of("not_kept.html", _nonce_of(request), words=str(error), fields=dict(fields)), 503)
        return RedirectResponse(_path(request), 303)

    def _add(self, ballot: Ballot, entry: Entry, submission: str, at: datetime, *, who: str) -> None:
        self.store.add(lambda open_: add_entries(open_, [entry], ballot.place, submission=submission, at=at, who=who))

    def _ballot(self, request: Request) -> Ballot | Response:
        """Return the ballot of the token, or the page that is shown instead of it."""
        try:
            ballot = find_ballot(self.store, request.path_params["token"], self.known)
        except StudyError as error:
            return _plain(request, str(error), 503)
        return _opened(request, ballot, self.closed())

    def _refused(self, request: Request, refusal: Response) -> Response:
        """Return the refusal of a form, to somebody with a token; to others the page that everybody gets."""
        found = self._ballot(request)
        return found if isinstance(found, Response) else refusal


def _keep(
    connection: Connection, request: Request, fields: Mapping[str, str], moment: datetime, server: _Server
) -> tuple[Ballot, Step, list[Entry], dict[str, str]] | Response:
    """Look the ballot up and keep what was marked, in one transaction: nothing can change in between."""
    found = _opened(request, ballot_of(connection, request.path_params["token"], server.known), server.closed())
    if isinstance(found, Response):
        return found
    steps = steps_of(found)
    step = _step_at(request, steps)
    if isinstance(step, Response):
        return step
    entries, unclear = read_marks(fields, step, moment, out_of_order=_is_out_of_order(found, steps, step))
    submission = _submission(fields)
    if _is_older(connection, found, step, entries, submission):
        return _plain(request, _OLDER_PAGE, 409)
    if entries:
        # the collection and the serving are part of the identifier: nobody can block or touch what another one sends
        page = f"page {found.collection} {step.serving.serving} {step.number}"
        key = f"{page} {submission or secrets.token_urlsafe(16)}"
        add_entries(connection, entries, found.place, submission=key, at=moment, who=found.assessor, may_come_late=True)
    return found, step, entries, unclear


def _is_out_of_order(ballot: Ballot, steps: Sequence[Step], step: Step) -> bool:
    """Return True if a sample before this one was not begun, or a stage before it has no answer at all.

    The assessor may have had a reason, so it is kept, with a mark: what was felt before colours what is felt after.
    """
    begun = {serving for serving, _ in ballot.given} | set(ballot.rubbing_ended)
    earlier = {s.serving.serving for s in steps if s.serving.position < step.serving.position and not s.held}
    own = [s for s in steps if s.serving == step.serving and s.number < step.number]
    return bool(earlier - begun) or any(s.questions == s.left for s in own)


def _submission(fields: Mapping[str, str]) -> str:
    """Return the identifier that a page was made with; empty if it carries none."""
    return fields.get("submission", "")[:64]


def _is_older(connection: Connection, ballot: Ballot, step: Step, entries: Iterable[Entry], submission: str) -> bool:
    """Return True if something on this page was answered since from a page that was made later."""
    made = pages.made_at(submission)
    again = {e.attribute for e in entries if (step.serving.serving, e.attribute) in ballot.given}
    if not made or not again:
        return False
    return any(
        min(pages.made_at(sent), int(at.timestamp() * 1000)) > made  # no page was made after it was sent
        for attribute, (sent, at) in last_sent(connection, step.serving.serving).items()
        if attribute in again
    )


def _opened_sample(ballot: Ballot, position: str) -> int | None:
    """Return the sample at a position if the assessor opened it: nobody holds back what she never had."""
    had = {serving for serving, _ in (*ballot.shown, *ballot.given)} | set(ballot.rubbing_ended)
    return next((s.serving for s in ballot.servings if str(s.position) == position and s.serving in had), None)


def _opened(request: Request, ballot: Ballot | None, closed: str) -> Ballot | Response:
    """Return a ballot that may be answered now, or the page that is shown instead of it."""
    if ballot is None:
        return _plain(request, pages.NO_BALLOT, 404)
    if not (ballot.safety_signed or ballot.rehearsal):
        return _plain(request, _NOT_OPEN, 403)
    if closed:
        return _plain(request, _CLOSED.format(reason=closed), 403)
    if ballot.stopped:
        return _plain(request, _STOPPED, 403)
    return _plain(request, _SESSION_OVER, 403) if ballot.locked else ballot


def _step_at(request: Request, steps: Sequence[Step]) -> Step | Response:
    """Return the step of the address, or the page that is shown instead of it."""
    place = (request.path_params["position"], request.path_params["stage"])
    step = next((s for s in steps if (s.serving.position, s.number) == place), None)
    if step is None:
        return _plain(request, _NO_PAGE, 404)
    return _plain(request, _HELD, 403) if step.held else step


async def _fields(request: Request) -> Mapping[str, str] | Response:
    """Return the fields of a posted form, or the page that refuses one that is too large."""
    if request.method != "POST":
        return {}
    if _too_long(request, MOST_BYTES):
        return _plain(request, TOO_MUCH, 413)
    try:
        return await posted_form(request)
    except ClientDisconnect:  # a phone out of reach: nobody is there to be told, and nothing was whole
        return _plain(request, _NO_PAGE, 400)
    except StudyError as error:
        return _plain(request, str(error), 413)


def _path(request: Request) -> str:
    return f"/b/{request.path_params['token']}"


def _page(html: str, status: int = 200) -> Response:
    return HTMLResponse(html, status)


def _plain(request: Request, words: str, status: int) -> Response:
    return _page(pages.page_of("plain.html", _nonce_of(request), words=words), status)


async def _no_page(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 404
    words = pages.NO_BALLOT if status == 404 else _NO_PAGE
    return _plain(request, words, status)


async def _broken(request: Request, _error: Exception) -> Response:
    return _plain(request, "Something went wrong; tell the panel leader. What you sent may not be kept.", 500)
