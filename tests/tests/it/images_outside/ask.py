"""Asks general-purpose libraries from PyPI: fru, pyedid, bincopy. One JSON list of questions in, one of answers out."""

import json
import sys

import bincopy
import fru
import pyedid


def fru_make(question):
    return fru.dump(question["data"]).hex()


def fru_load(question):
    return fru.load(blob=bytes.fromhex(question["hex"]))


def edid(question):
    read = pyedid.parse_edid(bytes.fromhex(question["hex"]))
    return {
        "manufacturer": read.manufacturer_pnp_id,
        "product": read.product_id,
        "version": read.edid_version,
        "week": read.week,
        "year": read.year,
        "name": read.name,
    }


def image_read(question):
    file = bincopy.BinFile()
    file.add(question["text"])
    return [[segment.minimum_address, bytes(segment.data).hex()] for segment in file.segments]


def image_write(question):
    file = bincopy.BinFile()
    for address, data in question["runs"]:
        file.add_binary(bytes.fromhex(data), address=address)
    return file.as_ihex() if question["form"] == "ihex" else file.as_srec()


def answer(question):
    try:
        return {"ok": globals()[question["op"]](question)}
    except Exception as error:  # whatever the library makes of it
        return {"error": f"{type(error).__name__}: {error}"}


json.dump([answer(question) for question in json.load(sys.stdin)], sys.stdout)
