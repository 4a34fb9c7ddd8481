"""a tester may mark a test of their own as wrong, and a lead may let it stand

Revision ID: 0007
Revises: 0006
"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward."""
    op.create_table(
        "wrong_mark",
        sa.Column("test_id", sa.Uuid(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_wrong_mark_person_id_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["test_id"], ["test.id"], name=op.f("fk_wrong_mark_test_id_test"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("test_id", name=op.f("pk_wrong_mark")),
    )
    op.create_table(
        "mark_stands",
        sa.Column("test_id", sa.Uuid(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_mark_stands_person_id_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["test_id"],
            ["wrong_mark.test_id"],
            name=op.f("fk_mark_stands_test_id_wrong_mark"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("test_id", name=op.f("pk_mark_stands")),
    )


def downgrade() -> None:
    """Back."""
    op.drop_table("mark_stands")
    op.drop_table("wrong_mark")
