"""Markdown to HTML: the CommonMark subset that bank text and handbook may use.

Raw HTML and images are off. Links lead to `#section`, `/path` of this service, or https; any other stays text.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from markdown_it import MarkdownIt
from markupsafe import Markup, escape

from quizsvc.services.handbook_figures import MARKER

__all__ = ["figured", "inline", "page", "text"]

_LONGEST = 20_000  # characters; nested brackets cost more than linear time


def _may_link(address: str) -> bool:
    return bool(re.match(r"#|/(?![/\\]|%5c)|https://", address, re.IGNORECASE))


def _renderer(*, headings: bool) -> MarkdownIt:
    made = MarkdownIt("commonmark", {"html": False}).disable("image")
    if not headings:
        made.disable(["heading", "lheading"])
    made.validateLink = _may_link  # type: ignore[method-assign, assignment]
    return made


_TEXT = _renderer(headings=False)
_PAGE = _renderer(headings=True)


@lru_cache(maxsize=2048)
def text(source: str) -> Markup:
    """Paragraphs, lists, emphasis, code and links; no headings."""
    if len(source) > _LONGEST:
        return Markup("<p>{}</p>").format(source)
    return Markup(_TEXT.render(source))


@lru_cache(maxsize=2048)
def inline(source: str) -> Markup:
    """Emphasis, code and links inside one line."""
    if len(source) > _LONGEST:
        return escape(source)
    return Markup(_TEXT.renderInline(source))


_FIGURE = re.compile(rf"<p>{MARKER.pattern}</p>")


def figured(source: str, figures: Mapping[str, Markup]) -> Markup:
    """A handbook section as `page`, with figures by name in place of the paragraphs that name one.

    Raw HTML is off, so a paragraph of exactly these letters comes from such a line alone. Without its figure the
    paragraph stays as it is written.
    """
    return Markup(_FIGURE.sub(lambda match: figures.get(match.group(1), match.group(0)), page(source)))


@lru_cache(maxsize=512)
def page(source: str) -> Markup:
    """A handbook section: as `text`, and its headings shifted so that the highest one stands under the page's."""
    if len(source) > 10 * _LONGEST:
        return Markup("<p>{}</p>").format(source)
    tokens = _PAGE.parse(source)
    levels = [int(token.tag[1]) for token in tokens if token.type == "heading_open"]
    if levels:
        shift = 2 - min(levels)
        for token in tokens:
            if token.type in ("heading_open", "heading_close"):
                token.tag = f"h{min(6, int(token.tag[1]) + shift)}"
    return Markup(_PAGE.renderer.render(tokens, _PAGE.options, {}))
