"""a lead's word on an item says until when it holds

Revision ID: 0012
Revises: 0011
"""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward: what was said before holds for its event alone, as it did."""
    with op.batch_alter_table("pull_overrule", schema=None) as batch_op:
        batch_op.add_column(sa.Column("until", sa.Date(), nullable=True))


def downgrade() -> None:
    """Back."""
    with op.batch_alter_table("pull_overrule", schema=None) as batch_op:
        batch_op.drop_column("until")
