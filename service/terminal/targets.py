"""Where a command's results go, tried before anything is read: a run of minutes must not end at a wrong file name."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable
from pathlib import Path

from stripread.errors import CallError
from stripread.words import N_, _, say

# Endings of pictures and pages: a file of one form must not carry another's.
FORMS = {".png", ".jpg", ".jpeg", ".webp", ".tif", ".tiff", ".heic", ".gif", ".bmp", ".svg", ".pdf", ".html"}
_REMEDIES = {
    errno.ENAMETOOLONG: N_("name a shorter one"),
    errno.ENOSPC: N_("free some space, or name another place"),
    errno.EDQUOT: N_("free some space, or name another place"),
}


def check_target(target: Path, option: str, inputs: Iterable[Path] = (), form: str | None = None) -> None:
    """Try whether a file can be written; nothing is left behind, and what stands there stays as it is.

    Parameters
    ----------
    target
        The file to be written.
    option
        What names it, for messages: ``--out``.
    inputs
        Files that the command reads, which it must never write over.
    form
        The ending of what is written, ``.png``: a name that ends as another picture or page is refused.

    Raises
    ------
    CallError
        If its folder is not there, it is a folder itself, is one of ``inputs``, ends as another form, or
        can't be written.
    """
    ending = target.suffix.lower()
    try:
        if target.is_dir():
            raise CallError(_("{option} {target} is a folder: name a file in it", option=option, target=target))
        if target.exists() and any(given.exists() and target.samefile(given) for given in inputs):
            raise CallError(
                _("{option} {target} would write over what is read: name another file", option=option, target=target)
            )
        if form is not None and ending != form and ending in FORMS:
            raise CallError(
                _(
                    "{option} writes a file that ends in {form}, not {name}: name one",
                    option=option,
                    form=form,
                    name=target.name,
                )
            )
        if target.exists():
            if not os.access(target, os.W_OK):
                raise _refusal(target, option, OSError(errno.EACCES, os.strerror(errno.EACCES)))
            return
        _check_parent(target.parent, option)
        os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
        target.unlink()
    except (OSError, ValueError) as problem:  # a NUL in a name is a ValueError
        raise _refusal(target, option, problem) from None


def made_folder(folder: Path, option: str) -> None:
    """Make a folder for results, where there is none, and try whether files can be written in it.

    Raises
    ------
    CallError
        If it can't be made, is a file, or takes no files.
    """
    try:
        if folder.exists() and not folder.is_dir():
            raise CallError(_("{option} {folder} is a file: name a folder", option=option, folder=folder))
        folder.mkdir(parents=True, exist_ok=True)
    except NotADirectoryError:
        raise CallError(
            _("{option} {folder}: a part of this path is a file, not a folder", option=option, folder=folder)
        ) from None
    except (OSError, ValueError) as problem:
        raise _refusal(folder, option, problem) from None
    check_target(folder / f".stripread-{os.getpid()}", option)


def _check_parent(parent: Path, option: str) -> None:
    if parent.exists() and not parent.is_dir():
        raise CallError(_("{option}: {parent} is a file, not a folder", option=option, parent=parent))
    if not parent.is_dir():
        raise CallError(_("{option}: no such folder: {parent}; make it first", option=option, parent=parent))


def _refusal(target: Path, option: str, problem: OSError | ValueError) -> CallError:
    number = problem.errno if isinstance(problem, OSError) else None
    why = getattr(problem, "strerror", None) or str(problem)
    return CallError(
        _(
            "{option}: can't write {target} ({why}): {remedies}",
            option=option,
            target=target,
            why=why,
            remedies=say(_REMEDIES.get(number or 0, N_("name another place"))),
        )
    )
