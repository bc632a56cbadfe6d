"""Minimal ICC profiles (version 2 matrix/curve) for sRGB and Display P3, built from their primaries."""

from __future__ import annotations

import struct
from functools import cache

import colour
import numpy as np

# D50 as the ICC specification rounds it; a reader that checks the header wants just this
D50 = np.array([0.9642, 1.0, 0.8249])


def _xyz(values: np.ndarray) -> bytes:
    return b"XYZ \0\0\0\0" + b"".join(struct.pack(">i", round(v * 65536)) for v in values)


@cache
def profile(name: str) -> bytes:
    """The profile ``srgb`` or ``p3``; both have the sRGB curve (1024 points)."""
    space = colour.RGB_COLOURSPACES["sRGB" if name == "srgb" else "Display P3"]
    to_xyz = np.asarray(space.matrix_RGB_to_XYZ)
    bradford = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
    white = to_xyz.sum(axis=1)
    adapt = np.linalg.inv(bradford) @ np.diag((bradford @ D50) / (bradford @ white)) @ bradford
    columns = (adapt @ to_xyz).T
    x = np.linspace(0, 1, 1024)
    y = np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4)
    curve = b"curv\0\0\0\0" + struct.pack(">I", 1024) + np.round(y * 65535).astype(">u2").tobytes()
    text = b"sRGB" if name == "srgb" else b"Display P3"
    desc = b"desc\0\0\0\0" + struct.pack(">I", len(text) + 1) + text + b"\0" + b"\0" * 78
    tags = {
        b"desc": desc,
        b"cprt": b"text\0\0\0\0none\0",
        b"wtpt": _xyz(D50),
        b"rXYZ": _xyz(columns[0]),
        b"gXYZ": _xyz(columns[1]),
        b"bXYZ": _xyz(columns[2]),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    offset = 128 + 4 + 12 * len(tags)
    table, body, placed = struct.pack(">I", len(tags)), b"", {}
    for key, data in tags.items():
        if data not in placed:
            placed[data] = (offset + len(body), len(data))
            body += data + b"\0" * (-len(data) % 4)
        table += key + struct.pack(">II", *placed[data])
    size = 128 + len(table) + len(body)
    header = struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", 0x02100000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + b"\0" * 28
    header += b"".join(struct.pack(">i", round(v * 65536)) for v in D50)
    return header + b"\0" * (128 - len(header)) + table + body
