"""A Chromium to look at pages with: Debian's own, driven by playwright."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import pytest

ARGS = [
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--no-first-run",
]  # fmt: skip


def chromium() -> str:
    """Where Chromium is. Absent, the test is skipped on a person's machine and fails where CI is set."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        if os.environ.get("CI"):
            pytest.fail("CI must have Chromium: apt-get install chromium")
        pytest.skip("no Chromium on this machine (apt-get install chromium)")
    return found


@contextmanager
def open_page(width: int = 1280, height: int = 900) -> Iterator[Any]:
    """A blank page of a given size in CSS pixels."""
    from playwright.sync_api import sync_playwright

    path = chromium()
    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path=path, args=ARGS)
        try:
            yield browser.new_page(viewport={"width": width, "height": height})
        finally:
            browser.close()


class _Quiet(SimpleHTTPRequestHandler):
    extensions_map = {**SimpleHTTPRequestHandler.extensions_map, ".vtt": "text/vtt"}  # noqa: RUF012

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing."""


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """A folder on this machine's own address, for what a browser will not load from files."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Quiet, directory=str(folder)))
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
