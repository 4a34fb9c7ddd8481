"""a test along a single line says which lane of a piece it took

Revision ID: 0008
Revises: 0007
"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward: of the tests there are, nobody said."""
    with op.batch_alter_table("test_item", schema=None) as batch_op:
        batch_op.add_column(sa.Column("lane", sa.String(), nullable=True))


def downgrade() -> None:
    """Back: nobody says."""
    with op.batch_alter_table("test_item", schema=None) as batch_op:
        batch_op.drop_column("lane")
