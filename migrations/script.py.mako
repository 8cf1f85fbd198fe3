"""${message}

Name every constraint, put CHECKs in `__table_args__` and write their changes here by hand (Alembic does not see them);
drop or rename a column over two releases; a downgrade, or the reason for none.
"""

import sqlalchemy as sa
from alembic import op
from quizsvc.store import types
${imports if imports else ""}
revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = ${repr(branch_labels)}
depends_on = ${repr(depends_on)}


def upgrade() -> None:
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    ${downgrades if downgrades else "pass"}
