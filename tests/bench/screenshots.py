"""Makes the pictures of the README: the terminal after `arena drive`, and the top of a result's page.

Run from the project's folder: `python tests/bench/screenshots.py [RESULT_FOLDER]`. Without a folder the default
tournament is held first. Needs Chromium. Writes docs/pictures/*.png, each below 300 kB.
"""

from __future__ import annotations

import fcntl
import io
import os
import pty
import re
import struct
import subprocess
import sys
import tempfile
import termios
from pathlib import Path

from rich.console import Console
from rich.text import Text

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "report"))

from browser import Browser, browser_path  # noqa: E402

MOST_BYTES = 300_000
COLUMNS = 96
COMMAND = ("drive", "hill-pulls", "--climate", "hot", "--strategy", "reserve-keeper")
SHEET = """<!doctype html><meta charset="utf-8"><style>
body {{ margin: 0; background: #fbfaf6; color: #1d2226; }}
pre {{ display: inline-block; margin: 0; padding: 18px 24px; font: 15px/19px "DejaVu Sans Mono", monospace; }}
i {{ display: inline-block; width: 1ch; font-style: normal; height: 19px; vertical-align: top; }}
i b {{ display: inline-block; font-weight: 400; transform: scaleX(0.82); transform-origin: 0 0; }}
</style><pre>{code}</pre>"""  # braille comes from a wider font: squeezed into its cell as a terminal does


def terminal_text(words: tuple[str, ...]) -> str:
    """What the command writes on a terminal of COLUMNS columns, escape codes and all."""
    parent, child = pty.openpty()
    fcntl.ioctl(child, termios.TIOCSWINSZ, struct.pack("HHHH", 60, COLUMNS, 0, 0))
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "TERM": "xterm-256color", "PYTHONIOENCODING": "utf-8"}
    with subprocess.Popen(
        [sys.executable, "-m", "arena", *words], stdin=child, stdout=child, stderr=child, env=environment, cwd=ROOT
    ) as process:
        os.close(child)
        got = b""
        while True:
            try:
                part = os.read(parent, 65536)
            except OSError:
                break
            if not part:
                break
            got += part
    os.close(parent)
    if process.returncode:
        raise SystemExit(f"arena {' '.join(words)} ended with {process.returncode}")
    return got.decode("utf-8").replace("\r\n", "\n")


def as_html(text: str) -> str:
    """The terminal's text as a page."""
    console = Console(record=True, width=COLUMNS, file=io.StringIO())
    console.print(Text.from_ansi(text))
    code = console.export_html(code_format="{code}", inline_styles=True)
    cells = re.sub("([\u2500-\u259f])", r"<i>\1</i>", code)
    return SHEET.format(code=re.sub("([\u2800-\u28ff])", r"<i><b>\1</b></i>", cells))


def save(name: str, picture: bytes) -> None:
    """Write a picture, unless it is too large for a README."""
    if len(picture) > MOST_BYTES:
        raise SystemExit(f"{name}: {len(picture)} bytes, at most {MOST_BYTES}")
    path = ROOT / "docs" / "pictures" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(picture)
    print(f"{path.relative_to(ROOT)}: {len(picture) / 1000:.0f} kB")


def main() -> None:
    """Both pictures."""
    program = browser_path()
    if program is None:
        raise SystemExit("no Chromium on this machine")
    with tempfile.TemporaryDirectory() as scratch, Browser(program) as browser:
        sheet = Path(scratch) / "terminal.html"
        shown = f"$ arena {' '.join(COMMAND)}\n{terminal_text(COMMAND)}"
        sheet.write_text(as_html(shown), encoding="utf-8")
        browser.size(1100, 900)
        browser.ask("Page.navigate", url=sheet.as_uri())
        browser.run("document.fonts.ready.then(() => 0)")
        box = browser.run("(r => [r.width, r.height])(document.querySelector('pre').getBoundingClientRect())")
        save("terminal.png", browser.picture(clip={"x": 0, "y": 0, "width": box[0], "height": box[1]}))
        folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(scratch) / "result"
        if len(sys.argv) < 2:
            terminal_text(("tournament", "--out", str(folder)))
        browser.size(1280, 1000)
        browser.prefer("light")
        browser.open(folder / "page.html")
        save("page.png", browser.picture())
        browser.run("document.querySelector('#road').scrollIntoView({block: 'start', behavior: 'instant'})")
        save("page-road.png", browser.picture())


if __name__ == "__main__":
    main()
