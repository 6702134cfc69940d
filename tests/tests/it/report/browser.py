"""Opens a page in headless Chromium through the DevTools protocol, in several lights and widths, and tells what the
browser said: console, requests, overflow, accessibility faults (axe-core), colours; saves screenshots and a print.

    browser.py CHROMIUM PAGE FOLDER AXE
"""
import base64
import json
import pathlib
import subprocess
import sys
import tempfile
import time
import urllib.request

import websocket

chromium, page, folder, axe = sys.argv[1:5]
sys.stdin.read()
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--remote-debugging-port=0"]
LOOKS = [("light", 1100), ("dark", 1100), ("light", 360)]
AXE = """axe.run(document, {resultTypes: ['violations']}).then(r => JSON.stringify(r.violations.map(
    v => v.id + ': ' + v.nodes.slice(0, 3).map(n => n.html.slice(0, 120)).join(' | '))))"""


class Tab:
    def __init__(self, address):
        self.socket = websocket.create_connection(address, suppress_origin=True, timeout=60)
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


def load(tab):
    tab.events.clear()
    tab.call("Page.navigate", url=pathlib.Path(page).resolve().as_uri())
    tab.until("Page.loadEventFired")


def accessibility(tab, scheme, width):
    # A long page has the same parts as a short one, only more often; once is enough for it.
    if pathlib.Path(page).stat().st_size > 200_000 and (scheme, width) != LOOKS[0]:
        return []
    # The page's own policy forbids scripts; the debugger may run one all the same.
    tab.value(pathlib.Path(axe).read_text() + "; 0")
    return json.loads(tab.value(AXE))


def look(tab, scheme, width):
    tab.call("Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1, mobile=False)
    tab.call("Emulation.setEmulatedMedia", media="screen", features=[{"name": "prefers-color-scheme", "value": scheme}])
    load(tab)
    wide = tab.value("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    colour = tab.value("getComputedStyle(document.body).backgroundColor")
    tab.value("document.querySelectorAll('details').forEach(one => one.open = true)")
    wide_open = tab.value("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    height = min(tab.call("Page.getLayoutMetrics")["cssContentSize"]["height"], 6000)
    clip = {"x": 0, "y": 0, "width": width, "height": height, "scale": 1}
    picture = base64.b64decode(tab.call("Page.captureScreenshot", captureBeyondViewport=True, clip=clip)["data"])
    name = f"{pathlib.Path(page).stem}-{scheme}-{width}.png"
    pathlib.Path(folder, name).write_bytes(picture)
    faults = accessibility(tab, scheme, width)
    said = [e for e in tab.events if e["method"] in ("Log.entryAdded", "Runtime.consoleAPICalled", "Runtime.exceptionThrown")]
    requests = [e["params"]["request"]["url"] for e in tab.events if e["method"] == "Network.requestWillBeSent"]
    return {
        "look": name, "overflow": max(wide, wide_open), "colour": colour, "picture": len(picture), "axe": faults,
        "console": [json.dumps(e["params"])[:400] for e in said], "requests": requests}


def keyboard(tab):
    """Where the focus goes when a person presses Tab."""
    load(tab)
    stops = []
    for _ in range(6):
        for kind in ("keyDown", "keyUp"):
            tab.call("Input.dispatchKeyEvent", type=kind, key="Tab", code="Tab", windowsVirtualKeyCode=9)
        stops.append(tab.value("""(() => { const e = document.activeElement; const s = getComputedStyle(e);
            return [e.localName, s.outlineStyle, s.outlineWidth] })()"""))
    return stops


with tempfile.TemporaryDirectory() as profile:
    browser = subprocess.Popen([chromium, *FLAGS, "--user-data-dir=" + profile, "about:blank"], stderr=subprocess.PIPE,
                               text=True)
    try:
        line = next(line for line in browser.stderr if "DevTools listening on" in line)
        port = line.split("ws://")[1].split("/")[0]
        tabs = json.load(urllib.request.urlopen(f"http://{port}/json"))
        tab = Tab(next(tab for tab in tabs if tab["type"] == "page")["webSocketDebuggerUrl"])
        for area in ("Page", "Log", "Runtime", "Network"):
            tab.call(area + ".enable")
        answer = {"looks": [look(tab, scheme, width) for scheme, width in LOOKS], "keyboard": keyboard(tab)}
        load(tab)
        tab.call("Emulation.setEmulatedMedia", media="print")
        tab.until_true("matchMedia('print').matches")
        # How much of what is collapsed on the screen stands on paper. A large page takes a while to be laid out anew.
        for _ in range(100):
            answer["hidden_in_print"] = tab.value("""[...document.querySelectorAll('article h4, article td')].filter(
                e => !e.checkVisibility({contentVisibilityAuto: true, visibilityProperty: true})).length""")
            if answer["hidden_in_print"] == 0:
                break
            time.sleep(0.1)
        answer["paper"] = len(base64.b64decode(tab.call("Page.printToPDF", preferCSSPageSize=True)["data"]))
        json.dump(answer, sys.stdout)
    finally:
        browser.terminate()
        browser.wait(20)
