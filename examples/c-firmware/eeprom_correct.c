/* The same job done well: a write never crosses the end of a page, and acknowledge polling finds the end of the write
 * cycle, with a bound. */
#include "eeprom.h"

#include <string.h>

#include "i2c.h"

static bool in_range(uint16_t offset, size_t length)
{
    return offset <= EEPROM_CAPACITY && length <= (size_t)(EEPROM_CAPACITY - offset);
}

/* Sends the word address until the part acknowledges, for at most twice its longest write cycle. */
static bool wait_ready(uint16_t offset)
{
    const uint8_t header[2] = {(uint8_t)(offset >> 8), (uint8_t)offset};
    for (uint32_t waited_us = 0; waited_us <= 2 * EEPROM_WRITE_CYCLE_US; waited_us += 100) {
        if (i2c_write(EEPROM_ADDRESS, header, sizeof header)) {
            return true;
        }
        delay_us(100);
    }
    return false;
}

bool eeprom_write(uint16_t offset, const uint8_t *bytes, size_t length)
{
    uint8_t message[2 + EEPROM_PAGE];
    if (!in_range(offset, length)) {
        return false;
    }
    while (length > 0) {
        size_t room = EEPROM_PAGE - offset % EEPROM_PAGE;
        size_t piece = length < room ? length : room;
        message[0] = (uint8_t)(offset >> 8);
        message[1] = (uint8_t)offset;
        memcpy(message + 2, bytes, piece);
        if (!i2c_write(EEPROM_ADDRESS, message, 2 + piece) || !wait_ready(offset)) {
            return false;
        }
        offset = (uint16_t)(offset + piece);
        bytes += piece;
        length -= piece;
    }
    return true;
}

bool eeprom_read(uint16_t offset, uint8_t *bytes, size_t length)
{
    const uint8_t header[2] = {(uint8_t)(offset >> 8), (uint8_t)offset};
    if (!in_range(offset, length)) {
        return false;
    }
    return length == 0 || i2c_write_read(EEPROM_ADDRESS, header, sizeof header, bytes, length);
}
