"""The JSON beside a page: its address, where the program has one."""

from fastapi import Request
from fastapi.routing import iter_route_contexts

from app.web.address import address_of

_ENDINGS = (".json", ".{ending}")


def json_beside(request: Request) -> str | None:
    """Where the same thing as this page is had as JSON, asked for in the same words; None for a page without."""
    pattern = getattr(request.scope.get("route"), "path", None)
    if request.method != "GET" or pattern is None or pattern not in _pages_with_json(request):
        return None
    return address_of(request, ".json")


def _pages_with_json(request: Request) -> frozenset[str]:
    """Patterns of the addresses that also answer with an ending; the routes stay what they are while the program runs,
    so they are walked once."""
    state = request.app.state
    if not hasattr(state, "pages_with_json"):
        paths = [one.path or "" for one in iter_route_contexts(request.app.routes)]
        state.pages_with_json = frozenset(
            path.removesuffix(ending) for path in paths for ending in _ENDINGS if path.endswith(ending)
        )
    found: frozenset[str] = state.pages_with_json
    return found
