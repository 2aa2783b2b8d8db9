"""A program that calls the API with a token."""

from datetime import UTC, datetime
from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlalchemy import Engine

from app.record import api_tokens, people
from app.record.engine import transaction


class Caller:
    """Speaks to /api/v1 as the person of a role."""

    def __init__(self, app: FastAPI, engine: Engine, role: str) -> None:
        with transaction(engine) as session:
            person = people.by_name(session, role)
            assert person is not None
            token = api_tokens.make(session, person_id=person.id, label="test", at=datetime.now(UTC))[1]
        self._client = TestClient(app, base_url="http://localhost", headers={"authorization": f"Bearer {token}"})

    def get(self, path: str, **query: Any) -> Response:
        return self._client.get(f"/api/v1{path}", params=query)

    def post(self, path: str, body: Any = None, **further: Any) -> Response:
        return self._client.post(f"/api/v1{path}", json=body, **further)

    def patch(self, path: str, body: Any) -> Response:
        return self._client.patch(f"/api/v1{path}", json=body)

    def upload(self, path: str, data: bytes, name: str = "file.csv", **fields: Any) -> Response:
        return self._client.post(f"/api/v1{path}", data=fields, files={"file": (name, data)})
