"""Showing the built pages in a browser on this machine."""

from __future__ import annotations

import json
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any

from benchproof.errors import RequestError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


class _Quiet(SimpleHTTPRequestHandler):
    """Serves files and says nothing."""

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 - the name is the base class's
        """Keep the terminal clean."""


def serve(folder: Path, port: int, *, as_json: bool, say: Callable[[str], None]) -> None:
    """Serve a folder on the loopback address until interrupted.

    Parameters
    ----------
    folder : Path
        ``build/preview`` or ``build/site``.
    port : int
        0 takes a free one.
    as_json : bool
        Say where as a JSON object.
    say : callable
        Takes a line.

    Raises
    ------
    RequestError
        If nothing was built yet, or the port is taken.
    """
    if not (folder / "index.html").is_file():
        command = "publish" if folder.name == "site" else "build"
        message = f"nothing to show in build/{folder.name} yet; run `benchproof {command}` first"
        raise RequestError(message)
    try:
        server = ThreadingHTTPServer(("127.0.0.1", port), partial(_Quiet, directory=str(folder)))
    except OSError as error:
        message = f"port {port} cannot be used ({error.strerror}); try --port 0"
        raise RequestError(message) from None
    address = f"http://127.0.0.1:{server.server_address[1]}/"
    say(json.dumps({"ok": True, "address": address}) if as_json else f"{address} (Ctrl-C ends it)")
    with server:
        try:
            server.serve_forever()
        except KeyboardInterrupt:
            return
