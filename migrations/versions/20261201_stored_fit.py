"""the fit of wear is stored

Revision ID: 0013
Revises: 0012
"""

import sqlalchemy as sa
from alembic import op

from service.store.engine import Instant

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward: housekeeping makes the first fit."""
    op.create_table(
        "wear_fit",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("fitted_at", Instant(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("tables", sa.Text(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_wear_fit_only_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_wear_fit")),
    )


def downgrade() -> None:
    """Back."""
    op.drop_table("wear_fit")
