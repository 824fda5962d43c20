"""What stands before every route: who may ask, how much may be sent, and what each answer carries along."""

from __future__ import annotations

from typing import Final
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboards import addresses
from dashboards.pages import CONTENT_SECURITY_POLICY

LOOPBACK_NAMES: Final = frozenset({"127.0.0.1", "localhost", "::1"})
LARGEST_BODY_BYTES: Final = 64 * 1024
"""The largest thing anybody sends is a form with a note; but for documents."""
LARGEST_UPLOAD_BYTES: Final = 32_000_000
"""More than a document may have, so that one a little too large is refused beside its field."""
UPLOADS: Final = frozenset({addresses.DOCUMENTS, "/api/documents"})
SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})
HEADERS: Final = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Nothing goes to other places; with "no-referrer" a browser sends our own forms with the origin "null"
    # (WHATWG Fetch, "append a request Origin header"), and they would be refused as foreign.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=(), serial=()",
}


_TOO_LARGE: Final = PlainTextResponse("the body is too large\n", 413)


class Guard:
    """Refuses foreign hosts (400), foreign pages that post (403) and large bodies (413).

    Any web page a person visits can send requests to this machine, and a name that a stranger owns can be
    made to point at it: so the host asked for must be this machine's, and what changes something must come
    from a page of ours or from a program that is no browser.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(HEADERS)
            await send(message)

        most_bytes = LARGEST_UPLOAD_BYTES if scope["path"] in UPLOADS else LARGEST_BODY_BYTES
        refusal = _refusal(scope["method"], headers, most_bytes)
        if refusal is not None:
            await refusal(scope, receive, send_with_headers)
            return
        if scope["method"] not in SAFE_METHODS:
            body = await _whole_body(receive, most_bytes)
            if body is None:
                await _TOO_LARGE(scope, receive, send_with_headers)
                return
            receive = _played_again(body, receive)
        await self._app(scope, receive, send_with_headers)


async def _whole_body(receive: Receive, most_bytes: int) -> bytes | None:
    """Return what really arrives, ``None`` once it is too much: a stated length may lie or be missing."""
    body = bytearray()
    while True:
        message = await receive()
        body += message.get("body", b"")
        if len(body) > most_bytes:
            return None
        if message["type"] == "http.disconnect" or not message.get("more_body", False):
            return bytes(body)


def _played_again(body: bytes, receive: Receive) -> Receive:
    waiting: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

    async def again() -> Message:
        return waiting.pop() if waiting else await receive()

    return again


def _refusal(method: str, headers: Headers, most_bytes: int) -> PlainTextResponse | None:
    host = headers.get("host", "")
    if _name_of(host) not in LOOPBACK_NAMES:
        return PlainTextResponse("this address is not served here\n", 400)
    if method in SAFE_METHODS:
        return None
    if int_or_zero(headers.get("content-length")) > most_bytes:
        return _TOO_LARGE
    if not _is_ours(headers, host):
        return PlainTextResponse("changes are taken from Owncurve's own pages only\n", 403)
    return None


def _is_ours(headers: Headers, host: str) -> bool:
    """Return whether a change comes from a page of ours, or from a program that is no browser."""
    origin = headers.get("origin")
    if origin is not None:
        return origin in (f"http://{host}", f"https://{host}")
    return headers.get("sec-fetch-site", "same-origin") in ("same-origin", "none")


def _name_of(host: str) -> str:
    try:
        return urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return ""


def int_or_zero(text: str | None) -> int:
    """Return a header's whole number, 0 when it is none."""
    return int(text) if text and text.isascii() and text.isdigit() else 0
