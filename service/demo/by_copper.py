"""A made-up batch from nitrate solution to weighed silver on copper, to its end."""

from __future__ import annotations

from service.demo.script import Onward, Script, Shot, Step, Written, in_time

PROCEDURE = "copper_cementation"
DAY1, DAY2 = "2026-11-25T", "2026-11-26T"


def script() -> Script:
    """Everything that was done."""
    strips = [("11:00", "photos/05-wash-04", 4), ("11:42", "photos/07-wash-05", 5)]
    checks = [("09:05", "copper-check-01", 1), ("09:35", "copper-check-02", 2), ("11:05", "copper-check-04", 4),
              ("11:45", "copper-check-05", 5)]  # fmt: skip
    last = [("12:30", "photos/09-wash-06", 6), ("14:01", "photos/12-wash-08", 8), ("15:00", "photos/14-wash-09", 9),
            ("16:00", "batch/lye-06", 10), ("16:05", "batch/lye-06-again", 10)]  # fmt: skip
    steps: list[Step] = [
        Written(f"{DAY1}08:05:00", "weight", {"of": "input", "grams": 250.0, "scale_g": 0.1, "fineness": [0.92, 0.93]}),
        Written(f"{DAY1}08:08:00", "vessel", {"retained_l": 0.12, "papers": 1.0, "glasses": 2.0}),
        Shot(f"{DAY1}08:40:00", "ph", "batch/rinse-water.jpg", None, "the rinse water itself", True),
        Written(f"{DAY1}08:45:00", "named_test", {"name": "salt water", "found": "no"}),
        Onward(f"{DAY1}08:50:00", "wash", "no white with a drop of salt water", "A."),
        *(Shot(f"{DAY1}{at}:00", "ph", f"{photo}.jpg", wash) for at, photo, wash in (*strips, *last)),
        *(Shot(f"{DAY1}{at}:00", "tint", f"batch/{photo}.jpg", wash) for at, photo, wash in checks),
        Onward(f"{DAY1}11:55:00", "neutral"),
        Onward(f"{DAY1}16:30:00", "dry"),
        Written(f"{DAY2}08:00:00", "weight", {"of": "powder", "grams": 230.4, "scale_g": 0.1}),
        Written(f"{DAY2}10:30:00", "weight", {"of": "powder", "grams": 230.3, "scale_g": 0.1}),
    ]
    opened, closed = f"{DAY1}08:00:00", f"{DAY2}11:00:00"
    return Script("Made-up batch: silver on copper", PROCEDURE, opened, closed, in_time(steps))
