/* A 32 kbit (4096 byte) EEPROM: two word-address bytes, pages of 32 bytes, write cycle of at most 5 ms. */
#ifndef EEPROM_H
#define EEPROM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { EEPROM_ADDRESS = 0x50, EEPROM_CAPACITY = 4096, EEPROM_PAGE = 32, EEPROM_WRITE_CYCLE_US = 5000 };

/* Each returns false if the part did not answer or the range lies outside it. */
bool eeprom_write(uint16_t offset, const uint8_t *bytes, size_t length);
bool eeprom_read(uint16_t offset, uint8_t *bytes, size_t length);

#endif
