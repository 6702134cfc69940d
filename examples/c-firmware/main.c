/* A host test of the firmware: stores a calibration table of 48 bytes at 0x0110 and reads it back.
 *
 *     ./calibration MODEL.json
 *     pagewise trial --board BOARD.toml -- ./calibration      on the fitted part and on every candidate
 *
 * Exit code: 0 stored, 1 lost (the hazard is printed), 2 bad input. */
#include <stdio.h>
#include <string.h>

#include "eeprom.h"
#include "rig_port.h"

enum { TABLE_OFFSET = 0x0110, TABLE_LENGTH = 48 };

/* Prints what the detectors and the ledger say. Returns how many hazards there were. */
static size_t report(pagewise_rig *rig)
{
    size_t count = 0;
    char *losses = NULL;
    pagewise_finish(rig, &count);
    for (size_t i = 0; i < count; i++) {
        pagewise_incident incident;
        if (pagewise_incident_at(rig, i, &incident) == PAGEWISE_STATUS_OK) {
            printf("%s: %s\n", incident.hazard, incident.text);
        }
    }
    if (pagewise_explain(rig, &losses) == PAGEWISE_STATUS_OK) {
        fputs(losses, stdout);
        pagewise_text_free(losses);
    }
    return count;
}

int main(int argc, char **argv)
{
    const pagewise_straps straps = {PAGEWISE_LOW, PAGEWISE_LOW, PAGEWISE_LOW, PAGEWISE_LOW};
    uint8_t table[TABLE_LENGTH], back[TABLE_LENGTH];
    uint32_t chip = 0;
    pagewise_rig *rig = argc == 1 ? pagewise_rig_from_environment(&chip) : pagewise_rig_new(400000, 3300, 1);
    bool there = argc == 1 ? rig != NULL
                           : argc == 2 && pagewise_attach_file(rig, argv[1], straps, &chip) == PAGEWISE_STATUS_OK;
    if (!there) {
        fprintf(stderr, "%s\n", argc <= 2 ? pagewise_last_error() : "usage: calibration [MODEL.json]");
        pagewise_rig_free(rig);
        return 2;
    }
    rig_port_use(rig);
    for (size_t i = 0; i < TABLE_LENGTH; i++) {
        table[i] = (uint8_t)(i * 5 + 1);
    }
    pagewise_meant(rig, chip, TABLE_OFFSET, table, TABLE_LENGTH);
    bool same = eeprom_write(TABLE_OFFSET, table, TABLE_LENGTH) && eeprom_read(TABLE_OFFSET, back, TABLE_LENGTH)
        && memcmp(table, back, TABLE_LENGTH) == 0;
    size_t hazards = report(rig);
    printf("the table is %s\n", same ? "stored" : "lost");
    pagewise_rig_free(rig);
    return same && hazards == 0 ? 0 : 1;
}
