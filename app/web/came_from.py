"""The page of ours that a request was sent from."""

from urllib.parse import urlsplit

from fastapi import Request

from app.web.address import address_of

_DOORS = ("/sign-in", "/first-run")


def came_from(request: Request) -> str | None:
    """Its path and query, as far as the browser tells; None for another site's page, a sign-in page, or the very
    address that is asked for."""
    try:
        parts = urlsplit(request.headers.get("hx-current-url") or request.headers.get("referer") or "")
    except ValueError:
        return None
    path = parts.path + (f"?{parts.query}" if parts.query else "")
    ours = parts.netloc == request.headers.get("host") and path.startswith("/") and not path.startswith("//")
    if not ours or path.startswith(_DOORS) or (request.method == "GET" and path == address_of(request)):
        return None
    return path
