"""The cookie that holds a browser's sign-in token."""

from fastapi import Request
from fastapi.responses import Response

from app.settings import Settings


def cookie_name(settings: Settings) -> str:
    """Over https the prefix keeps other hosts and ports from setting it."""
    return "__Host-revledger" if settings.secure else "revledger"


def token_of(request: Request) -> str | None:
    token = request.cookies.get(cookie_name(request.app.state.settings))
    return token if token and len(token) <= 128 else None


def set_token(request: Request, response: Response, token: str) -> None:
    settings: Settings = request.app.state.settings
    response.set_cookie(
        cookie_name(settings),
        token,
        httponly=True,
        samesite="lax",
        secure=settings.secure,
        path="/",
        max_age=int(settings.absolute.total_seconds()),
    )


def clear_token(request: Request, response: Response) -> None:
    settings: Settings = request.app.state.settings
    response.delete_cookie(cookie_name(settings), path="/", httponly=True, samesite="lax", secure=settings.secure)
