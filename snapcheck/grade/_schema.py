"""Tables of the store. Changes to them go through a new file in ``_migrations/versions``.

Every row carries a seal, a checksum of all that stands in it, and the ledger says how many rows a table has
and what their seals add up to: so a row that was changed or lost by anything but the store itself shows.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

import sqlalchemy as sa

#: all revisions in ``_migrations/versions``, the newest last
REVISIONS = ("0001", "0002", "0003")
HEAD = REVISIONS[-1]


def seal_of(table: str, row: Mapping[str, Any]) -> str:
    """The seal of a row: SHA-256, cut to 128 bits, of its columns' names and values."""
    plain = {k: v for k, v in row.items() if k != "seal"}
    text = json.dumps([table, plain], sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:32]


def total_of(seals: Iterable[str], start: str = "0") -> str:
    """What seals add up to; the order does not matter."""
    return f"{(int(start, 16) + sum(int(s, 16) for s in seals)) % (1 << 128):032x}"


def _seal() -> sa.Column[str]:
    return sa.Column("seal", sa.String(32), nullable=False)


meta = sa.MetaData()

#: a picture, known by its bytes
photo = sa.Table(
    "photo",
    meta,
    sa.Column("sha", sa.String(64), primary_key=True),
    sa.Column("size", sa.Integer, nullable=False),
    sa.Column("likeness", sa.String(64), nullable=False),  # perceptual hash, "" where it cannot be opened
    sa.Column("card", sa.Text, nullable=False),  # text of the bench card in the picture, ""
    _seal(),
)

#: what one reader saw in one picture; written once
reading = sa.Table(
    "reading",
    meta,
    sa.Column("sha", sa.String(64), sa.ForeignKey("photo.sha", ondelete="CASCADE"), primary_key=True),
    sa.Column("reader", sa.String(200), primary_key=True),
    sa.Column("state", sa.String(10), nullable=False),  # read, retake, failed
    sa.Column("body", sa.Text, nullable=False),  # JSON of the reading, or why there is none
    _seal(),
)

#: a file of the submissions, as last seen
file = sa.Table(
    "file",
    meta,
    sa.Column("path", sa.String(1000), primary_key=True),
    sa.Column("sha", sa.String(64), nullable=False, index=True),
    sa.Column("size", sa.Integer, nullable=False),
    sa.Column("at", sa.String(32), nullable=False),  # ISO 8601, UTC
    sa.Column("student", sa.String(64), nullable=True, index=True),
    sa.Column("task", sa.String(200), nullable=True),
    sa.Column("how", sa.String(20), nullable=False),
    sa.Column("problem", sa.Text, nullable=False),
    sa.Column("gone", sa.Boolean, nullable=False),
    sa.Column("clock", sa.String(10), nullable=False),  # where `at` comes from (since 0003), ""
    _seal(),
)

#: a checked build, by a digest of everything that it follows from
facts = sa.Table(
    "facts",
    meta,
    sa.Column("key", sa.String(64), primary_key=True),
    sa.Column("sha", sa.String(64), nullable=False, index=True),
    sa.Column("body", sa.Text, nullable=False),
    _seal(),
)

#: what people decided; rows are added, never changed
decision = sa.Table(
    "decision",
    meta,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("at", sa.String(32), nullable=False),
    sa.Column("by", sa.String(100), nullable=False),
    sa.Column("kind", sa.String(20), nullable=False),
    sa.Column("student", sa.String(64), nullable=True, index=True),
    sa.Column("task", sa.String(200), nullable=True),
    sa.Column("subject", sa.String(1000), nullable=False),  # picture, path or item
    sa.Column("choice", sa.Text, nullable=False),
    sa.Column("reason", sa.Text, nullable=False),
    sa.Column("takes_back", sa.Integer, sa.ForeignKey("decision.id"), nullable=True, unique=True),
    _seal(),
)

#: every grade that was ever worked out; the newest one of a student and task is in force
grade = sa.Table(
    "grade",
    meta,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("at", sa.String(32), nullable=False),
    sa.Column("student", sa.String(64), nullable=False, index=True),
    sa.Column("task", sa.String(200), nullable=False),
    sa.Column("body", sa.Text, nullable=False),
    _seal(),
)

#: that somebody's data were erased, without saying whose (since revision 0002)
erasure = sa.Table(
    "erasure",
    meta,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("at", sa.String(32), nullable=False),
    sa.Column("rows", sa.Integer, nullable=False),
    sa.Column("files", sa.Integer, nullable=False),
    _seal(),
)

#: for every table how many rows it has, what their seals add up to, and its last number (since 0003)
ledger = sa.Table(
    "ledger",
    meta,
    sa.Column("name", sa.String(20), primary_key=True),
    sa.Column("count", sa.Integer, nullable=False),
    sa.Column("total", sa.String(32), nullable=False),
    sa.Column("last", sa.Integer, nullable=False),
)

#: the tables that the ledger has an eye on
SEALED = (photo, reading, file, facts, decision, grade, erasure)
