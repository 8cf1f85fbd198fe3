"""A line between browser and service that can fail as lines do: nobody answers, or the answer never comes."""

from __future__ import annotations

import contextlib
import selectors
import socket
import threading


class Line:
    """Hands bytes through to a port: `through`; or `refused`, as where the service is stopped; or `hanging`.

    A connection is closed by the thread that serves it and by nobody else: a descriptor closed under a selector is
    forgotten by it, and its number may belong to another connection a moment later. To cut it, it is shut down.
    """

    def __init__(self) -> None:
        self.state = "through"
        self.target = 0
        self._go = threading.Event()
        self._go.set()
        self._lock = threading.Lock()
        self._open: dict[socket.socket, threading.Thread] = {}
        # Bound for as long as the line is, so that nobody else gets the port while it refuses: without listening, this
        # one answers no call.
        self._held = socket.socket()
        self._held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._held.bind(("127.0.0.1", 0))
        self.port = self._held.getsockname()[1]
        self._listening = self._listen(self.port)
        self.url = f"http://127.0.0.1:{self.port}"

    def set(self, state: str) -> None:
        """Change what the line does, also to what is on its way."""
        with self._lock:
            before, self.state = self.state, state
            if state == "refused" and before != "refused":
                _cut(self._listening)
                self._listening.close()
            for one in self._open:
                _cut(one)
        if state != "refused" and before == "refused":
            self._listening = self._listen(self.port)

    def hold(self) -> None:
        """From now on calls are taken and wait."""
        self._go.clear()
        self.set("through")  # what is open already would get by

    def let_go(self) -> None:
        """What waited goes on its way."""
        self._go.set()

    def close(self) -> None:
        """End it, with everything on it."""
        self.let_go()
        self.set("refused")
        with self._lock:
            serving = list(self._open.values())
        for one in serving:
            one.join(timeout=60)
            assert not one.is_alive(), "a connection outlived its line"
        self._held.close()

    def _listen(self, port: int) -> socket.socket:
        made = socket.create_server(("127.0.0.1", port), backlog=64)
        threading.Thread(target=self._serve, args=(made,), daemon=True).start()
        return made

    def _serve(self, listening: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while True:
                caller, _ = listening.accept()
                thread = threading.Thread(target=self._take, args=(caller,), daemon=True)
                with self._lock:
                    self._open[caller] = thread
                    if self.state == "refused":  # it was taken in the moment of the change
                        _cut(caller)
                    thread.start()

    def _take(self, caller: socket.socket) -> None:
        self._go.wait()
        try:
            with contextlib.suppress(OSError):
                if self.state == "hanging":
                    while caller.recv(65536):
                        pass  # the call is taken, and never answered
                else:
                    with socket.create_connection(("127.0.0.1", self.target)) as called:
                        _hand_through(caller, called)
        finally:
            with self._lock:
                del self._open[caller]
            caller.close()


def _hand_through(caller: socket.socket, called: socket.socket) -> None:
    """Both ways, until one side ends: a line that is cut ends on the caller's side, and with it the other."""
    with selectors.DefaultSelector() as ready:
        ready.register(caller, selectors.EVENT_READ, called)
        ready.register(called, selectors.EVENT_READ, caller)
        while True:
            for key, _ in ready.select():
                read = key.fileobj.recv(65536)
                if not read:
                    return
                key.data.sendall(read)


def _cut(one: socket.socket) -> None:
    with contextlib.suppress(OSError):
        one.shutdown(socket.SHUT_RDWR)
