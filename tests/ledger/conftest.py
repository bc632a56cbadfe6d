"""A log of its own for tests of ledgers."""

import pytest

from service.log.database import Database


@pytest.fixture
def log(tmp_path):
    made = Database(f"sqlite:///{tmp_path / 'log.sqlite3'}")
    made.migrate()
    yield made
    made.close()
