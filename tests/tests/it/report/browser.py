"""Opens a page in headless Chromium through the DevTools protocol, in several lights and widths, and tells what the
browser said: console, requests, overflow, accessibility faults (axe-core), colours; saves screenshots and a print.

    browser.py CHROMIUM PAGE FOLDER AXE
"""
import base64
import json
import pathlib
import sys
import time

# No byte code beside the sources.
sys.dont_write_bytecode = True
from devtools import chromium_tab

chromium, page, folder, axe = sys.argv[1:5]
sys.stdin.read()
LOOKS = [("light", 1100), ("dark", 1100), ("light", 360)]
AXE = """axe.run(document, {resultTypes: ['violations']}).then(r => JSON.stringify(r.violations.map(
    v => v.id + ': ' + v.nodes.slice(0, 3).map(n => n.html.slice(0, 120)).join(' | '))))"""


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


# Elements that are seen; what is clipped away is there for screen readers.
SEEN = """var seen = element => { for (let one = element; one; one = one.parentElement) {
    if (getComputedStyle(one).clipPath !== 'none') return false } return element.checkVisibility() };"""
STOPS = SEEN + """[...document.querySelectorAll('a[href], button, input, select, textarea, summary, [tabindex]')]
    .filter(one => one.tabIndex >= 0 && seen(one)).length"""
# Words that are broken in their middle, as they are in a column that is too narrow for them. The path of a file, which no
# line holds, may break anywhere.
BROKEN = SEEN + """(() => { const broken = [], texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let node; (node = texts.nextNode()); ) {
        if (node.parentElement.closest('script, style') || !seen(node.parentElement)) continue;
        for (const word of node.data.matchAll(/[\\p{L}\\p{N}]+/gu)) {
            const whole = node.data.slice(0, word.index).match(/\\S*$/)[0] + node.data.slice(word.index).match(/^\\S*/)[0];
            if (whole.length > 40) continue;
            const range = document.createRange();
            range.setStart(node, word.index); range.setEnd(node, word.index + word[0].length);
            const lines = new Set([...range.getClientRects()].filter(box => box.width > 0).map(box => Math.round(box.top)));
            if (lines.size > 1) broken.push(word[0]);
        }
    } return broken })()"""
NARROWEST = SEEN + """Math.min(...[...document.querySelectorAll('td, th, dd')].filter(one => seen(one) && one.innerText.length > 20)
    .map(one => one.getBoundingClientRect().width))"""


def phone(tab):
    """The page on a phone: as it opens, and with everything opened."""
    tab.call("Emulation.setDeviceMetricsOverride", width=390, height=844, deviceScaleFactor=1, mobile=False)
    load(tab)
    wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    closed = {"stops": tab.value(STOPS), "overflow": tab.value(wide)}
    tab.value("document.querySelectorAll('details').forEach(one => one.open = true)")
    opened = {"overflow": tab.value(wide), "broken": tab.value(BROKEN), "narrowest": tab.value(NARROWEST)}
    # The canary: a column for one letter at a time is noticed.
    tab.value("document.querySelector('main').style.cssText = 'width: 2em; word-break: break-all'; 0")
    return {"closed": closed, "opened": opened, "canary": tab.value(BROKEN)}


with chromium_tab(chromium, "Page", "Log", "Runtime", "Network") as tab:
    answer = {"looks": [look(tab, scheme, width) for scheme, width in LOOKS], "keyboard": keyboard(tab), "phone": phone(tab)}
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
