"""The installed page: its manifest, and the worker that keeps its shell where there is no signal."""

from __future__ import annotations

import hashlib
import json

from flask import Blueprint, Response, url_for

from quizsvc.web import assets, device

__all__ = ["blueprint"]

blueprint = Blueprint("installed", __name__)

SHELL = "/on-this-device"
NAME = "quizsvc"
LIGHT = "#ffffff"


@blueprint.get("/sw.js")
def worker() -> Response:
    """The worker with its version: a hash over the files that it keeps, and over the shell with the cautions in it."""
    base = url_for("static", filename="")
    made = hashlib.sha256("\n".join([base, device.page()]).encode()).hexdigest()[:12]
    files = f"{json.dumps(assets.DEVICE_FILES, separators=(',', ':'))}.map((name) => {json.dumps(base)} + name)"
    head = f"const VERSION = {json.dumps(made)};\nconst FILES = [{json.dumps(SHELL)}, ...{files}];\n"
    script = (assets.FOLDER / "sw.js").read_text(encoding="utf-8")
    return Response(head + assets.lean(script), mimetype="text/javascript")


@blueprint.get("/manifest.webmanifest")
def manifest() -> Response:
    """The application manifest (W3C): a name, own icons, and where it starts."""
    icons = [
        {"src": url_for("static", filename="icon.svg"), "sizes": "any", "type": "image/svg+xml"},
        *(
            {"src": url_for("static", filename=name), "sizes": size, "type": "image/png", "purpose": purpose}
            for name, size, purpose in (
                ("icon-192.png", "192x192", "any"),
                ("icon-512.png", "512x512", "any"),
                ("icon-maskable-512.png", "512x512", "maskable"),
            )
        ),
    ]
    described = {
        "id": "/",
        "name": "quizsvc: aircraft systems",
        "short_name": NAME,
        "description": "Aircraft-systems knowledge, a few minutes at a time. Study aid, not for operational use.",
        "lang": "en",
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": LIGHT,
        "theme_color": LIGHT,
        "icons": icons,
    }
    return Response(json.dumps(described), mimetype="application/manifest+json")
