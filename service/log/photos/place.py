"""Where a log's photos are: a small file in its folder names the store's URL; without it they lie in the folder."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from service.log.blobs import Blobs, sync_folder
from service.log.photos.away import StoredBlobs
from service.log.photos.lined_up import OUTGOING, line_up_all
from service.log.photos.store import Store, StoreAway
from service.written_whole import written_whole
from stripread.errors import CallError
from stripread.words import _

NAME = "photos.json"


def store_url(data: Path) -> str | None:
    """The URL of the store that has the photos of the log in this folder; None where they lie in the folder.

    Raises
    ------
    CallError
        If the file that names it is damaged: photos must not go to another place for that.
    """
    path = data / NAME
    try:
        said = json.loads(path.read_text(encoding="utf-8"))
        return str(said["store"])
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError):
        text = _('{path} is damaged: write {{"store": "URL"}} into it, the URL of the log\'s photos', path=path)
        raise CallError(text) from None


def blobs_of(data: Path, *, reading: bool = False) -> Blobs:
    """The photos of the log in this folder, wherever they are.

    Raises
    ------
    CallError
        If its store needs a package that is not installed.
    """
    url = store_url(data)
    root = data / "photos"
    return Blobs(root, reading=reading) if url is None else StoredBlobs(root, Store(url), reading=reading)


def use_store(data: Path, url: str) -> int:
    """Let the photos of this log be in the store at ``url`` from now on; how many were lined up to be sent there.

    Those that are in the folder already go there, too. The same URL again changes nothing.

    Raises
    ------
    CallError
        If the log's photos are in another store, or this one can't be used.
    StoreAway
        If it does not answer: at the first time nobody could tell a store that is away from a slip of the pen.
    """
    was = store_url(data)
    url = url.rstrip("/")
    if was == url:
        return 0
    if was is not None:
        raise CallError(
            _(
                "the photos of {data} are in {was}: `stripread log photos --to folder` takes them back first",
                data=data,
                was=was,
            )
        )
    Store(url).look()
    (data / "photos").mkdir(parents=True, exist_ok=True)
    many = line_up_all(data / "photos")
    written_whole(data / NAME, (json.dumps({"store": url}) + "\n").encode())
    sync_folder(data)
    return many


def settled(data: Path, url: str) -> None:
    """``use_store`` as a service starts.

    Raises
    ------
    CallError
        Also if the store does not answer at the first time.
    """
    try:
        use_store(data, url)
    except StoreAway as problem:
        raise CallError(str(problem.strerror)) from None


def use_folder(data: Path) -> None:
    """Let the photos lie in the folder again. All of them must be there: see ``service.log.photos.moving``."""
    (data / NAME).unlink(missing_ok=True)
    sync_folder(data)
    shutil.rmtree(data / OUTGOING, ignore_errors=True)  # second names of photos that are in the folder
