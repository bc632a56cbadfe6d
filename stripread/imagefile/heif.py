"""An HEIC's boxes (ISO/IEC 14496-12 and 23008-12): what its picture would cost, before the library sees a byte of it.

libheif opens the file only after every size and every piece that its main picture is made of has been checked here: the
sizes that the boxes name, the sizes in the coded pictures' own headers, and that each piece lies whole within the file.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from stripread.imagefile.exif import exif_camera, exif_facts, exif_lens
from stripread.imagefile.header import MAX_ICC, Header, check_parts, cut_off, not_a_picture
from stripread.words import _

BRANDS = (b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1")
MAX_PIXELS = 50_000_000  # the largest that phones make; 2 s of decoding
MAX_ITEMS, MAX_TILES = 2000, 400  # 48 MP in tiles of 512 are 192
MAX_CODED_BYTES = 20_000_000  # of the main picture; a 48 MP photo has 8
BYTES_PER_PIXEL = 5  # measured: the coded planes and the picture made of them
_SPS = 33  # type of a sequence parameter set, ITU-T H.265 table 7-1


@dataclass
class _Boxes:
    data: bytes
    primary: int | None = None
    kinds: dict[int, bytes] = field(default_factory=dict)
    extents: dict[int, list[tuple[int, int]]] = field(default_factory=dict)
    tiles: dict[int, list[int]] = field(default_factory=dict)
    properties: list[tuple[bytes, int, int]] = field(default_factory=list)
    used: dict[int, list[int]] = field(default_factory=dict)
    idat: tuple[int, int] | None = None

    def of(self, item: int, kind: bytes) -> bytes | None:
        """The property of that kind of an item."""
        for n in self.used.get(item, []):
            if 1 <= n <= len(self.properties) and self.properties[n - 1][0] == kind:
                return self.data[self.properties[n - 1][1] : self.properties[n - 1][2]]
        return None


def _library() -> Any:  # noqa: ANN401 - a module that may be missing
    try:
        import pillow_heif  # noqa: PLC0415 - an extra, and slow to load
    except ImportError:
        raise not_a_picture(_("HEIC needs the extra: pip install 'stripread[heic]'; or send it as JPEG")) from None
    return pillow_heif


def open_heif(data: bytes) -> Any:  # noqa: ANN401 - a type of an extra that may be missing
    """Open by libheif what ``read_heif`` has let through."""
    return _library().open_heif(io.BytesIO(data), convert_hdr_to_8bit=True)


def read_heif(data: bytes) -> Header:
    """Read the header of an HEIC.

    Raises
    ------
    Refused
        ``not_a_picture`` when it is not built as it should be or is past the limits, ``file_cut_off``.
    """
    _library()
    try:
        end = _check(data)
    except (struct.error, IndexError):
        raise not_a_picture(_("damaged: its boxes")) from None
    bare = data[:end]
    image = open_heif(bare)
    _unused, taken_at = exif_facts(image.info.get("exif"))
    camera = exif_camera(image.info.get("exif"))
    icc = image.info.get("icc_profile")
    w, h = image.size
    # libheif turns the picture itself: what EXIF says of turning has been obeyed.
    icc = icc if icc and len(icc) <= MAX_ICC else None
    return Header(
        "HEIF",
        image.mode,
        (w, h),
        bare,
        BYTES_PER_PIXEL * w * h,
        1,
        icc,
        taken_at,
        camera=camera,
        lens=exif_lens(image.info.get("exif")),
    )


def _children(data: bytes, at: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Kind, begin and end of each box's body."""
    parts = 0
    while at + 8 <= end:
        n, kind, body = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8], at + 8
        if n == 1:
            n, body = int.from_bytes(data[at + 8 : at + 16], "big"), at + 16
        elif n == 0:
            n = end - at
        if n < body - at or at + n > end:
            raise cut_off(_("it ends within a box"))
        parts += 1
        check_parts(parts, "boxes")
        yield kind, body, at + n
        at += n


def _check(data: bytes) -> int:
    """Check everything the main picture needs; returns where the last whole box ends."""
    end, boxes = 0, _Boxes(data)
    seen: set[bytes] = set()
    try:
        for kind, begin, stop in _children(data, 0, len(data)):
            if kind == b"meta" and b"meta" not in seen:
                _meta(boxes, begin + 4, stop)
            elif kind in (b"moov", b"moof", b"meta"):
                raise not_a_picture(_("a film or a row of pictures; send one photo"))
            seen.add(kind)
            end = stop
    except Exception:
        if not {b"meta", b"mdat"} <= seen:  # else: what phones append
            raise
    if boxes.primary is None or boxes.primary not in boxes.kinds:
        raise (
            cut_off(_("its pixels are missing"))
            if b"meta" not in seen
            else not_a_picture(_("damaged: no main picture"))
        )
    _main_picture(boxes, boxes.primary)
    return end


def _meta(boxes: _Boxes, begin: int, end: int) -> None:
    data = boxes.data
    for kind, at, stop in _children(data, begin, end):
        version, body = data[at], at + 4
        if kind == b"pitm":
            boxes.primary = int.from_bytes(data[body : body + (4 if version else 2)], "big")
        elif kind == b"iinf":
            _items(boxes, body + (4 if version else 2), stop)
        elif kind == b"iloc":
            _locations(boxes, version, body)
        elif kind == b"iref":
            _references(boxes, version, body, stop)
        elif kind == b"idat":
            boxes.idat = (at, stop)
        elif kind == b"iprp":
            for inner, a, b in _children(data, at, stop):
                if inner == b"ipco":
                    boxes.properties = list(_children(data, a, b))
                elif inner == b"ipma":
                    _associations(boxes, a)


def _items(boxes: _Boxes, begin: int, end: int) -> None:
    data = boxes.data
    for kind, at, stop in _children(data, begin, end):
        wide = 4 if data[at] >= 3 else 2
        if kind != b"infe" or data[at] < 2:
            continue
        item = int.from_bytes(data[at + 4 : at + 4 + wide], "big")
        boxes.kinds[item] = data[at + 6 + wide : at + 10 + wide]
        # name, content type and encoding, each ended by a zero: packed metadata could unpack to anything
        if boxes.kinds[item] == b"mime" and (data[at + 10 + wide : stop].split(b"\0") + [b""] * 3)[2]:
            raise not_a_picture(_("packed metadata; send it as JPEG"))
    if len(boxes.kinds) > MAX_ITEMS:
        raise not_a_picture(_("more items than any phone writes"))


def _locations(boxes: _Boxes, version: int, at: int) -> None:
    data = boxes.data
    size, length = data[at] >> 4, data[at] & 15
    base_size, index_size = data[at + 1] >> 4, (data[at + 1] & 15 if version else 0)
    at += 2

    def number(n: int) -> int:
        nonlocal at
        if at + n > len(data):
            raise cut_off(_("it ends within a box"))
        at += n
        return int.from_bytes(data[at - n : at], "big")

    wide = 4 if version == 2 else 2
    for _unused in range(number(wide)):
        item = number(wide)
        method = number(2) & 15 if version else 0
        number(2)
        base = number(base_size)
        n = number(2)
        check_parts(n, "pieces")
        for _unused in range(n):
            number(index_size)
            start, count = base + number(size), number(length)
            if method == 1 and boxes.idat is not None:
                start += boxes.idat[0]
            boxes.extents.setdefault(item, []).append((start, count))
        if len(boxes.extents) > MAX_ITEMS:
            raise not_a_picture(_("more items than any phone writes"))


def _references(boxes: _Boxes, version: int, begin: int, end: int) -> None:
    data, wide = boxes.data, 4 if version else 2
    for kind, at, _unused in _children(data, begin, end):
        item, n = int.from_bytes(data[at : at + wide], "big"), int.from_bytes(data[at + wide : at + wide + 2], "big")
        if kind == b"dimg":
            first = at + wide + 2
            boxes.tiles[item] = [
                int.from_bytes(data[first + wide * i : first + wide * (i + 1)], "big") for i in range(n)
            ]


def _associations(boxes: _Boxes, at: int) -> None:
    data = boxes.data
    version, large, n, at = data[at], data[at + 3] & 1, int.from_bytes(data[at + 4 : at + 8], "big"), at + 8
    for _unused in range(min(n, MAX_ITEMS + 1)):
        wide = 4 if version else 2
        item, m, at = int.from_bytes(data[at : at + wide], "big"), data[at + wide], at + wide + 1
        step = 2 if large else 1
        mask = 0x7FFF if large else 0x7F
        boxes.used[item] = [int.from_bytes(data[at + step * i : at + step * (i + 1)], "big") & mask for i in range(m)]
        at += step * m


def _main_picture(boxes: _Boxes, item: int) -> None:
    kind = boxes.kinds[item]
    if kind not in (b"hvc1", b"grid"):
        raise not_a_picture(_("a kind of HEIF that phones do not make; send it as JPEG"))
    w, h = _size(boxes, item)
    if w * h > MAX_PIXELS:
        raise not_a_picture(
            _("{w} x {h} pixels are more than is read from this format; send it smaller or as JPEG", w=w, h=h)
        )
    if kind == b"hvc1":
        pieces = [item]
    else:
        pieces = boxes.tiles.get(item, [])
        if not 1 <= len(pieces) <= MAX_TILES or any(boxes.kinds.get(n) != b"hvc1" for n in pieces):
            raise not_a_picture(_("damaged: its tiles"))
        _whole(boxes, item)
    total, coded = 0, 0
    for piece in pieces:
        a, b = _size(boxes, piece)
        total += a * b
        if total > MAX_PIXELS + 8_000_000:
            raise not_a_picture(_("its tiles hold more pixels than the picture"))
        coded += _check_coded(boxes, piece, a * b)
        if coded > MAX_CODED_BYTES:
            raise not_a_picture(_("more packed pixels than are read from an HEIC; send it as JPEG"))


def _size(boxes: _Boxes, item: int) -> tuple[int, int]:
    extents = boxes.of(item, b"ispe")
    if extents is None or len(extents) < 12:
        raise not_a_picture(_("damaged: it does not say its size"))
    return int.from_bytes(extents[4:8], "big"), int.from_bytes(extents[8:12], "big")


def _whole(boxes: _Boxes, item: int) -> bytes:
    """The bytes of an item.

    Raises
    ------
    Refused
        ``file_cut_off`` when a part of them lies outside the file.
    """
    pieces = boxes.extents.get(item, [])
    if not pieces or any(at + n > len(boxes.data) or n == 0 for at, n in pieces):
        raise cut_off(_("a part of its pixels is missing"))
    if sum(n for _, n in pieces) > len(boxes.data):
        raise not_a_picture(_("damaged: its pixels lie over one another"))
    return b"".join(boxes.data[at : at + n] for at, n in pieces)


def _check_coded(boxes: _Boxes, item: int, pixels: int) -> int:
    """Check the coded picture's own headers against ``pixels``, and that its units follow each other; its length."""
    config = boxes.of(item, b"hvcC")
    if config is None or len(config) < 23:
        raise not_a_picture(_("damaged: its decoder's settings"))
    at = 23
    for _unused in range(config[22]):
        kind, n, at = config[at] & 63, int.from_bytes(config[at + 1 : at + 3], "big"), at + 3
        for _unused in range(n):
            length = int.from_bytes(config[at : at + 2], "big")
            if kind == _SPS:
                _check_sps(config[at + 2 : at + 2 + length], pixels)
            at += 2 + length
    coded, wide, at, units = _whole(boxes, item), (config[21] & 3) + 1, 0, 0
    while at < len(coded):
        n = int.from_bytes(coded[at : at + wide], "big")
        if n < 2 or at + wide + n > len(coded):
            raise cut_off(_("its pixels are damaged"))
        if coded[at + wide] >> 1 & 63 == _SPS:
            _check_sps(coded[at + wide : at + wide + n], pixels)
        at += wide + n
        units += 1
        check_parts(units, "units")
    return len(coded)


def _check_sps(unit: bytes, pixels: int) -> None:
    """Compare the size in a sequence parameter set (ITU-T H.265, 7.3.2.2) with what the boxes said."""
    raw = unit[2:200].replace(b"\0\0\3", b"\0\0")
    bits, at = "".join(f"{b:08b}" for b in raw), 0

    def take(n: int) -> int:
        nonlocal at
        at += n
        return int(bits[at - n : at] or "0", 2)

    def code() -> int:  # ue(v), 9.2
        zeros = bits.find("1", at) - at
        if not 0 <= zeros <= 31:
            raise not_a_picture(_("damaged: its coded header"))
        return take(2 * zeros + 1) - 1

    take(4)
    layers = take(3)
    take(1 + 88 + 8)
    flags = [(take(1), take(1)) for _ in range(layers)]
    if layers:
        take(2 * (8 - layers))
    for profile, level in flags:
        take(88 * profile + 8 * level)
    code()
    if code() == 3:
        take(1)
    w, h = code(), code()
    if w * h > pixels + 64 * (w + h) + 4096:
        raise not_a_picture(_("its coded picture has {w} x {h} pixels, other than its header says", w=w, h=h))
