/* Every function of the C interface: what it promises, and what it refuses. The argument is a model file of a 32 kbit part. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pagewise_simulator.h"

#define CHECK(what)                                                                    \
    do {                                                                               \
        if (!(what)) {                                                                 \
            printf("line %d: %s (%s)\n", __LINE__, #what, pagewise_last_error());      \
            exit(1);                                                                   \
        }                                                                              \
    } while (0)
#define OK(call) CHECK((call) == PAGEWISE_STATUS_OK)
#define BAD(call) CHECK((call) == PAGEWISE_STATUS_BAD_ARGUMENT && strlen(pagewise_last_error()) > 0)

static const pagewise_straps ground = {PAGEWISE_LOW, PAGEWISE_LOW, PAGEWISE_LOW, PAGEWISE_LOW};

static void transfers(pagewise_rig *rig, uint32_t chip)
{
    const uint8_t write[] = {0x00, 0x10, 0xAB, 0xCD}, header[] = {0x00, 0x10};
    uint8_t read[3] = {0};
    bool busy = false;
    uint64_t before = 0, after = 0;
    OK(pagewise_set_write_cycle_ns(rig, chip, 5000000));
    OK(pagewise_now_ns(rig, &before));
    OK(pagewise_write(rig, 0x50, write, sizeof write));
    OK(pagewise_busy(rig, chip, &busy));
    CHECK(busy);
    CHECK(pagewise_write(rig, 0x50, header, sizeof header) == PAGEWISE_STATUS_ADDRESS_NACK);
    OK(pagewise_delay_ns(rig, 5000000));
    OK(pagewise_now_ns(rig, &after));
    CHECK(after > before + 5000000);
    OK(pagewise_busy(rig, chip, &busy));
    CHECK(!busy);
    OK(pagewise_write_read(rig, 0x50, header, sizeof header, read, sizeof read));
    CHECK(read[0] == 0xAB && read[1] == 0xCD && read[2] == 0xFF);
    OK(pagewise_write(rig, 0x50, header, sizeof header));
    OK(pagewise_read(rig, 0x50, read, 1));
    CHECK(read[0] == 0xAB);
    CHECK(pagewise_write(rig, 0x51, header, sizeof header) == PAGEWISE_STATUS_ADDRESS_NACK);
    BAD(pagewise_write(rig, 0x80, header, sizeof header));
    BAD(pagewise_write(rig, 0x50, NULL, 1));
    OK(pagewise_write(rig, 0x50, NULL, 0));
    BAD(pagewise_write(rig, 0x50, header, SIZE_MAX));
    BAD(pagewise_read(rig, 0x50, read, 0));
    BAD(pagewise_read(rig, 0x50, NULL, 1));
}

static void steps(pagewise_rig *rig)
{
    bool acked = false;
    uint8_t byte = 0;
    OK(pagewise_start(rig));
    OK(pagewise_send(rig, 0xA0, &acked));
    CHECK(acked);
    OK(pagewise_send(rig, 0x00, NULL));
    OK(pagewise_send(rig, 0x10, NULL));
    OK(pagewise_start(rig));
    OK(pagewise_send(rig, 0xA1, &acked));
    CHECK(acked);
    OK(pagewise_receive(rig, true, &byte));
    CHECK(byte == 0xAB);
    OK(pagewise_receive(rig, false, &byte));
    CHECK(byte == 0xCD);
    OK(pagewise_stop(rig));
    OK(pagewise_start(rig));
    OK(pagewise_send(rig, 0xA2, &acked));
    CHECK(!acked);
    OK(pagewise_stop(rig));
}

static void held_line(pagewise_rig *rig, uint32_t chip)
{
    const uint8_t zero = 0x00, header[] = {0x00, 0x20};
    uint8_t byte = 0xFF;
    OK(pagewise_load(rig, chip, 0x20, &zero, 1));
    OK(pagewise_load(rig, chip, 0x21, &zero, 1));
    OK(pagewise_write(rig, 0x50, header, sizeof header));
    OK(pagewise_start(rig));
    OK(pagewise_send(rig, 0xA1, NULL));
    OK(pagewise_receive(rig, true, &byte));
    CHECK(pagewise_stop(rig) == PAGEWISE_STATUS_LINE_HELD);
    CHECK(pagewise_write(rig, 0x50, header, sizeof header) == PAGEWISE_STATUS_LINE_HELD);
    OK(pagewise_recover(rig));
    OK(pagewise_write(rig, 0x50, header, sizeof header));
}

static void pins_and_supply(pagewise_rig *rig, uint32_t chip)
{
    const uint8_t write[] = {0x00, 0x40, 0x11}, header[] = {0x00, 0x40};
    uint8_t byte = 0;
    OK(pagewise_set_wp(rig, chip, PAGEWISE_HIGH));
    OK(pagewise_write(rig, 0x50, write, sizeof write));
    OK(pagewise_delay_ns(rig, 10000000));
    OK(pagewise_memory(rig, chip, 0x40, &byte, 1));
    CHECK(byte == 0xFF);
    OK(pagewise_set_wp(rig, chip, PAGEWISE_LOW));
    BAD(pagewise_set_wp(rig, chip, 3));
    OK(pagewise_set_supply_mv(rig, 0));
    CHECK(pagewise_write(rig, 0x50, header, sizeof header) == PAGEWISE_STATUS_NO_SUPPLY);
    BAD(pagewise_set_supply_mv(rig, 6501));
    OK(pagewise_set_supply_mv(rig, 3300));
    OK(pagewise_delay_ns(rig, 100000000));
    OK(pagewise_write(rig, 0x50, header, sizeof header));
    OK(pagewise_power_cycle(rig));
    OK(pagewise_write(rig, 0x50, header, sizeof header));
    OK(pagewise_set_scl_hz(rig, 100000));
    BAD(pagewise_set_scl_hz(rig, 0));
    BAD(pagewise_delay_ns(rig, UINT64_MAX));
}

static void faults(pagewise_rig *rig)
{
    const uint8_t header[] = {0x00, 0x40};
    size_t hits = 7;
    OK(pagewise_set_faults_json(rig, "{\"script\": [{\"nack\": {\"byte\": 2}}]}"));
    CHECK(pagewise_write(rig, 0x50, header, sizeof header) == PAGEWISE_STATUS_DATA_NACK);
    OK(pagewise_write(rig, 0x50, header, sizeof header));
    OK(pagewise_fault_hits(rig, &hits));
    CHECK(hits == 1);
    OK(pagewise_clear_faults(rig));
    CHECK(pagewise_set_faults_json(rig, "{\"script\": [{\"rest-flip\": {\"chip\": 4, \"offset\": 0, \"mask\": 1}}]}")
        == PAGEWISE_STATUS_BAD_FAULTS);
    CHECK(pagewise_set_faults_json(rig, "{") == PAGEWISE_STATUS_BAD_FAULTS);
    BAD(pagewise_set_faults_json(rig, NULL));
}

static void memory(pagewise_rig *rig, uint32_t chip)
{
    uint8_t all[4096];
    uint32_t capacity = 0;
    OK(pagewise_capacity(rig, chip, &capacity));
    CHECK(capacity == sizeof all);
    OK(pagewise_memory(rig, chip, 0, all, sizeof all));
    CHECK(all[0x10] == 0xAB && all[0x12] == 0xFF);
    BAD(pagewise_memory(rig, chip, 1, all, sizeof all));
    BAD(pagewise_memory(rig, chip, UINT32_MAX, all, 1));
    BAD(pagewise_memory(rig, chip + 1, 0, all, 1));
    BAD(pagewise_load(rig, chip, 4095, all, 2));
    BAD(pagewise_meant(rig, chip, 4096, all, 1));
    OK(pagewise_memory(rig, chip, 4096, NULL, 0));
}

static void reports(pagewise_rig *rig, uint32_t chip)
{
    const uint8_t missing = 0x77;
    pagewise_incident incident;
    size_t count = 0, named = 0;
    char *text = NULL;
    OK(pagewise_meant(rig, chip, 0x60, &missing, 1));
    OK(pagewise_finish(rig, &count));
    for (size_t i = 0; i < count; i++) {
        OK(pagewise_incident_at(rig, i, &incident));
        named += strcmp(incident.hazard, "write-protect") == 0;
        CHECK(strlen(incident.text) > 0 && (incident.chip == chip || incident.chip == PAGEWISE_NO_CHIP));
    }
    CHECK(named > 0);
    BAD(pagewise_incident_at(rig, count, &incident));
    OK(pagewise_explain(rig, &text));
    CHECK(strstr(text, "0x0060") != NULL);
    pagewise_text_free(text);
    OK(pagewise_trace(rig, &text));
    CHECK(strstr(text, "S 50W+ 00+ 10+ AB+ CD+ P") != NULL);
    pagewise_text_free(text);
    pagewise_text_free(NULL);
    OK(pagewise_explain(rig, NULL));
}

static void wait(pagewise_rig *rig)
{
    OK(pagewise_delay_ns(rig, 5000));
}

static bool clock_bit(pagewise_rig *rig, bool bit)
{
    bool level = false;
    OK(pagewise_set_sda(rig, bit));
    wait(rig);
    OK(pagewise_set_scl(rig, true));
    wait(rig);
    OK(pagewise_sda(rig, &level));
    OK(pagewise_set_scl(rig, false));
    return level;
}

/* Returns true if the byte was acknowledged. */
static bool clock_byte(pagewise_rig *rig, uint8_t byte)
{
    for (int bit = 7; bit >= 0; bit--) {
        clock_bit(rig, (byte >> bit & 1) != 0);
    }
    return !clock_bit(rig, true);
}

static void pins_of_the_controller(const char *model)
{
    pagewise_rig *rig = pagewise_rig_new(100000, 3300, 3);
    uint32_t chip = 0;
    uint8_t byte = 0;
    bool high = false;
    OK(pagewise_attach_file(rig, model, ground, &chip));
    BAD(pagewise_set_sda(rig, false));
    BAD(pagewise_lay_lines(rig, 0, 50));
    OK(pagewise_lay_lines(rig, 4700, 50));
    OK(pagewise_scl(rig, &high));
    CHECK(high);
    OK(pagewise_set_sda(rig, false));
    wait(rig);
    OK(pagewise_set_scl(rig, false));
    CHECK(clock_byte(rig, 0xA0) && clock_byte(rig, 0x00) && clock_byte(rig, 0x33) && clock_byte(rig, 0x5C));
    OK(pagewise_set_sda(rig, false));
    wait(rig);
    OK(pagewise_set_scl(rig, true));
    wait(rig);
    OK(pagewise_set_sda(rig, true));
    OK(pagewise_delay_ns(rig, 10000000));
    OK(pagewise_memory(rig, chip, 0x33, &byte, 1));
    CHECK(byte == 0x5C);
    OK(pagewise_write_vcd(rig, "/dev/null"));
    CHECK(pagewise_write_vcd(rig, "/nowhere/x.vcd") == PAGEWISE_STATUS_BAD_FILE);
    pagewise_rig_free(rig);
}

/* Whether a transfer over these lines is an incident of bus-timing with these words. */
static bool told_of_lines(const char *model, uint32_t pull_up_ohm, uint32_t capacitance_pf, const char *words)
{
    pagewise_rig *rig = pagewise_rig_new(100000, 3300, 3);
    uint32_t chip = 0;
    size_t count = 0;
    bool told = false;
    OK(pagewise_attach_file(rig, model, ground, &chip));
    OK(pagewise_lay_lines(rig, pull_up_ohm, capacitance_pf));
    OK(pagewise_set_sda(rig, false));
    wait(rig);
    OK(pagewise_set_scl(rig, false));
    (void)clock_byte(rig, 0xA0);
    OK(pagewise_finish(rig, &count));
    for (size_t i = 0; i < count; i++) {
        pagewise_incident incident;
        OK(pagewise_incident_at(rig, i, &incident));
        told |= strcmp(incident.hazard, "bus-timing") == 0 && strstr(incident.text, words) != NULL;
    }
    pagewise_rig_free(rig);
    return told;
}

/* R_P(min) and t_R. Source: UM10204 section 7.1. */
static void lines_that_no_bus_may_have(const char *model)
{
    CHECK(told_of_lines(model, 1, 30, "a pull-up of 1 ohm lets 2900000 uA flow"));
    CHECK(told_of_lines(model, 1000000, 400, "t_R is 338920 ns"));
    CHECK(!told_of_lines(model, 4700, 50, ""));
}

/* Asks what can be asked; nothing of it may change what happens. */
static void ask(pagewise_rig *rig, uint32_t chip)
{
    bool level = false;
    uint8_t byte = 0;
    size_t count = 0;
    char *text = NULL;
    OK(pagewise_busy(rig, chip, &level));
    OK(pagewise_memory(rig, chip, 0, &byte, 1));
    OK(pagewise_sda(rig, &level));
    OK(pagewise_finish(rig, &count));
    OK(pagewise_trace(rig, &text));
    pagewise_text_free(text);
    OK(pagewise_explain(rig, &text));
    pagewise_text_free(text);
}

/* A page write with a filtered spike on SDA, and an edge that is given up half way; the trace is to be freed. */
static char *spiked_write(const char *model, bool asks, uint64_t *now)
{
    const uint8_t bytes[] = {0xA0, 0x00, 0x33, 0xFF};
    pagewise_rig *rig = pagewise_rig_new(100000, 3300, 3);
    uint32_t chip = 0;
    uint8_t byte = 0;
    char *trace = NULL;
    OK(pagewise_attach_file(rig, model, ground, &chip));
    OK(pagewise_lay_lines(rig, 1000, 30));
    OK(pagewise_set_sda(rig, false));
    wait(rig);
    OK(pagewise_set_scl(rig, false));
    for (size_t i = 0; i < sizeof bytes; i++) {
        CHECK(clock_byte(rig, bytes[i]));
    }
    /* SCL is high and SDA low for 20 ns: shorter than any chip notices. */
    OK(pagewise_set_sda(rig, true));
    wait(rig);
    OK(pagewise_set_scl(rig, true));
    wait(rig);
    OK(pagewise_set_sda(rig, false));
    OK(pagewise_delay_ns(rig, 20));
    if (asks) {
        ask(rig, chip);
    }
    OK(pagewise_set_sda(rig, true));
    if (asks) {
        ask(rig, chip);
    }
    OK(pagewise_delay_ns(rig, 100));
    OK(pagewise_set_scl(rig, false));
    for (int bit = 0; bit < 8; bit++) {
        clock_bit(rig, true);
    }
    OK(pagewise_set_sda(rig, false));
    wait(rig);
    OK(pagewise_set_scl(rig, true));
    wait(rig);
    OK(pagewise_set_sda(rig, true));
    if (asks) {
        ask(rig, chip);
    }
    OK(pagewise_delay_ns(rig, 10000000));
    OK(pagewise_memory(rig, chip, 0x34, &byte, 1));
    OK(pagewise_now_ns(rig, now));
    OK(pagewise_trace(rig, &trace));
    pagewise_rig_free(rig);
    return trace;
}

static void questions_change_nothing(const char *model)
{
    uint64_t unasked_ns = 0, asked_ns = 1;
    char *unasked = spiked_write(model, false, &unasked_ns), *asked = spiked_write(model, true, &asked_ns);
    CHECK(strcmp(unasked, asked) == 0 && unasked_ns == asked_ns);
    CHECK(strstr(asked, "33+ FF+ FF+ P") != NULL);
    pagewise_text_free(unasked);
    pagewise_text_free(asked);
}

static void torn_page(const char *model)
{
    const uint8_t write[] = {0x00, 0x00, 0x12}, header[] = {0x00, 0x00};
    uint8_t byte = 0;
    pagewise_rig *rig = pagewise_rig_new(400000, 3300, 4);
    uint32_t chip = 0;
    OK(pagewise_attach_file(rig, model, ground, &chip));
    OK(pagewise_set_torn_model(rig, "new", 1));
    BAD(pagewise_set_torn_model(rig, "torn", 1));
    OK(pagewise_write(rig, 0x50, write, sizeof write));
    OK(pagewise_power_cycle(rig));
    OK(pagewise_write_read(rig, 0x50, header, sizeof header, &byte, 1));
    CHECK(byte == 0x12);
    OK(pagewise_set_torn_model(rig, "old", 1));
    OK(pagewise_write(rig, 0x50, (const uint8_t[]){0x00, 0x00, 0x13}, 3));
    OK(pagewise_power_cycle(rig));
    OK(pagewise_write_read(rig, 0x50, header, sizeof header, &byte, 1));
    CHECK(byte == 0x12);
    pagewise_rig_free(rig);
}

static void refusals(const char *model)
{
    const pagewise_straps nonsense = {9, 0, 0, 0};
    pagewise_rig *rig = pagewise_rig_new(400000, 3300, 2);
    uint32_t chip = 0;
    CHECK(pagewise_rig_new(0, 3300, 1) == NULL && pagewise_rig_new(400000, 7000, 1) == NULL);
    BAD(pagewise_attach_file(rig, model, nonsense, &chip));
    BAD(pagewise_attach_file(rig, NULL, ground, &chip));
    BAD(pagewise_attach_json(rig, "\xFF", ground, &chip));
    CHECK(pagewise_attach_json(rig, "{}", ground, &chip) == PAGEWISE_STATUS_BAD_MODEL);
    BAD(pagewise_busy(rig, 0, NULL));
    BAD(pagewise_start(NULL));
    BAD(pagewise_delay_ns(NULL, 1));
    BAD(pagewise_delay_ns(rig, UINT64_MAX));
    BAD(pagewise_delay_ns(rig, UINT64_MAX / 2));
    OK(pagewise_delay_ns(rig, 1));
    BAD(pagewise_finish(NULL, NULL));
    pagewise_rig_free(rig);
    pagewise_rig_free(NULL);
}

int main(int argc, char **argv)
{
    uint32_t chip = 7;
    pagewise_rig *rig = pagewise_rig_new(400000, 3300, 1);
    CHECK(argc == 2 && rig != NULL && strcmp(pagewise_last_error(), "") == 0);
    OK(pagewise_attach_file(rig, argv[1], ground, &chip));
    CHECK(chip == 0);
    transfers(rig, chip);
    steps(rig);
    held_line(rig, chip);
    pins_and_supply(rig, chip);
    faults(rig);
    memory(rig, chip);
    reports(rig, chip);
    pagewise_rig_free(rig);
    lines_that_no_bus_may_have(argv[1]);
    pins_of_the_controller(argv[1]);
    questions_change_nothing(argv[1]);
    torn_page(argv[1]);
    refusals(argv[1]);
    puts("all kept");
    return 0;
}
