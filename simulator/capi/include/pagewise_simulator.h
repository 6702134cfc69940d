// Pagewise: a simulated bus with serial I2C EEPROMs, for firmware in C that is tested on the host.
//
// Made by cbindgen from simulator/capi; a test keeps it current. Every function returns a pagewise_status unless it
// says otherwise; pagewise_last_error() then tells the reason in words. A rig belongs to one thread at a time.
//
// Link with libpagewise_capi.a (and -lpthread -ldl -lm) or libpagewise_capi.so.

#ifndef PAGEWISE_SIMULATOR_H
#define PAGEWISE_SIMULATOR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

// A pin tied to ground.
#define PAGEWISE_LOW 0

// A pin tied to the supply.
#define PAGEWISE_HIGH 1

// A pin that is not connected.
#define PAGEWISE_OPEN 2

// Number in place of a chip where a hazard concerns no chip in particular.
#define PAGEWISE_NO_CHIP UINT32_MAX

// What a function has to say.
typedef enum {
  // Done.
  PAGEWISE_STATUS_OK = 0,
  // Nobody answered the device address.
  PAGEWISE_STATUS_ADDRESS_NACK = 1,
  // A byte was not acknowledged.
  PAGEWISE_STATUS_DATA_NACK = 2,
  // SDA or SCL is held low: no START or STOP is possible. pagewise_recover may help.
  PAGEWISE_STATUS_LINE_HELD = 3,
  // There is no supply.
  PAGEWISE_STATUS_NO_SUPPLY = 4,
  // A null pointer, a chip that the rig does not have, or a value out of range. Nothing was done.
  PAGEWISE_STATUS_BAD_ARGUMENT = 5,
  // The model cannot be read, or it contradicts itself. Nothing was attached.
  PAGEWISE_STATUS_BAD_MODEL = 6,
  // The faults cannot be read, or name a place that the rig does not have. Nothing was changed.
  PAGEWISE_STATUS_BAD_FAULTS = 7,
  // The simulator failed; the rig refuses everything from now on.
  PAGEWISE_STATUS_INTERNAL = 8,
  // A file cannot be written.
  PAGEWISE_STATUS_BAD_FILE = 9,
} pagewise_status;

// A simulated bus with its chips, its virtual clock, trace and detectors.
typedef struct pagewise_rig pagewise_rig;

// How the pins of a chip are wired: each PAGEWISE_LOW, PAGEWISE_HIGH or PAGEWISE_OPEN.
typedef struct {
  // Address pin A0.
  uint8_t a0;
  // Address pin A1.
  uint8_t a1;
  // Address pin A2.
  uint8_t a2;
  // Write protect.
  uint8_t wp;
} pagewise_straps;

// A hazard that a detector named. The texts belong to the rig and are valid until the next pagewise_finish.
typedef struct {
  // Virtual time at which it became certain.
  uint64_t at_ns;
  // The chip, or PAGEWISE_NO_CHIP.
  uint32_t chip;
  // Name of the hazard, such as `page-wrap`.
  const char *hazard;
  // What happened, with the numbers.
  const char *text;
} pagewise_incident;

#ifdef __cplusplus
extern "C" {
#endif // __cplusplus

// START, `address` with R/W = 0, the bytes, STOP.
//
// # Safety
//
// As pagewise_delay_ns; `bytes` points to `len` bytes.
pagewise_status pagewise_write(pagewise_rig *rig, uint8_t address, const uint8_t *bytes, size_t len);

// START, `address` with R/W = 1, `len` bytes of which the last is not acknowledged, STOP. At least one byte.
//
// # Safety
//
// As pagewise_delay_ns; `bytes` points to `len` writable bytes.
pagewise_status pagewise_read(pagewise_rig *rig, uint8_t address, uint8_t *bytes, size_t len);

// START, `address` with R/W = 0, the bytes to write, repeated START, `address` with R/W = 1, the bytes to read, STOP.
//
// # Safety
//
// As pagewise_write and pagewise_read; the two buffers do not overlap.
pagewise_status pagewise_write_read(pagewise_rig *rig,
                                    uint8_t address,
                                    const uint8_t *bytes,
                                    size_t len,
                                    uint8_t *read,
                                    size_t read_len);

// START, or a repeated START inside a transfer. The next byte sent is the device address with R/W.
//
// # Safety
//
// As pagewise_delay_ns.
pagewise_status pagewise_start(pagewise_rig *rig);

// One byte to the chips; directly after a START it is the device address with R/W in the lowest bit. The acknowledge bit
// goes to `acked`: a missing one is no error here.
//
// # Safety
//
// As pagewise_delay_ns; `acked` is null or writable.
pagewise_status pagewise_send(pagewise_rig *rig,
                              uint8_t byte,
                              bool *acked);

// One byte from the chips; `ack` is the controller's acknowledge bit, false for the last byte of a read.
//
// # Safety
//
// As pagewise_delay_ns; `byte` is null or writable.
pagewise_status pagewise_receive(pagewise_rig *rig, bool ack, uint8_t *byte);

// STOP. PAGEWISE_STATUS_LINE_HELD if a chip whose last byte was acknowledged drives SDA low.
//
// # Safety
//
// As pagewise_delay_ns.
pagewise_status pagewise_stop(pagewise_rig *rig);

// Nine clocks with SDA released, then STOP: frees a chip that holds SDA.
//
// # Safety
//
// As pagewise_delay_ns.
pagewise_status pagewise_recover(pagewise_rig *rig);

// Attaches an erased chip from the text of a model file, which `pagewise model PART` writes. Its number, counted from 0
// in the order of attachment, goes to `chip`.
//
// # Safety
//
// As pagewise_delay_ns; `model_json` is null or a C string; `chip` is null or writable.
pagewise_status pagewise_attach_json(pagewise_rig *rig,
                                     const char *model_json,
                                     pagewise_straps straps,
                                     uint32_t *chip);

// Attaches an erased chip from a model file.
//
// # Safety
//
// As pagewise_attach_json; `path` is null or a C string.
pagewise_status pagewise_attach_file(pagewise_rig *rig,
                                     const char *path,
                                     pagewise_straps straps,
                                     uint32_t *chip);

// Pins the duration of a chip's write cycles to `ns`; 0 draws each between typical and longest again.
//
// # Safety
//
// As pagewise_delay_ns.
pagewise_status pagewise_set_write_cycle_ns(pagewise_rig *rig, uint32_t chip, uint64_t ns);

// Whether a chip's write cycle runs.
//
// # Safety
//
// As pagewise_delay_ns; `busy` is null or writable.
pagewise_status pagewise_busy(pagewise_rig *rig, uint32_t chip, bool *busy);

// Lays faults over the rig, in place of earlier ones. The text is JSON: an object with any of `script` (a list of
// faults at chosen places, such as `{"nack": {"byte": 2}}`), `seed`, and the shares `nack`, `flip`, `lie`, `long`
// (such as `{"hits": 1, "of": 100}`).
//
// # Safety
//
// As pagewise_delay_ns; `faults_json` is null or a C string.
pagewise_status pagewise_set_faults_json(pagewise_rig *rig,
                                         const char *faults_json);

// Takes the faults away, stuck bits of a script included; wear and torn pages stay.
//
// # Safety
//
// As pagewise_delay_ns.
pagewise_status pagewise_clear_faults(pagewise_rig *rig);

// Faults that took effect so far.
//
// # Safety
//
// As pagewise_delay_ns; `count` is null or writable.
pagewise_status pagewise_fault_hits(pagewise_rig *rig, size_t *count);

// Capacity of a chip in bytes.
//
// # Safety
//
// As pagewise_delay_ns; `capacity` is null or writable.
pagewise_status pagewise_capacity(pagewise_rig *rig, uint32_t chip, uint32_t *capacity);

// Copies `len` bytes of a chip's array, as stored now; a write cycle that still runs has not changed them yet.
//
// # Safety
//
// As pagewise_delay_ns; `bytes` points to `len` writable bytes.
pagewise_status pagewise_memory(pagewise_rig *rig,
                                uint32_t chip,
                                uint32_t offset,
                                uint8_t *bytes,
                                size_t len);

// Puts bytes into a chip's array behind its back, as a programmer did before the board was built.
//
// # Safety
//
// As pagewise_delay_ns; `bytes` points to `len` bytes.
pagewise_status pagewise_load(pagewise_rig *rig,
                              uint32_t chip,
                              uint32_t offset,
                              const uint8_t *bytes,
                              size_t len);

// Notes that the firmware means these bytes to be stored; pagewise_finish and pagewise_explain compare.
//
// # Safety
//
// As pagewise_load.
pagewise_status pagewise_meant(pagewise_rig *rig,
                               uint32_t chip,
                               uint32_t offset,
                               const uint8_t *bytes,
                               size_t len);

// Moves the WP pin of a chip to a level.
//
// # Safety
//
// As pagewise_delay_ns.
pagewise_status pagewise_set_wp(pagewise_rig *rig, uint32_t chip, uint8_t level);

// Sets the supply of the whole rig at once, 0 to 6500 mV. Lost inside a write cycle, it leaves the page torn.
//
// # Safety
//
// As pagewise_delay_ns.
pagewise_status pagewise_set_supply_mv(pagewise_rig *rig, uint32_t mv);

// Supply off for a millisecond, on again, and the longest power-up time of the chips waited for.
//
// # Safety
//
// As pagewise_delay_ns.
pagewise_status pagewise_power_cycle(pagewise_rig *rig);

// What a write cycle leaves behind when the supply is lost inside it: `old`, `new`, `prefix`, `subset`, `erased` or
// `unstable`; `draws` seeds what is drawn.
//
// # Safety
//
// As pagewise_delay_ns; `model` is null or a C string.
pagewise_status pagewise_set_torn_model(pagewise_rig *rig,
                                        const char *model,
                                        uint64_t draws);

// The program is over: the detectors decide what was still open. The number of hazards so far goes to `count`.
//
// # Safety
//
// As pagewise_delay_ns; `count` is null or writable.
pagewise_status pagewise_finish(pagewise_rig *rig,
                                size_t *count);

// A hazard by its number, from 0 to one less than pagewise_finish counted.
//
// # Safety
//
// As pagewise_delay_ns; `incident` is null or writable.
pagewise_status pagewise_incident_at(pagewise_rig *rig, size_t number, pagewise_incident *incident);

// Where memory differs from what was meant, and why: a line each, empty if nothing is lost. The text is new and is to be
// freed with pagewise_text_free.
//
// # Safety
//
// As pagewise_delay_ns; `text` is null or writable.
pagewise_status pagewise_explain(pagewise_rig *rig,
                                 char **text);

// The trace, a line per transfer: time, device address, bytes, a `+` for each acknowledge and a `-` for each missing
// one. The text is new and is to be freed with pagewise_text_free.
//
// # Safety
//
// As pagewise_explain.
pagewise_status pagewise_trace(pagewise_rig *rig,
                               char **text);

// Writes the trace as a value change dump for waveform viewers: SCL, SDA, supply, and per chip busy and WP.
//
// # Safety
//
// As pagewise_delay_ns; `path` is null or a C string.
pagewise_status pagewise_write_vcd(pagewise_rig *rig, const char *path);

// Frees a text of pagewise_trace or pagewise_explain; null is allowed.
//
// # Safety
//
// `text` is null, or comes from one of them and is not used afterwards.
void pagewise_text_free(char *text);

// A bus without chips; null if SCL is not from 1 Hz to 5 MHz or the supply above 6500 mV.
//
// `seed` decides everything that is drawn: levels of open pins, durations of write cycles, contents of registers. To be
// freed with pagewise_rig_free.
pagewise_rig *pagewise_rig_new(uint32_t scl_hz,
                               uint32_t supply_mv,
                               uint64_t seed);

// A bus with the chip that the environment names, so that one test binary runs on every part: `pagewise trial` names it.
// The chip's number, 0, goes to `chip`. Null if the environment names none, or one that cannot be. What was seen is told
// to the trial when the rig is freed with pagewise_rig_free.
//
// # Safety
//
// `chip` is null or writable.
pagewise_rig *pagewise_rig_from_environment(uint32_t *chip);

// Frees a rig; null is allowed.
//
// # Safety
//
// `rig` is null, or comes from pagewise_rig_new and is not used afterwards.
void pagewise_rig_free(pagewise_rig *rig);

// Lets virtual time pass. Nothing on the host waits. Refused where virtual time would end, some 146 years after its
// beginning.
//
// # Safety
//
// As for every function: `rig` is null or a living rig that no other thread uses meanwhile.
pagewise_status pagewise_delay_ns(pagewise_rig *rig,
                                  uint64_t ns);

// Virtual time since the rig was made, in nanoseconds.
//
// # Safety
//
// As pagewise_delay_ns; `ns` is null or writable.
pagewise_status pagewise_now_ns(pagewise_rig *rig, uint64_t *ns);

// Changes the SCL rate, 1 Hz to 5 MHz.
//
// # Safety
//
// As pagewise_delay_ns.
pagewise_status pagewise_set_scl_hz(pagewise_rig *rig, uint32_t scl_hz);

// Reason of the last status other than PAGEWISE_STATUS_OK in this thread; empty if there was none. Never null; valid
// until the next call in this thread.
const char *pagewise_last_error(void);

// Lays the lines of the bus: a pull-up of 1 ohm to 10 megohm and a capacitance of up to 10000 pF each. From then on the
// chips see edges, and the four functions below move the controller's open-drain pins. Time passes in pagewise_delay_ns.
//
// # Safety
//
// As pagewise_delay_ns.
pagewise_status pagewise_lay_lines(pagewise_rig *rig,
                                   uint32_t pull_up_ohm,
                                   uint32_t capacitance_pf);

// Releases SDA (true) or pulls it low (false).
//
// # Safety
//
// As pagewise_delay_ns.
pagewise_status pagewise_set_sda(pagewise_rig *rig, bool high);

// Releases SCL (true) or pulls it low (false).
//
// # Safety
//
// As pagewise_delay_ns.
pagewise_status pagewise_set_scl(pagewise_rig *rig, bool high);

// The level of SDA now, whoever pulls.
//
// # Safety
//
// As pagewise_delay_ns; `high` is null or writable.
pagewise_status pagewise_sda(pagewise_rig *rig, bool *high);

// The level of SCL now, whoever pulls.
//
// # Safety
//
// As pagewise_sda.
pagewise_status pagewise_scl(pagewise_rig *rig, bool *high);

#ifdef __cplusplus
}  // extern "C"
#endif  // __cplusplus

#endif  /* PAGEWISE_SIMULATOR_H */
