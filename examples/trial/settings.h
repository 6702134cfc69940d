/* What both settings stores share: the bus, and a record of 16 bytes with a checksum.
 *
 * As it is, the store is a Linux program. With -DPAGEWISE_DOOR it is a test binary that takes its chip from the environment. */
#define _GNU_SOURCE
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ADDRESS = 0x50, RECORD = 16, STARTS = 2 };

#ifdef PAGEWISE_DOOR
#include "pagewise_simulator.h"

static pagewise_rig *rig;

static void disconnect(void) {
    pagewise_rig_free(rig);
}

static void connect_to_bus(void) {
    rig = pagewise_rig_from_environment(NULL);
    if (rig == NULL) {
        fprintf(stderr, "%s\n", pagewise_last_error());
        exit(2);
    }
    atexit(disconnect);
}

static int put(const uint8_t *bytes, size_t length) {
    return pagewise_write(rig, ADDRESS, bytes, length) == PAGEWISE_STATUS_OK;
}

static int get(uint8_t *bytes, size_t length) {
    return pagewise_read(rig, ADDRESS, bytes, length) == PAGEWISE_STATUS_OK;
}

static void wait_us(unsigned us) {
    pagewise_delay_ns(rig, us * 1000ULL);
}
#else
#include <fcntl.h>
#include <linux/i2c-dev.h>
#include <sys/ioctl.h>
#include <unistd.h>

static int bus;

static void connect_to_bus(void) {
    bus = open("/dev/i2c-1", O_RDWR);
    if (bus < 0 || ioctl(bus, I2C_SLAVE, ADDRESS) < 0) {
        perror("/dev/i2c-1");
        exit(2);
    }
}

static int put(const uint8_t *bytes, size_t length) {
    return write(bus, bytes, length) == (ssize_t)length;
}

static int get(uint8_t *bytes, size_t length) {
    return read(bus, bytes, length) == (ssize_t)length;
}

static void wait_us(unsigned us) {
    usleep(us);
}
#endif

/* Acknowledge polling: a busy part does not answer. */
static void when_ready(const uint8_t *bytes, size_t length) {
    for (int tries = 0; tries < 100; tries++) {
        if (put(bytes, length)) {
            return;
        }
        wait_us(500);
    }
    fputs("the EEPROM does not answer\n", stderr);
    exit(2);
}

static uint16_t checksum(const uint8_t *bytes, size_t length) {
    uint16_t sum = 0xFFFF;
    for (size_t i = 0; i < length; i++) {
        sum ^= (uint16_t)(bytes[i] << 8);
        for (int bit = 0; bit < 8; bit++) {
            sum = (uint16_t)(sum & 0x8000 ? sum << 1 ^ 0x1021 : sum << 1);
        }
    }
    return sum;
}

/* A record: its number, then a value in many bytes, then the checksum. Returns -1 for a broken one, -2 for an erased one. */
static int read_record(unsigned offset) {
    uint8_t header[2] = {(uint8_t)(offset >> 8), (uint8_t)offset}, bytes[RECORD];
    when_ready(header, sizeof header);
    if (!get(bytes, RECORD)) {
        return -1;
    }
    int erased = 1;
    for (int i = 0; i < RECORD; i++) {
        erased &= bytes[i] == 0xFF;
    }
    uint16_t sum = (uint16_t)(bytes[RECORD - 2] << 8 | bytes[RECORD - 1]);
    return erased ? -2 : sum == checksum(bytes, RECORD - 2) ? bytes[0] : -1;
}

static void write_record(unsigned offset, int number) {
    uint8_t bytes[2 + RECORD] = {(uint8_t)(offset >> 8), (uint8_t)offset};
    memset(bytes + 2, number * 37 & 0xFF, RECORD - 2);
    bytes[2] = (uint8_t)number;
    uint16_t sum = checksum(bytes + 2, RECORD - 2);
    bytes[RECORD] = (uint8_t)(sum >> 8);
    bytes[RECORD + 1] = (uint8_t)sum;
    when_ready(bytes, sizeof bytes);
}
