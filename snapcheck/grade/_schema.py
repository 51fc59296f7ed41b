"""Tables of the store. Changes to them go through a new file in ``_migrations/versions``."""

from __future__ import annotations

import sqlalchemy as sa

#: the newest revision in ``_migrations/versions``
HEAD = "0002"

meta = sa.MetaData()

#: a picture, known by its bytes
photo = sa.Table(
    "photo",
    meta,
    sa.Column("sha", sa.String(64), primary_key=True),
    sa.Column("size", sa.Integer, nullable=False),
    sa.Column("likeness", sa.String(64), nullable=False),  # perceptual hash, "" where it cannot be opened
    sa.Column("card", sa.Text, nullable=False),  # text of the bench card in the picture, ""
)

#: what one reader saw in one picture; written once
reading = sa.Table(
    "reading",
    meta,
    sa.Column("sha", sa.String(64), sa.ForeignKey("photo.sha", ondelete="CASCADE"), primary_key=True),
    sa.Column("reader", sa.String(200), primary_key=True),
    sa.Column("state", sa.String(10), nullable=False),  # read, retake, failed
    sa.Column("body", sa.Text, nullable=False),  # JSON of the reading, or why there is none
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
)

#: a checked build, by a digest of everything that it follows from
facts = sa.Table(
    "facts",
    meta,
    sa.Column("key", sa.String(64), primary_key=True),
    sa.Column("sha", sa.String(64), nullable=False, index=True),
    sa.Column("body", sa.Text, nullable=False),
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
)

#: that somebody's data were erased, without saying whose (since revision 0002)
erasure = sa.Table(
    "erasure",
    meta,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("at", sa.String(32), nullable=False),
    sa.Column("rows", sa.Integer, nullable=False),
    sa.Column("files", sa.Integer, nullable=False),
)
