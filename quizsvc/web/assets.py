"""Static files under addresses that name their version, so that a browser may keep them for good.

The version is in the path, not behind a question mark: what a module imports by a relative address is of the same
version then, and no old module meets a new one.
"""

from __future__ import annotations

import hashlib
import mimetypes
import re
from pathlib import Path
from typing import Any

from flask import Flask, Response, abort, request

__all__ = ["DEVICE_FILES", "FIRST_MODULES", "FOLDER", "register", "version"]

FOLDER = Path(__file__).resolve().parent / "static"
YEAR_S = 365 * 24 * 3600

DEVICE_FILES = (
    "quizsvc.css",
    "icon.svg",
    "main.js",
    "installed.js",
    "drill.js",
    "form.js",
    "kept.js",
    "send.js",
    "store.js",
    "outbox.js",
    "fill.js",
    "sign-out.js",
    "device.js",
    "live.js",
    "device-home.js",
    "device-set.js",
    "feedback.js",
    "table.js",
    "grade.js",
)
"""What the screen on the device needs where there is no signal."""

FIRST_MODULES = ("drill.js", "form.js", "kept.js", "send.js")
"""What main.js imports before a tap counts, fetched beside it and not one after the other."""

_VERSIONED = re.compile(r"v-([0-9a-f]{12})/(.*)")


def register(app: Flask) -> None:
    """Serve the static files, and write their addresses with the version."""
    current = version()

    @app.url_defaults
    def name_version(endpoint: str, values: dict[str, Any]) -> None:
        filename = values.get("filename", "")
        if endpoint == "static" and not _VERSIONED.fullmatch(filename):
            values["filename"] = f"v-{current}/{filename}"

    files = {file.name: _read(file) for file in FOLDER.iterdir() if file.is_file()}

    def serve(filename: str) -> Response:
        found = _VERSIONED.fullmatch(filename)
        name = found[2] if found else filename
        if name not in files:
            abort(404)
        body, mimetype = files[name]
        response = Response(body, mimetype=mimetype)
        response.set_etag(hashlib.sha256(body).hexdigest()[:20], weak=True)  # the same words, gzipped or not
        # A page of before an update may still ask by the old version: it gets today's file, and is not to keep it.
        if found and found[1] == current:
            response.headers["Cache-Control"] = f"public, max-age={YEAR_S}, immutable"
        else:
            response.headers["Cache-Control"] = "no-cache"
        response.make_conditional(request)
        return response

    app.jinja_env.globals["FIRST_MODULES"] = FIRST_MODULES
    app.view_functions["static"] = serve


def _read(file: Path) -> tuple[bytes, str]:
    body = file.read_bytes()
    if file.suffix == ".js":
        return lean(body.decode()).encode(), "text/javascript"
    return body, mimetypes.guess_type(file.name)[0] or "application/octet-stream"


def lean(script: str) -> str:
    """A script without its comment lines and indents: a sixth less to carry, and no line moves to another number.

    Only whole lines are comments to it, so nothing inside a text is touched; a template text of several lines would be,
    and no script has one.
    """
    return re.sub(r"(?m)^[ \t]+", "", re.sub(r"(?m)^[ \t]*//.*$", "", script))


def version() -> str:
    """A hash over all static files."""
    found = hashlib.sha256()
    for file in sorted(FOLDER.iterdir()):
        if file.is_file():
            found.update(file.name.encode() + b"\0" + file.read_bytes())
    return found.hexdigest()[:12]
