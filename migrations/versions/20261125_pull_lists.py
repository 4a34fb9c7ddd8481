"""pull lists

Revision ID: 0002
Revises: 0001
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward."""
    op.create_table(
        "pull_limits",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("repeat_fails", sa.Integer(), nullable=False),
        sa.Column("repeat_tests", sa.Integer(), nullable=False),
        sa.Column("shortened_percent", sa.Integer(), nullable=False),
        sa.Column("life_years", sa.Integer(), nullable=False),
        sa.Column("repair_cents", sa.Integer(), nullable=False),
        sa.Column("risk_percent", sa.Integer(), nullable=False),
        sa.Column("spare_days", sa.Integer(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_pull_limits_only_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pull_limits")),
    )
    op.create_table(
        "spare_trip",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("days", sa.Integer(), nullable=False),
        sa.Column("percent", sa.Integer(), nullable=False),
        sa.Column("budget_cents", sa.Integer(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_spare_trip_only_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_spare_trip")),
    )
    op.create_table(
        "gear_price",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("wiring", sa.String(), nullable=False),
        sa.Column("length_mm", sa.Integer(), nullable=False),
        sa.Column("cents", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.CheckConstraint("cents >= 0", name=op.f("ck_gear_price_cents")),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_gear_price_person_id_person"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gear_price")),
    )
    with op.batch_alter_table("gear_price", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_gear_price_kind_wiring_length_mm"), ["kind", "wiring", "length_mm"], unique=False
        )

    op.create_table(
        "pull_overrule",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("event_id", sa.Uuid(), nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("action", sa.String(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.CheckConstraint(
            "\"action\" IN ('retire', 'repair_first', 'test_first', 'watch')",
            name=op.f("ck_pull_overrule_action"),
        ),
        sa.ForeignKeyConstraint(
            ["event_id"], ["event.id"], name=op.f("fk_pull_overrule_event_id_event"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["item_id"], ["item.id"], name=op.f("fk_pull_overrule_item_id_item"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_pull_overrule_person_id_person"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pull_overrule")),
    )
    with op.batch_alter_table("pull_overrule", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_pull_overrule_event_id_item_id"), ["event_id", "item_id"], unique=False)

    op.create_table(
        "pull_print",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("event_id", sa.Uuid(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.Column("lines", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["event_id"], ["event.id"], name=op.f("fk_pull_print_event_id_event"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_pull_print_person_id_person"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pull_print")),
    )
    with op.batch_alter_table("pull_print", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_pull_print_event_id_at"), ["event_id", "at"], unique=False)

    op.create_table(
        "pull_tick",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("event_id", sa.Uuid(), nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("spare_id", sa.Uuid(), nullable=True),
        sa.Column("action", sa.String(), nullable=False),
        sa.Column("why", sa.JSON(), nullable=False),
        sa.Column("state_before", sa.String(), nullable=False),
        sa.Column("state_after", sa.String(), nullable=False),
        sa.Column("place_a_id", sa.Uuid(), nullable=True),
        sa.Column("place_b_id", sa.Uuid(), nullable=True),
        sa.Column("spare_place_id", sa.Uuid(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.CheckConstraint(
            "\"action\" IN ('retire', 'repair_first', 'test_first', 'watch')",
            name=op.f("ck_pull_tick_action"),
        ),
        sa.CheckConstraint(
            "\"state_after\" IN ('in_service', 'spare', 'quarantined', 'in_repair', 'retired', 'lost')",
            name=op.f("ck_pull_tick_state_after"),
        ),
        sa.CheckConstraint(
            "\"state_before\" IN ('in_service', 'spare', 'quarantined', 'in_repair', 'retired', 'lost')",
            name=op.f("ck_pull_tick_state_before"),
        ),
        sa.CheckConstraint("item_id <> spare_id", name=op.f("ck_pull_tick_two_items")),
        sa.ForeignKeyConstraint(
            ["event_id"], ["event.id"], name=op.f("fk_pull_tick_event_id_event"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_pull_tick_item_id_item"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_pull_tick_person_id_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["place_a_id"], ["place.id"], name=op.f("fk_pull_tick_place_a_id_place"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["place_b_id"], ["place.id"], name=op.f("fk_pull_tick_place_b_id_place"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["spare_id"], ["item.id"], name=op.f("fk_pull_tick_spare_id_item"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["spare_place_id"],
            ["place.id"],
            name=op.f("fk_pull_tick_spare_place_id_place"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pull_tick")),
    )
    with op.batch_alter_table("pull_tick", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_pull_tick_event_id_at"), ["event_id", "at"], unique=False)
        batch_op.create_index(batch_op.f("ix_pull_tick_item_id"), ["item_id"], unique=False)

    op.create_table(
        "pull_untick",
        sa.Column("tick_id", sa.Uuid(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_pull_untick_person_id_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["tick_id"], ["pull_tick.id"], name=op.f("fk_pull_untick_tick_id_pull_tick"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("tick_id", name=op.f("pk_pull_untick")),
    )


def downgrade() -> None:
    """Back."""
    op.drop_table("pull_untick")
    with op.batch_alter_table("pull_tick", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_pull_tick_item_id"))
        batch_op.drop_index(batch_op.f("ix_pull_tick_event_id_at"))

    op.drop_table("pull_tick")
    with op.batch_alter_table("pull_print", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_pull_print_event_id_at"))

    op.drop_table("pull_print")
    with op.batch_alter_table("pull_overrule", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_pull_overrule_event_id_item_id"))

    op.drop_table("pull_overrule")
    with op.batch_alter_table("gear_price", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_gear_price_kind_wiring_length_mm"))

    op.drop_table("gear_price")
    op.drop_table("spare_trip")
    op.drop_table("pull_limits")
