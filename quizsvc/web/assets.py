"""Static files under addresses that name their version, so that a browser may keep them for good.

The version is in the path, not behind a question mark: what a module imports by a relative address is of the same
version then, and no old module meets a new one.
"""

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from typing import Any

from flask import Flask, send_from_directory
from flask.typing import ResponseReturnValue

__all__ = ["DEVICE_FILES", "FOLDER", "register", "version"]

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
    "device.js",
    "device-home.js",
    "device-set.js",
    "feedback.js",
    "table.js",
    "grade.js",
)
"""What the screen on the device needs where there is no signal."""

_VERSIONED = re.compile(r"v-([0-9a-f]{12})/(.+)")


def register(app: Flask) -> None:
    """Serve the static files, and write their addresses with the version."""
    current = version()

    @app.url_defaults
    def name_version(endpoint: str, values: dict[str, Any]) -> None:
        filename = values.get("filename", "")
        if endpoint == "static" and not _VERSIONED.fullmatch(filename):
            values["filename"] = f"v-{current}/{filename}"

    def serve(filename: str) -> ResponseReturnValue:
        found = _VERSIONED.fullmatch(filename)
        # A page of before an update may still ask by the old version: it gets today's file, and is not to keep it.
        age = YEAR_S if found and found[1] == current else 0
        response = send_from_directory(FOLDER, found[2] if found else filename, max_age=age)
        if age:
            response.cache_control.immutable = True
        return response

    app.view_functions["static"] = serve


def version() -> str:
    """A hash over all static files."""
    found = hashlib.sha256()
    for file in sorted(FOLDER.iterdir()):
        if file.is_file():
            found.update(file.name.encode() + b"\0" + file.read_bytes())
    return found.hexdigest()[:12]
