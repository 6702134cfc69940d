"""Plays the classroom in a headless browser as a person would: lessons to their end with wrong and right answers, programs
of one's own, links, files, keys, hostile input. Reads from standard input what the lessons' solutions are; tells what was seen.

    browser.py BROWSER PAGE FOLDER AXE all|quick
"""
import base64
import json
import pathlib
import sys

sys.dont_write_bytecode = True
from tabs import CONTROL, SHIFT, tab_of, until

browser, page, folder, axe, which = sys.argv[1:6]
solutions = json.load(sys.stdin)
URL = pathlib.Path(page).resolve().as_uri()
LOOKS = [("light", 360), ("dark", 390), ("light", 768), ("light", 1400), ("dark", 1920), ("dark", 360), ("dark", 1400)]
AXE = """axe.run(document, {resultTypes: ['violations']}).then(r => r.violations.map(
    v => v.id + ': ' + v.nodes.slice(0, 3).map(n => n.html.slice(0, 160)).join(' | ')))"""
READY = """location.protocol === 'file:' && document.readyState === 'complete' && (document.body.dataset.ready !== undefined
    || !document.getElementById('alarm').hidden)"""
HOOK = "<img src=x onerror='window.hacked=1'><script>window.hacked=1</script>"


def load(tab, fragment=""):
    # Another fragment alone would not load the page anew.
    tab.open("about:blank")
    until(lambda: tab.value("location.href === 'about:blank'"))
    tab.forget()
    tab.open(URL + fragment)
    until(lambda: tab.value(READY))


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


def answer(tab, index):
    tab.value(f"document.querySelectorAll('input[name=choice]')[{index}].click()")
    click(tab, "answer")


def said(tab):
    console, requests = tab.said()
    own = (URL, "about:blank", "data:")
    return {"console": console, "requests": [url for url in requests if not url.startswith(own)]}


def violations(tab):
    tab.run(pathlib.Path(axe).read_text())
    return tab.value(AXE)


def look(tab, scheme, width):
    """A lesson before its answer, its failing run on two parts, and its task, in a window of this width."""
    tab.window(scheme, width)
    load(tab)
    choose(tab, "lesson", "1")
    found = violations(tab)
    wide = ["document.documentElement.scrollWidth - document.documentElement.clientWidth"]
    overflow = [tab.value(wide[0])]
    answer(tab, 0)
    choose(tab, "beside", "24lc256")
    click(tab, "last")
    found += violations(tab)
    overflow.append(tab.value(wide[0]))
    colour = tab.value("getComputedStyle(document.body).backgroundColor")
    picture = tab.picture(width)
    name = f"classroom-{type(tab).__name__.lower()}-{scheme}-{width}.png"
    pathlib.Path(folder, name).write_bytes(picture)
    click(tab, "start")
    click(tab, "bits")
    click(tab, "check")
    write(tab, "S 50W 0 P")
    click(tab, "play")
    found += violations(tab)
    overflow.append(tab.value(wide[0]))
    return {"look": name, "scheme": scheme, "overflow": overflow, "colour": colour, "picture": len(picture), "axe": found, **said(tab)}


def lesson(tab, index, name, right):
    """One lesson: an answer, the failing run, the failing program as the student's, the solution."""
    choose(tab, "lesson", str(index))
    hidden = tab.value("document.getElementById('bench').hidden")
    wanted = tab.value(f"data.lessons[{index}].choices.findIndex(choice => choice.right === {json.dumps(right)})")
    answer(tab, wanted)
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


def own(tab):
    """A program of one's own: with a fault, and without."""
    load(tab)
    write(tab, "S 50W 00 40 11 P\nS 50W 0 P")
    click(tab, "play")
    faulty = [text(tab, "faults"), tab.value("app.steps")]
    write(tab, "means 0040 11 22\nS 50W 00 40 11 P\nwait 5ms\nS 50W 00 41 33 P\nwait 5ms")
    click(tab, "play")
    click(tab, "last")
    return {"faulty": faulty, "faults": text(tab, "faults"), "chips": text(tab, "chips")}


def back_and_forth(tab):
    load(tab)
    write(tab, "holds 0040 11..18\nS 50W 00 40 A1..C8 P\nwait 3ms\ncut\nS 50W 00 40 Sr 50R ??x4 P")
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
    events = []
    while tab.value("app.step < app.steps"):
        click(tab, "event")
        events.append(tab.value("app.step"))
    click(tab, "differs")
    differs = tab.value("[app.step, ...document.querySelectorAll('#chips .lane')].map(e => e.innerText ?? e)")
    click(tab, "run")
    until(lambda: tab.value("app.step === app.steps && app.timer === null"))
    return {"moves": [steps, same, len(set(forth))], "events": events, "differs": differs}


def links(tab):
    load(tab)
    choose(tab, "lesson", "7")
    answer(tab, 0)
    click(tab, "start")
    write(tab, "S 50W 00 00 11 P\nwait 5ms\n# so far \u00e4\u4f60")
    choose(tab, "beside", "24lc256")
    click(tab, "play")
    click(tab, "next")
    click(tab, "next")
    click(tab, "share")
    before, fragment = [tab.value("JSON.stringify(app.place())"), shown(tab)], tab.value("location.hash")
    load(tab, fragment)
    after = [tab.value("JSON.stringify(app.place())"), shown(tab)]
    kept = tab.value("JSON.stringify(app.place())")
    # What is saved comes back, too.
    load(tab)
    tab.value(f"sharing.take(new File([{json.dumps(kept)}], 'x.json'))")
    saved = tab.value("JSON.stringify(app.place())") == kept
    write(tab, "# long\n" * 400)
    click(tab, "play")
    click(tab, "share")
    return {"same": before == after, "saved": saved, "length": len(fragment), "long": text(tab, "said"), "kept": tab.value("location.hash") == ""}


FOCUS = "document.activeElement.id || document.activeElement.name || document.activeElement.className || document.activeElement.tagName"


def tab_to(tab, name, modifiers=0):
    """Presses Tab until this has the focus; what had it on the way."""
    stops = []
    while not stops or stops[-1] != name:
        assert len(stops) < 80, stops
        tab.press("Tab", modifiers)
        stops.append(tab.value(FOCUS))
    return stops


def keyboard(tab):
    """Nothing but keys: a lesson to its end, and through the steps."""
    load(tab)
    stops = tab_to(tab, "lesson")
    tab.press("ArrowDown")
    tab.press("ArrowDown")
    begun = tab.value("app.lesson")
    stops += tab_to(tab, "choice")
    tab.press(" ")
    tab_to(tab, "answer")
    outline = tab.value("getComputedStyle(document.activeElement).outlineStyle")
    tab.press("Enter")
    focus = [tab.value(FOCUS)]
    tab.press("Enter")
    focus.append(tab.value(FOCUS))
    tab.press("a", CONTROL)
    tab.type(solutions[tab.value("data.lessons[app.lesson].name")].strip())
    tab_to(tab, "check", SHIFT)
    tab.press("Enter")
    solved = tab.value("[...document.querySelectorAll('#checked li')].map(e => e.className)")
    stops += tab_to(tab, "next")
    where = []
    for name in ("ArrowRight", "ArrowRight", "ArrowLeft", "n", "End", "Home"):
        tab.press(name)
        where.append(tab.value("app.step"))
    return {"stops": stops, "outline": outline, "begun": begun, "focus": focus, "solved": solved, "where": where}


def link(place):
    return "#" + base64.urlsafe_b64encode(json.dumps(place).encode()).decode().rstrip("=")


ENDLESS = link({"program": "repeat forever\nS 50W 00 00 55 P\nend", "part": "at24c32e", "step": 10**15})


def hostile(tab, many):
    """Links, programs and files that mean harm are data, and bounded."""
    ready = []
    places = [
        {"pagewise": 1, "lesson": HOOK, "mode": HOOK, "part": HOOK, "beside": HOOK, "who": HOOK, "program": HOOK, "answer": HOOK, "step": HOOK},
        {"program": "repeat 1000000\nrepeat 1000000\nwait 1ns\nend\nend"},
        {"program": "S 50W " + "FFx4096 " * 20 + "P", "lesson": 5, "who": ["x"], "answer": 1e300},
        {"program": None, "step": -5, "lesson": "__proto__"}, [], "text", 7,
    ]
    fragments = [ENDLESS] + [link(place) for place in places] + ["#%00", "#" + "A" * 100000, "#javascript:alert(1)"]
    for fragment in fragments[:many]:
        load(tab, fragment)
        click(tab, "last")
        ready.append(tab.value("document.getElementById('alarm').hidden && app.steps <= 50000"))
    load(tab, ENDLESS)
    took = tab.value("(() => { const t = performance.now(); app.open(); return performance.now() - t })()")
    click(tab, "last")
    bounded = [tab.value("app.steps"), tab.value("document.querySelector('#buses .bad')?.innerText ?? ''")]
    # The lesson and the card that mean harm.
    choose(tab, "lesson", str(tab.value("data.lessons.length") - 1))
    answer(tab, 0)
    choose(tab, "part", "hostile")
    choose(tab, "beside", "hostile")
    click(tab, "last")
    title = text(tab, "talk")
    lessons = tab.value("(lessons.sheet(), document.getElementById('sheet').innerText.length)")
    # A model and a saved file, as they are dropped on the page.
    for content in ("{", "[]", json.dumps({"name": HOOK}), json.dumps({"pagewise": 1, "program": HOOK})):
        tab.value(f"sharing.take(new File([{json.dumps(content)}], 'x.json'))")
    before = tab.value("data.parts.length")
    tab.value(f"""(async () => {{ const model = {{...data.parts[0].model, name: {json.dumps(HOOK)}}};
        await sharing.take(new File([JSON.stringify(model)], 'x.json')) }})()""")
    added = tab.value("data.parts.length") - before
    return {"ready": ready, "endless_ms": took, "bounded": bounded, "title": title, "sheet": lessons, "added": added,
            "hacked": tab.value("window.hacked ?? null"), "scripts": tab.value("document.querySelectorAll('script').length"),
            "images": tab.value("document.querySelectorAll('img').length")}


def names(tab):
    """What a screen reader tells of the bench of a lesson; the canary is a button without a name."""
    load(tab)
    choose(tab, "lesson", "1")
    answer(tab, 0)
    click(tab, "last")
    roles = ("link", "button", "combobox", "textbox", "slider", "checkbox", "radio", "group", "region", "table", "heading")
    told = [one for one in tab.named() if one[0] in roles]
    tab.value("document.body.append(document.createElement('button'))")
    return {"told": told, "canary": tab.named().count(["button", ""])}


def outside(tab):
    """The canary of the requests: one that the page is made to send is refused, and told."""
    load(tab)
    refused = tab.value("fetch('http://127.0.0.1:9/').then(() => false, () => true)")
    told = tab.value("""new Promise(done => { document.addEventListener('securitypolicyviolation', e => done(e.blockedURI));
        const i = document.createElement('img'); i.src = 'http://127.0.0.1:9/x.png'; document.body.append(i) })""")
    return {"refused": refused, "told": told, **said(tab)}


with tab_of(browser) as tab:
    load(tab)
    times = "[performance.timing.responseEnd - performance.timing.navigationStart, ...['began', 'ready'].map(key => Number(document.body.dataset[key]))]"
    seen = {"times": tab.value(times)}
    seen["first_step_ms"] = tab.value("(() => { const t = performance.now(); app.go(1); document.body.offsetHeight; return performance.now() - t })()")
    known = [(index, name) for index, name in enumerate(tab.value("data.lessons.map(lesson => lesson.name)"))]
    quick = which == "quick"
    seen["lessons"] = [lesson(tab, index, name, index % 2 == 0) for index, name in (known[1:3] if quick else known)]
    seen["played"] = said(tab)
    seen["own"] = own(tab)
    seen["back_and_forth"] = back_and_forth(tab)
    seen["links"] = links(tab)
    seen["hostile"] = hostile(tab, 2 if quick else 99)
    seen["outside"] = outside(tab)
    if not quick:
        seen["keyboard"] = keyboard(tab)
    if tab.named:
        seen["names"] = names(tab)
    looks = [(scheme, width) for scheme, width in LOOKS if scheme in tab.schemes]
    seen["looks"] = [look(tab, scheme, width) for scheme, width in (looks[:2] if quick else looks)]
    json.dump(seen, sys.stdout)
