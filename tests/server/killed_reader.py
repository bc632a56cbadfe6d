"""A reader that dies at its first call as if killed just as it takes a photo; apart, so that it starts quickly."""

import gc
import os
import signal

import pebble
from pebble.pool.channel import WorkerChannel


def wait_shortly() -> float:
    """What a worker waits for the pool's pipe, in seconds, as it was set up; made short after that."""
    wait = float(pebble.CONSTS.channel_lock_timeout)
    pebble.CONSTS.channel_lock_timeout = 0.5
    return wait


def die_holding_the_pipe(wait, job):
    """Die with the pipe's lock at the first call; say what ``wait_shortly`` found at the second."""
    if job.photo.exists():
        return wait
    job.photo.touch()
    (channel,) = (found for found in gc.get_objects() if isinstance(found, WorkerChannel))
    channel.mutex.acquire()
    os.kill(os.getpid(), signal.SIGKILL)
    return wait
