"""A reader that does what the photo's tail tells it, so that tests know what must come out.

``FAKE:ph=6.50;`` reads 6.5 ± 0.3, ``ph=6.5/0.2`` ± 0.2, ``doubt=6.5`` doubtful
``end=7.2/0.3`` doubtful, at the end of its strip's range
A photo of the vials (cells) reads 1.01, 1.0, 0.99; a tint whose vials were changed since is doubtful without it.
``FAKE:pale=0.01;``, ``pale=0.004:0.01:0.02`` with its interval, ``doubt=0.01`` of a solid · ``FAKE:slow=0.2;`` seconds
``FAKE:copper;``, ``FAKE:undecided;``, ``FAKE:doubt;``, ``FAKE:none=30;`` (to 30 mg/L) of a tint · ``FAKE:refuse;``
``DRAW=0.5;`` further on: the drawing burns this many seconds
``FAKE:hang;`` · ``FAKE:spin;`` · ``FAKE:die;`` · ``FAKE:break;`` · ``FAKE:error=5;`` of the disk
``FAKE:eat=2000;`` MiB of memory
"""

import hashlib
import io
import os
import time
import tomllib

from PIL import Image

from service.readers.worker import Job, Outcome
from stripread.reasons import because
from stripread.results import Comparison, PadColour, PhReading, Stamp

SOFTWARE = "stripread 0.1.0"


class FakeReader:
    def read(self, job: Job) -> Outcome:
        start = time.perf_counter()
        data = job.photo.read_bytes()
        orders = data.rpartition(b"FAKE:")[2].split(b";")[0].decode("latin-1") if b"FAKE:" in data else "ph=7.00"
        what, _, value = orders.partition("=")
        if what == "spin":
            while True:
                pass
        if what == "hang":
            time.sleep(1000)
        if what == "die":
            os._exit(9)
        if what == "eat":
            bytearray(int(value) * 2**20)
        if what == "error":
            raise OSError(int(value), "of the disk")
        if what == "break":
            raise RuntimeError("a fault of ours")
        if what == "slow":
            time.sleep(float(value))
            what, value = "ph", "7.00"
        stamp = Stamp(
            job.name, hashlib.sha256(data).hexdigest(), SOFTWARE, time.perf_counter() - start, "2026-05-12T10:00:00"
        )
        if job.kind == "tint":
            tint = self._tint(stamp, what, value)
            limit = None if job.path_mm is None else tint["detection_limit"] * job.taking.get("dilution", 1.0)
            return Outcome({**tint, **self._named(job, tint), "taken": dict(job.taking), "detection_limit": limit})
        if job.kind == "cells":
            found = None if what == "refuse" else [1.01, 1.0, 0.99]
            told = {"kind": "cells", "matching": job.taking["matching"]}
            measured = {"ratio": found, "ratio_sd": found and [0.003] * 3}
            return Outcome({**self._common(stamp), **told, **measured, **self._status(what)})
        if job.kind == "solid":
            return Outcome(self._solid(stamp, what, value))
        known = tomllib.loads(job.profile.read_text(encoding="utf-8"))["name"]
        if what == "refuse":
            return Outcome(PhReading(stamp, None, None, reasons=(because("no_card"),), profile=known).to_dict())
        ph, half, *beside = [float(v) for v in value.split("/")] + ([] if "/" in value else [0.3])
        compared = _beside_water(ph, half, *beside) if beside else None
        pads = tuple(
            PadColour((60.0 - k, 10.0 * k - 20, 30.0), (0.5, 0.5, 0.5), ((0, 0), (1, 0), (1, 1), (0, 1)))
            for k in range(4)
        )
        reason = {"doubt": "some_glare", "end": "end_of_range"}.get(what)
        reasons = (because(reason),) if reason else ()
        told = {"pads": pads, "reasons": reasons, "profile": known, "comparison": compared}
        reading = PhReading(stamp, ph, (ph - half, ph + half), misfit=1.0, **told)
        return Outcome(reading.to_dict(), [[61.0 - k, 10.0 * k - 21, 31.0] for k in range(4)])

    def overlay(self, job: Job) -> bytes:
        data = job.photo.read_bytes()
        if b"DRAW=" in data:
            until = time.process_time() + float(data.rpartition(b"DRAW=")[2].split(b";")[0])
            while time.process_time() < until:
                pass
        return _png() + f"{job.name} {job.path_mm}".encode()

    @staticmethod
    def _common(stamp):
        common = {"photo": stamp.photo, "status": "ok", "reasons": [], "sha256": stamp.sha256}
        return {**common, "software": stamp.software, "seconds": 0.01, "level": 0.95}

    @staticmethod
    def _status(what):
        """Status, with a reason where there must be one."""
        code = {"doubt": "some_glare", "refuse": "no_card"}.get(what)
        reasons = [] if code is None else [{"code": code, "message": because(code).message}]
        return {"status": {"doubt": "doubtful", "refuse": "refused"}.get(what, "ok"), "reasons": reasons}

    def _tint(self, stamp, what="ph", value=""):
        more = {
            "kind": "tint",
            "decision": what if what in ("copper", "undecided") else "none seen",
            "absorbance": 0.01,
            "absorbance_interval": [0.0, 0.02],
            "delta_e": 0.5,
        }
        most = float(value) if what == "none" and value else 6.0
        found = {"mg_per_l": 3.0, "interval": [0.0, most], "detection_limit": 9.0}
        return {**self._common(stamp), **more, **found, **self._status(what)}

    @staticmethod
    def _named(job, tint):
        """How the vials were measured, and the doubt where they were changed since."""
        if job.cells is None:
            return {"cells": "none"}
        if not job.cells.changed:
            return {"cells": job.cells.matching}
        reason = because("cells_changed")
        said = {"code": reason.code, "severity": reason.severity, "message": reason.message}
        return {"cells": "none", "status": "doubtful", "reasons": [*tint["reasons"], said]}

    def _solid(self, stamp, what, value):
        low, pale, high = 0.6 * 0.013, 0.013, 1.6 * 0.013
        if what in ("pale", "doubt"):
            parts = [float(v) for v in value.split(":")]
            low, pale, high = parts if len(parts) == 3 else (0.6 * parts[0], parts[0], 1.6 * parts[0])
        more = {"kind": "solid", "lab": [30.0, 0.0, 1.0], "sd": [0.5, 0.5, 0.5]}
        found = {"pale_fraction": pale, "pale_interval": [low, high]}
        if what == "refuse":
            found = dict.fromkeys(found)
        return {**self._common(stamp), **more, **found, **self._status(what)}


class LaterReader(FakeReader):
    """A later version that reads everything 0.5 pH higher."""

    def read(self, job: Job) -> Outcome:
        outcome = super().read(job)
        if outcome.reading["kind"] == "ph" and outcome.reading["ph"] is not None:
            moved = {k: outcome.reading[k] for k in ("ph", "interval")}
            outcome.reading["ph"] = moved["ph"] + 0.5
            outcome.reading["interval"] = [v + 0.5 for v in moved["interval"]]
        return outcome


def _beside_water(ph: float, half: float, water: float, reach: float) -> Comparison:
    """A strip in rinse water of pH ``water`` beside one at ``ph``: both half-widths of 95 %, nothing shared."""
    apart = (half**2 + reach**2) ** 0.5
    same = 0.9 if abs(ph - water) < 0.3 else 0.1
    return Comparison(
        "water", None, (water - reach, water + reach), ph - water, (ph - water - apart, ph - water + apart), same, 0.3
    )


def _png() -> bytes:
    """A real picture, the smallest that words fit around; what is written behind it is no part of it."""
    out = io.BytesIO()
    Image.new("RGB", (800, 40), "white").save(out, "PNG")
    return out.getvalue()
