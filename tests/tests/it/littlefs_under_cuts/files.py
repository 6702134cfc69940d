"""Writes and reads files of littlefs (PyPI littlefs-python). Each line of standard input starts it once more, as a process of
its own: number of the start, of which the first one makes the file system; bytes of a page; bytes of a block; blocks. Its
blocks are asked for on standard output, one request a line, and answered on standard input; "lost" ends the process there and
then, as the loss of the supply does."""

import os
import sys

from littlefs import LittleFS, LittleFSError, UserContext

FILES = ["a", "b", "c"]
IO_ERROR = -5


def say(*words):
    print(*words, flush=True)


def ask(*words):
    say(*words)
    answer = sys.stdin.readline().strip()
    if answer == "lost":
        os._exit(0)
    return answer


class Blocks(UserContext):
    def __init__(self):
        super().__init__(buffsize=0)

    def read(self, cfg, block, off, size):
        return bytearray.fromhex(ask("read", block * cfg.block_size + off, size))

    def prog(self, cfg, block, off, data):
        return int(ask("prog", block * cfg.block_size + off, bytes(data).hex()))

    def erase(self, cfg, block):
        return int(ask("erase", block * cfg.block_size, cfg.block_size))


def held(fs, name):
    try:
        with fs.open(name, "rb") as file:
            return file.read().hex()
    except FileNotFoundError:
        return "none"


def work(settings, number):
    fs = LittleFS(context=Blocks(), mount=False, **settings)
    if number == 0:
        fs.format()
    fs.mount()
    for name in FILES:
        say("held", name, held(fs, name))
    for step in range(6):
        name = FILES[(number + step) % len(FILES)]
        data = bytes((number * 31 + step * 7 + place) % 256 for place in range(20 + number * 37 % 160 + step))
        say("begun", name, data.hex())
        with fs.open(name, "wb") as file:
            file.write(data)
        say("done", name)


def start(number, page, block, count):
    settings = {
        "block_size": block,
        "block_count": count,
        "read_size": 1,
        "prog_size": page,
        "cache_size": page,
        "lookahead_size": 8,
        "block_cycles": 50,
    }
    try:
        work(settings, number)
        say("end")
    except LittleFSError as error:
        say("end", str(error).replace("\n", " "))


while line := sys.stdin.readline():
    process = os.fork()
    if process == 0:
        start(*map(int, line.split()))
        os._exit(0)
    if os.waitpid(process, 0)[1] != 0:
        sys.exit("the process has not ended by itself")
    say("ended")
