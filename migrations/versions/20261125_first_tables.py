"""first tables

Revision ID: 0001
Revises:
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward."""
    op.create_table(
        "lease",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("holder", sa.String(), nullable=False),
        sa.Column("until", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_lease")),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("display_name", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("passphrase_hash", sa.String(), nullable=True),
        sa.Column("email", sa.String(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("email IS NULL OR role IN ('lead', 'viewer')", name=op.f("ck_person_no_students_email")),
        sa.CheckConstraint("\"role\" IN ('stranger', 'viewer', 'crew', 'lead')", name=op.f("ck_person_role")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
    )
    op.create_table(
        "place",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("walk_order", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("\"kind\" IN ('frame', 'case', 'shelf', 'other')", name=op.f("ck_place_kind")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_place")),
        sa.UniqueConstraint("name", name=op.f("uq_place_name")),
    )
    op.create_table(
        "program",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("zone", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("return_note", sa.String(), nullable=False),
        sa.Column("housekept_on", sa.Date(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_program_only_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_program")),
    )
    op.create_table(
        "receipt",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("action", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("answer", sa.JSON(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_receipt")),
    )
    op.create_table(
        "season",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("starts", sa.Date(), nullable=False),
        sa.Column("ends", sa.Date(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("ends >= starts", name=op.f("ck_season_in_order")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_season")),
    )
    op.create_table(
        "wear_target",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("per_mille", sa.Integer(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_wear_target_only_one")),
        sa.CheckConstraint("per_mille BETWEEN 1 AND 500", name=op.f("ck_wear_target_per_mille")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_wear_target")),
    )
    op.create_table(
        "audit_entry",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.Column("action", sa.String(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_audit_entry_person_id_person"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit_entry")),
    )
    with op.batch_alter_table("audit_entry", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_audit_entry_at_id"), ["at", "id"], unique=False)

    op.create_table(
        "calendar_link",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("secret_hash", sa.String(), nullable=False),
        sa.Column("label", sa.String(), nullable=False),
        sa.Column("made_by", sa.Uuid(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_calendar_link_made_by_person"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calendar_link")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_calendar_link_secret_hash")),
    )
    op.create_table(
        "crew_pass",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("secret_hash", sa.String(), nullable=False),
        sa.Column("label", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.Column("made_by", sa.Uuid(), nullable=True),
        sa.Column("uses_left", sa.Integer(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("\"role\" IN ('stranger', 'viewer', 'crew', 'lead')", name=op.f("ck_crew_pass_role")),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_crew_pass_made_by_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_crew_pass_person_id_person"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_crew_pass")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_crew_pass_secret_hash")),
    )
    op.create_table(
        "event",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("season_id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("\"kind\" IN ('competition', 'show')", name=op.f("ck_event_kind")),
        sa.ForeignKeyConstraint(
            ["season_id"], ["season.id"], name=op.f("fk_event_season_id_season"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_event")),
    )
    with op.batch_alter_table("event", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_event_on"), ["on"], unique=False)
        batch_op.create_index(batch_op.f("ix_event_season_id"), ["season_id"], unique=False)

    op.create_table(
        "item",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("wiring", sa.String(), nullable=False),
        sa.Column("label", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("length_mm", sa.Integer(), nullable=False),
        sa.Column("gauge_awg", sa.Integer(), nullable=True),
        sa.Column("batch", sa.String(), nullable=False),
        sa.Column("bought_on", sa.Date(), nullable=True),
        sa.Column("price_cents", sa.Integer(), nullable=True),
        sa.Column("in_service_on", sa.Date(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.Uuid(), nullable=True),
        sa.CheckConstraint(
            "\"state\" IN ('in_service', 'spare', 'quarantined', 'in_repair', 'retired', 'lost')",
            name=op.f("ck_item_state"),
        ),
        sa.CheckConstraint("length_mm >= 0", name=op.f("ck_item_length_mm")),
        sa.ForeignKeyConstraint(["made_by"], ["person.id"], name=op.f("fk_item_made_by_person"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_item")),
    )
    with op.batch_alter_table("item", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_item_kind_length_mm_id"), ["kind", "length_mm", "id"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_item_state_kind_length_mm_id"), ["state", "kind", "length_mm", "id"], unique=False
        )

    op.create_table(
        "label_sheet",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("left", sa.Integer(), nullable=False),
        sa.Column("top", sa.Integer(), nullable=False),
        sa.Column("label_width", sa.Integer(), nullable=False),
        sa.Column("label_height", sa.Integer(), nullable=False),
        sa.Column("pitch_x", sa.Integer(), nullable=False),
        sa.Column("pitch_y", sa.Integer(), nullable=False),
        sa.Column("columns", sa.Integer(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("radius", sa.Integer(), nullable=False),
        sa.Column("made_by", sa.Uuid(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_label_sheet_made_by_person"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_label_sheet")),
    )
    op.create_table(
        "round",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("season_id", sa.Uuid(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("opens", sa.Date(), nullable=False),
        sa.Column("closes", sa.Date(), nullable=False),
        sa.CheckConstraint("closes > opens", name=op.f("ck_round_in_order")),
        sa.ForeignKeyConstraint(
            ["season_id"], ["season.id"], name=op.f("fk_round_season_id_season"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round")),
        sa.UniqueConstraint("season_id", "number", name=op.f("uq_round_season_id_number")),
    )
    op.create_table(
        "sent_mail",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("period", sa.String(), nullable=False),
        sa.Column("claimed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("\"kind\" IN ('digest', 'session')", name=op.f("ck_sent_mail_kind")),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_sent_mail_person_id_person"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sent_mail")),
        sa.UniqueConstraint("person_id", "kind", "period", name=op.f("uq_sent_mail_person_id_kind_period")),
    )
    op.create_table(
        "sign_in",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=False),
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("token_name", sa.String(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_sign_in_person_id_person"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_sign_in_token_hash")),
    )
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_in_person_id"), ["person_id"], unique=False)

    op.create_table(
        "tag_printer",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("measured_x", sa.Integer(), nullable=False),
        sa.Column("measured_y", sa.Integer(), nullable=False),
        sa.Column("right", sa.Integer(), nullable=False),
        sa.Column("down", sa.Integer(), nullable=False),
        sa.Column("measured_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("measured_by", sa.Uuid(), nullable=True),
        sa.ForeignKeyConstraint(
            ["measured_by"],
            ["person.id"],
            name=op.f("fk_tag_printer_measured_by_person"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tag_printer")),
    )
    op.create_table(
        "tester",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("wiring", sa.String(), nullable=False),
        sa.Column("sees", sa.String(), nullable=False),
        sa.Column("patterns", sa.JSON(), nullable=False),
        sa.Column("probed", sa.JSON(), nullable=False),
        sa.Column("made_by", sa.Uuid(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["made_by"], ["person.id"], name=op.f("fk_tester_made_by_person"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tester")),
        sa.UniqueConstraint("name", name=op.f("uq_tester_name")),
    )
    with op.batch_alter_table("tester", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_tester_wiring"), ["wiring"], unique=False)

    op.create_table(
        "wiring",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("spec", sa.JSON(), nullable=False),
        sa.Column("made_by", sa.Uuid(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["made_by"], ["person.id"], name=op.f("fk_wiring_made_by_person"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_wiring")),
        sa.UniqueConstraint("key", name=op.f("uq_wiring_key")),
    )
    op.create_table(
        "work_session",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("place_id", sa.Uuid(), nullable=True),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("made_by", sa.Uuid(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closed_by", sa.Uuid(), nullable=True),
        sa.Column("closing_note", sa.String(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("\"kind\" IN ('test', 'count')", name=op.f("ck_work_session_kind")),
        sa.ForeignKeyConstraint(
            ["closed_by"], ["person.id"], name=op.f("fk_work_session_closed_by_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_work_session_made_by_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["place_id"], ["place.id"], name=op.f("fk_work_session_place_id_place"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_work_session")),
    )
    with op.batch_alter_table("work_session", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_work_session_on"), ["on"], unique=False)

    op.create_table(
        "flag",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("flag", sa.String(), nullable=False),
        sa.Column("period", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("raised_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("raised_by", sa.Uuid(), nullable=True),
        sa.Column("cleared_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("cleared_by", sa.Uuid(), nullable=True),
        sa.Column("cleared_why", sa.String(), nullable=True),
        sa.CheckConstraint(
            "\"flag\" IN ('due', 'closing', 'overdue', 'blocked', 'untested', 'suspect', 'at_risk')",
            name=op.f("ck_flag_flag"),
        ),
        sa.ForeignKeyConstraint(
            ["cleared_by"], ["person.id"], name=op.f("fk_flag_cleared_by_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_flag_item_id_item"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["raised_by"], ["person.id"], name=op.f("fk_flag_raised_by_person"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_flag")),
        sa.UniqueConstraint("item_id", "flag", "period", name=op.f("uq_flag_item_id_flag_period")),
    )
    with op.batch_alter_table("flag", schema=None) as batch_op:
        batch_op.create_index(
            "ix_flag_open",
            ["flag", "item_id"],
            unique=False,
            sqlite_where=sa.text("cleared_at IS NULL"),
            postgresql_where=sa.text("cleared_at IS NULL"),
        )

    op.create_table(
        "item_due",
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("due_by", sa.Date(), nullable=True),
        sa.Column("round", sa.Integer(), nullable=True),
        sa.Column("changes_on", sa.Date(), nullable=True),
        sa.Column("last_tested_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("last_verdict", sa.String(), nullable=True),
        sa.Column("last_passed_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "\"state\" IN ('blocked', 'overdue', 'untested', 'due', 'current')",
            name=op.f("ck_item_due_state"),
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_item_due_item_id_item"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("item_id", name=op.f("pk_item_due")),
    )
    with op.batch_alter_table("item_due", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_item_due_changes_on"), ["changes_on"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_item_due_state_due_by_item_id"), ["state", "due_by", "item_id"], unique=False
        )

    op.create_table(
        "item_length",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("length_mm", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["item_id"], ["item.id"], name=op.f("fk_item_length_item_id_item"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_item_length")),
    )
    with op.batch_alter_table("item_length", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_item_length_item_id"), ["item_id"], unique=False)

    op.create_table(
        "item_season",
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("season_id", sa.Uuid(), nullable=False),
        sa.ForeignKeyConstraint(
            ["item_id"], ["item.id"], name=op.f("fk_item_season_item_id_item"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["season_id"], ["season.id"], name=op.f("fk_item_season_season_id_season"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("item_id", "season_id", name=op.f("pk_item_season")),
    )
    with op.batch_alter_table("item_season", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_item_season_season_id"), ["season_id"], unique=False)

    op.create_table(
        "note",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.Column("text", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_note_item_id_item"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_note_person_id_person"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_note")),
    )
    with op.batch_alter_table("note", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_note_item_id"), ["item_id"], unique=False)

    op.create_table(
        "placement",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("place_a_id", sa.Uuid(), nullable=False),
        sa.Column("place_b_id", sa.Uuid(), nullable=True),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("until", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_placement_item_id_item"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["place_a_id"], ["place.id"], name=op.f("fk_placement_place_a_id_place"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["place_b_id"], ["place.id"], name=op.f("fk_placement_place_b_id_place"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_placement")),
    )
    with op.batch_alter_table("placement", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_placement_item_id"), ["item_id"], unique=False)
        batch_op.create_index(
            "ix_placement_now",
            ["item_id"],
            unique=True,
            sqlite_where=sa.text("until IS NULL"),
            postgresql_where=sa.text("until IS NULL"),
        )
        batch_op.create_index(batch_op.f("ix_placement_place_a_id_until"), ["place_a_id", "until"], unique=False)
        batch_op.create_index(batch_op.f("ix_placement_place_b_id"), ["place_b_id"], unique=False)

    op.create_table(
        "port",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("end", sa.String(), nullable=False),
        sa.Column("connector", sa.Integer(), nullable=False),
        sa.Column("lane", sa.String(), nullable=True),
        sa.Column("type", sa.String(), nullable=False),
        sa.Column("gender", sa.String(), nullable=False),
        sa.CheckConstraint("\"end\" IN ('A', 'B')", name=op.f("ck_port_end")),
        sa.CheckConstraint("\"gender\" IN ('socket', 'plug')", name=op.f("ck_port_gender")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_port_item_id_item"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_port")),
        sa.UniqueConstraint("item_id", "end", "connector", name=op.f("uq_port_item_id_end_connector")),
    )
    op.create_table(
        "repair",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("end", sa.String(), nullable=True),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("length_mm", sa.Integer(), nullable=True),
        sa.Column("cost_cents", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.CheckConstraint("\"end\" IN ('A', 'B')", name=op.f("ck_repair_end")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_repair_item_id_item"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_repair_person_id_person"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_repair")),
    )
    with op.batch_alter_table("repair", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_repair_item_id_at"), ["item_id", "at"], unique=False)

    op.create_table(
        "session_helper",
        sa.Column("session_id", sa.Uuid(), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=False),
        sa.Column("joined_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_session_helper_person_id_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["session_id"],
            ["work_session.id"],
            name=op.f("fk_session_helper_session_id_work_session"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("session_id", "person_id", name=op.f("pk_session_helper")),
    )
    op.create_table(
        "state_change",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("from_state", sa.String(), nullable=True),
        sa.Column("to_state", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint(
            "\"to_state\" IN ('in_service', 'spare', 'quarantined', 'in_repair', 'retired', 'lost')",
            name=op.f("ck_state_change_to_state"),
        ),
        sa.ForeignKeyConstraint(
            ["item_id"], ["item.id"], name=op.f("fk_state_change_item_id_item"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_state_change_person_id_person"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_state_change")),
    )
    with op.batch_alter_table("state_change", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_state_change_item_id_id"), ["item_id", "id"], unique=False)

    op.create_table(
        "swap",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("bad_id", sa.Uuid(), nullable=False),
        sa.Column("spare_id", sa.Uuid(), nullable=False),
        sa.Column("place_a_id", sa.Uuid(), nullable=True),
        sa.Column("place_b_id", sa.Uuid(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.CheckConstraint("bad_id <> spare_id", name=op.f("ck_swap_two_items")),
        sa.ForeignKeyConstraint(["bad_id"], ["item.id"], name=op.f("fk_swap_bad_id_item"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_swap_person_id_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["place_a_id"], ["place.id"], name=op.f("fk_swap_place_a_id_place"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["place_b_id"], ["place.id"], name=op.f("fk_swap_place_b_id_place"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["spare_id"], ["item.id"], name=op.f("fk_swap_spare_id_item"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_swap")),
    )
    with op.batch_alter_table("swap", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_swap_bad_id_at"), ["bad_id", "at"], unique=False)

    op.create_table(
        "tag",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=True),
        sa.Column("place_id", sa.Uuid(), nullable=True),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("until", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("(item_id IS NULL) <> (place_id IS NULL)", name=op.f("ck_tag_on_one_thing")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_tag_item_id_item"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_tag_place_id_place"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("code", name=op.f("pk_tag")),
    )
    with op.batch_alter_table("tag", schema=None) as batch_op:
        batch_op.create_index(
            "ix_tag_now_item",
            ["item_id"],
            unique=True,
            sqlite_where=sa.text("until IS NULL"),
            postgresql_where=sa.text("until IS NULL"),
        )
        batch_op.create_index(
            "ix_tag_now_place",
            ["place_id"],
            unique=True,
            sqlite_where=sa.text("until IS NULL"),
            postgresql_where=sa.text("until IS NULL"),
        )

    op.create_table(
        "test",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("wiring", sa.String(), nullable=False),
        sa.Column("method", sa.String(), nullable=False),
        sa.Column("joined", sa.JSON(), nullable=False),
        sa.Column("probed", sa.JSON(), nullable=False),
        sa.Column("evidence", sa.JSON(), nullable=False),
        sa.Column("verdict", sa.String(), nullable=False),
        sa.Column("unproven", sa.JSON(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("tested_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("told_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.Column("session_id", sa.Uuid(), nullable=True),
        sa.Column("tester_id", sa.Uuid(), nullable=True),
        sa.CheckConstraint("\"method\" IN ('two_ended', 'phantom', 'meter', 'listening')", name=op.f("ck_test_method")),
        sa.CheckConstraint("\"verdict\" IN ('pass', 'fail', 'partial')", name=op.f("ck_test_verdict")),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_test_person_id_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["session_id"],
            ["work_session.id"],
            name=op.f("fk_test_session_id_work_session"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["tester_id"], ["tester.id"], name=op.f("fk_test_tester_id_tester"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_test")),
    )
    with op.batch_alter_table("test", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_test_person_id"), ["person_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_test_session_id_tested_at"), ["session_id", "tested_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_test_tested_at_id"), ["tested_at", "id"], unique=False)

    op.create_table(
        "work_item",
        sa.Column("session_id", sa.Uuid(), nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("claimed_by", sa.Uuid(), nullable=True),
        sa.Column("claimed_until", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["claimed_by"], ["person.id"], name=op.f("fk_work_item_claimed_by_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_work_item_item_id_item"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["session_id"],
            ["work_session.id"],
            name=op.f("fk_work_item_session_id_work_session"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("session_id", "item_id", name=op.f("pk_work_item")),
    )
    with op.batch_alter_table("work_item", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_work_item_item_id"), ["item_id"], unique=False)

    op.create_table(
        "work_seen",
        sa.Column("session_id", sa.Uuid(), nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("place_id", sa.Uuid(), nullable=True),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_work_seen_item_id_item"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_work_seen_person_id_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["place_id"], ["place.id"], name=op.f("fk_work_seen_place_id_place"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["session_id"],
            ["work_session.id"],
            name=op.f("fk_work_seen_session_id_work_session"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("session_id", "item_id", name=op.f("pk_work_seen")),
    )
    with op.batch_alter_table("work_seen", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_work_seen_item_id"), ["item_id"], unique=False)

    op.create_table(
        "fault",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("test_id", sa.Uuid(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("fault_class", sa.String(), nullable=False),
        sa.Column("end", sa.String(), nullable=True),
        sa.Column("lane", sa.String(), nullable=True),
        sa.Column("conductor", sa.String(), nullable=True),
        sa.Column("conductors", sa.JSON(), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=True),
        sa.CheckConstraint("\"end\" IN ('A', 'B')", name=op.f("ck_fault_end")),
        sa.ForeignKeyConstraint(["test_id"], ["test.id"], name=op.f("fk_fault_test_id_test"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fault")),
        sa.UniqueConstraint("test_id", "position", name=op.f("uq_fault_test_id_position")),
    )
    with op.batch_alter_table("fault", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_fault_fault_class_conductor"), ["fault_class", "conductor"], unique=False)

    op.create_table(
        "tag_print",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("asked_by", sa.Uuid(), nullable=True),
        sa.Column("printed_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["asked_by"], ["person.id"], name=op.f("fk_tag_print_asked_by_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["code"], ["tag.code"], name=op.f("fk_tag_print_code_tag"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tag_print")),
    )
    with op.batch_alter_table("tag_print", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_tag_print_code"), ["code"], unique=False)

    op.create_table(
        "test_item",
        sa.Column("test_id", sa.Uuid(), nullable=False),
        sa.Column("item_id", sa.Uuid(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_test_item_item_id_item"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["test_id"], ["test.id"], name=op.f("fk_test_item_test_id_test"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("test_id", "item_id", name=op.f("pk_test_item")),
    )
    with op.batch_alter_table("test_item", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_test_item_item_id"), ["item_id"], unique=False)

    op.create_table(
        "void",
        sa.Column("test_id", sa.Uuid(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_void_person_id_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["test_id"], ["test.id"], name=op.f("fk_void_test_id_test"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("test_id", name=op.f("pk_void")),
    )


def downgrade() -> None:
    """Back."""
    op.drop_table("void")
    with op.batch_alter_table("test_item", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_test_item_item_id"))

    op.drop_table("test_item")
    with op.batch_alter_table("tag_print", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_tag_print_code"))

    op.drop_table("tag_print")
    with op.batch_alter_table("fault", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_fault_fault_class_conductor"))

    op.drop_table("fault")
    with op.batch_alter_table("work_seen", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_work_seen_item_id"))

    op.drop_table("work_seen")
    with op.batch_alter_table("work_item", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_work_item_item_id"))

    op.drop_table("work_item")
    with op.batch_alter_table("test", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_test_tested_at_id"))
        batch_op.drop_index(batch_op.f("ix_test_session_id_tested_at"))
        batch_op.drop_index(batch_op.f("ix_test_person_id"))

    op.drop_table("test")
    with op.batch_alter_table("tag", schema=None) as batch_op:
        batch_op.drop_index(
            "ix_tag_now_place",
            sqlite_where=sa.text("until IS NULL"),
            postgresql_where=sa.text("until IS NULL"),
        )
        batch_op.drop_index(
            "ix_tag_now_item",
            sqlite_where=sa.text("until IS NULL"),
            postgresql_where=sa.text("until IS NULL"),
        )

    op.drop_table("tag")
    with op.batch_alter_table("swap", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_swap_bad_id_at"))

    op.drop_table("swap")
    with op.batch_alter_table("state_change", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_state_change_item_id_id"))

    op.drop_table("state_change")
    op.drop_table("session_helper")
    with op.batch_alter_table("repair", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_repair_item_id_at"))

    op.drop_table("repair")
    op.drop_table("port")
    with op.batch_alter_table("placement", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_placement_place_b_id"))
        batch_op.drop_index(batch_op.f("ix_placement_place_a_id_until"))
        batch_op.drop_index(
            "ix_placement_now",
            sqlite_where=sa.text("until IS NULL"),
            postgresql_where=sa.text("until IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_placement_item_id"))

    op.drop_table("placement")
    with op.batch_alter_table("note", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_note_item_id"))

    op.drop_table("note")
    with op.batch_alter_table("item_season", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_item_season_season_id"))

    op.drop_table("item_season")
    with op.batch_alter_table("item_length", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_item_length_item_id"))

    op.drop_table("item_length")
    with op.batch_alter_table("item_due", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_item_due_state_due_by_item_id"))
        batch_op.drop_index(batch_op.f("ix_item_due_changes_on"))

    op.drop_table("item_due")
    with op.batch_alter_table("flag", schema=None) as batch_op:
        batch_op.drop_index(
            "ix_flag_open",
            sqlite_where=sa.text("cleared_at IS NULL"),
            postgresql_where=sa.text("cleared_at IS NULL"),
        )

    op.drop_table("flag")
    with op.batch_alter_table("work_session", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_work_session_on"))

    op.drop_table("work_session")
    op.drop_table("wiring")
    with op.batch_alter_table("tester", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_tester_wiring"))

    op.drop_table("tester")
    op.drop_table("tag_printer")
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sign_in_person_id"))

    op.drop_table("sign_in")
    op.drop_table("sent_mail")
    op.drop_table("round")
    op.drop_table("label_sheet")
    with op.batch_alter_table("item", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_item_state_kind_length_mm_id"))
        batch_op.drop_index(batch_op.f("ix_item_kind_length_mm_id"))

    op.drop_table("item")
    with op.batch_alter_table("event", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_event_season_id"))
        batch_op.drop_index(batch_op.f("ix_event_on"))

    op.drop_table("event")
    op.drop_table("crew_pass")
    op.drop_table("calendar_link")
    with op.batch_alter_table("audit_entry", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_audit_entry_at_id"))

    op.drop_table("audit_entry")
    op.drop_table("wear_target")
    op.drop_table("season")
    op.drop_table("receipt")
    op.drop_table("program")
    op.drop_table("place")
    op.drop_table("person")
    op.drop_table("lease")
