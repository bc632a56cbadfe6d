"""Damage to the structure of picture files: segments, chunks, tags and boxes moved, doubled, resized, dropped, renamed.

Each format is taken apart into pieces and put together again with lengths and checksums that agree with the damage, so
that parsers get past their first look.
"""

import zlib


def jpeg_pieces(data: bytes) -> list[bytes]:
    """Segments; a scan with its coded data is one piece. What does not parse is the last piece."""
    pieces, at = [], 0
    while at + 4 <= len(data):
        if data[at + 1] in (0xD8, 0xD9):
            pieces.append(data[at : at + 2])
            at += 2
            continue
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if data[at + 1] == 0xDA:
            while end + 1 < len(data) and not (data[end] == 0xFF and data[end + 1] not in (0, *range(0xD0, 0xD8))):
                end += 1
        pieces.append(data[at:end])
        at = end
    return [*pieces, data[at:]]


def chunks(data: bytes, start: int, order: str, head: int, tail: int, *, pad: bool) -> list[bytes]:
    """Pieces of a file of chunks: PNG (big, 8, 4), RIFF (little, 8, 0, padded), boxes (see ``box_pieces``)."""
    pieces, at = [data[:start]], start
    while at + head <= len(data):
        size = data[at : at + 4] if order == "big" else data[at + 4 : at + 8]
        n = int.from_bytes(size, "big" if order == "big" else "little")
        end = at + head + n + tail + (n % 2 if pad else 0)
        pieces.append(data[at:end])
        at = end
    return [*pieces, data[at:]]


def box_pieces(data: bytes) -> list[bytes]:
    """Top-level boxes, and the boxes inside ``meta`` as pieces of their own with ``meta``'s head before them."""
    pieces, at = [], 0
    while at + 8 <= len(data):
        n = int.from_bytes(data[at : at + 4], "big") or len(data) - at
        pieces.append(data[at : at + n])
        at += max(n, 8)
    return pieces


def _pieces(data: bytes) -> list[bytes]:
    if data[:2] == b"\xff\xd8":
        return jpeg_pieces(data)
    if data[:4] == b"\x89PNG":
        return chunks(data, 8, "big", 8, 4, pad=False)
    if data[:4] == b"RIFF":
        return chunks(data, 12, "little", 8, 0, pad=True)
    if data[4:8] == b"ftyp":
        outer = box_pieces(data)
        inner: list[bytes] = []
        for box in outer:
            inner += [box[:12], *box_pieces(box[12:])] if box[4:8] == b"meta" else [box]
        return inner
    n = max(1, len(data) // 40)  # of TIFF see ``tag``
    return [data[i : i + n] for i in range(0, len(data), n)]


def _joined(data: bytes, pieces: list[bytes]) -> bytes:
    whole = b"".join(pieces)
    if data[:4] == b"RIFF":
        whole = whole[:4] + (len(whole) - 8).to_bytes(4, "little") + whole[8:]
    if data[4:8] == b"ftyp":
        at = whole.find(b"meta") - 4
        stop = whole.find(b"mdat", at) - 4
        if 0 <= at < stop:
            whole = whole[:at] + (stop - at).to_bytes(4, "big") + whole[at + 4 :]
    return whole


def reorder(data, rng):
    """Two pieces change places."""
    pieces = _pieces(data)
    a, b = rng.integers(0, len(pieces), 2)
    pieces[a], pieces[b] = pieces[b], pieces[a]
    return _joined(data, pieces)


def duplicate(data, rng):
    """A piece comes several times."""
    pieces = _pieces(data)
    a = int(rng.integers(0, len(pieces)))
    times = int(rng.choice([1, 2, 10, 500 if len(pieces[a]) < 4000 else 3]))
    return _joined(data, pieces[:a] + [pieces[a]] * times + pieces[a:])


def drop(data, rng):
    """A piece is missing."""
    pieces = _pieces(data)
    del pieces[int(rng.integers(0, len(pieces)))]
    return _joined(data, pieces)


def resize(data, rng):
    """A piece's body is cut, filled up or written over, its length kept in step where the format has one."""
    pieces = _pieces(data)
    a = int(rng.integers(0, len(pieces)))
    piece, body = pieces[a], bytearray(pieces[a][8:])
    how = int(rng.integers(0, 3))
    if how == 0:
        body = body[: int(rng.integers(0, len(body) + 1))]
    elif how == 1:
        body += rng.bytes(int(rng.integers(1, 3000)))
    elif body:
        for at in rng.integers(0, min(64, len(body)), 3):
            body[at] = int(rng.integers(0, 256))
    made = piece[:8] + bytes(body)
    if data[:2] == b"\xff\xd8" and len(piece) > 4 and piece[1] != 0xDA:
        made = piece[:2] + min(65535, len(made) - 2).to_bytes(2, "big") + made[4:]
    elif data[:4] == b"\x89PNG" and a:
        kind = piece[4:8] + bytes(body[:-4])
        made = max(0, len(kind) - 4).to_bytes(4, "big") + kind + zlib.crc32(kind).to_bytes(4, "big")
    elif data[:4] == b"RIFF" and a:
        made = piece[:4] + len(body).to_bytes(4, "little") + bytes(body) + b"\0" * (len(body) % 2)
    elif data[4:8] == b"ftyp":
        made = len(made).to_bytes(4, "big") + made[4:]
    pieces[a] = made
    return _joined(data, pieces)


def tag(data, rng):
    """One entry of a TIFF's directory gets another tag, type, count or value; other formats: a piece another name."""
    out = bytearray(data)
    if data[:4] in (b"II*\0", b"MM\0*"):
        order = "little" if data[:2] == b"II" else "big"
        at = int.from_bytes(data[4:8], order)
        n = int.from_bytes(data[at : at + 2], order)
        entry = at + 2 + 12 * int(rng.integers(0, max(1, n)))
        field, width = [(0, 2), (2, 2), (4, 4), (8, 4)][int(rng.integers(0, 4))]
        value = int(rng.choice([0, 1, 2, 3, 5, 8, 255, 65535, 2**31, 2**32 - 1, int(rng.integers(0, len(data)))]))
        value %= 256**width
        out[entry + field : entry + field + width] = value.to_bytes(width, order)
        return bytes(out)
    pieces = _pieces(data)
    a = int(rng.integers(0, len(pieces)))
    piece = bytearray(pieces[a])
    if data[:2] == b"\xff\xd8":
        if len(piece) > 1:
            piece[1] = int(rng.integers(0xC0, 0xFF))
    elif len(piece) > 8:
        at = 0 if data[:4] == b"RIFF" else 4
        piece[at + int(rng.integers(0, 4))] = int(rng.integers(32, 127))
    pieces[a] = bytes(piece)
    return _joined(data, pieces)


STRUCTURE = {"reordered": reorder, "duplicated": duplicate, "missing": drop, "resized": resize, "renamed": tag}
