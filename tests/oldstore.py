"""A gradebook of an earlier revision, for tests of how it is brought up."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import create_engine

from snapcheck.grade import __file__ as room


def make_old(file: Path, revision: str, *statements: str) -> None:
    """The SQLite gradebook `file` as `revision` laid it, with what the statements put in."""
    config = Config()
    config.set_main_option("script_location", str(Path(room).parent / "_migrations"))
    engine = create_engine(f"sqlite:///{file}")
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
        for statement in statements:
            connection.exec_driver_sql(statement)
    engine.dispose()
