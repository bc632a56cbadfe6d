"""Several services on one PostgreSQL and one store of photos, through kills and restarts: is anything lost or doubled?

    python -m tests.server.several_services_study [--services 4] [--clients 16] [--posts 1000] [--away 30]

Clients post to whichever service answers, each photo again with its key until it is acknowledged. Meanwhile two
services are killed (SIGKILL) at random moments and started again some seconds later, the database is stopped at once
and started twice, and the store (moto) is away for a while where ``--away`` says so.
"""

import argparse
import itertools
import logging
import os
import random
import tempfile
import threading
import time
from contextlib import closing
from pathlib import Path

import httpx2 as httpx

from service.log import store
from service.log.check import check_log
from service.log.database import Database
from tests.photos.conftest import Bucket
from tests.server.calls import HTTP
from tests.server.kills import Outcome, Told, faults, made_up_photo
from tests.server.postgres import a_server_to_restart
from tests.server.running import Running

KILLS, RESTARTS = 2, 2
DOWN_S = 3.0  # until a killed service is started again


class Phones:
    """Clients that post so many photos among them, and stop."""

    def __init__(self, urls: list[str], batch: int, clients: int, posts: int) -> None:
        self.told = Told()
        self.sent_again = 0
        self._urls, self._path = urls, f"/api/batches/{batch}/readings"
        self._left = itertools.count(1)
        self._posts = posts
        self._threads = [threading.Thread(target=self._post_all, args=(n,)) for n in range(clients)]

    def start(self) -> None:
        for thread in self._threads:
            thread.start()

    def join(self) -> None:
        for thread in self._threads:
            thread.join()

    def wait_for(self, acknowledged: int) -> None:
        while len(self.told.answers) < acknowledged and not self.told.trouble:
            time.sleep(0.02)

    def _post_all(self, nth: int) -> None:
        urls = itertools.cycle(self._urls[nth % len(self._urls) :] + self._urls[: nth % len(self._urls)])
        url = next(urls)
        with httpx.Client(timeout=30) as client:
            while (number := next(self._left)) <= self._posts and not self.told.trouble:
                key = f"k-{number}"
                photo = made_up_photo(key)
                while True:
                    sending = {"files": {"photo": (key, photo)}, "headers": {"Idempotency-Key": key}}
                    try:
                        answer = client.post(url + self._path, **sending)
                    except httpx.TransportError:
                        url, answer = next(urls), None
                    if answer is not None and answer.status_code not in (429, 503):
                        break
                    self.sent_again += 1
                    time.sleep(0.1)
                if answer.status_code != 200:
                    self.told.trouble.append(f"{key}: {answer.status_code} {answer.text[:200]}")
                    return
                self.told.answers.setdefault(key, set()).add(answer.json()["log"]["id"])
                self.told.hashes[key] = answer.json()["sha256"]


def study(folder: Path, given: argparse.Namespace) -> tuple[Outcome, Phones, float]:
    """What came of it, the clients, and the seconds until all was acknowledged."""
    services, posts, away = given.services, given.posts, given.away
    chance = random.Random(given.seed)
    bucket = Bucket("photos")
    os.environ |= {"FSSPEC_S3_ENDPOINT_URL": bucket.address, "AWS_ACCESS_KEY_ID": "k", "AWS_SECRET_ACCESS_KEY": "s"}
    with a_server_to_restart() as (database, restart):
        running = []
        for n in range(services):
            (folder / str(n)).mkdir()
            running.append(Running(folder / str(n), database=database, photos=bucket.url).start())
        batch = HTTP.post(f"{running[0].url}/api/batches", json={"name": "several"}).json()["id"]
        phones = Phones([one.url for one in running], batch, given.clients, posts)
        began = time.monotonic()
        phones.start()
        due = [*(("kill", chance.uniform(0.1, 0.8)) for _ in range(KILLS)), ("restart", 0.35), ("restart", 0.65)]
        absent = threading.Thread(target=_away, args=(bucket, away)) if away else None
        waiting, victims = [], chance.sample(range(services), KILLS)
        for what, share in sorted(due, key=lambda one: one[1]):
            phones.wait_for(round(share * posts))
            if what == "restart":
                restart()
                continue
            one = running[victims.pop()]
            one.kill()
            waiting.append(threading.Timer(DOWN_S, one.start))
            waiting[-1].start()
            if absent is not None and not absent.ident:
                absent.start()
        phones.join()
        took = time.monotonic() - began
        for one in [*waiting, *([absent] if absent is not None else [])]:
            one.join()
        _sent(folder, services, time.monotonic() + 90)
        for one in running:
            one.stop()
        with closing(Database(database)) as log:
            check = check_log(log, folder / "0" / "data")
            with log.read() as c:
                entries = {row["id"]: row["photo_sha256"] for row in store.entries_of(c, batch)}
    bucket.away()
    return Outcome(phones.told, entries, check, KILLS, []), phones, took


def _away(bucket: Bucket, seconds: float) -> None:
    bucket.away()
    time.sleep(seconds)
    bucket.back()


def _sent(folder: Path, services: int, until: float) -> None:
    """Until every service has sent what it had for the store."""
    outgoing = [folder / str(n) / "data" / "outgoing" for n in range(services)]
    while any(any(place.iterdir()) for place in outgoing if place.is_dir()) and time.monotonic() < until:
        time.sleep(0.2)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--services", type=int, default=4)
    parser.add_argument("--clients", type=int, default=16)
    parser.add_argument("--posts", type=int, default=1000)
    parser.add_argument("--away", type=float, default=0, help="seconds for which the store of photos is away")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    with tempfile.TemporaryDirectory() as root:
        came, phones, took = study(Path(root), given)
    print(f"{given.services} services, {given.clients} clients, {KILLS} kills, ", end="")
    print(f"{RESTARTS} restarts of the database, ", end="")
    print(f"store away {given.away:g} s: {len(came.told.answers)} acknowledged, {len(came.entries)} entries, ", end="")
    print(f"{phones.sent_again} sent again, {took:.0f} s; {len(came.check.orphans)} orphans, ", end="")
    print(f"faults: {faults(came) or 'none'}")


if __name__ == "__main__":
    main()
