"""How the installation stands: database, schema, bank."""

from __future__ import annotations

from quizsvc.errors import NotPreparedError, QuizsvcError, StoreUnavailableError
from quizsvc.services.views import HealthView
from quizsvc.settings import migrations_folder
from quizsvc.store import bank, migration
from quizsvc.store.session import Database


def health(db: Database) -> HealthView:
    """What `/health` says; never raises, and never says where the database is."""
    name = "SQLite" if db.is_sqlite else "PostgreSQL"
    try:
        found = migration.current(db)
    except StoreUnavailableError:
        return HealthView(database=f"{name}: not reachable", migration="unknown", bank="unknown", ok=False)
    except QuizsvcError as fault:
        return HealthView(database=f"{name}: {fault.what}", migration="unknown", bank="unknown", ok=False)
    newest = migration.head(migrations_folder())
    if found != newest:
        word = f"{found or 'none'}, this version needs {newest}: quizsvc db upgrade"
        return HealthView(database=name, migration=word, bank="unknown", ok=False)
    try:
        with db.reading() as session:
            loaded = bank.newest_load(session)
            live = bank.live_count(session)
    except (StoreUnavailableError, NotPreparedError) as fault:
        return HealthView(database=f"{name}: {fault.what}", migration=newest, bank="unknown", ok=False)
    if loaded is None:
        return HealthView(database=name, migration=newest, bank="no bank is loaded: quizsvc bank load", ok=False)
    at = loaded.loaded_at.strftime("%Y-%m-%d %H:%M UTC")
    return HealthView(database=name, migration=newest, bank=f"{live} live items, loaded {at}", ok=True)
