"""The address that is asked for."""

from fastapi import Request


def address_of(request: Request, ending: str = "") -> str:
    """Its path, with `ending`, and query: the same thing once more, or in another form."""
    return request.url.path + ending + (f"?{request.url.query}" if request.url.query else "")
