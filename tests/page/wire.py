"""A wire between browser and service that can be cut, or lose the answers: what a bench's Wi-Fi does."""

import contextlib
import socket
import threading


class Wire:
    """``with Wire(port) as wire``: ``wire.url`` leads to the service on that port, as ``wire.mode`` lets it.

    ``on``: as it is; ``off``: nothing gets through; ``deaf``: what is asked arrives, and no answer comes back.
    """

    def __init__(self, to: int):
        self._to = to
        self._mode = "on"
        self._open: set[socket.socket] = set()
        self._lock = threading.Lock()

    @property
    def mode(self) -> str:
        return self._mode

    @mode.setter
    def mode(self, mode: str) -> None:
        self._mode = mode
        with self._lock:
            for each in self._open:
                _close(each)
            self._open.clear()

    def __enter__(self) -> "Wire":
        self._door = socket.create_server(("127.0.0.1", 0), backlog=64)
        self.port = self._door.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        threading.Thread(target=self._serve, daemon=True).start()
        return self

    def __exit__(self, *_) -> None:
        self._door.close()
        self.mode = "off"

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                near, _ = self._door.accept()
                threading.Thread(target=self._join, args=(near,), daemon=True).start()

    def _join(self, near: socket.socket) -> None:
        if self._mode == "off":
            _close(near)
            return
        try:
            far = socket.create_connection(("127.0.0.1", self._to), timeout=30)
        except OSError:
            _close(near)
            return
        with self._lock:
            self._open |= {near, far}
        threading.Thread(target=self._pump, args=(near, far, False), daemon=True).start()
        self._pump(far, near, True)

    def _pump(self, source: socket.socket, sink: socket.socket, answers: bool) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                if answers and self._mode == "deaf":
                    break
                sink.sendall(data)
        _close(source)
        _close(sink)


def _close(end: socket.socket) -> None:
    with contextlib.suppress(OSError):
        end.shutdown(socket.SHUT_RDWR)
    end.close()
