"""The Fault bench: every state is an address, so that it works without scripts and can be passed on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quizsvc.errors import InputError
from quizsvc.services import bench
from quizsvc.services.bench import Asked, BenchView
from quizsvc.web import edge, people
from quizsvc.web.start import cautions_at_start
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("bench", __name__)

_LONGEST_ID = 60
_MOST_FIELDS = 200
_LATEST_MINUTE = 24 * 60


@blueprint.get("/bench")
def choose() -> Response | str:
    """The aircraft that have a bench; where there is one, its bench."""
    found = bench.benches(wired().db)
    if len(found) == 1:
        return redirect(url_for("bench.page", aircraft=found[0][0]), 303)
    return render_template("bench_list.html", person=people.person(), found=found)


@blueprint.get("/bench/<aircraft>")
def page(aircraft: str) -> str:
    """The bench in the state that the address asks for."""
    person = people.person()
    view = bench.bench(wired().db, aircraft[:_LONGEST_ID], _asked())
    return render_template("bench.html", person=person, view=view, owed=cautions_at_start(person), link=_link)


def _asked() -> Asked:
    fields = list(request.args.items(multi=True))
    if len(fields) > _MOST_FIELDS:
        raise InputError("bench-too-much", f"{len(fields)} fields in the address", where="the address", mend="fewer")
    phase = request.args.get("when") or "cruise"
    minute = request.args.get("minute") or None
    return Asked(
        fail=tuple(dict.fromkeys(value for name, value in fields if name == "fail")),
        switches={name[3:]: value for name, value in fields if name.startswith("at-")},
        flight=edge.whole(request.args.get("flight") or 0, "flight", least=0, most=99),
        phase=edge.choice(phase, "when", tuple(bench.PHASES)),
        minute=None if minute is None else edge.whole(minute, "minute", least=0, most=_LATEST_MINUTE),
        node=request.args.get("node") or None,
    )


def _link(
    view: BenchView,
    *,
    fail: Sequence[str] | None = None,
    switches: Mapping[str, str] | None = None,
    node: str | None = None,
    anchor: str | None = None,
) -> str:
    """The address of the same bench with one thing changed."""
    asked = view.asked
    values: dict[str, Any] = {"fail": list(asked.fail if fail is None else fail), "node": node, "minute": asked.minute}
    values |= {"flight": asked.flight or None, "when": asked.phase if asked.phase != "cruise" else None}
    values |= {f"at-{key}": at for key, at in (asked.switches if switches is None else switches).items()}
    return url_for("bench.page", aircraft=view.aircraft, _anchor=anchor, **values)
