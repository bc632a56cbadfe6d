"""Where Alembic meets the log: the caller hands over an open connection, so there is no second place for the URL."""

from alembic import context

from service.log.models import metadata

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=metadata, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
