#include <assert.h>
#include <stdio.h>
#include "eeprom.c"

static eeprom_outcome no_transfer(void *context, uint8_t device_address, const uint8_t *send, size_t send_length,
    uint8_t *receive, size_t receive_length)
{
    (void)context, (void)device_address, (void)send, (void)send_length, (void)receive, (void)receive_length;
    return EEPROM_FAILED;
}

static void no_delay(void *context, uint32_t us)
{
    (void)context, (void)us;
}

int main(void)
{
    static const uint64_t told_apart[4] = {1, 0x100, 0x10000, 0x1000000};
    static const uint64_t power[8] = {1, 2, 4, 8, 16, 32, 64, 128};
    unsigned accepted = 0, refused = 0;
    for (uint32_t bits = 0; bits <= 7; bits++) {
        for (uint32_t bytes = 0; bytes <= 3; bytes++) {
            assert(span(bytes, bits) == told_apart[bytes] * power[bits]);
        }
        for (uint32_t shift = 0; bits + shift <= 7; shift++) {
            for (uint32_t address = 0; address <= 0x7F; address++) {
                assert(!has_room(address, bits, shift) || address + (power[bits] - 1) * power[shift] <= 0x7F);
            }
        }
    }
    const eeprom_bus bus = {no_transfer, no_delay, NULL};
    static const size_t sizes[] = {0, 1, 2, 3, 4, 5, 34, 4096, SIZE_MAX};
    static uint8_t buffer[4096];
    for (uint32_t shape = 0; shape < 4 * 8 * 8 * 6 * 16; shape++) {
        const uint8_t header = shape % 4, bits = shape / 4 % 8, shift = shape / 32 % 8;
        static const uint8_t addresses[6] = {0, 0x40, 0x50, 0x58, 0x70, 0x7F};
        const uint8_t address = addresses[shape / 256 % 6];
        const uint32_t some = shape / 1536;
        const uint64_t reach = told_apart[header] * power[bits];
        const uint64_t capacity = some % 4 == 0 ? reach : some % 4 == 1 ? reach / 2 + 1 : some % 4 == 2 ? reach / 2 : reach / 4 * 3;
        const uint32_t page = some / 4 == 0 ? 1 : some / 4 == 1 ? 16 : some / 4 == 2 ? 48 : (uint32_t)capacity;
        const eeprom_geometry part = {(uint32_t)capacity, page, header, address, bits, shift, (uint32_t)capacity & (0u - (uint32_t)capacity), 5000};
        for (unsigned i = 0; i < 81; i++) {
            eeprom_driver driver;
            eeprom_options options = eeprom_default_options;
            options.max_transfer_bytes = sizes[i / 9];
            const size_t room = sizes[i % 9] > sizeof buffer ? sizeof buffer : sizes[i % 9];
            if (eeprom_init(&driver, &part, &options, &bus, i % 9 == 0 ? NULL : buffer, room) != EEPROM_OK) {
                assert(driver.capacity_bytes == 0);
                refused++;
                continue;
            }
            accepted++;
            assert(driver.header_bytes <= 3 && driver.capacity_bytes == capacity && capacity <= 0x80000000);
            assert(driver.read_data_max <= capacity && driver.write_data_max <= driver.read_data_max);
            assert(driver.write_data_max == 0 || driver.header_bytes + (size_t)driver.write_data_max <= room);
            assert((driver.page_mask & (driver.page_mask + 1)) == 0 && driver.page_mask < UINT32_MAX);
            assert((driver.read_mask & (driver.read_mask + 1)) == 0 && driver.read_mask < UINT32_MAX);
            /* The last offset has the highest device address. */
            assert(driver.device_address + (capacity - 1) / told_apart[header] * driver.block_unit <= 0x7F);
        }
    }
    printf("%u accepted, %u refused\n", accepted, refused);
    return accepted > 10000 && refused > 10000 ? 0 : 1;
}
