"""How many statements each request of a homework runs, from opening to the receipt: one student, without a server."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from quizsvc.settings import Settings
from quizsvc.store.session import Database
from quizsvc.web.app import create_app
from tests.benchmarks import Row
from tests.benchmarks.bench_answers import ORIGIN
from tests.benchmarks.statements import counted

__all__ = ["through"]


def through(
    database: Database, folder: Path, assignment: int, *, token: str, work: str, responses: Mapping[str, Any]
) -> tuple[list[Row], str]:
    """Go through the homework once; returns a row for each request and the hash of the receipt.

    What a process asks only once (compiled items) is asked by the first question and its draft, which are not counted;
    the second ones are.
    """
    settings = Settings(
        database_url=database.url,
        secret_file=folder / "counting-secret",
        data_dir=folder,
        public_url=ORIGIN,
        trusted_proxies=0,
        time_zone="UTC",
        bank=folder / "question_bank",
    )
    client = create_app(settings, db=database).test_client()
    client.set_cookie("session", token)
    headers = {"Origin": ORIGIN}
    rows: list[Row] = []

    def ask(what: str, status: int, request: Callable[[], Any]) -> Any:
        with counted(database) as seen:
            response = request()
        if response.status_code != status:
            raise RuntimeError(f"{what}: {response.status_code} {response.text[:300]}")
        if what:
            rows.append(Row(f"  {what}", len(seen), "statements"))
        return response

    def draft(question: str) -> Any:
        body = {"work": work, "question": question, "version": 1, "response": responses[question], "sureness": "think"}
        return client.put("/api/v1/drafts", json=body, headers=headers)

    page = ask("its page", 200, lambda: client.get(f"/homework/{assignment}"))
    form = {"csrf_token": re.search(r'name="csrf_token" value="([^"]+)"', page.text)[1]}
    ask("begin", 303, lambda: client.post(f"/homework/{assignment}/works", data=form, headers=headers))
    for place, question in enumerate(responses):
        ask("a question" if place == 1 else "", 200, lambda one=question: client.get(f"/works/{work}/questions/{one}"))
        ask("a draft" if place == 1 else "", 200, lambda one=question: draft(one))
    ask("what is open", 200, lambda: client.get(f"/works/{work}/hand-in"))
    ask("hand in", 303, lambda: client.post(f"/works/{work}/hand-in", data=form, headers=headers))
    receipt = ask("receipt", 200, lambda: client.get(f"/works/{work}/receipt"))
    return rows, re.search(r'class="hash">([0-9a-f]{64})<', receipt.text)[1]
