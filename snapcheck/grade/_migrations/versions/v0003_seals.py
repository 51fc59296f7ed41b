"""Seals, so that damage and edits show; where the time of a file comes from."""

import sqlalchemy as sa
from alembic import op

from snapcheck.grade._schema import seal_of, total_of

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

TABLES = ("photo", "reading", "file", "facts", "decision", "grade", "erasure")
#: tables with a number of their own
NUMBERED = ("decision", "grade", "erasure")


def upgrade() -> None:
    bind = op.get_bind()
    lite = bind.dialect.name == "sqlite"
    op.add_column("file", sa.Column("clock", sa.String(10), nullable=False, server_default=""))
    for name in TABLES:
        op.add_column(name, sa.Column("seal", sa.String(32), nullable=False, server_default=""))
    ledger = op.create_table(
        "ledger",
        sa.Column("name", sa.String(20), primary_key=True),
        sa.Column("count", sa.Integer, nullable=False),
        sa.Column("total", sa.String(32), nullable=False),
        sa.Column("last", sa.Integer, nullable=False),
    )
    op.execute("DROP TRIGGER decision_stays" + ("" if lite else " ON decision"))
    for name in TABLES:
        table = sa.Table(name, sa.MetaData(), autoload_with=bind)
        seals, last = [], 0
        for row in bind.execute(sa.select(table)).mappings().all():
            seals.append(seal_of(name, dict(row)))
            last = max(last, row["id"] if name in NUMBERED else 0)
            mine = sa.and_(*(c == row[c.name] for c in table.primary_key))
            bind.execute(sa.update(table).where(mine).values(seal=seals[-1]))
        bind.execute(
            sa.insert(ledger), {"name": name, "count": len(seals), "total": total_of(seals), "last": last}
        )
    if lite:
        op.execute(
            "CREATE TRIGGER decision_stays BEFORE UPDATE ON decision "
            "BEGIN SELECT RAISE(ABORT, 'decisions are added, never changed'); END"
        )
    else:
        op.execute(
            "CREATE TRIGGER decision_stays BEFORE UPDATE ON decision "
            "FOR EACH ROW EXECUTE FUNCTION decision_stays()"
        )
