"""The blocks of a tar file, in the one way that a back-up has them, so that each byte of it can be checked.

The form is that of POSIX.1-2001 (pax interchange format): a ustar header of 512 bytes, the content filled up with zeros
to whole blocks, two blocks of zeros at the end, all of it filled up to records of 20 blocks. A size that the header's
octal field can't hold stands in an extended header before it. Any program for tar files can list and unpack it.
"""

from __future__ import annotations

import tarfile

from stripread.words import _

BLOCK = 512
RECORD = 20 * BLOCK
MOST = 8**11 - 1  # what eleven octal digits hold


def header(name: str, size: int, at: int) -> bytes:
    """The header of a file: ``name`` in ASCII, at most 100 bytes; ``size`` in bytes; ``at`` in Unix time.

    Raises
    ------
    ValueError
        If the name is too long.
    """
    if size <= MOST:
        return _ustar(name, size, at, b"0")
    said = _record(f"size={size}")
    return _ustar("size", len(said), at, b"x") + said + padding(len(said)) + _ustar(name, 0, at, b"0")


def padding(size: int) -> bytes:
    """The zeros after a content of this size."""
    return bytes(-size % BLOCK)


def end(size: int) -> bytes:
    """The zeros that end a file which is of this size so far."""
    return bytes(2 * BLOCK + -(size + 2 * BLOCK) % RECORD)


def span(name: str, size: int, at: int) -> int:
    """Bytes that a member takes: header, content, padding."""
    return len(header(name, size, at)) + size + len(padding(size))


def size_of(block: bytes, name: str) -> int | None:
    """The size that a header states, if it is one of a file of this name."""
    try:
        info = tarfile.TarInfo.frombuf(block, "utf-8", "surrogateescape")
    except tarfile.HeaderError:
        return None
    return info.size if info.isreg() and info.name == name else None


def found_in(block: bytes) -> str:
    """What a header that was not expected stands for, in words."""
    if not any(block):
        return _("the end of the file")
    try:
        info = tarfile.TarInfo.frombuf(block, "utf-8", "surrogateescape")
    except tarfile.HeaderError:
        return _("a damaged header")
    what = "folder" if info.isdir() else "link" if info.islnk() or info.issym() else _("special file")
    return _(
        "{word} {name!a}, {size} bytes",
        word=_("the file") if info.isreg() else "the " + what,
        name=info.name[:120],
        size=info.size,
    )


def _ustar(name: str, size: int, at: int, kind: bytes) -> bytes:
    place = name.encode("ascii")
    if len(place) > 100:
        raise ValueError(_("a name of more than 100 bytes"))
    fields = (
        place.ljust(100, b"\0"),
        b"0000600\0",  # who unpacks it by hand gets files of his own that nobody else reads
        b"0000000\0",
        b"0000000\0",
        b"%011o\0" % size,
        b"%011o\0" % at,
        b" " * 8,
        kind,
        bytes(100),
        b"ustar\00000",
        bytes(64),
        b"0000000\0",
        b"0000000\0",
        bytes(155 + 12),
    )
    block = b"".join(fields)
    return block[:148] + b"%06o\0 " % sum(block) + block[156:]


def _record(said: str) -> bytes:
    """A record of an extended header, which begins with its own length."""
    length = len(said) + 2
    while len(f"{length} {said}\n") != length:
        length = len(f"{length} {said}\n")
    return f"{length} {said}\n".encode("ascii")
