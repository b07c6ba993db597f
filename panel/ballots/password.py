"""Is a password asked for before a ballot is shown? One for everybody in the room, beside the personal links."""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Callable
from http.cookies import CookieError, SimpleCookie

from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from panel.ballots import pages
from panel.ballots.answers import MOST_BYTES, form_fields
from panel.errors import StudyError

SHORTEST = 8
_COOKIE = "ballots"
_FIELD = "password"


def refuse_short(password: str) -> None:
    """Raise StudyError for a password that is soon guessed."""
    if len(password) < SHORTEST:
        raise StudyError(f"The password is too short; take {SHORTEST} characters or more.")


class Password:
    """Lets through who brought the password once on this phone; asks the others, whatever page they want.

    Parameters
    ----------
    app
        The ballot server.
    password
        What is asked for.
    too_often
        Says of an address whether it has tried too often.
    secure
        True if phones talk to the server through TLS.
    """

    def __init__(self, app: ASGIApp, password: str, too_often: Callable[[str], bool], *, secure: bool = False) -> None:
        self._app, self._password, self._too_often, self._secure = app, password, too_often, secure
        # the same after a new start, so that a phone in the middle of a session is not asked again
        self._pass = hashlib.scrypt(password.encode(), salt=b"afterfeel ballots", n=2**14, r=8, p=1, dklen=24).hex()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http" or self._has_pass(request := Request(scope, receive)):
            await self._app(scope, receive, send)
            return
        await (await self._asked(request))(scope, receive, send)

    def _has_pass(self, request: Request) -> bool:
        try:
            found = SimpleCookie(request.headers.get("cookie", "")).get(_COOKIE)
        except CookieError:
            return False
        return found is not None and hmac.compare_digest(found.value.encode(), self._pass.encode())

    async def _asked(self, request: Request) -> Response:
        """Return the page that asks; if the password came with the request, the page that was wanted, and the pass."""
        nonce = str(request.scope.get("nonce", ""))
        fields = await _small_form(request) if request.method == "POST" else {}
        if _FIELD not in fields:
            lost = pages.NOT_KEPT_BEFORE if request.method == "POST" else ""
            return HTMLResponse(pages.password_page(lost, nonce), 401)
        if self._too_often(request.client.host if request.client else ""):
            return HTMLResponse(pages.password_page(pages.TOO_OFTEN_TRIED, nonce), 429)
        if not hmac.compare_digest(fields[_FIELD].strip().encode(), self._password.encode()):
            return HTMLResponse(pages.password_page(pages.NOT_THE_WORD, nonce), 401)
        onward = RedirectResponse("/" + request.url.path.lstrip("/\\"), 303)
        onward.set_cookie(_COOKIE, self._pass, path="/", httponly=True, samesite="strict", secure=self._secure)
        return onward


async def _small_form(request: Request) -> dict[str, str]:
    body = bytearray()
    try:
        async for part in request.stream():
            body += part
            if len(body) > MOST_BYTES:
                return {}
        return form_fields(bytes(body))
    except (ClientDisconnect, StudyError):
        return {}
