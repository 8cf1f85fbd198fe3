"""What every view needs of the application it runs in: settings, database, clock, generator."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from flask import current_app

from quizsvc.settings import Settings

__all__ = ["Wiring", "wired"]


@dataclass(frozen=True)
class Wiring:
    """Built once by `create_app`. `clock` returns aware UTC; `rng` draws numbers that nobody can foresee."""

    settings: Settings
    db: Any
    clock: Callable[[], datetime]
    rng: random.Random


def wired() -> Wiring:
    """The wiring of the application that handles this request."""
    return current_app.extensions["quizsvc"]
