"""What is done at the bank desk again and again in tests, by the services."""

from quizsvc.services import desk_check, desk_child, desk_items, desk_release


def look(db):
    """The check that the desk makes, without the process of its own: tests/services/test_desk_items.py has that."""

    def made(folder, text):
        order = desk_check.order(db, folder) | {"text": text, "folder": folder, "seed": 19}
        return desk_check.found_in(desk_child.examine(order))

    return made


def put_into_use(db, clock, by, item, *, homework_only=False):
    """Read a text and put it into use, as one person."""
    version, check = desk_items.one(db, by, item).version, look(db)
    desk_release.read(db, by, item, version=version, check=check, now=clock())
    desk_release.release(db, by, item, version=version + 1, homework_only=homework_only, check=check, now=clock())
