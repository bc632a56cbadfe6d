"""A run of a made-up archive in a process of its own, to be killed: python -m tests.archive.killed DATA OUT."""

import sys
from pathlib import Path


def main() -> int:
    import service.readers.archive.run
    from service.commands.log_care.reread_archive import reread_archive
    from service.settings import Settings
    from tests.archive.logs import wanted
    from tests.server.fake_reader import LaterReader

    service.readers.archive.run.EVERY_S = 0.0
    data, out = map(Path, sys.argv[1:])
    return reread_archive(Settings(data, reader=LaterReader, workers=2), wanted(out), as_json=True)


if __name__ == "__main__":
    sys.exit(main())
