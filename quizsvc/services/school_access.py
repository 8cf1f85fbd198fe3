"""Who may see what of the school. Whoever asks for what is not theirs is told the same as for what does not exist."""

from __future__ import annotations

from quizsvc.services import edge
from quizsvc.store import groups, people
from quizsvc.store.session import Session
from quizsvc.store.tables import Assignment, Group, Membership

INSTRUCTOR = "instructor"
HEAD = "head of training"


def member(session: Session, person_id: int, group_id: int) -> Membership | None:
    """The membership of somebody who is in the group, in either part; None for who waits, left or was never there."""
    found = groups.membership(session, person_id, group_id)
    return found if found is not None and found.state == "in" else None


def instructs(session: Session, person_id: int, group_id: int) -> bool:
    """Whether a person instructs the group: the role of the installation and the part in this group, both."""
    found = member(session, person_id, group_id)
    return found is not None and found.part == INSTRUCTOR and INSTRUCTOR in people.roles(session, person_id)


def group_for_instructor(session: Session, person_id: int, group_id: int) -> Group:
    """A group that a person instructs.

    Raises
    ------
    NotFoundError
        There is none of that number, or it is not theirs to instruct.
    """
    group = groups.by_id(session, edge.row_id(group_id, "group"))
    if group is None or not instructs(session, person_id, group.id):
        raise edge.not_found("group")
    return group


def group_for_member(session: Session, person_id: int, group_id: int) -> tuple[Group, Membership]:
    """A group that a person is in, as a student or as an instructor.

    Raises
    ------
    NotFoundError
        There is none of that number, or the person is not in it.
    """
    group = groups.by_id(session, edge.row_id(group_id, "group"))
    found = member(session, person_id, group.id) if group is not None else None
    if group is None or found is None:
        raise edge.not_found("group")
    return group, found


def assignment_for_instructor(session: Session, person_id: int, assignment_id: int) -> tuple[Assignment, Group]:
    """An assignment of a group that a person instructs, and the group.

    Raises
    ------
    NotFoundError
        There is none of that number, or its group is not theirs to instruct.
    """
    assignment = session.get(Assignment, edge.row_id(assignment_id, "assignment"))
    if assignment is None or not instructs(session, person_id, assignment.group_id):
        raise edge.not_found("assignment")
    group = groups.by_id(session, assignment.group_id)
    assert group is not None  # a foreign key
    return assignment, group


def require_instructor(session: Session, person_id: int) -> None:
    """Let only those go on who have the role of an instructor, whether or not they have a group yet.

    Raises
    ------
    NotFoundError
        The person has it not; it reads as for an address without a page.
    """
    if INSTRUCTOR not in people.roles(session, person_id):
        raise edge.not_found("page")


def head(session: Session, person_id: int) -> bool:
    """Whether a person is a head of training."""
    return HEAD in people.roles(session, person_id)


def require_head(session: Session, person_id: int) -> None:
    """Let only a head of training go on.

    Raises
    ------
    NotFoundError
        The person is none; it reads as for an address without a page.
    """
    if not head(session, person_id):
        raise edge.not_found("page")
