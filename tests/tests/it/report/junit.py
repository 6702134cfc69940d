"""Reads JUnit XML documents (a JSON list on standard input) with an independent reader, and tells what it saw."""
import json
import sys
import xml.etree.ElementTree as tree

from junitparser import Error, Failure, JUnitXml


def case(one):
    result = [{"kind": type(r).__name__, "message": r.message, "type": r.type, "text": r.text} for r in one.result]
    assert all(isinstance(r, (Error, Failure)) for r in one.result)
    return {"name": one.name, "classname": one.classname, "result": result, "out": one.system_out}


def suite(one):
    properties = {p.name: p.value for p in one.properties()}
    counts = [one.tests, one.failures, one.errors]
    return {"name": one.name, "counts": counts, "properties": properties, "cases": [case(c) for c in one]}


def read(text):
    report = JUnitXml.fromstring(text.encode())
    root = tree.fromstring(text)
    # What junitparser counts itself and what the file says.
    said = [int(root.get(name)) for name in ("tests", "failures", "errors")]
    report.update_statistics()
    counts = [report.tests, report.failures, report.errors]
    shape = [element.tag for element in root.iter()]
    return {"counts": counts, "said": said, "suites": [suite(s) for s in report], "shape": shape}


json.dump([read(text) for text in json.load(sys.stdin)], sys.stdout)
