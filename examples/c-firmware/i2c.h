/* What the firmware needs from the board: a bus and a delay. On the board these are the HAL's; on the host they lead to a
 * simulated bus (rig_port.c). */
#ifndef I2C_H
#define I2C_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Each returns true if every byte was acknowledged. Addresses have seven bits. */
bool i2c_write(uint8_t address, const uint8_t *bytes, size_t length);
bool i2c_write_read(uint8_t address, const uint8_t *bytes, size_t length, uint8_t *read, size_t read_length);
void delay_us(uint32_t microseconds);

#endif
