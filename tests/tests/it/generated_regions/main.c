/* Writes every region through its accessor on the simulated bus, reads it back, and prints the bytes of the chip. */
#include <stdio.h>
#include <string.h>

#include "eeprom.h"
#include "pagewise_simulator.h"

static pagewise_rig *rig;

static eeprom_outcome transfer(void *context, uint8_t address, const uint8_t *send, size_t send_length, uint8_t *receive,
    size_t receive_length)
{
    pagewise_status status;
    (void)context;
    status = receive_length == 0 ? pagewise_write(rig, address, send, send_length)
                                 : pagewise_write_read(rig, address, send, send_length, receive, receive_length);
    return status == PAGEWISE_STATUS_OK ? EEPROM_DONE : EEPROM_NACK;
}

static void delay(void *context, uint32_t us)
{
    (void)context;
    pagewise_delay_ns(rig, (uint64_t)us * 1000);
}

#define MUST(condition) \
    if (!(condition)) { \
        printf("failed: %s\n", #condition); \
        return 1; \
    }

int main(int argc, char **argv)
{
    static const eeprom_bus bus = {transfer, delay, NULL};
    static eeprom_driver driver;
    static uint8_t buffer[EEPROM_BUFFER_BYTES];
    static uint8_t memory[EEPROM_CAPACITY_BYTES];
    const pagewise_straps straps = {0, 0, 0, 0};
    const uint8_t mac[6] = {0x02, 0, 0, 0x12, 0x34, 0x56};
    const int16_t offsets[3] = {-2, 300, -32768};
    uint8_t text[16], own[6];
    int16_t back[3];
    size_t length = 0;
    uint32_t chip = 0, hours = 0;
    uint64_t total = 0;
    uint16_t check = 0;
    uint8_t flags = 0;

    rig = pagewise_rig_new(400000, 3300, 1);
    MUST(argc == 2 && pagewise_attach_file(rig, argv[1], straps, &chip) == PAGEWISE_STATUS_OK);
    MUST(eeprom_init(&driver, &eeprom_part, NULL, &bus, buffer, sizeof buffer) == EEPROM_OK);
    MUST(eeprom_write_serial(&driver, (const uint8_t *)"TI-0042", 7) == EEPROM_OK);
    MUST(eeprom_write_mac(&driver, mac) == EEPROM_OK);
    MUST(eeprom_write_board_name(&driver, (const uint8_t *)"valve driver", 12) == EEPROM_OK);
    MUST(eeprom_write_board_name(&driver, (const uint8_t *)"seventeen letters", 17) == EEPROM_OUT_OF_RANGE);
    MUST(eeprom_write_hours(&driver, 0x01020304) == EEPROM_OK);
    MUST(eeprom_write_offsets(&driver, offsets) == EEPROM_OK);
    MUST(eeprom_write_total(&driver, 0x1122334455667788) == EEPROM_OK);
    MUST(eeprom_write_flags(&driver, 0xA5) == EEPROM_OK);
    MUST(eeprom_write(&driver, EEPROM_CHECK_OFFSET, (const uint8_t *)"\x34\x12", EEPROM_CHECK_LENGTH) == EEPROM_OK);

    MUST(eeprom_read_serial(&driver, text, &length) == EEPROM_OK && length == 7 && memcmp(text, "TI-0042", 7) == 0);
    MUST(eeprom_read_mac(&driver, own) == EEPROM_OK && memcmp(own, mac, 6) == 0);
    MUST(eeprom_read_board_name(&driver, text, &length) == EEPROM_OK && length == 12);
    MUST(eeprom_read_hours(&driver, &hours) == EEPROM_OK && hours == 0x01020304);
    MUST(eeprom_read_offsets(&driver, back) == EEPROM_OK && memcmp(back, offsets, sizeof offsets) == 0);
    MUST(eeprom_read_total(&driver, &total) == EEPROM_OK && total == 0x1122334455667788);
    MUST(eeprom_read_flags(&driver, &flags) == EEPROM_OK && flags == 0xA5);
    MUST(eeprom_read_check(&driver, &check) == EEPROM_OK && check == 0x1234);
    MUST(EEPROM_CURVE_LENGTH == 330);

    MUST(pagewise_memory(rig, chip, 0, memory, sizeof memory) == PAGEWISE_STATUS_OK);
    for (size_t i = 0; i < sizeof memory; i++) {
        printf("%02x", memory[i]);
    }
    puts("");
    pagewise_rig_free(rig);
    return 0;
}
