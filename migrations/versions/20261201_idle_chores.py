"""which chores had nothing to do is stored; the last test of a person is found by an index

Revision ID: 0014
Revises: 0013
"""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward: each chore looks once more."""
    op.create_table(
        "idle_chore",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("rests_on", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_idle_chore")),
    )
    op.create_index(op.f("ix_test_person_id_received_at"), "test", ["person_id", "received_at"])
    op.drop_index(op.f("ix_test_person_id"), table_name="test")


def downgrade() -> None:
    """Back."""
    op.create_index(op.f("ix_test_person_id"), "test", ["person_id"])
    op.drop_index(op.f("ix_test_person_id_received_at"), table_name="test")
    op.drop_table("idle_chore")
