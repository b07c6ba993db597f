"""Who may talk to the app? Only pages of the app itself, under its own names, opened by whoever started it.

What comes from elsewhere is refused here, before Streamlit looks at it: Streamlit would ask an outside address which
names this computer has.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from pkgutil import get_data
from typing import Any
from urllib.parse import parse_qs, quote, urlencode

from panel.app.places import addresses

_Scope = MutableMapping[str, Any]
_Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
_Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]

_OWN_NAMES = ("127.0.0.1", "localhost")
"""The names under which the app answers, with any port."""

TOKEN_FIELD = "token"  # noqa: S105  # the name of the field in the address, not the word itself
STUDY_FIELD = "study"
"""Field of the address with the path of the study in use; a reload and a second window keep it."""
# A browser takes the hash with plain line ends, whatever a checkout made of them.
_SCRIPT = (get_data("panel.app", "start/page.js") or b"").decode().replace("\r\n", "\n")
# The one script that stands in Streamlit's page itself, and ours; a test compares it with the Streamlit installed.
_OWN_SCRIPT = "'sha256-THxz9J9+wf7rhwR2YkXJoSZ13UCmYyC+3lNDv2+8ugA=' 'sha256-{}'".format(  # noqa: UP032  # too long
    base64.b64encode(hashlib.sha256(_SCRIPT.encode()).digest()).decode()
)
_POLICY = (
    "default-src 'none'; script-src 'self' {script}; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
    "font-src 'self' data:; connect-src 'self' ws://{host}; media-src 'self' blob:; worker-src 'self' blob:; "
    "manifest-src 'self'; form-action 'self'; base-uri 'none'; object-src 'none'; frame-src 'none'; "
    "frame-ancestors 'none'"
)
_HEADERS = {
    "x-frame-options": "DENY",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
_NOT_HERE = "This app answers only under its own address, on the computer on which it was started."
_NOT_YOU = "Open the app with the address that was shown where it was started; it holds a word that opens it."


class FrontDoor:
    """Lets requests through to Streamlit, or refuses them.

    Parameters
    ----------
    app
        Streamlit, as an ASGI application.
    token
        The word in the address that opens the app, exchanged for a cookie; without one anybody on this computer may
        open it.
    """

    def __init__(self, app: Any, token: str = "") -> None:
        self._app = app
        self._token = token
        self._pass = secrets.token_urlsafe(32)

    async def __call__(self, scope: _Scope, receive: _Receive, send: _Send) -> None:
        """Handle one request or connection."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]}
        host = headers.get("host", "")
        if not _comes_from_own_page(scope, host):
            await _refuse(scope, send, _NOT_HERE)
        elif self._brings_token(scope):
            await self._hand_out_pass(scope, send, host)
        elif self._token and not any(
            hmac.compare_digest(found, self._pass.encode()) for found in _cookies(headers, _cookie_name(host))
        ):
            await _refuse(scope, send, _NOT_YOU)
        elif _is_page(scope):
            await self._page(scope, receive, _with_headers(send, host))
        else:
            await self._app(scope, receive, _with_headers(send, host))

    async def _page(self, scope: _Scope, receive: _Receive, send: _Send) -> None:
        """Hand out Streamlit's page under our name; an address that no place has leads to the first one."""
        if scope["path"].strip("/") not in addresses().values():
            asked = b"?" + scope["query_string"] if scope["query_string"] else b""
            await _answer(send, 303, "", [(b"location", b"/" + asked)])
            return
        plainly = [(name, value) for name, value in scope["headers"] if name.lower() != b"accept-encoding"]
        started: MutableMapping[str, Any] = {}
        body = b""

        async def changing(message: MutableMapping[str, Any]) -> None:
            nonlocal body
            if message["type"] == "http.response.start":
                started.update(message)
                return
            body += message.get("body", b"")
            if not message.get("more_body"):
                await _changed_page(send, started, body)

        await self._app({**scope, "headers": plainly}, receive, changing)

    def _brings_token(self, scope: _Scope) -> bool:
        if not self._token or scope["type"] != "http" or scope["method"] != "GET":
            return False
        given = parse_qs(scope["query_string"].decode("latin-1")).get(TOKEN_FIELD, [""])[0]
        return hmac.compare_digest(given.encode(), self._token.encode())

    async def _hand_out_pass(self, scope: _Scope, send: _Send, host: str) -> None:
        """Give the cookie and the same page without the word, so that it stays in no list of visited pages."""
        cookie = f"{_cookie_name(host)}={self._pass}; Path=/; HttpOnly; SameSite=Strict"
        own_path = "/" + quote(scope["path"].lstrip("/\\"))  # two strokes would lead to another computer
        if study := parse_qs(scope["query_string"].decode("latin-1")).get(STUDY_FIELD, [""])[0]:
            own_path += f"?{urlencode({STUDY_FIELD: study})}"
        more = [(b"set-cookie", cookie.encode()), (b"location", own_path.encode())]
        await _answer(send, 303, "", more)


def _is_page(scope: _Scope) -> bool:
    """Return whether somebody opens a place of the app; what pages load has a dot or a known folder in its path."""
    path = scope["path"]
    return scope["type"] == "http" and scope["method"] == "GET" and "." not in path and path.count("/") == 1


async def _changed_page(send: _Send, started: MutableMapping[str, Any], body: bytes) -> None:
    """Send the page with our name and our script in it."""
    body = body.replace(b"<title>Streamlit</title>", b"<title>Afterfeel</title>")
    body = body.replace(b"<head>", f"<head><script>{_SCRIPT}</script>".encode(), 1)
    kept = [pair for pair in started["headers"] if pair[0].lower() not in (b"content-length", b"etag")]
    await send({**started, "headers": [*kept, (b"content-length", str(len(body)).encode())]})
    await send({"type": "http.response.body", "body": body})


def _comes_from_own_page(scope: _Scope, host: str) -> bool:
    """Return False for another name (a page that had its name pointed at this computer) or a page from elsewhere."""
    hosts = [value for name, value in scope["headers"] if name.lower() == b"host"]
    origins = [value.decode("latin-1") for name, value in scope["headers"] if name.lower() == b"origin"]
    return len(hosts) == 1 and _is_own(host) and all(one in (f"http://{host}", f"https://{host}") for one in origins)


def _is_own(host: str) -> bool:
    name, colon, port = host.partition(":")
    return name.lower() in _OWN_NAMES and (not colon or port.isdecimal())


def _cookie_name(host: str) -> str:
    """Return a name with the port in it: cookies do not tell ports apart, and two apps may run at once."""
    return f"afterfeel_{host.partition(':')[2] or '80'}"


def _cookies(headers: dict[str, str], name: str) -> list[bytes]:
    """Return the values of a cookie; those of other programs on this computer come along, well formed or not."""
    pairs = (part.partition("=") for part in headers.get("cookie", "").split(";"))
    return [value.strip().encode() for found, _, value in pairs if found.strip() == name]


def _with_headers(send: _Send, host: str) -> _Send:
    """Return a `send` that puts the protecting headers on every answer."""
    own = {**_HEADERS, "content-security-policy": _POLICY.format(script=_OWN_SCRIPT, host=host)}
    added = [(name.encode(), value.encode()) for name, value in own.items()]

    async def sending(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            kept = [pair for pair in message.get("headers", []) if pair[0].decode("latin-1").lower() not in own]
            message["headers"] = [*kept, *added]
        await send(message)

    return sending


async def _refuse(scope: _Scope, send: _Send, words: str) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    await _answer(send, 403, words, [])


async def _answer(send: _Send, status: int, words: str, more: list[tuple[bytes, bytes]]) -> None:
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"cache-control", b"no-store"), *more]
    headers += [(name.encode(), value.encode()) for name, value in _HEADERS.items()]
    headers.append((b"content-security-policy", b"default-src 'none'; frame-ancestors 'none'"))
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": words.encode()})
