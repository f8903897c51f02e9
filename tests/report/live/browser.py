"""A real browser without a window, driven through the pipe of its developer tools."""

import base64
import contextlib
import fcntl
import json
import os
import select
import shutil
import subprocess
import sys

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--enable-unsafe-swiftshader",
    "--disable-quic",
    "--no-first-run",
    "--hide-scrollbars",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
PATIENCE = 60.0  # seconds
KEY_CODES = {
    "Tab": 9,
    "Enter": 13,
    "Escape": 27,
    "ArrowLeft": 37,
    "ArrowUp": 38,
    "ArrowRight": 39,
    "ArrowDown": 40,
}
KEY_TEXTS = {"Enter": "\r"}
START = """import os, sys
os.dup2(int(sys.argv[1]), 3)
os.dup2(int(sys.argv[2]), 4)
os.execv(sys.argv[3], sys.argv[3:])"""


def found_browser():
    """Path of the browser, or None."""
    return shutil.which("chromium")


class Browser:
    """One process; pages are opened and closed in it.

    Messages are JSON with a zero byte at the end, in on file 3, out on file 4 of the process.
    """

    def __init__(self, program, profile):
        there, self._write = os.pipe()
        self._read, back = os.pipe()
        ends = [fcntl.fcntl(end, fcntl.F_DUPFD, 10) for end in (there, back)]
        words = [program, *FLAGS, "--remote-debugging-pipe", f"--user-data-dir={profile}"]
        self._process = subprocess.Popen(
            [sys.executable, "-c", START, *map(str, ends), *words, "about:blank"],
            pass_fds=ends,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for end in (there, back, *ends):
            os.close(end)
        self._number, self._pending, self.events = 0, b"", []

    def call(self, method, session=None, **parameters):
        """Result of one command; what the browser tells meanwhile goes into `events`."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": parameters}
        if session:
            message["sessionId"] = session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") != self._number:
                self.events.append(answer)
            elif "error" in answer:
                raise RuntimeError(f"{method}: {answer['error']}")
            else:
                return answer["result"]

    def _next(self):
        while b"\0" not in self._pending:
            if not select.select([self._read], [], [], PATIENCE)[0]:
                raise TimeoutError("the browser does not answer")
            part = os.read(self._read, 1 << 20)
            if not part:
                raise EOFError("the browser has gone")
            self._pending += part
        message, self._pending = self._pending.split(b"\0", 1)
        return json.loads(message)

    def open(self, path, width=800, height=600, ratio=1.0, dark=False, touch=False):
        """Page from a file."""
        return BrowserPage(self, path, width, height, ratio, dark, touch)

    def close(self):
        """End the process."""
        with contextlib.suppress(EOFError, OSError):
            self.call("Browser.close")
        try:
            self._process.wait(PATIENCE)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        os.close(self._read)
        os.close(self._write)


class BrowserPage:
    """One page, its size in CSS pixels."""

    def __init__(self, browser, path, width, height, ratio, dark, touch):
        self._browser = browser
        self._target = browser.call("Target.createTarget", url="about:blank")["targetId"]
        attached = browser.call("Target.attachToTarget", targetId=self._target, flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log"):
            self.call(f"{domain}.enable")
        size = {"width": width, "height": height, "deviceScaleFactor": ratio, "mobile": touch}
        self.call("Emulation.setDeviceMetricsOverride", **size)
        if dark:
            scheme = {"name": "prefers-color-scheme", "value": "dark"}
            self.call("Emulation.setEmulatedMedia", features=[scheme])
        self.call("Page.navigate", url=path.as_uri())
        wait = "if (document.readyState === 'complete') done(); else addEventListener('load', done)"
        self.run(f"return new Promise(done => {{ {wait} }})")

    def call(self, method, **parameters):
        return self._browser.call(method, self._session, **parameters)

    def run(self, text):
        """What the body of a function returns; may wait."""
        body = f"(async () => {{ {text} }})()"
        words = {"expression": body, "awaitPromise": True, "returnByValue": True}
        answer = self.call("Runtime.evaluate", **words)
        if "exceptionDetails" in answer:
            raise RuntimeError(json.dumps(answer["exceptionDetails"])[:2000])
        return answer["result"].get("value")

    def press(self, key, modifiers=0):
        """A real stroke of a key."""
        words = {"key": key, "modifiers": modifiers}
        words["windowsVirtualKeyCode"] = KEY_CODES.get(key, ord(key[0]))
        text = KEY_TEXTS.get(key, key if len(key) == 1 else "")
        kind = "keyDown" if text else "rawKeyDown"
        self.call("Input.dispatchKeyEvent", type=kind, text=text, **words)
        self.call("Input.dispatchKeyEvent", type="keyUp", **words)

    def mouse(self, kind, x, y, **more):
        """kind: mousePressed, mouseMoved, mouseReleased or mouseWheel."""
        self.call("Input.dispatchMouseEvent", type=kind, x=x, y=y, **more)

    def touch(self, kind, *points):
        """kind: touchStart, touchMove or touchEnd."""
        places = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(points)]
        self.call("Input.dispatchTouchEvent", type=kind, touchPoints=places)

    def picture(self):
        """PNG of what shows."""
        return base64.b64decode(self.call("Page.captureScreenshot", format="png")["data"])

    def complaints(self):
        """Texts of errors and of what was written to the console by this page."""
        mine = [event for event in self._browser.events if event.get("sessionId") == self._session]
        kinds = ("Runtime.exceptionThrown", "Runtime.consoleAPICalled")
        found = [json.dumps(event["params"])[:500] for event in mine if event["method"] in kinds]
        entries = [e["params"]["entry"] for e in mine if e["method"] == "Log.entryAdded"]
        return found + [entry["text"] for entry in entries if entry["level"] == "error"]

    def close(self):
        self._browser.call("Target.closeTarget", targetId=self._target)
