"""A tab of headless Chromium (DevTools protocol) or Firefox (WebDriver BiDi), driven alike."""
import base64
import contextlib
import json
import pathlib
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "report"))
# No byte code beside the sources.
sys.dont_write_bytecode = True
from devtools import PATIENCE, Wire, chromium_tab

SHIFT, CONTROL = 8, 2


def until(holds):
    """Waits for what becomes so; without pauses the asking would slow down what is waited for."""
    end = time.monotonic() + PATIENCE
    while not holds():
        assert time.monotonic() < end, "nothing becomes ready"
        time.sleep(0.02)


class Chromium:
    """`schemes` are the colour schemes that can be asked for."""
    schemes = ("light", "dark")
    CODES = {"Tab": 9, "Enter": 13, " ": 32, "End": 35, "Home": 36, "ArrowLeft": 37, "ArrowUp": 38, "ArrowRight": 39, "ArrowDown": 40}

    def __init__(self, tab):
        self.tab, self.value = tab, tab.value

    def open(self, url):
        self.tab.call("Page.navigate", url=url)

    def run(self, script):
        self.value(script + "; 0")

    def press(self, name, modifiers=0):
        typed = {"Enter": "\r"}.get(name, name if len(name) == 1 and not modifiers else "")
        code = self.CODES.get(name, ord(name.upper()) if len(name) == 1 else 0)
        self.tab.call("Input.dispatchKeyEvent", type="keyDown", key=name, text=typed, windowsVirtualKeyCode=code, modifiers=modifiers,
                      commands=["selectAll"] if (name, modifiers) == ("a", CONTROL) else [])
        self.tab.call("Input.dispatchKeyEvent", type="keyUp", key=name, windowsVirtualKeyCode=code, modifiers=modifiers)

    def type(self, text):
        self.tab.call("Input.insertText", text=text)

    def window(self, scheme, width, height=900):
        self.tab.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)
        self.tab.call("Emulation.setEmulatedMedia", media="screen", features=[{"name": "prefers-color-scheme", "value": scheme}])

    def picture(self, width):
        clip = {"x": 0, "y": 0, "width": width, "height": 2600, "scale": 1}
        return base64.b64decode(self.tab.call("Page.captureScreenshot", captureBeyondViewport=True, clip=clip)["data"])

    def named(self):
        """Role and name of everything that a screen reader tells, in order."""
        nodes = self.tab.call("Accessibility.getFullAXTree")["nodes"]
        told = [node for node in nodes if not node["ignored"]]
        return [[node["role"]["value"], node.get("name", {}).get("value", "").strip()] for node in told]

    def forget(self):
        self.tab.events.clear()

    def said(self):
        """What stood on the console, and addresses that were asked for."""
        kinds = ("Log.entryAdded", "Runtime.consoleAPICalled", "Runtime.exceptionThrown")
        events = [json.dumps(e["params"])[:400] for e in self.tab.events if e["method"] in kinds]
        return events, [e["params"]["request"]["url"] for e in self.tab.events if e["method"] == "Network.requestWillBeSent"]


class Firefox(Wire):
    schemes = ("dark",)
    KEYS = {"Tab": 4, "Enter": 7, "End": 16, "Home": 17, "ArrowLeft": 18, "ArrowUp": 19, "ArrowRight": 20, "ArrowDown": 21}

    def __init__(self, address):
        super().__init__(address)
        self.call("session.new", capabilities={})
        # A window of its own has the focus; in the one that is there first, keys press no button.
        self.context = self.call("browsingContext.create", type="window")["context"]
        self.call("session.subscribe", events=["log.entryAdded", "network.beforeRequestSent"])

    def strike(self, *keys):
        """Presses keys one after the other; a pair is a key with one that is held meanwhile."""
        actions = []
        for key in keys:
            down = [{"type": "keyDown", "value": one} for one in key]
            actions += down + [{**one, "type": "keyUp"} for one in reversed(down)]
        self.call("input.performActions", context=self.context, actions=[{"type": "key", "id": "keys", "actions": actions}])

    def press(self, name, modifiers=0):
        # Private letters of WebDriver stand for the keys without one.
        key = chr(0xE000 + self.KEYS[name]) if name in self.KEYS else name
        held = {SHIFT: ["\ue008"], CONTROL: ["\ue009"]}.get(modifiers, [])
        self.strike([*held, key])

    def type(self, text):
        self.strike(*({"\n": chr(0xE000 + self.KEYS["Enter"])}.get(letter, letter) for letter in text))

    def evaluate(self, expression):
        answer = self.call("script.evaluate", expression=expression, target={"context": self.context}, awaitPromise=True)
        assert answer["type"] == "success", answer
        return answer["result"]

    def value(self, expression):
        # One form for every value.
        text = self.evaluate(f"(async () => JSON.stringify(await ({expression})) ?? 'null')()")
        return json.loads(text["value"])

    def run(self, script):
        self.evaluate(script + "; 0")

    def open(self, url):
        self.call("browsingContext.navigate", context=self.context, url=url, wait="none")

    def window(self, _scheme, width, height=900):
        self.call("browsingContext.setViewport", context=self.context, viewport={"width": width, "height": height})

    def picture(self, _width):
        return base64.b64decode(self.call("browsingContext.captureScreenshot", context=self.context, origin="document")["data"])

    named = None

    def forget(self):
        self.events.clear()

    def said(self):
        events = [json.dumps(e["params"])[:400] for e in self.events if e["method"] == "log.entryAdded"]
        return events, [e["params"]["request"]["url"] for e in self.events if e["method"] == "network.beforeRequestSent"]


@contextlib.contextmanager
def firefox_tab(firefox):
    # Dark, and silent towards the network by itself.
    preferences = {
        "layout.css.prefers-color-scheme.content-override": 0, "app.update.enabled": False, "network.captive-portal-service.enabled": False,
        "network.connectivity-service.enabled": False, "browser.shell.checkDefaultBrowser": False, "datareporting.policy.dataSubmissionEnabled": False,
        "toolkit.telemetry.enabled": False, "browser.startup.page": 0, "services.settings.server": "data:,#remote-settings-dummy/v1"}
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        lines = [f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in preferences.items()]
        pathlib.Path(profile, "user.js").write_text("\n".join(lines))
        browser = subprocess.Popen([firefox, "--headless", "--no-remote", "--profile", profile, "--remote-debugging-port", "0"],
                                   stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True)
        try:
            line = next(line for line in browser.stderr if "WebDriver BiDi listening on" in line)
            tab = Firefox(line.split("on ")[1].strip() + "/session")
            yield tab
            tab.socket.close()
        finally:
            browser.terminate()
            browser.wait(20)


@contextlib.contextmanager
def tab_of(browser):
    """A tab of a fresh browser, by the name of its program."""
    if "firefox" in pathlib.Path(browser).name:
        with firefox_tab(browser) as tab:
            yield tab
    else:
        with chromium_tab(browser, "Page", "Log", "Runtime", "Network", "Accessibility") as tab:
            yield Chromium(tab)
