"""Which requests are let in at all, and the headers on every answer.

A program on a shop PC is reached by any web page its browser opens. Three things follow:
the Host must be an address or a name that was configured (a foreign name that resolves to this machine is refused);
a write must come from our own pages; and no other page may frame ours or feed them scripts.
"""

import ipaddress
from urllib.parse import urlsplit

from starlette.types import ASGIApp, Message, Receive, Scope, Send

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'; object-src 'none'; "
    "manifest-src 'self'"
)
_HEADERS: tuple[tuple[bytes, bytes], ...] = (
    (b"content-security-policy", _POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=(), usb=(), serial=()"),
    (b"cache-control", b"no-store"),  # customers' data; assets set their own
)
_TRANSPORT_SECURITY = (b"strict-transport-security", b"max-age=31536000")


def header(scope: Scope, name: bytes) -> str | None:
    """The first header of that lower-case name."""
    return next((value.decode("latin-1") for key, value in scope["headers"] if key == name), None)


def host_allowed(host: str | None, names: frozenset[str]) -> bool:
    """Whether a Host header names this server.

    An address cannot be made to point here by someone else's name server, so any address is fine; a name must be
    one that was configured.
    """
    if not host or any(c in host for c in "/\\@?#, \t"):
        return False
    try:
        parts = urlsplit("//" + host)
        name, _port = (parts.hostname or "").lower(), parts.port  # .port raises for what is no port
    except ValueError:
        return False
    if name in names:
        return True
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def is_loopback(host: str) -> bool:
    """Whether a name or address, without a port, is this machine and nothing but it."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def can_be_overheard(scope: Scope) -> bool:
    """Whether others on the network can read along: another computer asks, and not over https."""
    host = urlsplit("//" + (header(scope, b"host") or "")).hostname or ""
    return scheme_of(scope) != "https" and not is_loopback(host)


def same_origin(scope: Scope) -> bool:
    """Whether the request comes from one of our own pages, or from a program that is no browser.

    Browsers send Sec-Fetch-Site only to https and to this machine itself, so Origin and then Referer decide on a
    plain network name. "same-site" is refused: another port of the same host is the same site.
    """
    site = header(scope, b"sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    source = header(scope, b"origin") or header(scope, b"referer")
    if source is None:
        return True
    return urlsplit(source)[:2] == (scheme_of(scope), header(scope, b"host") or "")


def scheme_of(scope: Scope) -> str:
    """The scheme that people's browsers see."""
    settings = scope["app"].state.settings if "app" in scope else None
    return "https" if settings is not None and settings.secure else str(scope["scheme"])


class Guard:
    """Outermost layer: checks Host and origin, answers HEAD as GET without the body, adds the headers."""

    def __init__(self, app: ASGIApp, *, hosts: tuple[str, ...], secure: bool) -> None:
        self.app = app
        self.names = frozenset({"localhost", *(name.lower() for name in hosts)})
        self.headers = (*_HEADERS, _TRANSPORT_SECURITY) if secure else _HEADERS

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        without_body = scope["method"] == "HEAD"
        if without_body:
            scope = {**scope, "method": "GET"}

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                given = list(message.get("headers", ()))
                have = {key.lower() for key, _ in given}
                message = {**message, "headers": given + [pair for pair in self.headers if pair[0] not in have]}
            elif without_body and message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        refusal = self._refusal(scope)
        if refusal is None:
            await self.app(scope, receive, send_with_headers)
        else:
            await _answer(*refusal, send_with_headers)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        hosts = [value for key, value in scope["headers"] if key == b"host"]
        if len(hosts) != 1 or not host_allowed(hosts[0].decode("latin-1"), self.names):
            return 421, "This name is not configured for this server. Set REVLEDGER_HOSTS, or use its IP address."
        if scope["method"] not in SAFE_METHODS and not same_origin(scope):
            return 403, "Refused: the request came from another site. Open the page here and send it again."
        return None


async def _answer(status: int, sentence: str, send: Send) -> None:
    body = sentence.encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
