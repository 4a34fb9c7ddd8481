"""input lists: channels, and the line of items that carries each

Revision ID: 0017
Revises: 0016
"""

import sqlalchemy as sa
from alembic import op

from service.store.engine import Instant

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None

_PRESENT = {"sqlite_where": sa.text("until IS NULL"), "postgresql_where": sa.text("until IS NULL")}
_IN_USE = {"sqlite_where": sa.text("ended_at IS NULL"), "postgresql_where": sa.text("ended_at IS NULL")}


def upgrade() -> None:
    """Forward: there are none yet."""
    op.create_table(
        "input_list",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("season_id", sa.Uuid(), nullable=True),
        sa.Column("event_id", sa.Uuid(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("made_by", sa.Uuid(), nullable=True),
        sa.CheckConstraint("(season_id IS NULL) <> (event_id IS NULL)", name=op.f("ck_input_list_of_one")),
        _refers("input_list", "season_id", "season"),
        _refers("input_list", "event_id", "event"),
        _refers("input_list", "made_by", "person"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_input_list")),
        sa.UniqueConstraint("season_id", name=op.f("uq_input_list_season_id")),
        sa.UniqueConstraint("event_id", name=op.f("uq_input_list_event_id")),
    )
    op.create_table(
        "channel",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("input_list_id", sa.Uuid(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("microphone", sa.String(), nullable=False),
        sa.Column("phantom", sa.Boolean(), nullable=False),
        sa.Column("place_id", sa.Uuid(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("ended_at", Instant(), nullable=True),
        sa.CheckConstraint("number > 0", name=op.f("ck_channel_number")),
        _refers("channel", "input_list_id", "input_list"),
        _refers("channel", "place_id", "place"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_channel")),
    )
    op.create_index("ix_channel_now", "channel", ["input_list_id", "number"], unique=True, **_IN_USE)
    op.create_index(op.f("ix_channel_input_list_id"), "channel", ["input_list_id"])
    op.create_table(
        "line",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("channel_id", sa.Uuid(), nullable=False),
        sa.Column("since", Instant(), nullable=False),
        sa.Column("until", Instant(), nullable=True),
        sa.Column("mixer_stays", sa.Boolean(), nullable=False),
        sa.Column("made_by", sa.Uuid(), nullable=True),
        _refers("line", "channel_id", "channel"),
        _refers("line", "made_by", "person"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_line")),
    )
    op.create_index("ix_line_now", "line", ["channel_id"], unique=True, **_PRESENT)
    op.create_index(op.f("ix_line_channel_id_since"), "line", ["channel_id", "since"])
    op.create_table(
        "line_item",
        sa.Column("line_id", sa.Uuid(), nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("lane", sa.String(), nullable=True),
        sa.Column("stays", sa.Boolean(), nullable=False),
        _refers("line_item", "line_id", "line"),
        _refers("line_item", "item_id", "item"),
        sa.PrimaryKeyConstraint("line_id", "position", name=op.f("pk_line_item")),
    )
    op.create_index(op.f("ix_line_item_item_id"), "line_item", ["item_id"])
    op.create_index(op.f("ix_swap_spare_id"), "swap", ["spare_id"])


def _refers(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}"), ondelete="RESTRICT")


def downgrade() -> None:
    """Back: the input lists are gone."""
    op.drop_index(op.f("ix_swap_spare_id"), table_name="swap")
    for table in ("line_item", "line", "channel", "input_list"):
        op.drop_table(table)
