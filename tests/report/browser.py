"""A real browser without a window, driven through a pair of pipes: no library, no network."""

from __future__ import annotations

import base64
import json
import os
import select
import shutil
import subprocess
import time
from pathlib import Path
from typing import Any, Self

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
LIMIT_S = 30.0
PROFILE = (
    *("--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"),
    *("--no-first-run", "--disable-extensions", "--disable-background-networking"),
    *("--disable-component-update", "--disable-dev-shm-usage", "--remote-debugging-pipe"),
)
KEYS = {"Tab": 9, "Enter": 13, "ArrowUp": 38, "ArrowDown": 40, "ArrowLeft": 37, "ArrowRight": 39}


def found() -> str:
    """The browser of this machine; empty for none."""
    return next((path for name in NAMES if (path := shutil.which(name))), "")


class Browser:
    """One page in a browser of its own.

    Attributes:
        events: everything that the browser told of, in order.
    """

    def __init__(self, folder: Path) -> None:
        """Start it with an empty profile in `folder`."""
        self._in, their_out = os.pipe()
        their_in, self._out = os.pipe()

        def pipes() -> None:
            # The browser listens on 3 and speaks on 4.
            spare = (os.dup(their_in), os.dup(their_out))
            os.dup2(spare[0], 3)
            os.dup2(spare[1], 4)

        self._process = subprocess.Popen(
            [found(), *PROFILE, f"--user-data-dir={folder}", "about:blank"],
            preexec_fn=pipes,
            close_fds=False,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(their_in)
        os.close(their_out)
        self._rest = b""
        self._number = 0
        self._session = ""
        self.events: list[dict[str, Any]] = []
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        attached = self.ask("Target.attachToTarget", targetId=target, flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.ask(f"{domain}.enable")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.terminate()
        self._process.wait(LIMIT_S)
        os.close(self._in)
        os.close(self._out)

    def ask(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Send one command and wait for its answer."""
        self._number += 1
        number = self._number
        message: dict[str, Any] = {"id": number, "method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._out, json.dumps(message).encode() + b"\0")
        while True:
            told = self._read()
            if told.get("id") == number:
                assert "error" not in told, f"{method}: {told['error']}"
                result: dict[str, Any] = told["result"]
                return result
            self.events.append(told)

    def _read(self) -> dict[str, Any]:
        end = time.monotonic() + LIMIT_S
        while b"\0" not in self._rest:
            assert select.select([self._in], [], [], max(end - time.monotonic(), 0.0))[0], (
                "the browser does not answer"
            )
            part = os.read(self._in, 1 << 16)
            assert part, "the browser is gone"
            self._rest += part
        one, _, self._rest = self._rest.partition(b"\0")
        told: dict[str, Any] = json.loads(one)
        return told

    def size(self, width: int, height: int, *, dark: bool = False, media: str = "") -> None:
        """Take on a width and height in pixels, light or dark, on screen or in print."""
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=1, mobile=False,
        )  # fmt: skip
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.ask("Emulation.setEmulatedMedia", media=media, features=[scheme])

    def open(self, page: Path) -> None:
        """Open a file, and wait until it is there."""
        self.ask("Page.navigate", url=page.resolve().as_uri())
        self.until("document.readyState === 'complete'")

    def run(self, script: str) -> Any:
        """What an expression of the page gives."""
        answer = self.ask(
            "Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True
        )
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def until(self, condition: str) -> None:
        """Wait for an expression of the page to become true."""
        end = time.monotonic() + LIMIT_S
        while not self.run(condition):
            assert time.monotonic() < end, f"never came true: {condition}"
            time.sleep(0.02)

    def press(self, key: str) -> None:
        """Press a key and let it go."""
        code = KEYS.get(key, ord(key.upper()[0]))
        text = {"text": "\r"} if key == "Enter" else {"text": key} if len(key) == 1 else {}
        for kind in ("keyDown", "keyUp"):
            self.ask(
                "Input.dispatchKeyEvent", type=kind, key=key, windowsVirtualKeyCode=code,
                **(text if kind == "keyDown" else {}),
            )  # fmt: skip

    def drag(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Drag with the left button from one place to another, in pixels."""
        for kind, (x, y) in (
            ("mouseMoved", start), ("mousePressed", start), ("mouseMoved", end), ("mouseReleased", end)
        ):  # fmt: skip
            button = "none" if kind == "mouseMoved" and (x, y) == start else "left"
            self.ask(
                "Input.dispatchMouseEvent", type=kind, x=x, y=y, button=button, clickCount=1,
                buttons=0 if button == "none" else 1,
            )  # fmt: skip

    def picture(self, file: Path, height: int | None = None) -> None:
        """Write what is seen, as PNG; with a height, so much of the page from its top."""
        more: dict[str, Any] = {"captureBeyondViewport": height is not None}
        if height is not None:
            width = self.run("document.documentElement.clientWidth")
            more["clip"] = {"x": 0, "y": 0, "width": width, "height": height, "scale": 1}
        data = self.ask("Page.captureScreenshot", format="png", **more)["data"]
        file.write_bytes(base64.b64decode(data))

    def pdf(self) -> bytes:
        """The page as it is printed."""
        return base64.b64decode(self.ask("Page.printToPDF", printBackground=True)["data"])

    def wrongs(self) -> list[str]:
        """Errors, warnings and exceptions that the page caused so far."""
        told = []
        for event in self.events:
            parameters = event.get("params", {})
            if event.get("method") == "Runtime.exceptionThrown":
                told.append(str(parameters["exceptionDetails"]))
            elif event.get("method") == "Log.entryAdded":
                told.append(str(parameters["entry"]["text"]))
            elif event.get("method") == "Runtime.consoleAPICalled":
                told.append(str(parameters["args"]))
        return told

    def requests(self) -> list[str]:
        """What the page asked for, itself aside."""
        return [
            event["params"]["request"]["url"]
            for event in self.events
            if event.get("method") == "Network.requestWillBeSent"
            and event["params"].get("type") != "Document"
        ]
