"""The record as JSON, under /api/v1."""

from fastapi import Depends
from fastapi.security import HTTPBearer

PREFIX = "/api/v1"

# Only described here; app/web/signed_in.py decides who may.
security = Depends(
    HTTPBearer(auto_error=False, description="A token from `revledger token create` or the People page.")
)
