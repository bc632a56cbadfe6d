"""Kill the service at random moments while phones post, and see what the log holds afterwards.

python -m tests.server.kills --kills 100
python -m tests.server.kills --kills 200 --real --at-risk 10 [--postgres]   # shipped photos by the real reader
"""

import argparse
import random
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass, field
from pathlib import Path

import httpx2 as httpx

from service.log.check import LogCheck, check_log
from service.log.database import Database
from tests.server.calls import HTTP
from tests.server.conftest import a_photo
from tests.server.postgres import a_server
from tests.server.running import Running

DEMO = Path(__file__).resolve().parents[2] / "service" / "demo"


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
    after_kills: list[str]  # what the check of the log found wrong after each kill, before the next start


def made_up_photo(_: str) -> bytes:
    """A photo for the made-up reader."""
    return a_photo("slow=0.02")


def shipped_photo(key: str) -> bytes:
    """One of the demo's photos of strips, with its key in a comment segment (ITU-T T.81, COM) so that none is alike."""
    photos = sorted((DEMO / "photos").glob("*.jpg"))
    data, words = photos[hash(key) % len(photos)].read_bytes(), key.encode()
    return data[:2] + b"\xff\xfe" + (len(words) + 2).to_bytes(2, "big") + words + data[2:]


def phone(
    url: str, batch: int, name: str, stop: threading.Event, told: Told, *, made: Callable[[str], bytes] = made_up_photo
) -> None:
    """Post photo after photo, each again and again with its key until it is acknowledged."""
    number, path = 0, f"/api/batches/{batch}/readings"
    with httpx.Client(base_url=url, timeout=20) as client:
        while not stop.is_set():
            number += 1
            key = f"{name}-{number}"
            photo = made(key)
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


def kill_again_and_again(
    folder: Path,
    kills: int,
    phones: int = 3,
    seed: int = 1,
    *,
    real: bool = False,
    at_risk: int = 1,
    database: str | None = None,
) -> Outcome:
    """Run the phones through ``kills`` kills, ``at_risk`` acknowledged readings before each, then ask the log."""
    chance = random.Random(seed)
    told, stop = Told(), threading.Event()
    options: dict[str, object] = {"profile": DEMO / "profile.toml", "workers": 2} if real else {}
    if database:
        options["database"] = database
    made = shipped_photo if real else made_up_photo
    after_kills: list[str] = []
    url = database or f"sqlite:///{folder / 'data' / 'log.sqlite3'}"
    server = Running(folder, **options).start()
    batch = HTTP.post(f"{server.url}/api/batches", json={"name": "kills"}).json()["id"]
    threads = [
        threading.Thread(target=phone, args=(server.url, batch, f"p{n}", stop, told), kwargs={"made": made})
        for n in range(phones)
    ]
    for thread in threads:
        thread.start()
    for _ in range(kills):
        _wait_for_more(told, at_risk)
        time.sleep(chance.uniform(0.0, 0.4))
        server.kill()
        after_kills += _faults_of_the_log(url, folder / "data")
        server = Running(folder, port=server.port, **options).start()
    _wait_for_more(told)
    stop.set()
    for thread in threads:
        thread.join(timeout=30)
    entries = HTTP.get(f"{server.url}/api/batches/{batch}/readings").json()
    server.stop()
    log = Database(url)
    check = check_log(log, folder / "data")
    log.close()
    return Outcome(told, {e["log"]["id"]: e["sha256"] for e in entries}, check, kills, after_kills)


def _faults_of_the_log(url: str, folder: Path) -> list[str]:
    """What the whole check (chain, guards, rows, photos) finds in the log as the kill left it."""
    log = Database(url)
    try:
        return list(check_log(log, folder).faults)
    finally:
        log.close()


def _wait_for_more(told: Told, count: int = 1) -> None:
    """Until photos are acknowledged: then the service is in the middle of its work."""
    before, deadline = len(told.answers), time.monotonic() + 30
    while len(told.answers) < before + count and not told.trouble and time.monotonic() < deadline:
        time.sleep(0.01)


def faults(outcome: Outcome) -> list[str]:
    """Everything that breaks the promise: lost, doubled or torn entries."""
    found = list(outcome.told.trouble) + list(outcome.check.faults) + outcome.after_kills
    for key, ids in outcome.told.answers.items():
        if len(ids) != 1:
            found.append(f"{key} was answered with several entries: {sorted(ids)}")
        for number in ids:
            if outcome.entries.get(number) != outcome.told.hashes[key]:
                found.append(f"{key}: entry {number} was acknowledged and is not there")
    hashes = list(outcome.entries.values())
    found += [f"photo {h} is in the log twice" for h in set(hashes) if hashes.count(h) > 1]
    return found


def main() -> None:
    """Kill, ask, print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--real", action="store_true", help="shipped photos, read by the real reader")
    parser.add_argument("--at-risk", type=int, default=1, help="readings acknowledged before each kill, at least")
    parser.add_argument("--postgres", action="store_true", help="the log in a PostgreSQL of its own")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as root, a_server() if given.postgres else nullcontext() as url:
        came = kill_again_and_again(
            Path(root), given.kills, seed=given.seed, real=given.real, at_risk=given.at_risk, database=url
        )
    print(f"{came.kills} kills, {len(came.told.answers)} acknowledged, {len(came.entries)} entries, ", end="")
    print(f"{len(came.check.orphans)} orphans, faults: {faults(came) or 'none'}")


if __name__ == "__main__":
    main()
