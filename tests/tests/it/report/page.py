"""Parses HTML pages (a JSON list on standard input) as strictly as an independent parser can, and tells what it saw."""
import json
import sys

import html5lib

SVG = "{http://www.w3.org/2000/svg}"
HTML = "{http://www.w3.org/1999/xhtml}"


def text(element):
    return " ".join("".join(element.itertext()).split())


def levels(path):
    """The corners of a path of M, H and V commands: a list of (x, y)."""
    corners, x, y, at = [], 0.0, 0.0, 0
    for piece in path.replace("M", " M").replace("H", " H").replace("V", " V").split():
        if piece[0] == "M":
            x, at = float(piece[1:]), "y"
        elif at == "y":
            y, at = float(piece), 0
        elif piece[0] == "H":
            x = float(piece[1:])
        elif piece[0] == "V":
            y = float(piece[1:])
        if at == 0:
            corners.append((x, y))
    return corners


def decode(scl, sda):
    """What an I2C decoder reads from the drawn lines: START, bytes with acknowledge bit, STOP."""
    clock, data = levels(scl), levels(sda)
    high_clock, high_data = min(y for _, y in clock + [(0, 44.0)]), min(y for _, y in data + [(0, 72.0)])
    steps = [(b[0], "scl", b[1] == high_clock) for a, b in zip(clock, clock[1:]) if a[1] != b[1]]
    steps += [(b[0], "sda", b[1] == high_data) for a, b in zip(data, data[1:]) if a[1] != b[1]]
    now = {"scl": clock[0][1] == high_clock, "sda": data[0][1] == high_data}
    seen, bits = [], []
    for _, line, level in sorted(steps, key=lambda step: step[0]):
        if line == "sda" and now["scl"]:
            seen.append("P" if level else "S")
            bits = []
        now[line] = level
        if line == "scl" and level:
            bits.append(now["sda"])
        if line == "scl" and not level and len(bits) == 9:
            value = sum(bit << (7 - n) for n, bit in enumerate(bits[:8]))
            seen.append(f"{value:02X}" + ("-" if bits[8] else "+"))
            bits = []
    return seen


def timing(svg):
    seen = []
    for group in svg.iter(SVG + "g"):
        paths = [(p.get("class"), p.get("d")) for p in group.iter(SVG + "path")]
        clocks = [d for name, d in paths if name == "scl"]
        datas = [d for name, d in paths if name == "sda"]
        for scl, sda in zip(clocks, datas):
            seen.append(decode(scl, sda))
    return seen


def page(document):
    parser = html5lib.HTMLParser(strict=False)
    tree = parser.parse(document)
    everything = list(tree.iter())
    name = {element: element.tag.split("}")[1] for element in everything if isinstance(element.tag, str)}
    parents = {child: parent for parent in everything for child in parent}
    identifiers = [e.get("id") for e in everything if e.get("id")]
    references = []
    for element in name:
        for attribute in ("src", "href", "action", "data", "poster", "srcset", "{http://www.w3.org/1999/xlink}href"):
            if element.get(attribute) is not None:
                references.append(element.get(attribute))
    labels = [i for e in name for key in ("aria-labelledby",) if e.get(key) for i in e.get(key).split()]
    return {
        "errors": [str(error) for error in parser.errors],
        "shape": [[n, sorted(k for k in e.attrib)] for e, n in name.items()],
        "handlers": [k for e in name for k in e.attrib if str(k).startswith("on")],
        "scripts": sum(n == "script" for n in name.values()),
        "styles": sum(e.get("style") is not None for e in name),
        "references": references,
        "identifiers": len(identifiers),
        "distinct": len(set(identifiers)),
        "dangling": [i for i in labels + [r[1:] for r in references if r.startswith("#")] if i not in set(identifiers)],
        "language": tree.get("lang"),
        "landmarks": [n for n in name.values() if n in ("header", "nav", "main", "footer")],
        "headings": [[int(n[1]), text(e)] for e, n in name.items() if n in ("h1", "h2", "h3", "h4", "h5", "h6")],
        "bare_headers": sum(n == "th" and not e.get("scope") for e, n in name.items()),
        "tables": sum(n == "table" for n in name.values()),
        "tables_without_headers": sum(n == "table" and not list(e.iter(HTML + "th")) for e, n in name.items()),
        "pictures": [
            [e.get("role"), [name[c] for c in list(e)[:2]], [bool(text(c)) for c in list(e)[:2]]]
            for e, n in name.items() if n == "svg" and e.get("aria-hidden") != "true"],
        "open": sum(n == "details" and e.get("open") is not None for e, n in name.items()),
        "details": sum(n == "details" for n in name.values()),
        "timing": [timing(e) for e, n in name.items() if n == "svg" and e.get("class") == "timing"],
        "texts": [text(e) for e, n in name.items() if n in ("td", "th", "h1", "h2", "h3", "dd", "li", "p", "title", "desc")],
        "labels": [e.get("aria-label") for e in name if e.get("aria-label")],
        "verdicts": [text(e) for e in name if "verdict" in (e.get("class") or "").split()],
        "strays": [name[e] for e, p in parents.items() if e in name and name[e] in ("tr", "td", "li") and name.get(p) == "body"],
    }


json.dump([page(document) for document in json.load(sys.stdin)], sys.stdout)
