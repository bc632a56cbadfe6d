"""Do two installs read alike? ``python -m tests.compare_installs OLD_PYTHON NEW_PYTHON [--photos 200]``.

Runs the command of two interpreters that have ``stripread`` installed over the demo's photos and N rendered ones (pH
on pads of two kinds, tints, solids, photos that ought to be refused) and prints every JSON line that differs in more
than `seconds` and `software`. Exit code 1 on any difference. Rendered photos are kept in ``--photo-folder``.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import click
import numpy as np

from tests.scenes import Scene, random_scene, render
from tests.scenes.faults import FAULTS, bad_scene
from tests.scenes.solid import with_solid
from tests.tint_cases import SORTS, one_heap, tint_case

DEMO = Path(__file__).resolve().parents[1] / "service" / "demo"
FREE = {"seconds", "software"}
PATH_MM = 20.0
SEED = 4711


def ph_scene(number: int) -> Scene:
    """A careful photo, a hard one, or a bad one, of one of two strip kinds."""
    rng = np.random.default_rng([SEED, number])
    kind = ("four", "four", "universal")[number % 3]
    if number % 4 == 3:
        return bad_scene(rng, list(FAULTS)[number // 4 % len(FAULTS)], kind=kind)
    return random_scene(rng, kind, hard=number % 4 == 2)


def tint_scene(number: int) -> Scene:
    sorts = [sort for sort in SORTS if sort not in {"solid", "heap"}]
    return tint_case(sorts[number % len(sorts)], SEED + number).scene


def solid_scene(number: int) -> Scene:
    return with_solid(*one_heap(SEED + number))


SCENES = {"read": (ph_scene, 0.6), "tint": (tint_scene, 0.2), "solid": (solid_scene, 0.2)}


def photos(folder: Path, count: int) -> dict[str, list[Path]]:
    """The demo's photos and ``count`` rendered ones for each reading; those already in the folder are kept."""
    folder.mkdir(parents=True, exist_ok=True)
    found = {
        "read": sorted((DEMO / "photos").glob("*.jpg")),
        "tint": sorted((DEMO / "windows").glob("tint-*.jpg")),
        "solid": sorted((DEMO / "windows").glob("solid-*.jpg")),
    }
    for reading, (scene, share) in SCENES.items():
        for number in range(round(count * share)):
            path = folder / f"{reading}-{SEED}-{number:04d}.jpg"
            if not path.exists():
                path.write_bytes(render(scene(number)).data)
            found[reading].append(path)
    return found


def lines(python: str, reading: str, paths: list[Path], profile: Path) -> list[str]:
    """JSON lines of one call over all photos, with keys in the order in which they came, without what is free."""
    words = {"read": ["--profile", str(profile)], "tint": ["--path-mm", str(PATH_MM)], "solid": []}[reading]
    code = "import sys; from service.cli import main; sys.exit(main())"
    call = [python, "-c", code, reading, *map(str, paths), *words, "--json"]
    with tempfile.TemporaryDirectory() as away:  # not from a folder with sources of its own
        done = subprocess.run(call, check=False, capture_output=True, text=True, cwd=away)
    if done.returncode not in (0, 1):
        raise click.ClickException(f"{python} {reading}: exit code {done.returncode}: {done.stderr.strip()[-500:]}")
    return [
        json.dumps({k: v for k, v in json.loads(line).items() if k not in FREE}) for line in done.stdout.splitlines()
    ]


def differences(old: list[str], new: list[str], count: int) -> list[str]:
    """What differs between two runs over ``count`` photos, a sentence each."""
    sentences = [f"{len(one)} lines for {count} photos" for one in (old, new) if len(one) != count]
    for before, after in zip(old, new, strict=False):
        if before == after:
            continue
        a, b = json.loads(before), json.loads(after)
        keys = [key for key in dict.fromkeys([*a, *b]) if key not in a or key not in b or a[key] != b[key]]
        changes = [f"{key}: {str(a.get(key))[:200]} -> {str(b.get(key))[:200]}" for key in keys]
        sentences.append(f"{Path(a['photo']).name}: {'; '.join(changes) or 'order of keys'}")
    return sentences


@click.command()
@click.argument("old")
@click.argument("new")
@click.option("--photos", "count", default=200, show_default=True, help="Rendered photos beside the demo's.")
@click.option("--photo-folder", type=click.Path(path_type=Path), help="Keeps what was rendered.")
def main(old: str, new: str, count: int, photo_folder: Path | None) -> None:
    """Compare what two installs read."""
    for python in (old, new):
        if shutil.which(python) is None:
            raise click.UsageError(f"no such interpreter: {python}")
    old, new = str(Path(shutil.which(old) or old).absolute()), str(Path(shutil.which(new) or new).absolute())
    folder = photo_folder or Path(tempfile.gettempdir()) / "stripread-compared"
    total = wrong = 0
    for reading, paths in photos(folder.absolute(), count).items():
        runs = [lines(python, reading, paths, DEMO / "profile.toml") for python in (old, new)]
        sentences = differences(*runs, len(paths))
        total, wrong = total + len(paths), wrong + len(sentences)
        states = [json.loads(line)["status"] for line in runs[1]]
        parts = ", ".join(f"{states.count(state)} {state}" for state in ("ok", "doubtful", "refused"))
        click.echo(f"{reading}: {len(paths)} photos ({parts}), {len(sentences)} differences")
        for sentence in sentences:
            click.echo(f"  {sentence}")
    click.echo(f"{total} photos, {wrong} differences")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
