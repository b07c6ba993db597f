"""What every answer of the server carries: no scripts but our own, no referrer, no copy kept anywhere."""

from __future__ import annotations

import secrets

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

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


class SafeHeaders:
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


def nonce_of(request: Request) -> str:
    """Return the word that the scripts and styles of this one page carry."""
    return str(request.scope.get("nonce", ""))


def too_long(request: Request, most: int) -> bool:
    """Return True if the request says that its body is larger than allowed, or gives no clear length."""
    stated = request.headers.get("content-length", "0")
    return not stated.isdecimal() or int(stated) > most
