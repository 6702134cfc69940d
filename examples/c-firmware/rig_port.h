/* The board's bus on the host. */
#ifndef RIG_PORT_H
#define RIG_PORT_H

#include "pagewise_simulator.h"

/* The bus that i2c.h leads to. */
void rig_port_use(pagewise_rig *rig);

#endif
