"""A made-up batch from wet chloride to weighed silver by zinc or by iron in dilute acid, to its end.

Mishaps included: white seen in a pinch, metal that is still there at the first look, tests that found something.
"""

from __future__ import annotations

from service.demo.script import Onward, Script, Shot, Step, Written, in_time

METALS = ("zinc", "iron")
DAY1, DAY2, DAY3 = "2026-11-25T", "2026-11-26T", "2026-11-27T"
GRAMS = {"zinc": (54.0, 36.0), "iron": (46.0, 31.0)}  # for 299 g of dry chloride: `plan metal`, in two goes


WET = {"of": "chloride", "grams": 412.0, "scale_g": 0.5, "moisture": [0.25, 0.3]}


def _acid_side() -> list[Step]:
    strips = [
        ("09:00", "01-wash-01", 1),
        ("10:02", "04-wash-03", 3),
        ("11:00", "05-wash-04", 4),
        ("11:42", "07-wash-05", 5),
    ]
    checks = [("09:05", "copper-check-01", 1), ("09:35", "copper-check-02", 2), ("11:05", "copper-check-04", 4),
              ("11:45", "copper-check-05", 5)]  # fmt: skip
    made: list[Step] = [Shot(f"{DAY1}08:40:00", "ph", "batch/rinse-water.jpg", None, "the rinse water itself", True)]
    made += [Shot(f"{DAY1}{at}:00", "ph", f"photos/{name}.jpg", wash) for at, name, wash in strips]
    made += [Shot(f"{DAY1}{at}:00", "tint", f"batch/{name}.jpg", wash) for at, name, wash in checks]
    poured_off = ("09:10", "09:40", "10:10", "11:10", "11:50")
    made += [
        Written(f"{DAY1}{at}:00", "decant", {"name": f"wash {n}", "litres": 0.65, "settled_h": 0.5})
        for n, at in enumerate(poured_off, 1)
    ]
    return made


def _reduced(metal: str) -> list[Step]:
    first, second = GRAMS[metal]
    unseen = {"magnet": "no"} if metal == "iron" else {}
    return [
        Written(f"{DAY1}13:00:00", "used", {"what": f"{metal} chips", "grams": first}),
        Written(f"{DAY1}14:10:00", "named_test", {"name": "white", "found": "yes"}),
        Written(f"{DAY1}14:20:00", "used", {"what": f"{metal} chips", "grams": second}),
        Written(f"{DAY1}16:30:00", "named_test", {"name": "white", "found": "no"}),
        Written(f"{DAY1}17:05:00", "named_test", {"name": "white", "found": "no"}),
        Onward(f"{DAY1}17:10:00", "metal-out"),
        Written(f"{DAY1}17:20:00", "metal_check", {"grains": "no", "bubbles": "yes"}),
        Written(f"{DAY2}08:00:00", "metal_check", {"grains": "no", "bubbles": "no", **unseen}),
        Written(f"{DAY2}08:40:00", "metal_check", {"grains": "no", "bubbles": "no", **unseen}),
    ]


def _iron_washed() -> list[Step]:
    tests = [("09:00", 6, "yes"), ("09:30", 7, "no"), ("10:00", 8, "no")]
    made: list[Step] = [Onward(f"{DAY2}08:45:00", "iron-wash")]
    made += [
        Written(f"{DAY2}{at}:00", "named_test", {"name": "iron", "found": found, "wash": wash})
        for at, wash, found in tests
    ]
    return made


def _last_washes(first: int) -> list[Step]:
    """From the acid to the rinse water's own pH; the numbers of the washes go on from those before."""
    strips = [("10:30", "photos/07-wash-05", 0), ("11:00", "photos/09-wash-06", 1), ("12:00", "photos/12-wash-08", 2),
              ("13:00", "photos/14-wash-09", 3), ("14:00", "batch/lye-06", 4),
              ("14:05", "batch/lye-06-again", 4)]  # fmt: skip
    made: list[Step] = [Onward(f"{DAY2}10:10:00", "last-wash")]
    made += [Shot(f"{DAY2}{at}:00", "ph", f"{photo}.jpg", first + n) for at, photo, n in strips]
    made += [
        Written(f"{DAY2}{at}:00", "named_test", {"name": "chloride", "found": found, "wash": first + n})
        for at, n, found in (("12:05", 2, "yes"), ("13:05", 3, "no"), ("14:10", 4, "no"))
    ]
    return made


def _ended(metal: str) -> list[Step]:
    acid = {"what": "acid washes", "litres": 7.4, "ph": 1.0, "interval": [0.7, 1.3],
            "metals": ["silver", "copper", metal]}  # fmt: skip
    return [
        Onward(f"{DAY2}14:20:00", "proof"),
        Written(f"{DAY2}14:40:00", "named_test", {"name": "nitric acid", "found": "no"}),
        Written(f"{DAY2}14:50:00", "named_test", {"name": "nitric acid", "found": "no"}),
        Onward(f"{DAY2}15:00:00", "dry"),
        Written(f"{DAY2}16:40:00", "poured", acid),
        Written(f"{DAY3}08:00:00", "weight", {"of": "powder", "grams": 222.9, "scale_g": 0.1}),
        Written(f"{DAY3}10:30:00", "weight", {"of": "powder", "grams": 222.8, "scale_g": 0.1}),
        Onward(f"{DAY3}10:35:00", "melt"),
    ]


def script(metal: str) -> Script:
    """Everything that was done with this metal."""
    steps: list[Step] = [
        Written(f"{DAY1}08:05:00", "weight", WET),
        Written(f"{DAY1}08:08:00", "vessel", {"retained_l": 0.12, "papers": 1.0, "glasses": 2.0}),
        *_acid_side(),
        Onward(f"{DAY1}11:55:00", "reduce"),
        *_reduced(metal),
        *(_iron_washed() if metal == "iron" else []),
        *_last_washes(9 if metal == "iron" else 6),
        *_ended(metal),
    ]
    name = f"Made-up batch: silver from chloride by {metal}"
    return Script(name, f"chloride_{metal}", f"{DAY1}08:00:00", f"{DAY3}11:00:00", in_time(steps))
