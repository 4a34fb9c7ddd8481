"""a place can end, and its name can be used again

Revision ID: 0006
Revises: 0005
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward: every place is one still."""
    with op.batch_alter_table("place", schema=None) as batch_op:
        batch_op.add_column(sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True))
        batch_op.drop_constraint(batch_op.f("uq_place_name"), type_="unique")
        batch_op.create_index(
            "ix_place_now_name",
            ["name"],
            unique=True,
            sqlite_where=sa.text("ended_at IS NULL"),
            postgresql_where=sa.text("ended_at IS NULL"),
        )


def downgrade() -> None:
    """Back: a place that has ended is one again, by a name that none other has."""
    op.execute("UPDATE place SET name = name || ' (removed ' || CAST(id AS VARCHAR) || ')' WHERE ended_at IS NOT NULL")
    with op.batch_alter_table("place", schema=None) as batch_op:
        batch_op.drop_index("ix_place_now_name")
        batch_op.create_unique_constraint(batch_op.f("uq_place_name"), ["name"])
        batch_op.drop_column("ended_at")
