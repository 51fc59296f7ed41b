"""An empty database for a test, on the server that the maintainers' run starts."""

from __future__ import annotations

import os

import pytest

from snapcheck.grade import Store


def empty_database() -> str:
    """The address of a database without any table of ours: the server's own, where tests run side by side one
    for each of the processes. Skips without a server."""
    url = os.environ.get("SNAPCHECK_TEST_POSTGRES")
    if url is None:
        pytest.skip("SNAPCHECK_TEST_POSTGRES names no server")
    import sqlalchemy as sa

    def run(address: sa.URL, *statements: str) -> None:
        address = address.set(drivername="postgresql+psycopg")
        engine = sa.create_engine(address, poolclass=sa.NullPool, isolation_level="AUTOCOMMIT")
        with engine.connect() as c:
            for statement in statements:
                c.exec_driver_sql(statement)

    address = sa.make_url(url)
    if worker := os.environ.get("PYTEST_XDIST_WORKER"):
        name = f"{address.database}_{worker}"
        run(
            address,
            f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)',
            f'CREATE DATABASE "{name}" TEMPLATE template0',
        )
        return address.set(database=name).render_as_string(hide_password=False)
    with Store(url):
        pass
    run(address, "DROP SCHEMA public CASCADE", "CREATE SCHEMA public")
    return url
