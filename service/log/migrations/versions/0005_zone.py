"""Each batch gets a zone, in its details: that of the computer on which an older log is opened, to be set right later.

Entries stay as they were written. Who told their time is worked out from what they hold (``service.log.taken``).
"""

import json

import sqlalchemy as sa
from alembic import op

from service.log.chain.links import append
from service.log.models import now
from service.moments import server_zone

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Write the zone into the batches that have none, as a change of each that its history and the chain keep."""
    c = op.get_bind()
    zone = server_zone()
    for row in c.execute(sa.text("SELECT * FROM batches ORDER BY id")).mappings().all():
        try:
            details = json.loads(row["details"])
        except (ValueError, RecursionError):
            continue  # damaged: the log's check says so
        if not isinstance(details, dict) or "zone" in details:
            continue
        text = json.dumps({**details, "zone": zone}, ensure_ascii=False, separators=(",", ":"))
        c.execute(sa.text("UPDATE batches SET details = :text WHERE id = :id"), {"text": text, "id": row["id"]})
        append(c, [("batches", {**row, "details": text})])
        said = json.dumps({"from": None, "to": zone}, separators=(",", ":"))
        event = {"batch_id": row["id"], "at": now(), "what": "zone", "detail": said}
        asked = "INSERT INTO events (batch_id, at, what, detail) VALUES (:batch_id, :at, :what, :detail) RETURNING id"
        append(c, [("events", {"id": c.execute(sa.text(asked), event).scalar_one(), **event})])
