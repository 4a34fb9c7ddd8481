"""sign-ins know the pass they came by; when they were last seen goes, since nothing kept it up

Revision ID: 0005
Revises: 0004
"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward: who is signed in already came by no pass that is known."""
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.drop_column("seen_at")
        batch_op.add_column(sa.Column("pass_id", sa.Uuid(), nullable=True))
        batch_op.create_index(batch_op.f("ix_sign_in_pass_id"), ["pass_id"], unique=False)
        batch_op.create_foreign_key(
            batch_op.f("fk_sign_in_pass_id_crew_pass"), "crew_pass", ["pass_id"], ["id"], ondelete="RESTRICT"
        )


def downgrade() -> None:
    """Back."""
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("fk_sign_in_pass_id_crew_pass"), type_="foreignkey")
        batch_op.drop_index(batch_op.f("ix_sign_in_pass_id"))
        batch_op.drop_column("pass_id")
        batch_op.add_column(sa.Column("seen_at", sa.DateTime(timezone=True), nullable=True))
    op.execute("UPDATE sign_in SET seen_at = created_at")
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.alter_column("seen_at", nullable=False)
