"""hand-overs

Revision ID: 0004
Revises: 0003
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward."""
    op.create_table(
        "hand_over",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("secret_hash", sa.String(), nullable=False),
        sa.Column("from_id", sa.Uuid(), nullable=False),
        sa.Column("to_id", sa.Uuid(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["from_id"], ["person.id"], name=op.f("fk_hand_over_from_id_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["to_id"], ["person.id"], name=op.f("fk_hand_over_to_id_person"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hand_over")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_hand_over_secret_hash")),
    )
    with op.batch_alter_table("hand_over", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_hand_over_from_id"), ["from_id"], unique=False)


def downgrade() -> None:
    """Back."""
    with op.batch_alter_table("hand_over", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_hand_over_from_id"))
    op.drop_table("hand_over")
