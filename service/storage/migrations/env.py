"""Runs migrations on the connection that `migrate` hands over; nothing is read from files."""

from alembic import context

from service.storage.tables import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata, transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
