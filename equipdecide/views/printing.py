"""A page as a PDF, by what this computer already has: WeasyPrint where it is installed, else a browser without a
window.

Nothing is sent anywhere: the page asks for nothing, and the browser is told to ask for nothing on its own.
"""

from __future__ import annotations

import importlib
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "microsoft-edge", "msedge")
PLACES = (
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    *(
        rf"{folder}\{rest}"
        for folder in (
            os.environ.get("PROGRAMFILES", ""),
            os.environ.get("PROGRAMFILES(X86)", ""),
            os.environ.get("LOCALAPPDATA", ""),
        )
        if folder
        for rest in (r"Google\Chrome\Application\chrome.exe", r"Microsoft\Edge\Application\msedge.exe")
    ),
)
SECONDS = 90


class NoPrinter(RuntimeError):
    """Nothing on this computer can make a PDF; the message says what to do instead."""


def find_browser() -> str | None:
    """Return a Chromium, Chrome or Edge on this computer; None where there is none."""
    return next((found for name in NAMES if (found := shutil.which(name))), None) or next(
        (place for place in PLACES if Path(place).is_file()), None
    )


def find_weasyprint() -> Any:
    """Return the module WeasyPrint where it is installed and can be loaded; else None."""
    try:
        return importlib.import_module("weasyprint")
    except (ImportError, OSError):  # OSError: its libraries outside Python are missing
        return None


def print_page(page: str, path: Path) -> None:
    """Write a page (HTML text) to a PDF. Raises :class:`NoPrinter` where nothing can make one,
    OSError for a bad path.
    """
    if (weasyprint := find_weasyprint()) is not None:
        weasyprint.HTML(string=page).write_pdf(path)
        return
    browser = find_browser()
    if browser is None:
        raise NoPrinter(
            "no Chromium, Chrome or Edge was found to make a PDF: write the page as .html, open it and print it"
        )
    path = path.absolute()
    path.open("ab").close()  # a path that cannot be written says so itself
    with tempfile.TemporaryDirectory(prefix="equipdecide") as folder:
        source, made = Path(folder) / "page.html", Path(folder) / "page.pdf"
        source.write_text(page, encoding="utf-8", newline="\n")
        quiet = (
            "--headless",
            "--disable-gpu",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-extensions",
            "--no-pdf-header-footer",
        )
        run = [
            browser,
            *quiet,
            *_as_root(),
            f"--user-data-dir={Path(folder) / 'profile'}",
            f"--print-to-pdf={made}",
            source.as_uri(),
        ]
        try:
            said = subprocess.run(run, capture_output=True, text=True, timeout=SECONDS, check=False).stderr
        except (OSError, subprocess.TimeoutExpired) as error:
            said = str(error)
        if not made.is_file():
            path.unlink()
            last = said.strip().splitlines()[-1:] or ["it said nothing"]
            raise NoPrinter(
                f"{Path(browser).name} made no PDF ({last[0]}): write the page as .html, open it and print it"
            )
        path.write_bytes(made.read_bytes())


def _as_root() -> tuple[str, ...]:
    """A browser does not start in its sandbox for the superuser; the page holds no script."""
    return ("--no-sandbox",) if sys.platform != "win32" and os.geteuid() == 0 else ()
