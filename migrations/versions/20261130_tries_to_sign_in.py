"""tries at a passphrase are counted for all workers together, and sign-ins of leads know their device

Revision ID: 0011
Revises: 0010
"""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Forward: no device is known yet; each is from its next sign-in on."""
    op.create_table(
        "sign_in_try",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("name_hash", sa.String(), nullable=False),
        sa.Column("source_hash", sa.String(), nullable=False),
        sa.Column("known", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in_try")),
    )
    with op.batch_alter_table("sign_in_try", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_in_try_at"), ["at"], unique=False)
        batch_op.create_index(batch_op.f("ix_sign_in_try_name_hash_at"), ["name_hash", "at"], unique=False)
        batch_op.create_index(batch_op.f("ix_sign_in_try_source_hash_at"), ["source_hash", "at"], unique=False)
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.add_column(sa.Column("device_hash", sa.String(), nullable=True))
        batch_op.create_index(batch_op.f("ix_sign_in_device_hash"), ["device_hash"], unique=False)


def downgrade() -> None:
    """Back."""
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sign_in_device_hash"))
        batch_op.drop_column("device_hash")
    op.drop_table("sign_in_try")
