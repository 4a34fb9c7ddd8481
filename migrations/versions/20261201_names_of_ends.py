"""names of ends: what a program calls the two ends of its items

Revision ID: 0020
Revises: 0019
"""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward: no program has names of its own yet."""
    with op.batch_alter_table("program") as batch:
        batch.add_column(sa.Column("end_a", sa.String(), nullable=False, server_default=""))
        batch.add_column(sa.Column("end_b", sa.String(), nullable=False, server_default=""))
    with op.batch_alter_table("program") as batch:
        batch.alter_column("end_a", server_default=None)
        batch.alter_column("end_b", server_default=None)


def downgrade() -> None:
    """Backward: the names are gone."""
    with op.batch_alter_table("program") as batch:
        batch.drop_column("end_b")
        batch.drop_column("end_a")
