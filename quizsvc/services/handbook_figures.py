"""The figures of a handbook's sections, drawn from the aircraft as loaded and kept by the hash of its description."""

from __future__ import annotations

from collections import OrderedDict
from threading import Lock

from quizsvc.aircraft.description import Aircraft
from quizsvc.aircraft.handbook_figures import FIGURES, figure
from quizsvc.bank.handbook import MARKER, figures_named
from quizsvc.pictures import draw, table
from quizsvc.services.compiled import aircraft_of
from quizsvc.services.views import FigureView
from quizsvc.store import bank
from quizsvc.store.session import Session

__all__ = ["MARKER", "of_section"]

_MOST = 256
_drawn: OrderedDict[tuple[str, str], FigureView | None] = OrderedDict()
_lock = Lock()


def of_section(session: Session, folder: str, body: str) -> tuple[FigureView, ...]:
    """The figures that a section's Markdown names, each once, in the order of the text.

    Parameters
    ----------
    folder : str
        The bank's folder of the aircraft.
    body : str
        Markdown.

    Returns
    -------
    tuple of FigureView
        A name that no figure has, or one that the aircraft's file gives nothing for, is left out; `bank check` refuses
        both before a bank is loaded.
    """
    names = [name for name in dict.fromkeys(figures_named(body)) if name in FIGURES]
    row = bank.aircraft(session, folder) if names else None
    if row is None:
        return ()
    found = (_kept(row.hash, name, aircraft_of(session, row.hash)) for name in names)
    return tuple(view for view in found if view is not None)


def _kept(text_hash: str, name: str, aircraft: Aircraft) -> FigureView | None:
    key = text_hash, name
    if key not in _drawn:
        view = _draw(aircraft, name)
        with _lock:
            _drawn[key] = view
            while len(_drawn) > _MOST:
                _drawn.popitem(last=False)
        return view
    return _drawn.get(key)


def _draw(aircraft: Aircraft, name: str) -> FigureView | None:
    found = figure(aircraft, name)
    if found is None:
        return None
    # A section names a figure once, so the name alone tells its ids apart in the page.
    svg = draw(found.picture, name="figure" + name.replace("-", ""))
    return FigureView(name, found.title, found.caption, svg, table(found.picture))
