"""A made-up batch from wet chloride to weighed silver, its numbers from the models' own chemistry; no real workshop."""

from __future__ import annotations

import io
from importlib.resources import files

from PIL import Image

from service.bench.filed import Filed, FiledReading
from service.bench.gates import Entry
from service.bench.notes import Note, checked
from service.bench.state import state_of
from service.bench.water import liquid_ph, tap_water
from service.washing import forecast

WATER = tap_water(0.6e-3)


def _thumb(rgb):
    out = io.BytesIO()
    Image.new("RGB", (120, 90), rgb).save(out, "JPEG", quality=80)
    return out.getvalue()


def readings():
    rows = []
    for n in range(1, 6):
        ph = round(float(liquid_ph(0.8 * 0.11**n, 0.11**n, WATER, 0.3)), 2)
        interval = [round(ph - 0.25, 2), round(ph + 0.25, 2)]
        data = {
            "status": "ok",
            "ph": ph,
            "interval": interval,
            "sha256": f"{n:064x}",
            "profile": "four-pad",
            "reasons": [],
        }
        rows.append(("ph", n, data, (200, 40 * n, 60)))
    for k, (decision, mg) in enumerate([("copper", 160.0), ("none seen", None), ("none seen", None)], 1):
        span = None if mg is None else [120.0, 210.0]
        data = {"status": "ok", "decision": decision, "mg_per_l": mg, "interval": span,
                "detection_limit": 7.0, "sha256": f"{100 + k:064x}", "reasons": []}  # fmt: skip
        rows.append(("tint", k + 1, data, (120, 160, 230)))
    data = {
        "status": "ok",
        "pale_fraction": 0.004,
        "pale_interval": [0.002, 0.008],
        "sha256": f"{200:064x}",
        "reasons": [],
    }
    rows.append(("solid", None, data, (60, 55, 50)))
    return tuple(
        FiledReading(i, f"2026-03-0{1 + i // 6}T{9 + i % 6:02d}:00:00", kind, wash, data, thumbnail=_thumb(rgb))
        for i, (kind, wash, data, rgb) in enumerate(rows, 1)
    )


def notes():
    text = (files("service.bench") / "procedures" / "chloride_lye_sugar.toml").read_text(encoding="utf-8")
    raw = [
        ("procedure", {"text": text}),
        ("weight", {"of": "chloride", "grams": 412.0, "scale_g": 0.5, "moisture": [0.25, 0.3]}),
        ("vessel", {"retained_l": 0.12, "papers": 1.0, "glasses": 2.0}),
        ("decant", {"name": "first liquid", "litres": 1.5, "chloride": 1.0, "settled_h": 12.0}),
        *[("decant", {"name": f"wash {n}", "litres": 1.0, "settled_h": 2.0 if n != 3 else 0.2}) for n in range(1, 6)],
        ("move", {"to": "neutral-wash", "state": "open", "sentence": "None seen 2 times running."}),
        ("move", {"to": "lye-sugar", "state": "cannot tell", "sentence": "pH 6.1 reaches over the edge.",
                  "reason": "same strip colour as the tap's by eye", "who": "A."}),
        ("used", {"what": "lye", "grams": 190.0}),
        ("used", {"what": "glucose", "grams": 200.0}),
        ("move", {"to": "dry", "state": "open", "sentence": "At most 0.8% is pale."}),
        ("poured", {"what": "acid washes", "litres": 6.5, "ph": 0.9, "interval": [0.6, 1.2],
                    "metals": ["silver", "copper"]}),
        ("weight", {"of": "powder", "grams": 222.4, "scale_g": 0.1}),
    ]  # fmt: skip
    return tuple(
        Note(kind, f"2026-03-03T{8 + i // 4:02d}:{15 * (i % 4):02d}:00", checked(kind, d))
        for i, (kind, d) in enumerate(raw)
    )


def batch(name="Bench batch: demo"):
    read, noted = readings(), notes()
    entries = [Entry(r.kind, r.at, r.data, r.wash) for r in read]
    triples = [(r.wash, r.data["ph"], tuple(r.data["interval"])) for r in read if r.kind == "ph"][:3]
    state = state_of(list(noted), entries, 0.6, "tap")
    told = forecast(triples, WATER).to_dict()
    when = ("2026-03-01T08:00:00", "2026-03-04T18:00:00")
    return Filed(7, name, *when, "stripread 0.1.0", state, read, noted, "tap, 0.6 mmol/L", told)
