//! The functions of the generated C that are proved, and mistakes in each that must not be.

/// A function that is proved; what it is proved to do; mistakes with which that must not be proved any more.
pub struct Proved(pub &'static str, pub &'static str, pub &'static [(&'static str, &'static str)]);

pub const PROVED: [Proved; 25] = [
    Proved(
        "check",
        "accepts no geometry that contradicts itself",
        &[
            ("bits + shift > 7u", "bits + shift > 8u"),
            ("capacity > reach", "capacity > reach + 1u"),
            ("if (header > 3u) {", "if (header > 4u) {"),
        ],
    ),
    Proved(
        "data_bytes",
        "header and data fit into the transfer",
        &[("transfer_bytes -= header_bytes;", "transfer_bytes -= header_bytes - 1u;")],
    ),
    Proved(
        "chunk_bytes",
        "stays in its page or block, the request and the limit, and gets on",
        &[("mask - place(offset, mask) + 1u", "mask + 1u"), ("if (bytes > data_max)", "if (bytes >= data_max + 1u)")],
    ),
    Proved(
        "put_header",
        "the word address, most significant byte first, and the block above it",
        &[
            ("header[i - 1u] = ", "header[header_bytes - i] = "),
            ("i = header_bytes; i > 0u; i--", "i = header_bytes; i > 1u; i--"),
            ("offset /= 0x100u", "offset /= 0x80u"),
        ],
    ),
    Proved(
        "locate",
        "the device address of each offset, 7 bits",
        &[
            (
                "put_header(offset, driver->header_bytes, header)",
                "put_header(offset + 1u, driver->header_bytes, header)",
            ),
            ("block * driver->block_unit", "block"),
        ],
    ),
    Proved("begin", "an access begins", &[("driver->step = access;", "driver->step = READ_STEP;")]),
    Proved(
        "next_access",
        "cut at pages where it writes, at read blocks where it reads, at both where it does both; a read or comparison never writes",
        &[
            ("uint32_t mask = driver->page_mask;", "uint32_t mask = driver->read_mask;"),
            ("mask > driver->read_mask", "mask < driver->read_mask"),
            ("if (driver->job <= WRITE_VERIFIED) {", "if (driver->job <= COMPARE) {"),
        ],
    ),
    Proved(
        "start_wait",
        "a wait has the whole bound",
        &[("driver->budget_us = driver->bound_us;", "driver->budget_us = driver->pause_us;")],
    ),
    Proved(
        "ask",
        "asks by a poll or by the access itself",
        &[(
            "driver->tries == ASKING ? driver->access : (uint8_t)",
            "driver->tries == LAST ? driver->access : (uint8_t)",
        )],
    ),
    Proved(
        "advance",
        "on to the next chunk",
        &[("driver->start += driver->chunk;", "driver->start += driver->chunk + 1u;")],
    ),
    Proved(
        "wrote",
        "a page write is waited for, and read back where that is wanted",
        &[("begin(driver, COMPARE_STEP);", "advance(driver);"), ("!(last && driver->lazy)", "!last")],
    ),
    Proved(
        "busy",
        "each try uses up some of the bound, no more than its pause; at its end the wait fails",
        &[
            ("driver->budget_us - step_us : 0u", "driver->budget_us : 0u"),
            ("driver->tries = LAST;\n    }\n    if", "driver->tries = FIRST;\n    }\n    if"),
        ],
    ),
    Proved(
        "refused",
        "an access is tried again once, after a wait",
        &[
            ("driver->tries = LAST;\n        driver->pending = false;", "driver->pending = false;"),
            (
                "return driver->step == WRITE_STEP ? EEPROM_WRITE_PROTECTED",
                "return driver->step == READ_STEP ? EEPROM_WRITE_PROTECTED",
            ),
        ],
    ),
    Proved(
        "answered",
        "what was written is stored",
        &[("    driver->unsettled = 0u;\n    driver->step", "    driver->step")],
    ),
    Proved("same", "all bytes of the chunk are compared", &[("if (expected != found) {", "if (expected > found) {")]),
    Proved(
        "accessed",
        "on with the next chunk, or with the write of a page that differs",
        &[("begin(driver, WRITE_STEP);", "begin(driver, READ_STEP);")],
    ),
    Proved(
        "load",
        "stays in the buffer",
        &[("driver->buffer + driver->header_bytes;", "driver->buffer + driver->header_bytes + 1u;")],
    ),
    Proved(
        "exchange",
        "the header of the offset before the data; the device address",
        &[
            (
                "const uint32_t send_length = driver->header_bytes + data;",
                "const uint32_t send_length = driver->header_bytes + data + 1u;",
            ),
            ("locate(driver, offset, send);", "locate(driver, offset + 1u, send);"),
        ],
    ),
    Proved(
        "transfer",
        "one page with its header, or a header and room for what is read; a write is noted before it is sent",
        &[
            ("data = driver->chunk;", "data = driver->chunk - 1u;"),
            ("driver->pending_offset = offset;", "driver->pending_offset = 0u;"),
            ("? driver->into + driver->start : driver->buffer;", "? driver->into : driver->buffer;"),
        ],
    ),
    Proved(
        "take",
        "what came of a transfer leads to the next step",
        &[
            ("return driver->step == POLL_STEP ? busy", "return driver->step != POLL_STEP ? busy"),
            (
                "if (driver->step == POLL_STEP) {\n        answered",
                "if (driver->step != POLL_STEP) {\n        answered",
            ),
        ],
    ),
    Proved(
        "perform",
        "one step, at the place of the write that is waited for or at that of the access; each leaves less to do",
        &[
            ("} else if (driver->pending) {", "} else if (!driver->pending) {"),
            ("driver->position = at;", "driver->position = driver->offset;"),
            ("driver->bus.context, driver->pause_us", "driver->bus.context, driver->pause_us / 2u"),
            (
                "if (driver->fixed_wait) {\n            answered(driver);",
                "if (driver->fixed_wait) {\n            ask(driver);",
            ),
        ],
    ),
    Proved(
        "finish",
        "steps until all is done or one fails: it ends, whatever the part answers",
        &[("while (driver->step != NO_STEP) {", "while (true) {")],
    ),
    Proved(
        "admit",
        "a request outside the part is refused",
        &[("length > driver->capacity_bytes - offset", "length > driver->capacity_bytes")],
    ),
    Proved(
        "serve",
        "all bytes of a request, or those that are known to be stored",
        &[
            ("safe_bytes = driver->start - driver->unsettled;", "safe_bytes = driver->start;"),
            ("driver->length = length;", "driver->length = length / 2u;"),
            ("    driver->start = 0u;\n", ""),
        ],
    ),
    Proved(
        "run",
        "nothing is done that is not admitted",
        &[
            ("status == EEPROM_OK ? serve(", "status != EEPROM_BUFFER_TOO_SMALL ? serve("),
            ("serve(driver, job, offset, (uint32_t)length)", "serve(driver, job, 0u, (uint32_t)length / 2u)"),
        ],
    ),
];
