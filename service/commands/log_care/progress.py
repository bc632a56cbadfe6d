"""How much of which part is done, on the terminal's last line."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def told() -> Iterator[Callable[[str, int, int], None]]:
    """A function to tell it: the part, how much is done, of how much. Nothing is shown where nobody looks on."""
    from tqdm import tqdm

    with tqdm(file=sys.stderr, disable=not sys.stderr.isatty(), unit_scale=True) as bar:

        def tell(part: str, done: int, of: int) -> None:
            if bar.disable:
                return
            if bar.desc != f"{part}: ":
                bar.reset(of)
                bar.set_description(part)
            bar.update(done - bar.n)

        yield tell
