"""Kill the service at random moments while phones post, and see what the log holds afterwards.

python -m tests.server.kills --kills 100
"""

import argparse
import random
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import httpx2 as httpx

from service.log.check import LogCheck, check_log
from service.log.database import Database
from tests.server.conftest import a_photo
from tests.server.running import Running


@dataclass
class Told:
    """What the phones know at the end: key -> every entry number that they were given for it."""

    answers: dict[str, set[int]] = field(default_factory=dict)
    hashes: dict[str, str] = field(default_factory=dict)
    trouble: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Outcome:
    """The log after the last kill, beside what the phones were told."""

    told: Told
    entries: dict[int, str]  # number -> photo hash
    check: LogCheck
    kills: int


def phone(url: str, batch: int, name: str, stop: threading.Event, told: Told) -> None:
    """Post photo after photo, each again and again with its key until it is acknowledged."""
    number, path = 0, f"/api/batches/{batch}/readings"
    with httpx.Client(base_url=url, timeout=20) as client:
        while not stop.is_set():
            number += 1
            key, photo = f"{name}-{number}", a_photo("slow=0.02")
            while True:
                try:
                    answer = client.post(path, files={"photo": (key, photo)}, headers={"Idempotency-Key": key})
                except httpx.TransportError:
                    time.sleep(0.05)
                    continue
                if answer.status_code in (429, 503):
                    time.sleep(0.1)
                    continue
                break
            if answer.status_code != 200:
                told.trouble.append(f"{key}: {answer.status_code} {answer.text[:200]}")
                return
            told.answers.setdefault(key, set()).add(answer.json()["log"]["id"])
            told.hashes[key] = answer.json()["sha256"]


def kill_again_and_again(folder: Path, kills: int, phones: int = 3, seed: int = 1) -> Outcome:
    """Run the phones through ``kills`` kills, then ask the log."""
    chance = random.Random(seed)
    told, stop = Told(), threading.Event()
    server = Running(folder).start()
    batch = httpx.post(f"{server.url}/api/batches", json={"name": "kills"}).json()["id"]
    threads = [threading.Thread(target=phone, args=(server.url, batch, f"p{n}", stop, told)) for n in range(phones)]
    for thread in threads:
        thread.start()
    for _ in range(kills):
        _wait_for_more(told)
        time.sleep(chance.uniform(0.0, 0.4))
        server.kill()
        server = Running(folder, port=server.port).start()
    _wait_for_more(told)
    stop.set()
    for thread in threads:
        thread.join(timeout=30)
    entries = httpx.get(f"{server.url}/api/batches/{batch}/readings").json()
    server.stop()
    database = Database(f"sqlite:///{folder / 'data' / 'log.sqlite3'}")
    check = check_log(database, folder / "data")
    database.close()
    return Outcome(told, {e["log"]["id"]: e["sha256"] for e in entries}, check, kills)


def _wait_for_more(told: Told) -> None:
    """Until a photo is acknowledged: then the service is in the middle of its work."""
    before, deadline = len(told.answers), time.monotonic() + 30
    while len(told.answers) == before and not told.trouble and time.monotonic() < deadline:
        time.sleep(0.01)


def faults(outcome: Outcome) -> list[str]:
    """Everything that breaks the promise: lost, doubled or torn entries."""
    found = list(outcome.told.trouble) + list(outcome.check.faults)
    for key, ids in outcome.told.answers.items():
        if len(ids) != 1:
            found.append(f"{key} was answered with several entries: {sorted(ids)}")
        for number in ids:
            if outcome.entries.get(number) != outcome.told.hashes[key]:
                found.append(f"{key}: entry {number} was acknowledged and is not there")
    hashes = list(outcome.entries.values())
    found += [f"photo {h} is in the log twice" for h in set(hashes) if hashes.count(h) > 1]
    return found


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as root:
        came = kill_again_and_again(Path(root), said.kills, seed=said.seed)
    print(f"{came.kills} kills, {len(came.told.answers)} acknowledged, {len(came.entries)} entries, ", end="")
    print(f"{len(came.check.orphans)} orphans, faults: {faults(came) or 'none'}")
