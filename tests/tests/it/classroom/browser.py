"""Plays the classroom in headless Chromium as a person would: every lesson to its end, wrong and right answers, links,
files, keys, hostile input. Reads from standard input what the lessons' solutions are; tells what was seen.

    browser.py CHROMIUM PAGE FOLDER AXE
"""
import base64
import json
import pathlib
import sys

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "report"))

# No byte code beside the sources.
sys.dont_write_bytecode = True
from devtools import chromium_tab

chromium, page, folder, axe = sys.argv[1:5]
solutions = json.load(sys.stdin)
URL = pathlib.Path(page).resolve().as_uri()
LOOKS = [("light", 1100), ("dark", 1920), ("light", 360)]
AXE = """axe.run(document, {resultTypes: ['violations']}).then(r => JSON.stringify(r.violations.map(
    v => v.id + ': ' + v.nodes.slice(0, 3).map(n => n.html.slice(0, 160)).join(' | '))))"""


def load(tab, fragment=""):
    # Another fragment alone would not load the page anew.
    tab.call("Page.navigate", url="about:blank")
    tab.events.clear()
    tab.call("Page.navigate", url=URL + fragment)
    # The event of the page before may still come.
    tab.until_true("""location.protocol === 'file:' && document.readyState === 'complete' && (document.body.dataset.ready !== undefined
        || !document.getElementById('alarm').hidden)""")


def click(tab, name):
    tab.value(f"document.getElementById({json.dumps(name)}).click()")


def choose(tab, name, value):
    tab.value(f"""(() => {{ const e = document.getElementById({json.dumps(name)}); e.value = {json.dumps(value)};
        e.dispatchEvent(new Event('change', {{bubbles: true}})) }})()""")


def write(tab, text):
    tab.value(f"document.getElementById('program').value = {json.dumps(text)}")


def text(tab, name):
    return tab.value(f"document.getElementById({json.dumps(name)}).innerText")


def shown(tab):
    return tab.value("document.getElementById('where').textContent + document.getElementById('buses').innerHTML + document.getElementById('chips').innerHTML")


def look(tab, scheme, width):
    tab.call("Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1, mobile=False)
    tab.call("Emulation.setEmulatedMedia", media="screen", features=[{"name": "prefers-color-scheme", "value": scheme}])
    load(tab)
    choose(tab, "lesson", "1")
    tab.value("document.querySelector('input[name=choice]').click()")
    click(tab, "answer")
    choose(tab, "beside", "24lc256")
    click(tab, "last")
    wide = tab.value("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    colour = tab.value("getComputedStyle(document.body).backgroundColor")
    clip = {"x": 0, "y": 0, "width": width, "height": 2600, "scale": 1}
    picture = base64.b64decode(tab.call("Page.captureScreenshot", captureBeyondViewport=True, clip=clip)["data"])
    name = f"classroom-{scheme}-{width}.png"
    pathlib.Path(folder, name).write_bytes(picture)
    tab.value(pathlib.Path(axe).read_text() + "; 0")
    return {"look": name, "overflow": wide, "colour": colour, "picture": len(picture), "axe": json.loads(tab.value(AXE)), **said(tab)}


def said(tab):
    kinds = ("Log.entryAdded", "Runtime.consoleAPICalled", "Runtime.exceptionThrown")
    events = [json.dumps(e["params"])[:400] for e in tab.events if e["method"] in kinds]
    requests = [e["params"]["request"]["url"] for e in tab.events if e["method"] == "Network.requestWillBeSent"]
    own = (URL, "about:blank", "data:,")
    return {"console": events, "requests": [url for url in requests if not url.startswith(own)]}


def lesson(tab, index, name, right):
    """One lesson: an answer, the failing run, the failing program as the student's, the solution."""
    choose(tab, "lesson", str(index))
    hidden = tab.value("document.getElementById('bench').hidden")
    wanted = tab.value(f"data.lessons[{index}].choices.findIndex(choice => choice.right === {json.dumps(right)})")
    tab.value(f"document.querySelectorAll('input[name=choice]')[{wanted}].click()")
    click(tab, "answer")
    answered = tab.value("document.querySelector('fieldset p').className")
    click(tab, "last")
    failing = text(tab, "buses") + text(tab, "chips")
    click(tab, "start")
    click(tab, "check")
    naive = tab.value("[...document.querySelectorAll('#checked li')].map(e => e.className)")
    write(tab, solutions[name])
    click(tab, "check")
    solved = tab.value("[...document.querySelectorAll('#checked li')].map(e => e.className)")
    return {"name": name, "hidden": hidden, "answered": answered, "failing": failing, "naive": naive, "solved": solved,
            "said": text(tab, "checked")}


def back_and_forth(tab):
    load(tab)
    write(tab, "holds 0040 11..18\nS 50W 00 40 A1..A8 P\nwait 3ms\ncut\nS 50W 00 40 Sr 50R ??x4 P")
    choose(tab, "beside", "24lc256")
    click(tab, "play")
    steps = tab.value("app.steps")
    forth = []
    for step in range(steps):
        forth.append(shown(tab))
        click(tab, "next")
    same = 0
    for step in reversed(range(steps)):
        click(tab, "back")
        same += shown(tab) == forth[step]
    return [steps, same, len(set(forth))]


def links(tab):
    load(tab)
    choose(tab, "lesson", "7")
    tab.value("document.querySelector('input[name=choice]').click()")
    click(tab, "answer")
    click(tab, "start")
    write(tab, "S 50W 00 00 11 P\nwait 5ms\n# so far")
    click(tab, "play")
    click(tab, "next")
    click(tab, "next")
    click(tab, "share")
    before, fragment = [tab.value("JSON.stringify(app.place())"), shown(tab)], tab.value("location.hash")
    load(tab, fragment)
    after = [tab.value("JSON.stringify(app.place())"), shown(tab)]
    write(tab, "# long\n" * 400)
    click(tab, "play")
    click(tab, "share")
    return {"same": before == after, "length": len(fragment), "long": text(tab, "said"), "kept": tab.value("location.hash") == fragment}


def key(tab, name, code=0):
    text = {"text": name} if len(name) == 1 else {}
    tab.call("Input.dispatchKeyEvent", type="keyDown", key=name, windowsVirtualKeyCode=code, **text)
    tab.call("Input.dispatchKeyEvent", type="keyUp", key=name, windowsVirtualKeyCode=code)


def keyboard(tab):
    """Nothing but keys: to the program, to its buttons, through the steps."""
    load(tab)
    stops = []
    for _ in range(60):
        key(tab, "Tab", 9)
        stops.append(tab.value("document.activeElement.id || document.activeElement.className"))
        if stops[-1] == "play":
            break
    outline = tab.value("getComputedStyle(document.activeElement).outlineStyle")
    key(tab, "Enter", 13) or tab.call("Input.dispatchKeyEvent", type="char", text="\r")
    tab.value("document.activeElement.blur()")
    where = []
    for name, code in (("ArrowRight", 39), ("ArrowRight", 39), ("ArrowLeft", 37), ("n", 78), ("End", 35), ("Home", 36)):
        key(tab, name, code)
        where.append(tab.value("app.step"))
    return {"stops": stops, "outline": outline, "where": where}


def hostile(tab):
    """Links, programs and files that mean harm are data, and bounded."""
    hook = "<img src=x onerror='window.hacked=1'><script>window.hacked=1</script>"
    ready = []
    places = [
        {"pagewise": 1, "lesson": hook, "mode": hook, "part": hook, "beside": hook, "who": hook, "program": hook, "answer": hook, "step": hook},
        {"program": "repeat forever\nS 50W 00 00 55 P\nend", "part": "at24c32e", "step": 10**15},
        {"program": "repeat 1000000\nrepeat 1000000\nwait 1ns\nend\nend"},
        {"program": "S 50W " + "FFx4096 " * 20 + "P", "lesson": 5, "who": ["x"], "answer": 1e300},
        {"program": None, "step": -5, "lesson": "__proto__"}, [], "text", 7,
    ]
    fragments = ["#" + base64.urlsafe_b64encode(json.dumps(place).encode()).decode().rstrip("=") for place in places]
    for fragment in fragments + ["#%00", "#" + "A" * 100000, "#javascript:alert(1)"]:
        load(tab, fragment)
        click(tab, "last")
        ready.append(tab.value("document.getElementById('alarm').hidden && app.steps <= 50000"))
    load(tab, fragments[1])
    took = tab.value("(() => { const t = performance.now(); app.open(); return performance.now() - t })()")
    # A model and a saved file, as they are dropped on the page.
    for content in ("{", "[]", json.dumps({"name": hook}), json.dumps({"pagewise": 1, "program": hook})):
        tab.value(f"sharing.take(new File([{json.dumps(content)}], 'x.json'))")
    before = tab.value("data.parts.length")
    tab.value(f"""(async () => {{ const model = {{...data.parts[0].model, name: {json.dumps(hook)}}};
        await sharing.take(new File([JSON.stringify(model)], 'x.json')) }})()""")
    added = tab.value("data.parts.length") - before
    return {"ready": ready, "endless_ms": took, "added": added, "hacked": tab.value("window.hacked ?? null"),
            "scripts": tab.value("document.querySelectorAll('script').length"), "images": tab.value("document.querySelectorAll('img').length")}


with chromium_tab(chromium, "Page", "Log", "Runtime", "Network") as tab:
    load(tab)
    answer = {"ready_ms": float(tab.value("document.body.dataset.ready"))}
    answer["first_step_ms"] = tab.value("(() => { const t = performance.now(); app.go(1); document.body.offsetHeight; return performance.now() - t })()")
    names = tab.value("data.lessons.map(lesson => lesson.name)")
    answer["lessons"] = [lesson(tab, index, name, index % 2 == 0) for index, name in enumerate(names) if name in solutions]
    answer["played"] = said(tab)
    answer["back_and_forth"] = back_and_forth(tab)
    answer["links"] = links(tab)
    answer["keyboard"] = keyboard(tab)
    answer["hostile"] = hostile(tab)
    answer["looks"] = [look(tab, scheme, width) for scheme, width in LOOKS]
    json.dump(answer, sys.stdout)
