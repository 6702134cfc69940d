/* Runs the generated driver on the simulated bus as standard input says, a command per line, and prints what comes of
 * each. The Rust test runs the same commands through the Rust driver.
 *
 *     rig SCL_HZ SUPPLY_MV SEED A0 A1 A2 WP MODEL_FILE
 *     faults JSON
 *     driver CANDIDATE BUFFER MAX_TRANSFER FIXED MARGIN INTERVAL LAZY
 *     choose LONGER ANY MAX_TRANSFER
 *     read|write|verify|update|trusting|compare|fill OFFSET LENGTH SEED
 *     ready
 *     trace
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "eeprom.h"
#include "pagewise_simulator.h"

static pagewise_rig *rig;
static eeprom_driver driver;
/* Of exactly the size that the driver is told, so that an access behind it is noticed. */
static uint8_t *buffer;
static eeprom_trust trust;

static eeprom_outcome transfer(void *context, uint8_t address, const uint8_t *send, size_t send_length, uint8_t *receive,
    size_t receive_length)
{
    pagewise_status status;
    (void)context;
    if (receive_length == 0) {
        status = pagewise_write(rig, address, send, send_length);
    } else if (send_length == 0) {
        status = pagewise_read(rig, address, receive, receive_length);
    } else {
        status = pagewise_write_read(rig, address, send, send_length, receive, receive_length);
    }
    switch (status) {
    case PAGEWISE_STATUS_OK:
        return EEPROM_DONE;
    case PAGEWISE_STATUS_ADDRESS_NACK:
    case PAGEWISE_STATUS_DATA_NACK:
        return EEPROM_NACK;
    default:
        return EEPROM_FAILED;
    }
}

static void delay(void *context, uint32_t us)
{
    (void)context;
    pagewise_delay_ns(rig, (uint64_t)us * 1000);
}

static const eeprom_bus bus = {transfer, delay, NULL};

static uint8_t bytes[4096];

/* The same formula as in the Rust test. */
static void fill(unsigned length, unsigned seed)
{
    for (unsigned i = 0; i < length; i++) {
        bytes[i] = (uint8_t)(i * 7 + seed * 31 + 1);
    }
}

static unsigned long sum(unsigned length)
{
    unsigned long sum = 0;
    for (unsigned i = 0; i < length; i++) {
        sum = (sum * 31 + bytes[i]) % 1000003;
    }
    return sum;
}

/* `counted`: with the page writes made and spared. */
static void report(eeprom_status status, bool counted)
{
    switch (status) {
    case EEPROM_OK:
        printf("ok %lu", (unsigned long)driver.safe_bytes);
        if (counted) {
            printf(", %lu written, %lu kept", (unsigned long)driver.written, (unsigned long)driver.kept);
        }
        puts("");
        break;
    case EEPROM_OUT_OF_RANGE:
        puts("out of range");
        break;
    case EEPROM_BUFFER_TOO_SMALL:
        puts("buffer too small");
        break;
    case EEPROM_NOT_ANSWERING:
        printf("not answering, %lu safe\n", (unsigned long)driver.safe_bytes);
        break;
    case EEPROM_WRITE_PROTECTED:
        printf("write protected at %lu, %lu safe\n", (unsigned long)driver.position, (unsigned long)driver.safe_bytes);
        break;
    case EEPROM_WRITE_CYCLE_OVERRUN:
        printf("overrun, %lu polls, %lu safe\n", (unsigned long)driver.polls, (unsigned long)driver.safe_bytes);
        break;
    case EEPROM_DIFFERS:
        printf("differs at %lu, %u found %u, %lu safe\n", (unsigned long)driver.position, driver.expected, driver.found,
            (unsigned long)driver.safe_bytes);
        break;
    case EEPROM_BUS:
        printf("bus, %lu safe\n", (unsigned long)driver.safe_bytes);
        break;
    default:
        printf("status %d\n", (int)status);
        break;
    }
}

static bool accepts(void *context, size_t index, const uint8_t *record, size_t record_bytes)
{
    /* What was written with the candidate's index as the seed, or anything at all. */
    bool any = *(const bool *)context;
    return record_bytes == EEPROM_RECORD_BYTES && (any || record[0] == (uint8_t)(index * 31 + 1));
}

static int command(const char *line)
{
    unsigned long a, b, c, d, e, f, g;
    char text[4096];
    if (sscanf(line, "rig %lu %lu %lu %lu %lu %lu %lu %4095[^\n]", &a, &b, &c, &d, &e, &f, &g, text) == 8) {
        const pagewise_straps straps = {(uint8_t)d, (uint8_t)e, (uint8_t)f, (uint8_t)g};
        uint32_t chip = 0;
        pagewise_rig_free(rig);
        rig = pagewise_rig_new((uint32_t)a, (uint32_t)b, c);
        return pagewise_attach_file(rig, text, straps, &chip) == PAGEWISE_STATUS_OK;
    }
    if (sscanf(line, "faults %4095[^\n]", text) == 1) {
        return pagewise_set_faults_json(rig, text) == PAGEWISE_STATUS_OK;
    }
    if (sscanf(line, "driver %lu %lu %lu %lu %lu %lu %lu", &a, &b, &c, &d, &e, &f, &g) == 7) {
        const eeprom_geometry *part = &eeprom_candidates[a].geometry;
        /* The margin in percent, as the Rust driver takes it. */
        const uint64_t margin = ((uint64_t)part->write_cycle_us * e + 99) / 100;
        const eeprom_options options = {c == 0 ? SIZE_MAX : c, (uint32_t)margin, (uint32_t)f, d != 0, g != 0};
        buffer = (uint8_t *)realloc(buffer, b);
        memset(&trust, 0, sizeof trust);
        return eeprom_init(&driver, part, &options, &bus, buffer, b) == EEPROM_OK;
    }
    /* The supply is lost, perhaps in a write cycle that a lazy driver has left, and comes back. */
    if (sscanf(line, "cut %4095s %lu", text, &a) == 2) {
        return pagewise_set_torn_model(rig, text, a) == PAGEWISE_STATUS_OK && pagewise_power_cycle(rig) == PAGEWISE_STATUS_OK;
    }
    if (sscanf(line, "choose %lu %lu %lu", &a, &b, &c) == 3) {
        eeprom_options options = eeprom_default_options;
        bool any = b != 0;
        size_t fitted = 0;
        options.max_transfer_bytes = c == 0 ? SIZE_MAX : c;
        eeprom_choice choice = eeprom_choose(&bus, &options, a != 0, accepts, &any, &fitted);
        if (choice == EEPROM_CHOSEN) {
            printf("chosen %s\n", eeprom_candidate_names[fitted]);
        } else {
            puts(choice == EEPROM_AMBIGUOUS ? "ambiguous" : choice == EEPROM_NONE_FITS ? "none fits" : "failed");
        }
        return 1;
    }
    if (strcmp(line, "ready\n") == 0) {
        report(eeprom_wait_ready(&driver), false);
        return 1;
    }
    if (strcmp(line, "trace\n") == 0) {
        char *trace = NULL;
        int ok = pagewise_trace(rig, &trace) == PAGEWISE_STATUS_OK;
        fputs(ok ? trace : "", stdout);
        pagewise_text_free(trace);
        return ok;
    }
    if (sscanf(line, "%4095s %lu %lu %lu", text, &a, &b, &c) == 4 && b <= sizeof bytes) {
        if (strcmp(text, "read") == 0) {
            memset(bytes, 0, sizeof bytes);
            report(eeprom_read(&driver, (uint32_t)a, bytes, b), false);
            printf("sum %lu\n", sum((unsigned)driver.safe_bytes));
            return 1;
        }
        fill((unsigned)b, (unsigned)c);
        if (strcmp(text, "write") == 0) {
            report(eeprom_write(&driver, (uint32_t)a, bytes, b), false);
            return 1;
        }
        if (strcmp(text, "verify") == 0) {
            report(eeprom_write_verified(&driver, (uint32_t)a, bytes, b), false);
            return 1;
        }
        if (strcmp(text, "update") == 0) {
            report(eeprom_update(&driver, (uint32_t)a, bytes, b, &trust), true);
            return 1;
        }
        if (strcmp(text, "trusting") == 0) {
            report(eeprom_update_trusting(&driver, (uint32_t)a, bytes, b), true);
            return 1;
        }
        if (strcmp(text, "compare") == 0) {
            const eeprom_status status = eeprom_compare(&driver, (uint32_t)a, bytes, b);
            if (status == EEPROM_DIFFERS) {
                printf("unlike at %lu, %u found %u\n", (unsigned long)driver.position, driver.expected, driver.found);
            } else {
                report(status, false);
            }
            return 1;
        }
        if (strcmp(text, "fill") == 0) {
            report(eeprom_fill(&driver, (uint32_t)a, b, (uint8_t)c), false);
            return 1;
        }
    }
    return 0;
}

int main(void)
{
    char line[8192];
    while (fgets(line, sizeof line, stdin) != NULL) {
        if (!command(line)) {
            printf("refused: %s%s\n", line, pagewise_last_error());
            return 2;
        }
    }
    pagewise_rig_free(rig);
    free(buffer);
    return 0;
}
