"""Serves the app on this machine alone, and says where."""

import socket
from typing import Any

from django.core.management.base import CommandError
from django.db import connections
from granian import Granian
from granian.constants import Interfaces
from granian.log import LogLevels

HOST = "127.0.0.1"
PORT = 8000
#: One process, so that rate limits may live in its memory; its threads share the work.
THREADS = 4


def add_port(parser: Any) -> None:
    """Give a command the option that chooses its port."""
    parser.add_argument("--port", type=int, default=PORT, help=f"port on this machine, {PORT} unless told")


def serve(port: int, say: Any) -> None:
    """Serve until Ctrl-C; refuse with the remedy if the port is taken."""
    if not 1 <= port <= 65535:
        raise CommandError(f"--port is {port}. Give a number from 1 to 65535, such as {PORT}.")
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as error:
            raise CommandError(
                f"Port {port} is taken. Stop the other program, or choose another: --port {port + 1}."
            ) from error
    let_go()
    say(f"Levelbook is at http://{HOST}:{port}/ for this machine alone. Stop it with Ctrl-C.")
    Granian(
        "collection.wsgi:application",
        address=HOST,
        port=port,
        interface=Interfaces.WSGI,
        workers=1,
        blocking_threads=THREADS,
        respawn_failed_workers=True,  # the process that answers may be killed, as for want of memory
        log_level=LogLevels.warning,
        log_access=False,  # it would write down whole addresses, keys and all
    ).serve()


def let_go() -> None:
    """Close what migrating opened. The process that serves is a fork of this one: it would share the connections, and
    a pool whose threads stayed behind never gets another one."""
    connections.close_all()
    for each in connections.all(initialized_only=True):
        if close_pool := getattr(each, "close_pool", None):  # PostgreSQL alone has one
            close_pool()
