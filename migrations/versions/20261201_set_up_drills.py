"""set-up drills: what was plugged at which station, and when

Revision ID: 0019
Revises: 0018
"""

import sqlalchemy as sa
from alembic import op

from service.store.engine import Instant

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward: all that there is are line checks."""
    with op.batch_alter_table("line_check") as batch:
        batch.add_column(sa.Column("kind", sa.String(), nullable=False, server_default="check"))
        batch.create_check_constraint(op.f("ck_line_check_kind"), "\"kind\" IN ('check', 'drill')")
    with op.batch_alter_table("line_check") as batch:
        batch.alter_column("kind", server_default=None)

    op.create_table(
        "drill_plug",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("check_id", sa.Uuid(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("station", sa.String(), nullable=False),
        sa.Column("hold", sa.String(), nullable=False),
        sa.Column("socket", sa.String(), nullable=False),
        sa.Column("channels", sa.String(), nullable=False),
        _refers("drill_plug", "check_id", "line_check"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_drill_plug")),
        sa.UniqueConstraint("check_id", "position", name=op.f("uq_drill_plug_check_id_position")),
    )

    op.create_table(
        "station_done",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("check_id", sa.Uuid(), nullable=False),
        sa.Column("station", sa.String(), nullable=False),
        sa.Column("plug_id", sa.Uuid(), nullable=True),
        sa.Column("done", sa.Boolean(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("received_at", Instant(), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=False),
        _refers("station_done", "check_id", "line_check"),
        _refers("station_done", "plug_id", "drill_plug"),
        _refers("station_done", "person_id", "person"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_station_done")),
    )
    op.create_index(op.f("ix_station_done_check_id_at"), "station_done", ["check_id", "at"])
    op.create_index(op.f("ix_station_done_plug_id"), "station_done", ["plug_id"])


def _refers(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}"), ondelete="RESTRICT")


def downgrade() -> None:
    """Back: the drills are gone, the line checks stay."""
    op.drop_table("station_done")
    op.drop_table("drill_plug")
    op.execute("DELETE FROM line_check WHERE kind = 'drill'")
    with op.batch_alter_table("line_check") as batch:
        batch.drop_constraint(op.f("ck_line_check_kind"), type_="check")
        batch.drop_column("kind")
