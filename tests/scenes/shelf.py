"""Rendered photos kept on disk, so that a study of thousands is rendered once and read many times.

Off unless ``SCENE_SHELF`` names a folder. A photo's name there is the hash of everything that it depends on: the scene,
the renderer's own files, the card's layout and the libraries.
"""

from __future__ import annotations

import hashlib
import os
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import PIL

from stripread.card.layout import layout
from tests.scenes.photo import render
from tests.scenes.scene import Scene

# These have no part in a strip's photo.
APART = {"__main__", "bound", "chart", "demo", "demo_batch", "faults", "shelf", "solid", "unused", "vessels", "vial"}


@cache
def _renderer() -> bytes:
    here = Path(__file__).parent
    files = sorted(p for p in here.rglob("*") if p.suffix in {".py", ".toml", ".csv"} and p.stem not in APART)
    digest = hashlib.sha256(f"{np.__version__} {cv2.__version__} {PIL.__version__}".encode())
    digest.update(repr(layout()).encode())
    for file in files:
        digest.update(file.read_bytes())
    return digest.digest()


def photo_bytes(scene: Scene) -> bytes:
    """The scene's photo, from the shelf if it lies there."""
    shelf = os.environ.get("SCENE_SHELF")
    if not shelf or scene.extras:
        return render(scene).data
    path = Path(shelf) / f"{hashlib.sha256(_renderer() + repr(scene).encode()).hexdigest()[:40]}.jpg"
    if path.exists():
        return path.read_bytes()
    data = render(scene).data
    path.parent.mkdir(parents=True, exist_ok=True)
    scratch = path.with_suffix(f".{os.getpid()}")
    scratch.write_bytes(data)
    scratch.replace(path)
    return data
