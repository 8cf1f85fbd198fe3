"""A line between browser and service that can fail as lines do: nobody answers, or the answer never comes."""

from __future__ import annotations

import contextlib
import selectors
import socket
import threading


class Line:
    """Hands bytes through to a port: `through`; or `refused`, as where the service is stopped; or `hanging`."""

    def __init__(self) -> None:
        self.state = "through"
        self.target = 0
        self._listening = self._listen(0)
        self.port = self._listening.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self._open: set[socket.socket] = set()
        threading.Thread(target=self._serve, args=(self._listening,), daemon=True).start()

    def set(self, state: str) -> None:
        """Change what the line does, also to what is on its way."""
        before, self.state = self.state, state
        if state == "refused":
            _shut(self._listening)
        elif before == "refused":
            self._listening = self._listen(self.port)
            threading.Thread(target=self._serve, args=(self._listening,), daemon=True).start()
        for one in list(self._open):
            _shut(one)

    def close(self) -> None:
        """End it, with everything on it."""
        self.set("refused")

    @staticmethod
    def _listen(port: int) -> socket.socket:
        made = socket.create_server(("127.0.0.1", port), backlog=64)
        made.settimeout(None)
        return made

    def _serve(self, listening: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while True:
                caller, _ = listening.accept()
                self._open.add(caller)
                threading.Thread(target=self._hand_through, args=(caller,), daemon=True).start()

    def _hand_through(self, caller: socket.socket) -> None:
        if self.state == "hanging":
            return  # the call is taken, and never answered
        with contextlib.suppress(OSError, ValueError), socket.create_connection(("127.0.0.1", self.target)) as called:
            self._open.add(called)
            with selectors.DefaultSelector() as ready:
                ready.register(caller, selectors.EVENT_READ, called)
                ready.register(called, selectors.EVENT_READ, caller)
                while True:
                    for key, _ in ready.select():
                        read = key.fileobj.recv(65536)
                        if not read:
                            raise OSError
                        key.data.sendall(read)
        _shut(caller)


def _shut(one: socket.socket) -> None:
    with contextlib.suppress(OSError):
        one.shutdown(socket.SHUT_RDWR)
    one.close()
