"""The assistant's modules run by node: frames go in, what the page would say comes out."""

from __future__ import annotations

import json
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from service.web.assistant.numbers import ADDRESS, script
from service.web.page_words import PAGE

SMALL = 400  # pixels of the long side: as the page makes its small frames
MODULES = tuple(f"live_{name}.js" for name in ("map", "frame", "squares", "find", "judge", "release"))
Pixels = NDArray[np.uint8]


class Assistant:
    """``with Assistant() as it``: one process, its modules as the service gives them to the page.

    Raises
    ------
    FileNotFoundError
        Where node is not installed.
    """

    def __init__(self) -> None:
        node = shutil.which("node")
        if node is None:
            raise FileNotFoundError("node is not installed")
        self._folder = tempfile.TemporaryDirectory()
        home = Path(self._folder.name)
        for name in MODULES:
            shutil.copy(PAGE / name, home / name)
        (home / ADDRESS[1:]).write_text(script(), encoding="utf-8")
        shutil.copy(Path(__file__).with_name("runner.mjs"), home / "runner.mjs")
        (home / "package.json").write_text('{"type": "module"}', encoding="utf-8")
        self._process = subprocess.Popen(
            [node, str(home / "runner.mjs")], stdin=subprocess.PIPE, stdout=subprocess.PIPE
        )

    def __enter__(self) -> Assistant:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.__exit__(None, None, None)  # closes its pipes, upon which it ends, and waits for it
        self._folder.cleanup()

    def marks(self, grey: Pixels) -> dict[str, Any]:
        """Marks and the card in a small grey frame (H, W)."""
        return self._ask({"does": "marks", "width": grey.shape[1], "height": grey.shape[0]}, grey.tobytes())

    def begin(self) -> None:
        """A new stream."""
        self._ask({"does": "begin"}, b"")

    def frame(self, full: Pixels, at_ms: float, *, kind: str = "ph", wait: bool = False) -> dict[str, Any]:
        """One frame (H, W, 3) of the stream at its full resolution."""
        return self._judged("frame", full, {"at": at_ms, "kind": kind, "wait": wait})

    def look(self, full: Pixels, *, kind: str = "ph", wait: bool = False, speed: float = 0.0) -> dict[str, Any]:
        """One picture for itself, as the photo that was taken is looked at."""
        return self._judged("look", full, {"kind": kind, "wait": wait, "speed": speed})

    def _judged(self, does: str, full: Pixels, about: dict[str, Any]) -> dict[str, Any]:
        small = reduced(full)
        rgba = np.dstack([small, np.full(small.shape[:2], 255, np.uint8)])
        grey = cv2.cvtColor(full, cv2.COLOR_RGB2GRAY)
        size = {"width": small.shape[1], "height": small.shape[0], "full": [full.shape[1], full.shape[0]]}
        return self._ask({"does": does, **size, **about}, rgba.tobytes() + grey.tobytes())

    def _ask(self, head: dict[str, Any], data: bytes) -> dict[str, Any]:
        assert self._process.stdin
        assert self._process.stdout
        self._process.stdin.write(json.dumps({**head, "bytes": len(data)}).encode() + b"\n" + data)
        self._process.stdin.flush()
        line = self._process.stdout.readline()
        if not line:
            raise RuntimeError("node ended")
        answer: dict[str, Any] = json.loads(line)
        return answer


def reduced(full: Pixels) -> Pixels:
    """The small frame of a full one (H, W, 3): ``SMALL`` pixels on its long side, averaged."""
    scale = SMALL / max(full.shape[:2])
    size = (round(full.shape[1] * scale), round(full.shape[0] * scale))
    return np.asarray(cv2.resize(full, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
