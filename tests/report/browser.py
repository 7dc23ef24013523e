"""A headless Chromium driven over its remote-debugging pipe: opens pages, runs script, presses, drags, takes pictures.

Needs nothing but the browser itself. Used by the tests of the page and by the script that makes the pictures.
"""

from __future__ import annotations

import base64
import contextlib
import json
import os
import select
import shutil
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
    "--hide-scrollbars", "--remote-debugging-pipe",
)  # fmt: skip


def browser_path() -> str | None:
    """Where Chromium is, None if there is none."""
    return next((found for name in NAMES if (found := shutil.which(name))), None)


class Browser:
    """One Chromium with one page; a context manager. `events` holds what the page reported."""

    def __init__(self, program: str) -> None:
        self.folder = tempfile.TemporaryDirectory(prefix="page-test-", ignore_cleanup_errors=True)
        to_read, self.to = os.pipe()
        self.back, to_write = os.pipe()
        for pipe in (to_read, to_write):
            os.set_inheritable(pipe, True)

        def place() -> None:  # the browser reads commands from 3 and writes answers to 4
            spare = (os.dup(to_read), os.dup(to_write))
            os.dup2(spare[0], 3)
            os.dup2(spare[1], 4)

        self.process = subprocess.Popen(
            [program, *FLAGS, f"--user-data-dir={self.folder.name}", "about:blank"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, close_fds=False, preexec_fn=place,  # noqa: PLW1509
        )  # fmt: skip
        os.close(to_read)
        os.close(to_write)
        self.number = 0
        self.rest = b""
        self.events: list[dict[str, Any]] = []
        self.session: str | None = None
        targets = self.ask("Target.getTargets")["targetInfos"]
        page = next(t for t in targets if t["type"] == "page")
        attached = self.ask("Target.attachToTarget", targetId=page["targetId"], flatten=True)
        self.session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.ask(f"{domain}.enable")

    def __enter__(self) -> Browser:
        return self

    def __exit__(self, *_: object) -> None:
        with contextlib.suppress(Exception):
            self.session = None
            self.ask("Browser.close", wait_s=5)
        for pipe in (self.to, self.back):
            os.close(pipe)
        try:
            self.process.wait(5)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        self.folder.cleanup()

    def ask(self, method: str, wait_s: float = 60.0, **parameters: Any) -> dict[str, Any]:
        """Send one command and wait for its answer; events met on the way are kept."""
        self.number += 1
        message: dict[str, Any] = {"id": self.number, "method": method, "params": parameters}
        if self.session:
            message["sessionId"] = self.session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self.to, data) :]
        until = time.monotonic() + wait_s
        while True:
            answer = self._next(until)
            if answer is None:
                raise TimeoutError(f"{method}: no answer in {wait_s:g} s")
            if answer.get("id") == self.number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error'].get('message')}")
                return dict(answer.get("result", {}))
            self.events.append(answer)

    def _next(self, until: float) -> dict[str, Any] | None:
        while b"\0" not in self.rest:
            ready, _, _ = select.select([self.back], [], [], max(0.0, until - time.monotonic()))
            if not ready:
                return None
            got = os.read(self.back, 1 << 20)
            if not got:
                raise RuntimeError("the browser is gone")
            self.rest += got
        first, self.rest = self.rest.split(b"\0", 1)
        return dict(json.loads(first))

    def size(self, width: int, height: int = 900, scale: float = 1.0) -> None:
        """Viewport in CSS pixels."""
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=scale, mobile=width < 500,
        )  # fmt: skip

    def prefer(self, scheme: str) -> None:
        """Light or dark, as the system would say."""
        self.ask("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])

    def open(self, path: Path) -> float:
        """Open a file and wait until its charts are drawn; seconds that took."""
        self.events.clear()
        began = time.monotonic()
        self.ask("Page.navigate", url=path.resolve().as_uri())
        while self.run("document.readyState") != "complete" or not self.run("document.documentElement.dataset.drawn"):
            if time.monotonic() - began > 30:
                break
            time.sleep(0.02)
        return time.monotonic() - began

    def run(self, expression: str) -> Any:
        """The value of an expression of script, awaited; raises RuntimeError where it throws."""
        got = self.ask("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in got:
            raise RuntimeError(json.dumps(got["exceptionDetails"])[:600])
        return got["result"].get("value")

    def drag(self, from_x: float, to_x: float, y: float) -> None:
        """Press, move and release the mouse."""
        for kind, x, button, held in (
            ("mouseMoved", from_x, "none", 0), ("mousePressed", from_x, "left", 1),
            ("mouseMoved", (from_x + to_x) / 2, "left", 1), ("mouseMoved", to_x, "left", 1),
            ("mouseReleased", to_x, "left", 0),
        ):  # fmt: skip
            self.ask("Input.dispatchMouseEvent", type=kind, x=x, y=y, button=button, buttons=held, clickCount=1)

    def key(self, key: str) -> None:
        """Press a key."""
        text = {"text": key} if len(key) == 1 else {}
        self.ask("Input.dispatchKeyEvent", type="keyDown", key=key, **text)
        self.ask("Input.dispatchKeyEvent", type="keyUp", key=key)

    def picture(self, whole: bool = False, clip: dict[str, float] | None = None) -> bytes:
        """PNG of what is seen, of the whole page, or of a rectangle of it."""
        more: dict[str, Any] = {"captureBeyondViewport": True} if whole or clip else {}
        if whole:
            box = self.ask("Page.getLayoutMetrics")["cssContentSize"]
            clip = {"x": 0, "y": 0, "width": box["width"], "height": min(box["height"], 16000)}
        if clip:
            more["clip"] = {**clip, "scale": 1}
        return base64.b64decode(self.ask("Page.captureScreenshot", format="png", **more)["data"])

    def paper(self) -> bytes:
        """PDF as printed on A4."""
        got = self.ask("Page.printToPDF", preferCSSPageSize=True, printBackground=True, wait_s=120)
        return base64.b64decode(got["data"])

    def errors(self) -> list[str]:
        """Console errors, warnings and uncaught exceptions since `open`."""
        self.run("1")
        found = []
        for event in self.events:
            method, p = event.get("method"), event.get("params", {})
            if method == "Runtime.exceptionThrown":
                found.append(json.dumps(p)[:500])
            if method == "Runtime.consoleAPICalled" and p["type"] in {"error", "warning", "assert"}:
                found.append(json.dumps(p["args"])[:500])
            if method == "Log.entryAdded" and p["entry"]["level"] in {"error", "warning"}:
                found.append(p["entry"]["text"])
        return found

    def requests(self) -> list[str]:
        """Addresses asked for since `open`, the page itself and data inside it aside."""
        self.run("1")
        asked = [e["params"]["request"]["url"] for e in self.events if e.get("method") == "Network.requestWillBeSent"]
        return [url for url in asked if not url.startswith("data:")][1:]
