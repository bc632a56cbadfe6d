"""A TIFF's first directory (TIFF 6.0, section 2): its header, and its picture as a new file of that directory alone."""

from __future__ import annotations

import struct
from dataclasses import dataclass

from stripread.imagefile.exif import exif_camera, exif_facts, exif_lens
from stripread.imagefile.header import MAX_ICC, Header, check_parts, cut_off, not_a_picture
from stripread.words import _

WIDTH, HEIGHT, BITS, COMPRESSION, PHOTOMETRIC, SAMPLES = 256, 257, 258, 259, 262, 277
STRIPS, STRIP_BYTES, TILES, TILE_BYTES, TILE_WIDTH, TILE_HEIGHT = 273, 279, 324, 325, 322, 323
SAMPLE_FORMAT, ICC, PLANAR = 339, 34675, 284
# rows per strip, planes, predictor, colour map, extra samples, JPEG tables, YCbCr: what else a picture is made of
_KEPT = {WIDTH, HEIGHT, BITS, COMPRESSION, PHOTOMETRIC, 266, SAMPLES, 278, PLANAR, 317, 320, TILE_WIDTH, TILE_HEIGHT}
_KEPT |= {338, SAMPLE_FORMAT, 347, 529, 530, 531, 532}
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8}
_CODES = {1: "B", 3: "H", 4: "I"}
PLAIN, LZW, JPEG, DEFLATE, PACKBITS, OLD_DEFLATE = 1, 5, 7, 8, 32773, 32946
MAX_ENTRIES = 400
MAX_VALUE_BYTES = (
    200_000  # of a tag that makes the picture; a colour map of 16 bits takes 393,216, and no photo has one
)
MAX_CODED_BYTES = 45_000_000  # a second of inflating


@dataclass(frozen=True)
class _Directory:
    order: str
    entries: dict[int, tuple[int, int, int]]  # tag: type, count, place of the value
    data: bytes

    def numbers(self, tag: int) -> list[int]:
        kind, n, at = self.entries[tag]
        if kind not in _CODES:
            raise not_a_picture(_("damaged: one of its tags"))
        check_parts(n, "strips")
        return list(struct.unpack_from(f"{self.order}{n}{_CODES[kind]}", self.data, at))

    def one(self, tag: int, default: int) -> int:
        if tag not in self.entries:
            return default
        found = self.numbers(tag)
        return found[0] if found else default

    def raw(self, tag: int) -> bytes:
        kind, n, at = self.entries[tag]
        return self.data[at : at + n * _SIZES[kind]]


def read_tiff(data: bytes) -> Header:
    """Read the header of a TIFF and take its first picture out.

    Raises
    ------
    Refused
        ``not_a_picture`` when it is not built as it should be or is past the limits, ``file_cut_off``.
    """
    directory = _first_directory(data)
    w, h = directory.one(WIDTH, 0), directory.one(HEIGHT, 0)
    samples, compression = directory.one(SAMPLES, 1), directory.one(COMPRESSION, PLAIN)
    bits = max(directory.numbers(BITS)) if BITS in directory.entries else 1
    if not w or not h or not 1 <= samples <= 5:
        raise not_a_picture(_("damaged: its header"))
    if bits > 16 or directory.one(SAMPLE_FORMAT, 1) != 1:
        raise not_a_picture(_("32-bit numbers instead of a photo's levels"))
    if compression not in (PLAIN, LZW, JPEG, DEFLATE, PACKBITS, OLD_DEFLATE):
        raise not_a_picture(_("TIFF compression {compression} is not read; send it as JPEG", compression=compression))
    parts, offsets, counts = _parts(directory, w, h, compression)
    raw = h * -(-w * samples * bits // 8)
    if compression == PLAIN and sum(counts) < raw:
        raise cut_off(_("it holds fewer pixels than it says"))
    if compression != PLAIN and sum(counts) > MAX_CODED_BYTES:
        raise not_a_picture(_("more packed pixels than are read from a TIFF; send it as JPEG"))
    bare = _rebuilt(directory, parts, offsets, counts)
    orientation, taken_at = exif_facts(data)
    icc = directory.raw(ICC) if ICC in directory.entries else None
    held = 4 * w * h + (raw if len(offsets) < 4 and compression != PLAIN else raw // 4)
    icc = icc if icc and len(icc) <= MAX_ICC else None
    camera, mode = exif_camera(data), "RGB" if samples >= 3 else "L"
    return Header("TIFF", mode, (w, h), bare, held, orientation, icc, taken_at, camera=camera, lens=exif_lens(data))


def _first_directory(data: bytes) -> _Directory:
    order = "<" if data[:2] == b"II" else ">"
    if len(data) < 8:
        raise cut_off(_("it ends within its header"))
    at = struct.unpack_from(order + "I", data, 4)[0]
    if at + 2 > len(data):
        raise cut_off(_("its directory is missing"))
    n = struct.unpack_from(order + "H", data, at)[0]
    if not 1 <= n <= MAX_ENTRIES:
        raise not_a_picture(_("damaged: its directory"))
    if at + 2 + 12 * n > len(data):
        raise cut_off(_("it ends within its directory"))
    entries: dict[int, tuple[int, int, int]] = {}
    for i in range(n):
        place = at + 2 + 12 * i
        tag, kind, count = struct.unpack_from(order + "HHI", data, place)
        size = _SIZES.get(kind, 0) * count
        value = place + 8 if size <= 4 else struct.unpack_from(order + "I", data, place + 8)[0]
        if size and value + size <= len(data):
            entries.setdefault(tag, (kind, count, value))
        elif size and tag in _KEPT | {STRIPS, STRIP_BYTES, TILES, TILE_BYTES}:
            raise cut_off(_("one of its tags is missing"))
    return _Directory(order, entries, data)


def _parts(directory: _Directory, w: int, h: int, compression: int) -> tuple[tuple[int, int], list[int], list[int]]:
    """Which tags name the pieces of the picture, and where they lie: all within the file, and none twice."""
    tags = (TILES, TILE_BYTES) if TILES in directory.entries else (STRIPS, STRIP_BYTES)
    if tags[0] not in directory.entries or tags[1] not in directory.entries:
        raise not_a_picture(_("damaged: it does not say where its pixels are"))
    offsets, counts = directory.numbers(tags[0]), directory.numbers(tags[1])
    if not offsets or len(offsets) != len(counts):
        raise not_a_picture(_("damaged: it does not say where its pixels are"))
    if tags[0] == TILES:
        wide, high = directory.one(TILE_WIDTH, 0), directory.one(TILE_HEIGHT, 0)
        if not 16 <= wide <= 2 * w + 512 or not 16 <= high <= 2 * h + 512 or wide * high > max(4_000_000, 2 * w * h):
            raise not_a_picture(_("damaged: the size of its tiles"))
    if any(a + n > len(directory.data) for a, n in zip(offsets, counts, strict=True)):
        raise cut_off(_("a part of its pixels is missing"))
    if sum(counts) > len(directory.data):
        raise not_a_picture(_("damaged: its pixels lie over one another"))
    if compression == JPEG:
        for a, n in zip(offsets, counts, strict=True):
            if directory.data.find(b"\xff\xc2", a, a + n) >= 0 or directory.data.count(b"\xff\xda", a, a + n) > 3:
                raise not_a_picture(_("a TIFF with a JPEG in passes; send it as JPEG"))
    return tags, offsets, counts


def _rebuilt(directory: _Directory, tags: tuple[int, int], offsets: list[int], counts: list[int]) -> bytes:
    order, n = directory.order, len(offsets)
    values = {
        tag: (kind, count, directory.raw(tag)) for tag, (kind, count, _) in directory.entries.items() if tag in _KEPT
    }
    if any(len(raw) > 2 * MAX_VALUE_BYTES for _, _, raw in values.values()):
        raise not_a_picture(_("damaged: a tag of no sensible size"))
    values[tags[0]] = values[tags[1]] = (4, n, b"")  # their size alone counts for the layout
    head = 8 + 2 + 12 * len(values) + 4
    sizes = {tag: _SIZES[kind] * count for tag, (kind, count, _) in values.items()}
    at, places = head, {}
    for tag, size in sizes.items():
        if size > 4:
            places[tag], at = at, at + size + size % 2
    starts, where = [], at
    for count in counts:
        starts.append(where)
        where += count
    values[tags[0]] = (4, n, struct.pack(f"{order}{n}I", *starts))
    values[tags[1]] = (4, n, struct.pack(f"{order}{n}I", *counts))
    directory_bytes = [struct.pack(order + "H", len(values))]
    outside: list[bytes] = []
    for tag in sorted(values):
        kind, count, raw = values[tag]
        inline = struct.pack(order + "I", places[tag]) if tag in places else raw.ljust(4, b"\0")
        directory_bytes.append(struct.pack(order + "HHI", tag, kind, count) + inline)
    for tag in places:
        outside.append(values[tag][2] + b"\0" * (sizes[tag] % 2))
    start = (b"II*\0" if order == "<" else b"MM\0*") + struct.pack(order + "I", 8)
    view = memoryview(directory.data)
    pixels = [view[a : a + count] for a, count in zip(offsets, counts, strict=True)]
    return b"".join([start, *directory_bytes, bytes(4), *outside, *pixels])
