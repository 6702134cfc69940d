/* The page writer that one finds everywhere: it knows the size of a page and forgets where pages begin. It writes 32 bytes
 * from wherever the data starts, and waits as long as the sheet says. */
#include "eeprom.h"

#include <string.h>

#include "i2c.h"

bool eeprom_write(uint16_t offset, const uint8_t *bytes, size_t length)
{
    uint8_t message[2 + EEPROM_PAGE];
    while (length > 0) {
        size_t piece = length < EEPROM_PAGE ? length : EEPROM_PAGE;
        message[0] = (uint8_t)(offset >> 8);
        message[1] = (uint8_t)offset;
        memcpy(message + 2, bytes, piece);
        if (!i2c_write(EEPROM_ADDRESS, message, 2 + piece)) {
            return false;
        }
        delay_us(EEPROM_WRITE_CYCLE_US);
        offset = (uint16_t)(offset + piece);
        bytes += piece;
        length -= piece;
    }
    return true;
}

bool eeprom_read(uint16_t offset, uint8_t *bytes, size_t length)
{
    const uint8_t header[2] = {(uint8_t)(offset >> 8), (uint8_t)offset};
    return i2c_write_read(EEPROM_ADDRESS, header, sizeof header, bytes, length);
}
