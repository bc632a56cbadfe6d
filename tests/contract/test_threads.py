"""Threads that take no context along act as the keeper: where they are started is a short list, each looked at.

Who asks goes along in the context: `in_thread`, `run_in_threadpool` and tasks copy it (anyio's documentation of
`to_thread.run_sync`; Python's of `asyncio.create_task`), a bare thread and an executor's begin without (Python's
documentation of `contextvars`; Python 3.14 copies it only where that is asked for). What a bench's request started so
would see all.
"""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
BARE = {"Thread", "Timer", "ThreadPoolExecutor", "start_new_thread", "run_in_executor", "several"}
LOOKED_AT = {
    "service/log/archive/backup.py": "the back-up: for the bench computer itself; photos by their hash",
    "service/log/photos/away.py": "begun at the start: sends photos to the store by their hash",
    "service/log/photos/held.py": "the log's check, a command: photos by their hash",
    "service/log/photos/moving.py": "a command that moves photos, by their hash",
    "service/log/photos/several.py": "what the others of this list call",
    "service/readers/archive/run.py": "a command that reads an archive anew",
    "service/readers/cluster/scheduler.py": "sends photos to workers of the cluster, by their hash",
    "service/readers/pool.py": "ends a broken pool; readers are processes and have no log",
    "service/readers/worker.py": "in a reader's process, which has no log: ends it with its parent",
    "service/web/door/browser.py": "opens the page at the start",
    "service/web/serving.py": "waits for the end of the input",
}


def _started(path):
    """Names of what starts threads without a context in a file."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        named = [node.func] if isinstance(node, ast.Call) else node.bases if isinstance(node, ast.ClassDef) else []
        for one in named:
            name = getattr(one, "attr", getattr(one, "id", ""))
            if name in BARE:
                yield name


def test_each_place_that_starts_a_bare_thread_was_looked_at():
    found = {path.relative_to(ROOT).as_posix() for path in (ROOT / "service").rglob("*.py") if any(_started(path))}
    assert found == set(LOOKED_AT)


def test_a_bare_thread_is_seen(tmp_path):
    """Else the list would be whole whatever there is."""
    made = tmp_path / "made.py"
    for said in ("threading.Thread(target=ask)", "class Asking(Thread): ...", "loop.run_in_executor(None, ask)"):
        made.write_text(said, encoding="utf-8")
        assert len(list(_started(made))) == 1
