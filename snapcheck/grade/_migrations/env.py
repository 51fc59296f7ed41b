"""Run by Alembic: uses the connection that the store hands over, so that no address is written anywhere."""

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
