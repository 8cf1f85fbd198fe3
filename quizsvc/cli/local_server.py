"""A web server for this machine alone, from what the service needs at run time anyway."""

from __future__ import annotations

import socket
from typing import Any

from werkzeug.serving import BaseWSGIServer, WSGIRequestHandler, make_server

from quizsvc.errors import InputError

HOST = "127.0.0.1"
_PORTS_TRIED = 100


def listen(port: int, app: Any) -> BaseWSGIServer:
    """A server on the loopback address, a thread for each request."""
    return make_server(HOST, port, app, threaded=True, request_handler=_Quiet)


def free_port(wanted: int) -> int:
    """The wanted port, or the next one that nothing listens on."""
    for port in range(wanted, min(wanted + _PORTS_TRIED, 65536)):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((HOST, port))
            except OSError:
                continue
            return port
    raise InputError(
        "demo-port",
        f"no free port from {wanted} on",
        where="--port",
        mend="name another one, such as --port 8019",
    )


class _Quiet(WSGIRequestHandler):
    """A request is no news on the terminal that shows the sign-ins."""

    def log_request(self, code: int | str = "-", size: int | str = "-") -> None:
        """Say nothing."""
