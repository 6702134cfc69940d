"""An ordinary Python client of a serial EEPROM, as one finds it on a Linux board. It knows nothing of a simulator."""
import errno
import fcntl
import os
import signal
import subprocess
import sys
import threading
import time

from smbus2 import SMBus, i2c_msg

BUS = 7
DEVICE = "/dev/i2c-7"
I2C_SLAVE = 0x0703
what, width, page, capacity, image = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]), sys.argv[5]


def place(offset):
    """Device address with block-select bits, and the word address."""
    word = [offset >> 8 * n & 0xFF for n in reversed(range(width))]
    return 0x50 + (offset >> 8 * width), word


def write(bus, offset, data):
    address, word = place(offset)
    bus.i2c_rdwr(i2c_msg.write(address, word + list(data)))


def read(bus, offset, length):
    address, word = place(offset)
    answer = i2c_msg.read(address, length)
    bus.i2c_rdwr(i2c_msg.write(address, word), answer)
    return list(answer)


def poll(bus, offset):
    """Acknowledge polling. Returns how often the part was busy."""
    address, word = place(offset)
    for busy in range(100000):
        try:
            bus.i2c_rdwr(i2c_msg.write(address, word))
            return busy
        except OSError as error:
            assert error.errno == errno.ENXIO, error
    raise AssertionError("never ready")


def write_poll_read():
    with SMBus(BUS) as bus:
        offset = capacity - 3 * page + 1
        data = [(17 * n + 3) & 0xFF for n in range(2 * page)]
        at = 0
        while at < len(data):
            size = min(len(data) - at, page - (offset + at) % page)
            write(bus, offset + at, data[at : at + size])
            busy = poll(bus, offset + at)
            # In real time the host may be so slow that the cycle is over at the first poll.
            assert busy > 0 or "real" in sys.argv
            at += size
        assert read(bus, offset, len(data)) == data


def busy():
    with SMBus(BUS) as bus:
        write(bus, 0, [1, 2])
        for attempt in (lambda: read(bus, 0, 1), lambda: write(bus, 0, [9]), lambda: bus.read_byte(place(0)[0])):
            try:
                attempt()
            except OSError as error:
                assert error.errno == errno.ENXIO, error
            else:
                raise AssertionError("a busy part answered")
        time.sleep(0.05)
        assert read(bus, 0, 2) == [1, 2]


def real_time():
    with SMBus(BUS) as bus:
        begin = time.monotonic()
        write(bus, 0, [1])
        poll(bus, 0)
        print(int((time.monotonic() - begin) * 1e6))


def smbus_calls():
    """One-byte word addresses are what the SMBus calls were made for."""
    with SMBus(BUS) as bus:
        bus.write_byte_data(0x50, 0x10, 0xA5)
        poll(bus, 0)
        bus.write_word_data(0x50, 0x12, 0x1234)
        poll(bus, 0)
        bus.write_i2c_block_data(0x50, 0x18, list(range(page)))
        poll(bus, 0)
        bus.write_block_data(0x50, 0x20, [7, 8, 9])
        poll(bus, 0)
        assert bus.read_byte_data(0x50, 0x10) == 0xA5
        assert bus.read_word_data(0x50, 0x12) == 0x1234
        assert bus.read_i2c_block_data(0x50, 0x18, page) == list(range(page))
        assert bus.read_block_data(0x50, 0x20) == [7, 8, 9]
        assert bus.read_i2c_block_data(0x50, 0x20, 4) == [3, 7, 8, 9]
        bus.write_byte(0x50, 0x12)
        assert bus.read_byte(0x50) == 0x34 and bus.read_byte(0x50) == 0x12
        bus.write_quick(0x50)
        # The repeated START of a process call drops the data: the part answers with what it holds.
        assert bus.process_call(0x50, 0x10, 0xFFFF) == 0xFFA5
        try:
            bus.read_block_data(0x50, 0x80)
        except OSError as error:
            assert error.errno == errno.EPROTO, error
        else:
            raise AssertionError("a block of 255 bytes was taken")


def plain_files():
    fd = os.open(DEVICE, os.O_RDWR)
    copy = os.dup(fd)
    fcntl.ioctl(fd, I2C_SLAVE, 0x50)
    word = place(4)[1]
    assert os.write(copy, bytes(word + [1, 2, 3])) == width + 3
    time.sleep(0.05)
    assert os.write(fd, bytes(word)) == width
    os.close(fd)
    assert os.read(copy, 3) == b"\x01\x02\x03"
    os.close(copy)
    for bad in (0x80, 0x3FF):
        with open(DEVICE, "r+b", buffering=0) as file:
            try:
                fcntl.ioctl(file, I2C_SLAVE, bad)
            except OSError as error:
                assert error.errno == errno.EINVAL, error
            else:
                raise AssertionError("a device address of eight bits was taken")
    with open(image, "rb") as file:
        assert file.read()[4:7] == b"\x01\x02\x03"


def stored():
    with open(image, "rb") as file:
        return file.read()


def on_demand():
    with SMBus(BUS) as bus:
        write(bus, 0, [0x11])
        os.fsync(bus.fd)
        assert stored()[0] == 0x11
        time.sleep(0.05)
        write(bus, 0, [0x22])
        assert stored()[0] == 0x11
        # The bus rests: then memory goes into the image by itself.
        for _ in range(2000):
            if stored()[0] == 0x22:
                break
            # Starting a program takes real time, whatever the clock says.
            subprocess.run(["sleep", "0.01"], check=True)
        assert stored()[0] == 0x22
        time.sleep(0.05)
        write(bus, 0, [0x33])
        os._exit(0)


def killed():
    with SMBus(BUS) as bus:
        write(bus, 0, [0x55])
        os.kill(os.getpid(), signal.SIGKILL)


def replaced():
    bus = SMBus(BUS)
    write(bus, 0, [0x66])
    os.execv("/bin/sh", ["sh", "-c", "exit 9"])


def threads():
    """Each thread keeps a page of its own; transfers of all interleave."""

    def work(number):
        with SMBus(BUS) as bus:
            for turn in range(20):
                data = [(number * 31 + turn) & 0xFF] * 4
                while True:
                    try:
                        write(bus, number * page, data)
                        break
                    except OSError as error:
                        assert error.errno == errno.ENXIO, error
                while True:
                    try:
                        assert read(bus, number * page, 4) == data
                        break
                    except OSError as error:
                        assert error.errno == errno.ENXIO, error
        done.append(number)

    done = []
    workers = [threading.Thread(target=work, args=(number,)) for number in range(6)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert sorted(done) == list(range(6)), done


def other_process():
    """Arguments after the image: the command line of another bridge with the same image."""
    with SMBus(BUS) as bus:
        write(bus, 0, [0x44])
        other = subprocess.run(sys.argv[6:], capture_output=True, text=True)
        assert other.returncode == 2, other
        assert "the image is in use by another process" in other.stderr, other
        # A process that this one starts finds the same bus, and the chip busy or done, but never another memory.
        code = "from smbus2 import SMBus, i2c_msg; import time; time.sleep(0.05); bus = SMBus(7); bus.i2c_rdwr("
        code += f"i2c_msg.write(0x50, {place(1)[1]} + [0x45])); time.sleep(0.05)"
        assert subprocess.run([sys.executable, "-c", code]).returncode == 0
        child = os.fork()
        if child == 0:
            # So does a forked one, on the file that its parent opened.
            os._exit(0 if read(bus, 0, 2) == [0x44, 0x45] else 1)
        assert os.waitpid(child, 0)[1] == 0
        time.sleep(0.05)
        assert read(bus, 0, 1) == [0x44]


{
    "write-poll-read": write_poll_read,
    "busy": busy,
    "real-time": real_time,
    "smbus-calls": smbus_calls,
    "plain-files": plain_files,
    "on-demand": on_demand,
    "killed": killed,
    "replaced": replaced,
    "threads": threads,
    "other-process": other_process,
}[what]()
