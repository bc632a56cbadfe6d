"""Hostile text files by the thousand: ``python -m tests.fuzz_texts [COUNT] [SEED]``.

Good files of every kind that a user writes (strip kind, profile, procedure, response, tables of buffers, chart and
measured patches) get bytes flipped, lines lost, doubled and swapped, and values that hurt: NaN, infinity, numbers of
5,000 digits, deep nesting, booleans, wrong types, names without end. Each must be read or refused in one sentence. An
escape is any other exception, more than 2 s of processor time, or more than 300 MB over the base. Prints what came
out, the slowest and the peak memory; exit code 1 on an escape.
"""

import re
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

from calibration.tables import read_buffers, read_chart
from service.bench.procedure import load_procedure, parse_procedure
from stripread.card.layout import layout
from stripread.card.measured import measured_values
from stripread.errors import CallError
from stripread.kind import load_kind
from stripread.ph.profile import load_profile
from stripread.tint.profile import default_response, load_tint_profile, save_tint_profile
from tests.fuzz_pictures import BUDGET_MB, BUDGET_S, peak_mb

DEMO = Path(__file__).parents[1] / "service" / "demo"
HURTFUL = (
    "nan",
    "inf",
    "-inf",
    "1e999",
    "1e9",
    "-5",
    "0",
    "true",
    "9" * 5_000,
    "0x" + "f" * 3_000,
    '"' + "n" * 5_000 + '"',
    "[" * 3_000 + "]" * 3_000,
    "{}",
    "[]",
    "[nan, 1]",
    "1979-05-27T07:32:00Z",
    "''",
    "\x00",
    "=1+1",
    "1,5",
    "1;5",
    "\ufeff",
    "١٢",
)


def _response() -> str:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "response.toml"
        save_tint_profile(default_response(), path)
        return path.read_text(encoding="utf-8")


def _patches() -> str:
    rows = "\n".join(f"{patch.id},50,1,2" for patch in layout().patches)
    return f"patch,L,a,b\n{rows}\n"


def _buffers() -> str:
    folder = DEMO / "buffers"
    return (folder / "buffers.csv").read_text(encoding="utf-8").replace("buffer-", f"{folder}/buffer-")


def _procedure(path: Path) -> object:
    return parse_procedure(path.read_text(encoding="utf-8", errors="replace"))


# name: the good file's text, what reads it
READERS = {
    "kind.toml": (lambda: (DEMO / "strip.toml").read_text(encoding="utf-8"), load_kind),
    "profile.toml": (lambda: (DEMO / "profile.toml").read_text(encoding="utf-8"), load_profile),
    "procedure.toml": (lambda: load_procedure("chloride_lye_sugar").text, load_procedure),
    "procedure, sent": (lambda: load_procedure("chloride_lye_sugar").text, _procedure),
    "response.toml": (_response, load_tint_profile),
    "buffers.csv": (_buffers, read_buffers),
    "chart.csv": (
        lambda: "ph,pad,L,a,b\n" + "\n".join(f"{ph},{pad},50,{ph},{pad}" for ph in range(15) for pad in range(4)),
        lambda path: read_chart(path, 4),
    ),
    "patches.csv": (_patches, measured_values),
}


def _bytes_flipped(data: bytes, rng: np.random.Generator) -> bytes:
    out = bytearray(data)
    for _ in range(int(rng.integers(1, 8))):
        out[int(rng.integers(len(out)))] = int(rng.integers(256))
    return bytes(out)


def _cut(data: bytes, rng: np.random.Generator) -> bytes:
    return data[: int(rng.integers(len(data)))]


def _lines(data: bytes, rng: np.random.Generator) -> bytes:
    """Lines lost, doubled, swapped or repeated without end."""
    lines = data.split(b"\n")
    at, other = (int(v) for v in rng.integers(len(lines), size=2))
    how = int(rng.integers(4))
    if how == 0:
        del lines[at]
    elif how == 1:
        lines.insert(other, lines[at])
    elif how == 2:
        lines[at], lines[other] = lines[other], lines[at]
    else:
        lines[at:at] = [lines[at]] * int(rng.choice([100, 10_000]))
    return b"\n".join(lines)


def _value(data: bytes, rng: np.random.Generator) -> bytes:
    """A number, a word or a list, somewhere, becomes something that hurts."""
    text = data.decode("utf-8")
    spots = list(re.finditer(r"\[[^\]\n]*\]|\"[^\"\n]*\"|[-+]?\d[\d.]*", text))
    spot = spots[int(rng.integers(len(spots)))]
    hurt = HURTFUL[int(rng.integers(len(HURTFUL)))]
    return (text[: spot.start()] + hurt + text[spot.end() :]).encode()


def _spliced(data: bytes, rng: np.random.Generator) -> bytes:
    other = READERS[sorted(READERS)[int(rng.integers(len(READERS)))]][0]().encode()
    return data[: int(rng.integers(len(data)))] + other[int(rng.integers(len(other))) :]


def _marked(data: bytes, rng: np.random.Generator) -> bytes:
    """A byte order mark, another encoding, NULs, or other ends of lines."""
    how = int(rng.integers(5))
    text = data.decode("utf-8")
    return (
        b"\xef\xbb\xbf" + data,
        text.encode("utf-16"),
        data.replace(b"\n", b"\x00"),
        data.replace(b"\n", b"\r"),
        data + b"\xff\xfe" * 2_000,
    )[how]


DAMAGES = {
    "none": lambda data, _: data,
    "bytes": _bytes_flipped,
    "cut": _cut,
    "lines": _lines,
    "value": _value,
    "spliced": _spliced,
    "marked": _marked,
}


def case(kind: str, damage: str, seed: int, folder: Path) -> tuple[str, str, float]:
    """Read one damaged file: how it ended, what escaped ('' if nothing) and the processor time, s."""
    good, read = READERS[kind]
    path = folder / kind
    rng = np.random.default_rng(seed)
    data = good().encode()
    for _ in range(1 if damage == "none" else int(rng.integers(1, 4))):
        try:
            data = DAMAGES[damage](data, rng) or b"\n"
        except (UnicodeDecodeError, ValueError):  # damaged already beyond what this damage takes
            break
    path.write_bytes(data)
    started, escape = time.process_time(), ""
    try:
        read(path)
        ended = "read"
    except CallError as told:
        ended = "refused"
        if "\n" in str(told) or len(str(told)) > 900 or "internal" in str(told):
            escape = f"no one sentence: {str(told)[:200]!r}"
    except Exception as problem:  # the finding this run is for
        ended, escape = "raised", f"{type(problem).__name__}: {str(problem)[:200]}"
    seconds = time.process_time() - started
    return ended, escape or (f"{seconds:.1f} s" if seconds > BUDGET_S else ""), seconds


def run(count: int, seed: int) -> int:
    """Run ``count`` cases and print a table; the number that escaped."""
    rng, ends, escapes, slowest = np.random.default_rng(seed), Counter(), 0, (0.0, "")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for kind in READERS:
            assert case(kind, "none", 0, folder)[0] == "read", kind
        base = peak_mb()
        for _ in range(count):
            kind, damage = (str(rng.choice(sorted(table))) for table in (READERS, DAMAGES))
            number = int(rng.integers(2**32))
            before = peak_mb()
            ended, escape, seconds = case(kind, damage, number, folder)
            if peak_mb() > base + BUDGET_MB and peak_mb() > before:
                escape = escape or f"{peak_mb() - base:.0f} MB over the base"
            ends[damage, ended] += 1
            slowest = max(slowest, (seconds, f"{kind}, {damage}, seed {number}"))
            if escape:
                escapes += 1
                print(f"{kind}, {damage}, seed {number}: {escape}", flush=True)
    for (damage, ended), n in sorted(ends.items()):
        print(f"{damage:10s} {ended:10s} {n}")
    print(f"{count} files, {escapes} escaped; slowest {slowest[0]:.2f} s ({slowest[1]}); ", end="")
    print(f"peak {peak_mb():.0f} MB, {peak_mb() - base:.0f} MB over the base")
    return escapes


if __name__ == "__main__":
    sys.exit(int(run(*map(int, [*sys.argv[1:], *("20000", "1")[len(sys.argv) - 1 :]])) > 0))
