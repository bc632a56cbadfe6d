"""The form that a log's database has, as the number of its newest migration."""

from __future__ import annotations

from pathlib import Path

from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect


def steps() -> Config:
    """Where the steps from form to form are."""
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parents[1] / "migrations"))
    return config


def form_of(c: Connection) -> str | None:
    """The database's form; None where it has none yet."""
    if not inspect(c).has_table("alembic_version"):
        return None
    found = c.exec_driver_sql("SELECT version_num FROM alembic_version").scalars().all()
    return ", ".join(str(one) for one in found) or None


def newest_form() -> str:
    """The form that this version of the program makes."""
    return str(ScriptDirectory.from_config(steps()).get_current_head())


def later_form(c: Connection) -> str | None:
    """The database's form if this version does not know it, else None."""
    form = form_of(c)
    known = {step.revision for step in ScriptDirectory.from_config(steps()).walk_revisions()}
    return None if form is None or form in known else form
