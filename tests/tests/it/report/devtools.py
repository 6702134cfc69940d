"""Headless Chromium through the DevTools protocol."""
import contextlib
import json
import subprocess
import tempfile
import urllib.request

import websocket

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--remote-debugging-port=0"]


# Seconds after which an answer is given up.
PATIENCE = 120


class Wire:
    """Questions over a WebSocket, each with its answer; what comes besides is kept."""

    def __init__(self, address):
        self.socket = websocket.create_connection(address, suppress_origin=True, timeout=PATIENCE)
        self.count, self.events = 0, []

    def call(self, method, **parameters):
        self.count += 1
        self.socket.send(json.dumps({"id": self.count, "method": method, "params": parameters}))
        while True:
            answer = json.loads(self.socket.recv())
            if answer.get("id") == self.count:
                assert "result" in answer, answer
                return answer["result"]
            self.events.append(answer)


class Tab(Wire):
    def until(self, method):
        while not any(event["method"] == method for event in self.events):
            self.events.append(json.loads(self.socket.recv()))

    def until_true(self, expression):
        while not self.value(expression):
            pass

    def value(self, expression):
        answer = self.call("Runtime.evaluate", expression=expression, awaitPromise=True, returnByValue=True)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")


@contextlib.contextmanager
def chromium_tab(chromium, *areas):
    """A tab of a fresh browser, with these areas of the protocol switched on."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        browser = subprocess.Popen([chromium, *FLAGS, "--user-data-dir=" + profile, "about:blank"],
                                   stderr=subprocess.PIPE, text=True)
        try:
            line = next(line for line in browser.stderr if "DevTools listening on" in line)
            port = line.split("ws://")[1].split("/")[0]
            tabs = json.load(urllib.request.urlopen(f"http://{port}/json"))
            tab = Tab(next(tab for tab in tabs if tab["type"] == "page")["webSocketDebuggerUrl"])
            for area in areas:
                tab.call(area + ".enable")
            yield tab
        finally:
            browser.terminate()
            browser.wait(20)
