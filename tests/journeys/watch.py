"""What a browser complains of while a page is used."""

import re

from playwright.sync_api import ConsoleMessage, Page, Request, Response

# Plotly's heat map tries to write a style that the policy refuses; it stands without.
# A request that a browser drops because its page is left is no fault; any other that fails is told by its own event.
_TOLERATED = ("inline style", "htmx:afterRequest", "htmx:sendError", "htmx:sendAbort")
_DROPPED = "net::ERR_ABORTED"


class Watch:
    """Collects console errors, script errors, refused or failed answers, and requests that would leave the machine."""

    def __init__(self, page: Page, base: str) -> None:
        self.complaints: list[str] = []
        self._base = base
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.complaints.append(f"script: {error}"))
        page.on("request", self._request)
        page.on("response", self._response)
        page.on("requestfailed", self._failed)

    def _console(self, message: ConsoleMessage) -> None:
        # A refused form answers 403, 409 or 422 with its page: the browser notes an error, people read the page.
        refused = re.search(r"^Failed to load resource: .* status of (403|409|422)", message.text)
        tolerated = any(words in message.text for words in _TOLERATED)
        if message.type == "error" and not tolerated and not refused:
            self.complaints.append(f"console: {message.text}")

    def _request(self, request: Request) -> None:
        if not request.url.startswith((self._base, "data:", "blob:", "about:")):
            self.complaints.append(f"leaves the machine: {request.url}")

    def _response(self, response: Response) -> None:
        if response.status >= 500 or response.status == 404:
            self.complaints.append(f"{response.status}: {response.url}")

    def _failed(self, request: Request) -> None:
        if request.failure != _DROPPED:
            self.complaints.append(f"{request.failure}: {request.url}")
