"""Nobody sends a body before they are signed in.

A form's files are kept aside while they arrive, and only then does a route ask who sent them. Whoever reaches the
port could so fill the disk without an account. What comes with neither a browser's token nor a bearer token is
answered before its body is read; for a body that may be large, the token must hold too.
"""

from datetime import UTC, datetime

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.types import ASGIApp, Receive, Scope, Send

from app.errors import NotSignedIn
from app.record.engine import reading
from app.web.cookie import token_of
from app.web.errors import answer
from app.web.guard import SAFE_METHODS, header
from app.web.signed_in import find_person
from app.web.uploads import BODY_LIMIT

# What people send to become signed in, and to stop being so: small forms, held to the limit of every form.
_OPEN = ("/sign-in", "/sign-out", "/first-run")


class SignInFirst:
    """Answers a request whose body nobody stands behind; everything else goes on."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and _is_guarded(scope):
            request = Request(scope)
            if not await _stands_behind(request):
                response = await run_in_threadpool(answer, request, NotSignedIn("Sign in to go on."))
                await response(scope, receive, send)
                return
        await self.app(scope, receive, send)


def _is_guarded(scope: Scope) -> bool:
    path = scope["path"]
    is_open = path in _OPEN or path.startswith("/sign-in/link/")
    return scope["method"] not in SAFE_METHODS and not is_open and _length(scope) != 0


def _length(scope: Scope) -> int | None:
    """The declared length of the body in bytes; None where it comes in chunks or the header is no number."""
    declared = header(scope, b"content-length")
    if declared is None:
        return 0 if header(scope, b"transfer-encoding") is None else None
    return int(declared) if declared.isascii() and declared.isdigit() else None


async def _stands_behind(request: Request) -> bool:
    token = request.headers.get("authorization") if request.url.path.startswith("/api/") else token_of(request)
    if not token:
        return False
    length = _length(request.scope)
    if length is not None and length <= BODY_LIMIT:
        return True  # small enough for the route to ask
    return await run_in_threadpool(_holds, request)


def _holds(request: Request) -> bool:
    with reading(request.app.state.engine) as session:
        return find_person(request, session, datetime.now(UTC))[0] is not None
