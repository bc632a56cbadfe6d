"""A made-up batch from wet chloride to weighed silver by lye and sugar, as a script of what was done when.

Mishaps included: photos that are refused, a decant poured off too soon, a step against the gate, a weight struck out, a
reading corrected.
"""

from __future__ import annotations

from service.demo.script import Mended, Onward, Script, Shot, Step, Struck, Written, in_time

PROCEDURE = "chloride_lye_sugar"
_WET = {"of": "chloride", "scale_g": 0.5, "moisture": [0.25, 0.3]}


def _photos() -> list[Step]:
    day1, day2 = "2026-11-25T", "2026-11-26T"
    strips = [
        ("09:00", "01-wash-01", 1), ("09:30", "02-wash-02", 3), ("10:00", "03-wash-03-blurred", 3),
        ("10:02", "04-wash-03", 3), ("11:00", "05-wash-04", 4), ("11:40", "06-wash-05-glare", 5),
        ("11:42", "07-wash-05", 5), ("12:28", "08-wash-06-no-strip", 6), ("12:30", "09-wash-06", 6),
        ("13:10", "10-wash-07-corner-covered", 7), ("14:00", "11-wash-08-shadow", 8), ("14:01", "12-wash-08", 8),
        ("14:58", "13-wash-09-cut-off", 9), ("15:00", "14-wash-09", 9),
    ]  # fmt: skip
    checks = [("09:05", "copper-check-01", 1), ("09:35", "copper-check-02", 2), ("11:05", "copper-check-04", 4),
              ("11:45", "copper-check-05", 5)]  # fmt: skip
    made: list[Step] = [Shot(f"{day1}08:40:00", "ph", "batch/rinse-water.jpg", None, "the rinse water itself", True)]
    made += [Shot(f"{day1}{at}:00", "ph", f"photos/{name}.jpg", wash) for at, name, wash in strips]
    made += [Shot(f"{day1}{at}:00", "tint", f"batch/{name}.jpg", wash) for at, name, wash in checks]
    made += [Shot(f"{day2}{9 + k:02d}:30:00", "solid", f"batch/solid-{k}.jpg") for k in (1, 2, 3)]
    made += [
        Shot(f"{day2}16:20:00", "solid", "batch/solid-4.jpg", None, "the washed powder, spread flat"),
        Shot(f"{day2}13:30:00", "ph", "photos/15-lye-01.jpg", 10),
        Shot(f"{day2}15:00:00", "ph", "photos/16-lye-02.jpg", 13, "washes 11 and 12 were not read"),
        Shot(f"{day2}15:30:00", "ph", "batch/lye-05.jpg", 14),
        Shot(f"{day2}16:00:00", "ph", "batch/lye-06.jpg", 15),
        Shot(f"{day2}16:10:00", "ph", "batch/lye-06-again.jpg", 15, "a second strip: the first to read neutral"),
    ]
    return made


def _written() -> list[Step]:
    day1, day2, day3 = "2026-11-25T", "2026-11-26T", "2026-11-27T"
    poured_off = ("09:10", "09:40", "10:10", "11:10", "11:50", "12:40", "13:20", "14:10", "15:10")
    decants: list[Step] = [
        Written(f"{day1}{at}:00", "decant", {"name": f"wash {n}", "litres": 0.65, "settled_h": 0.1 if n == 3 else 0.5})
        for n, at in enumerate(poured_off, 1)
    ]
    acid = {"what": "acid washes", "litres": 7.4, "ph": 1.0, "interval": [0.7, 1.3], "metals": ["silver", "copper"]}
    lye = {"what": "spent lye and its washes", "litres": 6.5, "ph": 12.9, "interval": [12.6, 13.2],
           "metals": ["silver"]}  # fmt: skip
    return [
        Written(f"{day1}08:05:00", "weight", {**_WET, "grams": 41.2}),
        Written(f"{day1}08:06:00", "weight", {**_WET, "grams": 412.0, "again": "replaces"}),
        Struck(f"{day1}08:07:00", "a digit left out", "A."),
        Written(f"{day1}08:08:00", "vessel", {"retained_l": 0.12, "papers": 1.0, "glasses": 2.0}),
        Written(f"{day1}08:30:00", "decant", {"name": "first liquid", "litres": 1.5, "chloride": 0.8,
                                              "settled_h": 12.0}),
        *decants,
        Mended(f"{day1}09:58:00", "photos/02-wash-02.jpg", 2, "was noted as wash 3", "A."),
        Onward(f"{day1}11:48:00", "neutral-wash"),
        Onward(f"{day1}15:20:00", "lye-sugar"),
        Written(f"{day2}08:30:00", "used", {"what": "lye (NaOH)", "grams": 190.0}),
        Written(f"{day2}08:40:00", "used", {"what": "glucose", "grams": 210.0}),
        Onward(f"{day2}11:00:00", "lye-wash", "all dark by eye; sugar nearly out", "A."),
        Onward(f"{day2}11:20:00", "lye-sugar", "white under the crust, seen when it was stirred", "B."),
        Onward(f"{day2}13:00:00", "lye-wash"),
        Onward(f"{day2}16:30:00", "dry"),
        Written(f"{day2}16:40:00", "poured", acid),
        Written(f"{day2}16:45:00", "poured", lye),
        Written(f"{day3}08:00:00", "weight", {"of": "powder", "grams": 222.6, "scale_g": 0.1}),
        Written(f"{day3}10:30:00", "weight", {"of": "powder", "grams": 222.4, "scale_g": 0.1}),
        Onward(f"{day3}10:35:00", "melt"),
    ]  # fmt: skip


def script() -> Script:
    """Everything that was done."""
    opened, closed = "2026-11-25T08:00:00", "2026-11-27T11:00:00"
    return Script("Made-up batch: silver from chloride", PROCEDURE, opened, closed, in_time([*_photos(), *_written()]))
