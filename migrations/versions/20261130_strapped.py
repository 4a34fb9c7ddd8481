"""placements say whether an item is strapped there, where somebody said it

Revision ID: 0009
Revises: 0008
"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward: nobody said it yet, so that it follows from the kind of the place, as before."""
    with op.batch_alter_table("placement", schema=None) as batch_op:
        batch_op.add_column(sa.Column("strapped", sa.Boolean(), nullable=True))


def downgrade() -> None:
    """Back."""
    with op.batch_alter_table("placement", schema=None) as batch_op:
        batch_op.drop_column("strapped")
