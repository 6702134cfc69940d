"""Renders Markdown documents (a JSON list on standard input) with the reference implementation of GitHub's dialect, and
tells the elements and the texts that come out."""
import json
import sys
from html.parser import HTMLParser

import cmarkgfm
from cmarkgfm.cmark import Options


class Reader(HTMLParser):
    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.shape, self.cells, self.text, self.inside = [], [], "", False

    def handle_starttag(self, tag, attributes):
        self.shape.append([tag, attributes])
        self.inside = self.inside or tag in ("td", "th", "h3")
        if tag in ("td", "th", "h3"):
            self.cells.append("")

    def handle_endtag(self, tag):
        self.shape.append(["/" + tag, []])
        if tag in ("td", "th", "h3"):
            self.inside = False

    def handle_comment(self, data):
        self.shape.append(["comment", []])

    def handle_data(self, data):
        self.text += data
        if self.inside:
            self.cells[-1] += data


def read(text):
    reader = Reader()
    html = cmarkgfm.markdown_to_html_with_extensions(
        text, options=Options.CMARK_OPT_UNSAFE, extensions=["table", "autolink", "strikethrough", "tasklist"])
    reader.feed(html)
    reader.close()
    return {"shape": reader.shape, "cells": reader.cells, "text": reader.text}


json.dump([read(text) for text in json.load(sys.stdin)], sys.stdout)
