"""The study's heaps: all five sorts of the tint study, oxide, silver and chloride by twos and all three."""

from __future__ import annotations

from stripread.solid.read import read_solid
from tests.judged import NAN
from tests.scenes import render
from tests.scenes.measured import World
from tests.scenes.solid import true_share, with_solid
from tests.tint_cases import any_heap
from tests.window_study.rows import Row, solid_outcome


def heap(code: str, sort: str, number: int, world: World) -> list[Row]:
    """One heap, read once."""
    scene, solid = any_heap(sort, number, world)
    got = solid_outcome(read_solid(render(with_solid(scene, solid)).data))
    name = f"grains {solid.grain_mm:.2f} mm silver {solid.silver:.2f} in {solid.silver_mm:.2f} mm"
    return [Row(code, world, sort, number, "none", name, true_share(solid), NAN, **got)]  # type: ignore[arg-type]
