"""What readings made anew change: values and statuses entry by entry, and the gates that would judge otherwise."""

from __future__ import annotations

from collections import defaultdict

from service.log import store
from service.log.database import Database
from service.log.entry_cache import HEAVY
from service.readers.archive.asked import Asked
from service.readers.archive.gates import OtherGate, other_gates
from service.readers.archive.made import Made
from service.readers.reread import differences, summary
from service.report.archive_report import ArchiveReport, ChangedEntry, ChangedGate


def changes_of(database: Database, asked: Asked, made: Made) -> ArchiveReport:
    """Hold every reading of the file against the log's own."""
    readings: dict[int, store.Row] = {}
    missing: set[int] = set()
    other: set[int] = set()
    failed: dict[int, str] = {}
    for line in made.lines():
        failed.pop(line["entry"], None)  # it was tried again
        if "reading" in line:
            readings[line["entry"]] = {k: v for k, v in line["reading"].items() if k not in HEAVY}
        elif "failed" in line:
            failed[line["entry"]] = str(line["failed"])
        else:
            (missing if "missing" in line else other).add(line["entry"])
    changed: list[ChangedEntry] = []
    pairs: list[tuple[float, float]] = []
    by_batch: defaultdict[int, dict[int, store.Row]] = defaultdict(dict)
    numbers = sorted(readings)
    with database.read() as c:
        for number in numbers:
            row, now = store.entry(c, number), readings[number]
            assert row is not None  # it was there as this was asked, and the log only grows
            was = row["reading"]
            if now["kind"] == "ph" and was.get("ph") is not None and now.get("ph") is not None:
                pairs.append((was["ph"], now["ph"]))
            fields = differences(was, now)
            if fields:
                before, after = summary(was), summary(now)
                told = tuple((name, before.get(name), after.get(name)) for name in fields)
                changed.append(ChangedEntry(number, row["batch_id"], now["kind"], row["wash"], told))
                by_batch[row["batch_id"]][number] = now
        gates = [gate for batch, anew in sorted(by_batch.items()) for gate in other_gates(c, asked, batch, anew)]
    return ArchiveReport(
        asked.software,
        asked.begun_at,
        asked.profile,
        len(numbers),
        tuple(changed),
        tuple(_gate(gate) for gate in gates),
        tuple(sorted(missing)),
        len(other),
        tuple(pairs),
        tuple(sorted(failed.items())),
    )


def _gate(gate: OtherGate) -> ChangedGate:
    return ChangedGate(gate.batch, gate.stage, gate.passed, gate.was, gate.now, gate.sentence)
