"""Names of systems for a person of several aircraft: two can have a system of one name."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from quizsvc.store import bank
from quizsvc.store.session import Session


def system_names(
    session: Session, systems: Iterable[tuple[str, str]], beside: Iterable[tuple[str, str]] = ()
) -> dict[tuple[str, str], str]:
    """What each system is called, by its folder and its name in the bank.

    Where a name stands in more than one folder, that of the aircraft follows: `21 automatic, Tolquenny 19`.

    Parameters
    ----------
    systems : iterable of (str, str)
        Folder and name of those that a person is asked from.
    beside : iterable of (str, str)
        More of them, which change nothing in how the first are called.
    """
    first = dict.fromkeys(systems)
    times = Counter(name for _, name in first)
    doubled = {one for one in first if times[one[1]] > 1}
    later = [one for one in dict.fromkeys(beside) if one not in first]
    doubled |= {one for one in later if times[one[1]]}
    aircraft = dict(bank.aircraft_list(session)) if doubled else {}
    return {
        (folder, name): f"{name}, {aircraft.get(folder, folder)}" if (folder, name) in doubled else name
        for folder, name in [*first, *later]
    }
