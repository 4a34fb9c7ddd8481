"""a count knows the places that were walked

Revision ID: 0010
Revises: 0009
"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward: of earlier counts nobody said."""
    op.create_table(
        "work_walked",
        sa.Column("session_id", sa.Uuid(), nullable=False),
        sa.Column("place_id", sa.Uuid(), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_work_walked_person_id_person"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["place_id"], ["place.id"], name=op.f("fk_work_walked_place_id_place"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["session_id"],
            ["work_session.id"],
            name=op.f("fk_work_walked_session_id_work_session"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("session_id", "place_id", name=op.f("pk_work_walked")),
    )


def downgrade() -> None:
    """Back: nobody knows."""
    op.drop_table("work_walked")
