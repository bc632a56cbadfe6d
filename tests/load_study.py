"""Many phones at once: are photos lost or doubled, how quick is the page meanwhile, does memory stay flat?

    python -m tests.load_study --photo PHOTO.jpg --profile profile.toml [--posts 200] [--clients 8]

The photo is scaled to 12 megapixels unless told otherwise; every post differs by some bytes at its end, so that each is
a photo of its own.
"""

import argparse
import http.client
import io
import json
import multiprocessing
import os
import statistics
import subprocess
import tempfile
import threading
import time
from pathlib import Path
from urllib.parse import urlsplit

import httpx2 as httpx
from PIL import Image

from tests.server.calls import HTTP
from tests.server.running import Running

PATHS = ("/", "/api/batches", "/api/about", "/app.js", "/api/batches/1", "/healthz")


def scaled(path: Path, megapixels: float) -> bytes:
    """The photo at so many megapixels, 4 to 3, upright as it was."""
    long = round((megapixels * 1e6 * 4 / 3) ** 0.5)
    size = (long, round(long * 3 / 4))
    with Image.open(path) as image:
        wide = image.width >= image.height
        out = io.BytesIO()
        image.convert("RGB").resize(size if wide else size[::-1], Image.Resampling.LANCZOS).save(
            out, "JPEG", quality=90
        )
    return out.getvalue()


def probe(url: str, stop, answers) -> None:
    """Ask for what the page asks for, ten times a second, and note the times in ms."""
    times = []
    with httpx.Client(base_url=url, timeout=30) as client:
        while not stop.is_set():
            for path in PATHS:
                started = time.perf_counter()
                client.get(path).raise_for_status()
                times.append(1000 * (time.perf_counter() - started))
                time.sleep(0.1)
    answers.put(times)


def phone(url: str, base: bytes, posts: list[bytes], told: dict, retries: list[int]) -> None:
    """Send photos one after another; wait and send again when the service says so.

    Phones have processors of their own, these share the service's: so the body is put together by hand, as cheaply as
    can be.
    """
    where = urlsplit(url)
    link = http.client.HTTPConnection(where.hostname or "", where.port, timeout=120)
    head = b'--b\r\nContent-Disposition: form-data; name="photo"; filename="snap.jpg"\r\n'
    head += b"Content-Type: image/jpeg\r\n\r\n"
    while posts:
        parts = (head, base, posts.pop(), b"\r\n--b--\r\n")
        key = os.urandom(16).hex()
        headers = {
            "Idempotency-Key": key,
            "Content-Type": "multipart/form-data; boundary=b",
            "Content-Length": str(sum(map(len, parts))),
        }
        while True:
            link.request("POST", "/api/batches/1/readings", iter(parts), headers)
            answer = link.getresponse()
            said = json.loads(answer.read())
            if answer.status not in (429, 503):
                break
            retries.append(answer.status)
            time.sleep(float(answer.headers["Retry-After"]))
        told[key] = (answer.status, said.get("log", {}).get("id"))
    link.close()


def memory_mb(pid: int) -> dict[str, int]:
    """Proportional memory of the service and of its workers together, MB."""
    found = subprocess.run(["ps", "-o", "pid=", "--ppid", str(pid)], capture_output=True, text=True, check=False)
    total = {"service": _rss(pid), "workers": sum(_rss(int(p)) for p in found.stdout.split())}
    return {name: kb // 1024 for name, kb in total.items()}


def cpu_s(pid: int) -> dict[str, float]:
    """Processor seconds that the service and its workers have used; workers that ended are not counted."""
    found = subprocess.run(["ps", "-o", "pid=", "--ppid", str(pid)], capture_output=True, text=True, check=False)
    return {"service": _cpu(pid), "workers": sum(_cpu(int(p)) for p in found.stdout.split())}


def busy_s() -> float:
    """Processor seconds that the whole machine has worked since its start."""
    user, nice, system, _, _, interrupts, soft = map(int, Path("/proc/stat").read_text().split()[1:8])
    return (user + nice + system + interrupts + soft) / os.sysconf("SC_CLK_TCK")


def _cpu(pid: int) -> float:
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except FileNotFoundError:
        return 0.0
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _rss(pid: int) -> int:
    try:
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    except FileNotFoundError:
        return 0
    return next((int(line.split()[1]) for line in lines if line.startswith("VmRSS")), 0)


def one_reading_s(photo: bytes, profile: Path) -> tuple[float, float]:
    """Median seconds of one reading of this photo, alone, in this process: by the clock, and of the processor."""
    import cv2

    from stripread.ph.profile import load_profile
    from stripread.ph.read import read_ph

    cv2.setNumThreads(1)
    known = load_profile(profile)
    times, cpu = [], []
    for _ in range(7):
        started, used = time.perf_counter(), time.process_time()
        read_ph(photo, known)
        times.append(time.perf_counter() - started)
        cpu.append(time.process_time() - used)
    return statistics.median(times), statistics.median(cpu)


def study(photo: bytes, profile: Path, posts: int, clients: int, workers: int) -> dict:
    """Run the load and say what came."""
    alone = one_reading_s(photo, profile)
    left = [f"#{n}".encode() for n in range(posts)]
    told: dict = {}
    retries: list[int] = []
    with (
        tempfile.TemporaryDirectory() as root,
        Running(Path(root), profile=profile.resolve(), workers=workers) as server,
    ):
        HTTP.post(f"{server.url}/api/batches", json={"name": "load"})
        for n in range(workers):  # warm the workers: their start is no throughput
            phone(server.url, photo, [b"warm%d" % n], {}, retries)
        context = multiprocessing.get_context("spawn")
        stop, answers = context.Event(), context.Queue()
        prober = context.Process(target=probe, args=(server.url, stop, answers))
        prober.start()
        time.sleep(1.5)
        memory = [memory_mb(server.process.pid)]
        cpu = cpu_s(server.process.pid)
        others = {"clients": _cpu(os.getpid()), "prober": _cpu(prober.pid or 0)}
        load, busy = [os.getloadavg()[0]], busy_s()
        started = time.perf_counter()
        threads = [
            threading.Thread(target=phone, args=(server.url, photo, left, told, retries)) for _ in range(clients)
        ]
        for thread in threads:
            thread.start()
        done = 0
        while any(t.is_alive() for t in threads):
            time.sleep(0.2)
            if len(told) >= done + max(1, posts // 10):
                done = len(told)
                memory.append(memory_mb(server.process.pid))
        took = time.perf_counter() - started
        spent = {k: v - cpu[k] for k, v in cpu_s(server.process.pid).items()}
        asking = {"clients": _cpu(os.getpid()) - others["clients"], "prober": _cpu(prober.pid or 0) - others["prober"]}
        load.append(os.getloadavg()[0])
        elsewhere = max(0.0, busy_s() - busy - sum(spent.values()) - sum(asking.values())) / took
        stop.set()
        times = sorted(answers.get())
        prober.join()
        entries = HTTP.get(f"{server.url}/api/batches/1/readings", timeout=60).json()
    # The shorter of two is the harder measure: other work of the machine slows it, too.
    (alone, alone_cpu), cores = min(alone, one_reading_s(photo, profile)), os.cpu_count() or 1
    clients_took = sum(asking.values()) / took  # cores; phones have their own
    free = max(0.01, cores - clients_took - elsewhere)
    ids = [number for status, number in told.values() if status == 200]
    return {
        "posts": posts,
        "failed": sum(status != 200 for status, _ in told.values()),
        "lost": len(set(ids) - {e["log"]["id"] for e in entries}) + posts - len(told),
        "doubled": len(entries) - workers - len({e["sha256"] for e in entries[workers:]}),
        "retried_429_503": len(retries),
        "page_ms": {
            "median": round(times[len(times) // 2], 1),
            "p99": round(times[int(0.99 * len(times))], 1),
            "n": len(times),
        },
        "cpu_ms_per_post": {k: round(1000 * v / posts, 1) for k, v in (spent | asking).items()},
        "load_average": [round(v, 2) for v in load],  # at the start and at the end, of the whole machine
        "cores": {
            "all": cores,
            "taken_by_clients": round(clients_took, 2),
            "taken_elsewhere": round(elsewhere, 2),
            "used_by_service": round(sum(spent.values()) / took, 2),
        },
        "one_reading_s": {"alone": round(alone, 3), "cpu": round(alone_cpu, 3)},
        "per_second": round(posts / took, 2),
        "share_of_ideal": {
            "all_cores": round(posts / took * alone / cores, 2),  # cores / (one reading's time), all cores its own
            "cores_left": round(posts / took * alone_cpu / free, 2),  # by processor time: others had the rest
            "cpu_it_got": round(posts * alone_cpu / sum(spent.values()), 2),  # of its own processor time, for reading
        },
        "memory_mb": memory,
    }


def main() -> None:
    """Run the study and print one JSON object."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photo", type=Path, required=True)
    parser.add_argument("--profile", type=Path, required=True)
    parser.add_argument("--posts", type=int, default=200)
    parser.add_argument("--megapixels", type=float, default=12.0)
    parser.add_argument("--clients", type=int, default=8)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    said = parser.parse_args()
    print(
        json.dumps(
            study(scaled(said.photo, said.megapixels), said.profile, said.posts, said.clients, said.workers), indent=1
        )
    )


if __name__ == "__main__":
    main()
