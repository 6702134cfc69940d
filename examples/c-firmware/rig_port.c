/* i2c.h on a simulated bus. Nothing waits: a delay moves virtual time. */
#include "rig_port.h"

#include "i2c.h"

static pagewise_rig *rig;

void rig_port_use(pagewise_rig *used)
{
    rig = used;
}

bool i2c_write(uint8_t address, const uint8_t *bytes, size_t length)
{
    return pagewise_write(rig, address, bytes, length) == PAGEWISE_STATUS_OK;
}

bool i2c_write_read(uint8_t address, const uint8_t *bytes, size_t length, uint8_t *read, size_t read_length)
{
    return pagewise_write_read(rig, address, bytes, length, read, read_length) == PAGEWISE_STATUS_OK;
}

void delay_us(uint32_t microseconds)
{
    pagewise_delay_ns(rig, (uint64_t)microseconds * 1000);
}
