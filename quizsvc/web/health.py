"""`/health`, for whoever watches the installation."""

from __future__ import annotations

from flask import Blueprint, Response, jsonify

from quizsvc.services import health as state
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("health", __name__)


@blueprint.get("/health")
def page() -> Response:
    """Database, migration and bank in one word each; 503 where one of them is not as it should be."""
    seen = state.health(wired().db)
    response = jsonify(ok=seen.ok, database=seen.database, migration=seen.migration, bank=seen.bank)
    response.status_code = 200 if seen.ok else 503
    return response
