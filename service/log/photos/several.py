"""Several photos asked for at once, given in order: a store answers each after a while, and that while is shared."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

K = TypeVar("K")
T = TypeVar("T")
AT_ONCE = 8


def several(get: Callable[[K], T], keys: Iterable[K], at_once: int = AT_ONCE) -> Iterator[tuple[K, T]]:
    """Each key with what ``get`` gives for it, in order, a few ahead of who takes them; what it raises, in its turn."""
    coming: deque[tuple[K, Future[T]]] = deque()
    with ThreadPoolExecutor(at_once) as pool:
        try:
            for key in keys:
                coming.append((key, pool.submit(get, key)))
                if len(coming) >= at_once:
                    first, future = coming.popleft()
                    yield first, future.result()
            while coming:
                first, future = coming.popleft()
                yield first, future.result()
        finally:
            for _key, future in coming:
                future.cancel()
