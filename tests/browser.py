"""A test client that sends forms as our pages do."""

import secrets
from collections.abc import Mapping
from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx2 import Response


class Browser(TestClient):
    """Speaks to http://localhost and follows no redirect by itself."""

    def __init__(self, app: FastAPI) -> None:
        super().__init__(app, base_url="http://localhost", follow_redirects=False)

    def submit(
        self,
        path: str,
        data: Mapping[str, Any] | None = None,
        *,
        files: Any = None,
        key: str | None = None,
        **further: Any,
    ) -> Response:
        """POST a form with its hidden key: a new one unless given."""
        fields = {"form_key": key or secrets.token_urlsafe(18), **(data or {})}
        return self.post(path, data=fields, files=files, **further)
