"""standings of items are stored, and items count what is written about them

Revision ID: 0015
Revises: 0014
"""

import sqlalchemy as sa
from alembic import op

from service.store.engine import NullableJson

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward: housekeeping works out the first standings."""
    with op.batch_alter_table("item") as batch:
        batch.add_column(sa.Column("revision", sa.Integer(), nullable=False, server_default="0"))
    with op.batch_alter_table("item") as batch:
        batch.alter_column("revision", server_default=None)
    op.create_table(
        "item_standing",
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("basis", sa.String(), nullable=False),
        sa.Column("listed", sa.Boolean(), nullable=False),
        sa.Column("failed", sa.Double(), nullable=True),
        sa.Column("if_tested", sa.Double(), nullable=True),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("facts", NullableJson(), nullable=False),
        sa.ForeignKeyConstraint(
            ["item_id"], ["item.id"], name=op.f("fk_item_standing_item_id_item"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("item_id", name=op.f("pk_item_standing")),
    )
    op.create_index(op.f("ix_item_standing_listed_item_id"), "item_standing", ["listed", "item_id"])


def downgrade() -> None:
    """Back."""
    op.drop_index(op.f("ix_item_standing_listed_item_id"), table_name="item_standing")
    op.drop_table("item_standing")
    with op.batch_alter_table("item") as batch:
        batch.drop_column("revision")
