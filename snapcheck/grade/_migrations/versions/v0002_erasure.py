"""A record that somebody's data were erased, without saying whose."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "erasure",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("rows", sa.Integer, nullable=False),
        sa.Column("files", sa.Integer, nullable=False),
    )
