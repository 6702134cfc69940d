"""Writes a calibration table of 192 bytes to the EEPROM of a meter, in pages of 64 bytes, and polls for the end of each.

It is right on a 24LC256. On a part with shorter pages or with another word address it goes wrong, and does not notice.
"""
import sys
import time

from smbus2 import SMBus, i2c_msg

BUS, DEVICE, TABLE, PAGE = 1, 0x50, 0x0100, 64


def when_ready(bus, *messages):
    """A busy part does not answer: for at most 20 ms, that is not an error."""
    until = time.monotonic() + 0.020
    while True:
        try:
            return bus.i2c_rdwr(*messages)
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.0005)


def main():
    table = [(7 * n + 5) % 251 for n in range(192)]
    with SMBus(BUS) as bus:
        for at in range(0, len(table), PAGE):
            offset = TABLE + at
            page = [offset >> 8, offset & 0xFF] + table[at : at + PAGE]
            when_ready(bus, i2c_msg.write(DEVICE, page))
        last = i2c_msg.read(DEVICE, 1)
        when_ready(bus, i2c_msg.write(DEVICE, [TABLE >> 8, TABLE & 0xFF]), last)
    print("the table is written")


if __name__ == "__main__":
    sys.exit(main())
