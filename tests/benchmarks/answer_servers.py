"""The two applications that `bench_answers` compares, as gunicorn loads them: the service, and a bare Flask route.

Both find their files in the folder that the benchmark names in the variable BENCHMARK_FOLDER.
"""

from __future__ import annotations

import json
import os
import sqlite3
from pathlib import Path

from flask import Flask, jsonify, request

from quizsvc.settings import Settings
from quizsvc.web.app import create_app

FOLDER = Path(os.environ["BENCHMARK_FOLDER"])


def service() -> Flask:
    """The whole service on the prepared database."""
    return create_app(
        Settings(
            database_url=f"sqlite:///{FOLDER / 'quizsvc.db'}",
            secret_file=FOLDER / "secret",
            data_dir=FOLDER,
            public_url="http://127.0.0.1:8019",
            trusted_proxies=0,
            time_zone="UTC",
            bank=FOLDER / "question_bank",
        )
    )


def bare() -> Flask:
    """One route that reads the same JSON and runs as many raw statements, by key, in one transaction."""
    counts = json.loads((FOLDER / "counts.json").read_text())
    connection = sqlite3.connect(FOLDER / "bare.db", isolation_level=None, timeout=5)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    app = Flask("bare")

    @app.post("/api/v1/answers")
    def record():
        body = request.get_json()
        key = int(body["question"], 16) % counts["rows"] + 1
        text = json.dumps(body)
        connection.execute("BEGIN IMMEDIATE")
        for _ in range(counts["SELECT"]):
            connection.execute("SELECT * FROM thing WHERE id = ?", (key,)).fetchone()
        for _ in range(counts["INSERT"]):
            connection.execute("INSERT INTO thing (text) VALUES (?)", (text,))
        for _ in range(counts["UPDATE"]):
            connection.execute("UPDATE thing SET text = ? WHERE id = ?", (text, key))
        connection.execute("COMMIT")
        return jsonify(stored=True), 201

    return app
