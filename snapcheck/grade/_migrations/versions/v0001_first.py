"""The first schema."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "photo",
        sa.Column("sha", sa.String(64), primary_key=True),
        sa.Column("size", sa.Integer, nullable=False),
        sa.Column("likeness", sa.String(64), nullable=False),
        sa.Column("card", sa.Text, nullable=False),
    )
    op.create_table(
        "reading",
        sa.Column("sha", sa.String(64), sa.ForeignKey("photo.sha", ondelete="CASCADE"), primary_key=True),
        sa.Column("reader", sa.String(200), primary_key=True),
        sa.Column("state", sa.String(10), nullable=False),
        sa.Column("body", sa.Text, nullable=False),
    )
    op.create_table(
        "file",
        sa.Column("path", sa.String(1000), primary_key=True),
        sa.Column("sha", sa.String(64), nullable=False, index=True),
        sa.Column("size", sa.Integer, nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("student", sa.String(64), nullable=True, index=True),
        sa.Column("task", sa.String(200), nullable=True),
        sa.Column("how", sa.String(20), nullable=False),
        sa.Column("problem", sa.Text, nullable=False),
        sa.Column("gone", sa.Boolean, nullable=False),
    )
    op.create_table(
        "facts",
        sa.Column("key", sa.String(64), primary_key=True),
        sa.Column("sha", sa.String(64), nullable=False, index=True),
        sa.Column("body", sa.Text, nullable=False),
    )
    op.create_table(
        "decision",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("by", sa.String(100), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("student", sa.String(64), nullable=True, index=True),
        sa.Column("task", sa.String(200), nullable=True),
        sa.Column("subject", sa.String(1000), nullable=False),
        sa.Column("choice", sa.Text, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("takes_back", sa.Integer, sa.ForeignKey("decision.id"), nullable=True, unique=True),
    )
    op.create_table(
        "grade",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("student", sa.String(64), nullable=False, index=True),
        sa.Column("task", sa.String(200), nullable=False),
        sa.Column("body", sa.Text, nullable=False),
    )
    if op.get_bind().dialect.name == "sqlite":
        op.execute(
            "CREATE TRIGGER decision_stays BEFORE UPDATE ON decision "
            "BEGIN SELECT RAISE(ABORT, 'decisions are added, never changed'); END"
        )
    else:
        op.execute(
            "CREATE FUNCTION decision_stays() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'decisions are added, never changed'; END $$"
        )
        op.execute(
            "CREATE TRIGGER decision_stays BEFORE UPDATE ON decision "
            "FOR EACH ROW EXECUTE FUNCTION decision_stays()"
        )
