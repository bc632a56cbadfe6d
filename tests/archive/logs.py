"""A log whose photos tell a made-up reader what to find, made without a service."""

from __future__ import annotations

import hashlib
import io
import itertools
from contextlib import closing
from pathlib import Path

from service.commands.log_care.reread_archive import Wanted
from service.log import store
from service.log.blobs import Blobs
from service.log.database import Database
from service.log.notes import add_note
from service.readers.worker import Job
from service.settings import Settings
from tests.server.fake_reader import FakeReader, LaterReader

PROFILE = 'what = "stripread profile"\nname = "fake"\n[kind]\nrange = [0, 14]\n'
OTHER = 'what = "stripread profile"\nname = "roll"\n'
KEPT, ROLL = ((hashlib.sha256(text.encode()).hexdigest(), text) for text in (PROFILE, OTHER))


_count = itertools.count(1)


def add(c, data: Path, batch: int, orders: str, *, kind="ph", wash=None, profile=KEPT, **more) -> int:
    """An entry as the made-up reader reads its photo."""
    photo = f"#{next(_count)} FAKE:{orders};CAMERA=;".encode()  # no time of its own: it was taken as it was logged
    sha256, size = Blobs(data / "photos").keep(io.BytesIO(photo))
    own = None
    if kind == "ph":
        own = data / "profiles" / f"{profile[0]}.toml"
        own.parent.mkdir(exist_ok=True)
        own.write_text(profile[1])
    path = data / "photos" / sha256[:2] / sha256
    outcome = FakeReader().read(Job(kind, path, f"{orders}.jpg", own))
    new = store.NewEntry(
        batch, kind, "photo", sha256, size, outcome.reading, wash=wash, profile=profile if own else None, **more
    )
    return store.add_entry(c, new)


def made_log(data: Path, each: int = 8, slow: float | None = None) -> Settings:
    """Four batches: two by open pH gates, of which the first went on; ``each`` photos; a tint, a solid, a refusal."""
    data.mkdir(parents=True)
    settings = Settings(data, reader=LaterReader, reading_timeout=10, workers=2)
    with closing(Database(settings.database_url)) as database:
        database.migrate()
        with database.write() as c:
            first, second, third, fourth = (store.add_batch(c, name) for name in ("one", "two", "three", "four"))
            for batch in (first, fourth):
                move = {"to": "neutral-wash", "state": "hold", "sentence": "As told.", "reason": "a made-up batch"}
                add_note(c, batch, "move", move)
                for wash in (1, 2, 3):
                    add(c, data, batch, "ph=7.60", wash=wash)
            add_note(c, first, "move", {"to": "lye-sugar", "state": "open", "sentence": "Two washes are neutral."})
            for n in range(each):
                add(c, data, second, f"ph={4 + n / 4:.2f}" if slow is None else f"slow={slow}", wash=n + 1)
            add(c, data, third, "none=4", kind="tint", extras={"path_mm": 25.0, "taking": {}})
            add(c, data, third, "pale=0.01", kind="solid")
            add(c, data, third, "refuse")
            add(c, data, third, "ph=5.00", profile=ROLL)
            add(c, data, third, "ph=9.00", extras={"by_hand": True})
    return settings


def wanted(out: Path, **more) -> Wanted:
    said = {"batches": (), "since": None, "profile": None, "out": out, "keep": False, "workers": 2}
    return Wanted(**{**said, **more})
