"""rigs: floor plans with what stands where, each change a further version

Revision ID: 0021
Revises: 0020
"""

import sqlalchemy as sa
from alembic import op

from service.store.engine import Instant, NullableJson

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward: there are none yet."""
    op.create_table(
        "rig",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_by", sa.Uuid(), nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("ended_at", Instant(), nullable=True),
        _refers("rig", "made_by", "person"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rig")),
    )
    op.create_table(
        "rig_plan",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("rig_id", sa.Uuid(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("follows", sa.Integer(), nullable=True),
        sa.Column("plan", NullableJson(), nullable=False),
        sa.Column("made_by", sa.Uuid(), nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        _refers("rig_plan", "rig_id", "rig"),
        _refers("rig_plan", "made_by", "person"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rig_plan")),
        sa.UniqueConstraint("rig_id", "number", name=op.f("uq_rig_plan_rig_id_number")),
    )


def _refers(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}"), ondelete="RESTRICT")


def downgrade() -> None:
    """Back: the rigs are gone."""
    op.drop_table("rig_plan")
    op.drop_table("rig")
