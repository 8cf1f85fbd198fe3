"""Every table: people, bank and practice. The one import that a migration or a query module needs."""

from quizsvc.store.tables_bank import (
    Aircraft,
    AircraftText,
    BankLoad,
    Caution,
    Concept,
    HandbookSection,
    Item,
    Revision,
)
from quizsvc.store.tables_base import Base
from quizsvc.store.tables_people import (
    Acknowledgement,
    DeviceSession,
    OneTimeLink,
    Person,
    PersonAlias,
    PersonRole,
    SignInFailure,
)
from quizsvc.store.tables_practice import (
    Answer,
    ConceptState,
    Grade,
    Learner,
    PracticeSet,
    Question,
    Squawk,
    Weights,
)

metadata = Base.metadata

__all__ = [
    "Acknowledgement",
    "Aircraft",
    "AircraftText",
    "Answer",
    "BankLoad",
    "Base",
    "Caution",
    "Concept",
    "ConceptState",
    "DeviceSession",
    "Grade",
    "HandbookSection",
    "Item",
    "Learner",
    "OneTimeLink",
    "Person",
    "PersonAlias",
    "PersonRole",
    "PracticeSet",
    "Question",
    "Revision",
    "SignInFailure",
    "Squawk",
    "Weights",
    "metadata",
]
