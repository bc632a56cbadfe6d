"""Guards in the database itself: triggers that refuse to change, replace or delete what was logged, whoever asks.

A change here needs a migration of its own, that drops the old guards and makes the new ones.
"""

from __future__ import annotations

from sqlalchemy import Connection, inspect, text

STAY = ("entries", "events", "photos", "profiles", "keys", "answers", "chain")
_KEYS = {"entries": "id", "events": "id", "batches": "id", "photos": "sha256", "profiles": "sha256", "keys": "key"}
_KEYS |= {"answers": "key", "chain": "n"}
TABLES = (*STAY, "batches")

# PostgreSQL's own numbers for what a trigger answers to (pg_trigger.tgtype)
_ROW, _BEFORE, _DELETE, _UPDATE, _TRUNCATE = 1, 2, 8, 16, 32
_FUNCTION = "log_stays"
_BODY = " BEGIN RAISE EXCEPTION '% are never changed or deleted', TG_TABLE_NAME; END "


def sqlite_guards() -> dict[str, str]:
    """Name and text of each trigger of a SQLite log."""
    found = {}
    for table in TABLES:
        refuse = f"BEGIN SELECT RAISE(ABORT, '{table} are never changed or deleted'); END"
        # INSERT OR REPLACE deletes the old row without asking the trigger on DELETE; so may a row number that is taken
        key = _KEYS[table]
        taken = f"{key} = NEW.{key}" if key in ("id", "n") else f"{key} = NEW.{key} OR rowid = NEW.rowid"
        there = f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {taken})"
        changed = "UPDATE OF id, opened_at" if table == "batches" else "UPDATE"
        for name, when in (
            ("update", f"BEFORE {changed} ON {table}"),
            ("delete", f"BEFORE DELETE ON {table}"),
            ("replace", f"BEFORE INSERT ON {table} {there}"),
        ):
            found[f"{table}_no_{name}"] = f"CREATE TRIGGER {table}_no_{name} {when} {refuse}"
    return found


def postgres_guards() -> dict[tuple[str, str], tuple[int, str]]:
    """(Table, name) of each trigger of a PostgreSQL log -> what it answers to, as a number and in SQL."""
    found = {}
    for table in STAY:
        found[table, f"{table}_stay"] = (_ROW | _BEFORE | _UPDATE | _DELETE, "UPDATE OR DELETE")
    found["batches", "batches_stay"] = (_ROW | _BEFORE | _DELETE, "DELETE")
    found["batches", "batches_number"] = (_ROW | _BEFORE | _UPDATE, "UPDATE OF id, opened_at")
    for table in TABLES:
        found[table, f"{table}_whole"] = (_BEFORE | _TRUNCATE, "TRUNCATE")
    return found


def set_guards(c: Connection) -> None:
    """Make the guards of the tables that there are anew, in the place of those of an older form."""
    there = set(inspect(c).get_table_names())
    if c.dialect.name == "sqlite":
        for name, words in sqlite_guards().items():
            if name.rpartition("_no_")[0] not in there:
                continue
            c.exec_driver_sql(f"DROP TRIGGER IF EXISTS {name}")
            c.exec_driver_sql(words)
    elif c.dialect.name == "postgresql":
        for table in ("entries", "events"):
            c.execute(text(f"DROP TRIGGER IF EXISTS {table}_stay ON {table}"))
            c.execute(text(f"DROP FUNCTION IF EXISTS {table}_stay()"))
        made = f"CREATE OR REPLACE FUNCTION {_FUNCTION}() RETURNS trigger LANGUAGE plpgsql AS $${_BODY}$$"
        c.execute(text(made))
        for (table, name), (kind, when) in postgres_guards().items():
            if table not in there:
                continue
            c.execute(text(f"DROP TRIGGER IF EXISTS {name} ON {table}"))
            each = "FOR EACH ROW" if kind & _ROW else "FOR EACH STATEMENT"
            c.execute(text(f"CREATE TRIGGER {name} BEFORE {when} ON {table} {each} EXECUTE FUNCTION {_FUNCTION}()"))
            c.execute(text(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {name}"))  # for replicas, too


def guard_faults(c: Connection) -> list[str]:
    """Which guards are missing, changed, or not the log's own."""
    if c.dialect.name == "sqlite":
        rows = c.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        there = {str(row[0]): str(row[1]) for row in rows}
        return _compared(sqlite_guards(), there)
    if c.dialect.name == "postgresql":
        return _postgres_faults(c)
    return []


def _postgres_faults(c: Connection) -> list[str]:
    asked = text(
        "SELECT r.relname, t.tgname, t.tgtype, t.tgenabled, t.tgqual IS NULL, t.tgattr::text, p.proname, p.prosrc "
        "FROM pg_trigger t JOIN pg_class r ON r.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid "
        "WHERE NOT t.tgisinternal AND r.relnamespace = current_schema()::regnamespace AND r.relname = ANY(:tables)"
    )
    there = {}
    for table, name, kind, enabled, always, columns, function, body in c.execute(asked, {"tables": list(TABLES)}):
        there[f"{table}.{name}"] = f"{kind} {enabled} {always} {columns} {function} {body}"
    wanted = {
        f"{table}.{name}": f"{kind} A True {'1 3' if name == 'batches_number' else ''} {_FUNCTION} {_BODY}"
        for (table, name), (kind, _) in postgres_guards().items()
    }
    rules = text("SELECT tablename, rulename FROM pg_rules WHERE schemaname = current_schema() AND tablename = ANY(:t)")
    strange = [f"rule {name} on {table} is not the log's own" for table, name in c.execute(rules, {"t": list(TABLES)})]
    return _compared(wanted, there) + strange


def _compared(wanted: dict[str, str], there: dict[str, str]) -> list[str]:
    faults = [f"guard {name} is missing" for name in sorted(set(wanted) - set(there))]
    faults += [f"guard {name} is not the log's own" for name in sorted(set(there) - set(wanted))]
    return faults + [
        f"guard {name} was changed" for name in sorted(wanted) if name in there and there[name] != wanted[name]
    ]
