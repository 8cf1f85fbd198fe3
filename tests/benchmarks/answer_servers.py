"""The two applications that `bench_answers` compares, as gunicorn loads them: the service, and a bare Flask route.

Both find their files in the folder that the benchmark names in the variable BENCHMARK_FOLDER.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
from datetime import UTC, datetime
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
    """One route that reads the same JSON and runs as many raw statements in one transaction.

    On a copy of the service's own tables with the same rows, so that both pay for the same indexes; what it stores is
    of the same size, and all it does in Python is to read and write JSON.
    """
    counts = json.loads((FOLDER / "counts.json").read_text())
    connection = sqlite3.connect(FOLDER / "bare.db", isolation_level=None, timeout=5)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    app = Flask("bare")

    @app.post("/api/v1/answers")
    def record():
        body = request.get_json()
        text = json.dumps(body)
        now = datetime.now(UTC).isoformat(" ")
        token = hashlib.sha256(request.cookies["session"].encode()).hexdigest()
        connection.execute("BEGIN IMMEDIATE")
        person = connection.execute(
            "SELECT s.*, p.* FROM device_session s JOIN person p ON p.id = s.person_id WHERE token_hash = ?", (token,)
        ).fetchone()[2]
        for _ in range(counts["SELECT"] - 1):
            question = connection.execute(
                "SELECT concept_id, * FROM question WHERE id = ? AND person_id = ?", (body["question"], person)
            ).fetchone()
        for _ in range(counts["UPDATE"]):
            connection.execute(
                "UPDATE learner SET state = ?, newest_at = ?, version = version + 1 WHERE person_id = ?",
                (text, now, person),
            )
        answer = connection.execute(
            "INSERT INTO answer (uuid, question_id, person_id, again, raw, response, received_at, effective_at, "
            "local_day) VALUES (?, ?, ?, 0, ?, ?, ?, ?, 739000)",
            (body["uuid"], body["question"], person, text, text, now, now),
        ).lastrowid
        connection.execute(
            "INSERT INTO grade (answer_id, number, outcome, credit, marks, graded_at) VALUES (?, 1, 'full', 1, ?, ?)",
            (answer, text, now),
        )
        for _ in range(counts["INSERT"] - 2):
            connection.execute(
                "INSERT OR REPLACE INTO concept_state (person_id, concept_id, state) VALUES (?, ?, ?)",
                (person, question[0], text + text),
            )
        connection.execute("COMMIT")
        return jsonify(stored=True), 201

    return app
