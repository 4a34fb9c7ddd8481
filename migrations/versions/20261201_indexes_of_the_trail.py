"""repairs are found by their time, entries of the audit trail by who did what

Revision ID: 0016
Revises: 0015
"""

from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward."""
    op.create_index(op.f("ix_repair_at"), "repair", ["at"])
    op.create_index(op.f("ix_audit_entry_person_id_at_id"), "audit_entry", ["person_id", "at", "id"])
    op.create_index(op.f("ix_audit_entry_action_at_id"), "audit_entry", ["action", "at", "id"])


def downgrade() -> None:
    """Back."""
    op.drop_index(op.f("ix_audit_entry_action_at_id"), table_name="audit_entry")
    op.drop_index(op.f("ix_audit_entry_person_id_at_id"), table_name="audit_entry")
    op.drop_index(op.f("ix_repair_at"), table_name="repair")
