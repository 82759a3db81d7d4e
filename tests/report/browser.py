"""A headless Chromium driven over its own pipe: no driver, no port, one page at a time."""

from __future__ import annotations

import base64
import json
import os
import select
import shutil
import signal
import subprocess
import time
from pathlib import Path

PROGRAMS = ("chromium", "chromium-browser", "google-chrome", "chrome")
PATIENCE_S = 60.0
"""How long an answer may take before the test fails. [s]"""


def program() -> str | None:
    """The browser of this machine, if any."""
    return next((found for name in PROGRAMS if (found := shutil.which(name))), None)


class Browser:
    """One tab; what it asks of the network and writes to the console is kept in `asked` and `console`."""

    def __init__(self, profile: Path):
        down, up = os.pipe(), os.pipe()

        def ends():
            # The browser reads commands from descriptor 3 and answers on 4; moved out of the way first.
            a, b = os.dup2(down[0], 60), os.dup2(up[1], 61)
            os.dup2(a, 3)
            os.dup2(b, 4)

        self._process = subprocess.Popen(
            [program(), "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
             "--disable-background-networking", "--disable-component-update", "--disable-sync",
             f"--user-data-dir={profile}", "--remote-debugging-pipe", "about:blank"],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            preexec_fn=ends, close_fds=False, start_new_session=True,
        )  # fmt: skip
        os.close(down[0])
        os.close(up[1])
        self._write, self._read = down[1], up[0]
        self._rest, self._number, self._session = b"", 0, None
        self.console: list[str] = []
        self.asked: list[str] = []
        self._loaded = False
        tab = next(t for t in self.call("Target.getTargets")["targetInfos"] if t["type"] == "page")
        self._session = self.call("Target.attachToTarget", targetId=tab["targetId"], flatten=True)["sessionId"]
        for part in ("Page", "Network", "Runtime", "Log"):
            self.call(f"{part}.enable")

    def call(self, method: str, **params) -> dict:
        """Send a command of the DevTools protocol and wait for its result."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while (answer := self._next()).get("id") != self._number:
            self._hear(answer)
        if "error" in answer:
            raise AssertionError(f"{method}: {answer['error']}")
        return answer["result"]

    def _next(self) -> dict:
        until = time.monotonic() + PATIENCE_S
        while b"\0" not in self._rest:
            if not select.select([self._read], [], [], max(until - time.monotonic(), 0))[0]:
                raise AssertionError("the browser does not answer")
            more = os.read(self._read, 1 << 20)
            if not more:
                raise AssertionError("the browser has ended")
            self._rest += more
        one, self._rest = self._rest.split(b"\0", 1)
        return json.loads(one)

    def _hear(self, event: dict) -> None:
        method, params = event.get("method"), event.get("params", {})
        if method == "Network.requestWillBeSent":
            self.asked.append(params["request"]["url"])
        elif method == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning"):
            self.console.append(str([one.get("value") for one in params["args"]]))
        elif method == "Runtime.exceptionThrown":
            self.console.append(json.dumps(params["exceptionDetails"]))
        elif method == "Log.entryAdded":
            self.console.append(params["entry"]["text"])
        elif method == "Page.loadEventFired":
            self._loaded = True

    def open(self, path: Path, width: int = 1400, scheme: str = "light", scripts: bool = True) -> None:
        """Load a file at a width [CSS pixels] in the light or dark scheme; console and requests start afresh."""
        self.console, self.asked, self._loaded = [], [], False
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1, mobile=False)
        self.call("Emulation.setScriptExecutionDisabled", value=not scripts)
        self.look(scheme)
        self.call("Page.navigate", url=path.as_uri())
        while not self._loaded:
            self._hear(self._next())

    def look(self, scheme: str, media: str = "screen") -> None:
        """Change between light and dark, screen and print."""
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        self.call("Emulation.setEmulatedMedia", media=media, features=features)

    def run(self, script: str):
        """The value of an expression in the page; promises are waited for. The page's own rules do not bind it."""
        answer = self.call("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")

    def press(self, key: str, text: str = "") -> None:
        """Press and release a key."""
        code = {"Enter": 13, "Tab": 9, " ": 32}[key]
        named = {"key": key, "code": {" ": "Space"}.get(key, key), "windowsVirtualKeyCode": code}
        self.call("Input.dispatchKeyEvent", type="keyDown", text=text, **named)
        self.call("Input.dispatchKeyEvent", type="keyUp", **named)

    def paper(self) -> bytes:
        """The page as PDF."""
        return base64.b64decode(self.call("Page.printToPDF")["data"])

    def close(self) -> None:
        """End the browser and what it started."""
        os.close(self._write)
        os.close(self._read)
        try:
            os.killpg(self._process.pid, signal.SIGKILL)
        except ProcessLookupError:
            pass
        self._process.wait()
