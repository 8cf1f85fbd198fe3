"""Pictures in templates: `{{ picture(description) }}` draws one into the page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import g
from markupsafe import Markup

from quizsvc.pictures import draw, table

__all__ = ["picture", "rows"]


def picture(description: Mapping[str, Any]) -> Markup:
    """The SVG of a picture description; its ids are its own also where a page shows the same picture twice."""
    g.pictures_drawn = getattr(g, "pictures_drawn", 0) + 1
    return Markup(draw(description, name=f"pic{g.pictures_drawn}"))


def rows(description: Mapping[str, Any]) -> tuple[tuple[str, ...], ...]:
    """What a picture shows, as rows of a table with the heading first."""
    return table(description)
