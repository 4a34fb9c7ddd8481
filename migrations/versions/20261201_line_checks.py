"""line checks: what was heard on each channel, and what the causes were

Revision ID: 0018
Revises: 0017
"""

import sqlalchemy as sa
from alembic import op

from service.store.engine import Instant

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward: there are none yet."""
    op.create_table(
        "line_check",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("input_list_id", sa.Uuid(), nullable=False),
        sa.Column("event_id", sa.Uuid(), nullable=True),
        sa.Column("window_s", sa.Integer(), nullable=False),
        sa.Column("started_at", Instant(), nullable=False),
        sa.Column("ended_at", Instant(), nullable=True),
        sa.Column("made_by", sa.Uuid(), nullable=False),
        sa.CheckConstraint("window_s > 0", name=op.f("ck_line_check_some_time")),
        _refers("line_check", "event_id", "event"),
        _refers("line_check", "input_list_id", "input_list"),
        _refers("line_check", "made_by", "person"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_line_check")),
    )
    op.create_index(op.f("ix_line_check_event_id"), "line_check", ["event_id"])
    op.create_index(op.f("ix_line_check_input_list_id_started_at"), "line_check", ["input_list_id", "started_at"])
    op.create_index(op.f("ix_line_check_started_at"), "line_check", ["started_at"])

    op.create_table(
        "cause",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("check_id", sa.Uuid(), nullable=False),
        sa.Column("channel_id", sa.Uuid(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=True),
        sa.Column("lane", sa.String(), nullable=True),
        sa.Column("joint", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("received_at", Instant(), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=False),
        sa.CheckConstraint("(kind = 'item') = (item_id IS NOT NULL)", name=op.f("ck_cause_item_named")),
        sa.CheckConstraint("(kind = 'joint') = (joint IS NOT NULL)", name=op.f("ck_cause_joint_named")),
        sa.CheckConstraint(
            "\"kind\" IN ('item', 'joint', 'muted', 'phantom', 'microphone', 'mixer', 'unknown')",
            name=op.f("ck_cause_kind"),
        ),
        _refers("cause", "channel_id", "channel"),
        _refers("cause", "check_id", "line_check"),
        _refers("cause", "item_id", "item"),
        _refers("cause", "person_id", "person"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cause")),
    )
    op.create_index(op.f("ix_cause_check_id_channel_id"), "cause", ["check_id", "channel_id"])
    op.create_index(op.f("ix_cause_item_id"), "cause", ["item_id"])

    op.create_table(
        "heard",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("check_id", sa.Uuid(), nullable=False),
        sa.Column("channel_id", sa.Uuid(), nullable=False),
        sa.Column("heard", sa.String(), nullable=False),
        sa.Column("sounds_as", sa.Uuid(), nullable=True),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("received_at", Instant(), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=False),
        sa.CheckConstraint("(heard = 'crossed') = (sounds_as IS NOT NULL)", name=op.f("ck_heard_crossed_with")),
        sa.CheckConstraint("\"heard\" IN ('good', 'dead', 'crossed')", name=op.f("ck_heard_heard")),
        _refers("heard", "channel_id", "channel"),
        _refers("heard", "check_id", "line_check"),
        _refers("heard", "person_id", "person"),
        _refers("heard", "sounds_as", "channel"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_heard")),
    )
    op.create_index(op.f("ix_heard_check_id_channel_id_at"), "heard", ["check_id", "channel_id", "at"])


def _refers(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}"), ondelete="RESTRICT")


def downgrade() -> None:
    """Back: the line checks are gone."""
    for table in ("heard", "cause", "line_check"):
        op.drop_table(table)
