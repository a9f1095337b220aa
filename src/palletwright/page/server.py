"""`palletwright serve`: the page on this machine only."""

from __future__ import annotations

import socket
import threading
import webbrowser
from collections.abc import Callable, Mapping
from pathlib import Path

from palletwright.errors import Fault, InputError
from palletwright.page.app import make_app, static_folder
from palletwright.page.store import Store, default_file

HOST = "127.0.0.1"
PORT = 8765


def aloud(text: str) -> None:
    """Print at once, even into a pipe."""
    print(text, flush=True)


def serve(
    port: int | None = None,
    store: Path | None = None,
    open_page: bool = True,
    say: Callable[[str], None] = aloud,
    examples: Mapping[str, Path] | None = None,
) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    port : of this machine; None takes 8765, or a free one where that is taken
    store : the SQLite file that keeps jobs, plans and records; None takes the user's own
    open_page : open the page in the browser
    say : hears the address
    examples : job files that the page offers to begin with, by name

    Raises InputError where the port is taken, the store can't be used, or the page was never built.
    """
    import uvicorn

    if not (static_folder() / "index.html").is_file():
        problem = "the page isn't built"
        raise InputError([Fault(str(static_folder()), "", "", problem, "run `make setup`, or install the package")])
    listening = _socket(port)
    number = listening.getsockname()[1]
    kept = Store(store or default_file())
    app = make_app(kept, number, examples)
    address = f"http://{HOST}:{number}/#key={app.key}"
    settings = uvicorn.Config(
        app, log_level="warning", access_log=False, server_header=False, timeout_graceful_shutdown=2
    )
    say(f"The page: {address}\nIt is kept in {kept.file}. Ctrl-C ends it.")
    if open_page:
        threading.Timer(0.6, webbrowser.open, (address,)).start()
    uvicorn.Server(settings).run(sockets=[listening])


def _socket(port: int | None) -> socket.socket:
    """A listening socket of this machine only. Raises InputError where the port is taken."""
    for wanted in (PORT, 0) if port is None else (port,):
        made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((HOST, wanted))
            return made
        except OSError as error:
            made.close()
            if port is not None or wanted == 0:
                problem = f"can't be used: {error.strerror}"
                raise InputError([Fault("serve", "--port", str(wanted), problem, "a free port")]) from error
    raise AssertionError
