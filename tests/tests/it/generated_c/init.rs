//! `init` refuses every geometry that the Rust driver refuses, for the same reason, and every buffer without room.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use pagewise_driver::{Geometry, GeometryError, Parameters};
use pagewise_tests::search::{scaled, seed};
use pagewise_tests::tools;

use super::Draws;
use super::workshop::{difference, generate, run, seats, succeeded, text};

/// Buffer, capacity, page, word-address bytes, device address, block-select bits and shift, sequential-read block; and what
/// `init` must say. One line for each condition, at its edge.
const CASES: [([u32; 8], &str); 31] = [
    ([34, 4096, 32, 2, 0x50, 0, 0, 4096], "ok"),
    ([3, 4096, 32, 2, 0x50, 0, 0, 4096], "ok"),
    ([2, 4096, 32, 2, 0x50, 0, 0, 4096], "buffer too small"),
    ([0, 4096, 32, 2, 0x50, 0, 0, 4096], "buffer too small"),
    ([34, 0, 32, 2, 0x50, 0, 0, 4096], "bad capacity"),
    ([34, 65_536, 32, 2, 0x50, 0, 0, 65_536], "ok"),
    ([34, 131_072, 32, 2, 0x50, 0, 0, 32], "bad capacity"),
    ([34, 65_568, 32, 2, 0x50, 0, 0, 32], "bad capacity"),
    ([34, 4096, 0, 2, 0x50, 0, 0, 4096], "bad page"),
    ([34, 4096, 48, 2, 0x50, 0, 0, 4096], "bad page"),
    ([34, 4096, 33, 2, 0x50, 0, 0, 4096], "bad page"),
    ([34, 4096, 8192, 2, 0x50, 0, 0, 4096], "bad page"),
    ([34, 4080, 32, 2, 0x50, 0, 0, 16], "bad page"),
    ([34, 4096, 0x8000_0000, 2, 0x50, 0, 0, 4096], "bad page"),
    ([34, 512, 512, 1, 0x50, 1, 0, 512], "ok"),
    ([34, 1024, 512, 1, 0x50, 2, 0, 512], "bad page"),
    ([34, 4096, 32, 2, 0x50, 0, 0, 0], "bad sequential read"),
    ([34, 4096, 32, 2, 0x50, 0, 0, 4095], "bad sequential read"),
    ([34, 4096, 32, 2, 0x50, 0, 0, 8192], "bad sequential read"),
    ([34, 16, 8, 4, 0x50, 0, 0, 16], "bad word address"),
    ([34, 16, 8, 5, 0x50, 0, 0, 16], "bad word address"),
    ([34, 128, 4, 0, 0, 7, 0, 128], "ok"),
    ([34, 64, 4, 0, 0, 7, 0, 64], "bad word address"),
    ([34, 128, 4, 0, 0x50, 7, 0, 128], "bad word address"),
    ([34, 128, 4, 0, 0, 6, 0, 128], "bad word address"),
    ([34, 4096, 32, 2, 0xA0, 0, 0, 4096], "bad device address"),
    ([34, 2048, 16, 1, 0x51, 3, 0, 2048], "bad device address"),
    ([34, 2048, 16, 1, 0x50, 3, 4, 2048], "bad device address"),
    ([34, 2048, 16, 1, 0x50, 3, 5, 2048], "bad block select"),
    ([34, 2048, 16, 1, 0x50, 8, 0, 2048], "bad block select"),
    ([34, 1024, 16, 1, 0x50, 3, 0, 1024], "bad block select"),
];

/// Each condition of `check` and of `init`, and what is left of it when it is forgotten.
const FORGOTTEN: [(&str, &str); 13] = [
    ("capacity == 0u) {\n        return", "false) {\n        return"),
    ("!divides(part->page_bytes, capacity)", "false"),
    ("return ((block | capacity) &", "return (capacity &"),
    ("return ((block | capacity) &", "return (block &"),
    ("!divides(part->sequential_read_bytes, capacity)", "false"),
    ("header > 3u", "false"),
    ("address > 0x7Fu", "false"),
    ("bits + shift > 7u", "false"),
    ("return capacity == 128u && bits == 7u && address == 0u ?", "return true ?"),
    ("!has_room(address, bits, shift)", "false && !has_room(address, bits, shift)"),
    ("capacity > reach", "false"),
    ("bits > 0u && capacity <= reach / 2u", "false"),
    ("part->page_bytes > block && part->page_bytes != capacity", "block == 0u"),
];

/// Says what `init` says to each line of numbers.
const PROGRAM: &str = r#"#include <stdio.h>
#include "eeprom.h"

static eeprom_outcome transfer(void *context, uint8_t device_address, const uint8_t *send, size_t send_length,
    uint8_t *receive, size_t receive_length)
{
    (void)context, (void)device_address, (void)send, (void)send_length, (void)receive, (void)receive_length;
    return EEPROM_FAILED;
}

static void delay(void *context, uint32_t us)
{
    (void)context, (void)us;
}

int main(void)
{
    static uint8_t buffer[64];
    static eeprom_driver driver;
    const eeprom_bus bus = {transfer, delay, NULL};
    unsigned long n[8];
    while (scanf("%lu %lu %lu %lu %lu %lu %lu %lu", n, n + 1, n + 2, n + 3, n + 4, n + 5, n + 6, n + 7) == 8) {
        const eeprom_geometry part = {(uint32_t)n[1], (uint32_t)n[2], (uint8_t)n[3], (uint8_t)n[4], (uint8_t)n[5],
            (uint8_t)n[6], (uint32_t)n[7], 5000};
        const char *answer = "?";
        switch (eeprom_init(&driver, &part, NULL, &bus, buffer, n[0])) {
        case EEPROM_OK: answer = "ok"; break;
        case EEPROM_BUFFER_TOO_SMALL: answer = "buffer too small"; break;
        case EEPROM_BAD_CAPACITY: answer = "bad capacity"; break;
        case EEPROM_BAD_PAGE: answer = "bad page"; break;
        case EEPROM_BAD_SEQUENTIAL_READ: answer = "bad sequential read"; break;
        case EEPROM_BAD_WORD_ADDRESS: answer = "bad word address"; break;
        case EEPROM_BAD_DEVICE_ADDRESS: answer = "bad device address"; break;
        case EEPROM_BAD_BLOCK_SELECT: answer = "bad block select"; break;
        default: break;
        }
        puts(answer);
    }
    return 0;
}
"#;

/// The program with the driver in `folder`.
fn program(cc: &Path, folder: &Path) -> PathBuf {
    fs::write(folder.join("main.c"), PROGRAM).unwrap();
    let build = ["-std=c99", "-Wall", "-Werror", "-fsanitize=undefined", "main.c", "eeprom.c", "-o", "init"];
    succeeded(&Command::new(cc).args(build).current_dir(folder).output().unwrap());
    folder.join("init")
}

fn line(numbers: [u32; 8]) -> String {
    numbers.map(|number| number.to_string()).join(" ") + "\n"
}

/// What the Rust driver says to the same.
fn in_rust(numbers: [u32; 8]) -> &'static str {
    let [buffer, capacity_bytes, page_bytes, header, address, bits, shift, sequential_read_bytes] = numbers;
    let byte = |number| u8::try_from(number).unwrap();
    let geometry = Geometry::try_new(
        Parameters::new()
            .with_capacity_bytes(capacity_bytes)
            .with_page_bytes(page_bytes)
            .with_word_address_bytes(byte(header))
            .with_device_address(byte(address))
            .with_block_select_bits(byte(bits))
            .with_block_select_shift(byte(shift))
            .with_sequential_read_bytes(sequential_read_bytes)
            .with_write_cycle_us(5_000),
    );
    match geometry {
        Ok(_) if buffer <= header => "buffer too small",
        Ok(_) => "ok",
        Err(GeometryError::CapacityZero | GeometryError::CapacityUnreachable { .. }) => "bad capacity",
        Err(GeometryError::Page { .. } | GeometryError::PageBeyondBlock { .. }) => "bad page",
        Err(GeometryError::SequentialRead { .. }) => "bad sequential read",
        Err(GeometryError::WordAddressBytes { .. } | GeometryError::ZeroByteShape { .. }) => "bad word address",
        Err(GeometryError::DeviceAddress { .. } | GeometryError::BlockSelectCollision { .. }) => "bad device address",
        Err(_) => "bad block select",
    }
}

/// A geometry of the catalogue with up to three values replaced by ones near an edge.
fn near(seats: &[pagewise_tests::seat::Seat], draws: &mut Draws) -> [u32; 8] {
    let part = seats[draws.below(seats.len() as u32) as usize].geometry.parameters();
    let mut numbers = [
        34,
        part.capacity_bytes,
        part.page_bytes,
        part.word_address_bytes.into(),
        part.device_address.into(),
        part.block_select_bits.into(),
        part.block_select_shift.into(),
        part.sequential_read_bytes,
    ];
    for _ in 0..draws.below(4) {
        let field = draws.below(8) as usize;
        let size = 1u32.wrapping_shl(draws.below(32)).wrapping_add(draws.below(3)).wrapping_sub(1);
        numbers[field] = match field {
            0 => draws.below(6),
            3 => draws.below(5),
            4 => draws.below(0x82),
            5 | 6 => draws.below(10),
            _ => draws.one_of(&[size, size, numbers[field].wrapping_mul(2), numbers[field] / 2, 0]),
        };
    }
    numbers
}

fn script() -> (String, String) {
    CASES.iter().map(|(numbers, answer)| (line(*numbers), format!("{answer}\n"))).unzip()
}

#[test]
fn init_refuses_what_the_rust_driver_refuses() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    let folder = tempfile::tempdir().unwrap();
    let seats = seats();
    generate(folder.path(), &seats);
    let program = program(&cc, folder.path());
    let (script, expected) = script();
    assert_eq!(difference(&script, &run(&program, folder.path(), &script), &expected), None);
    for (numbers, answer) in CASES {
        assert_eq!(in_rust(numbers), answer, "{numbers:?}");
    }

    let mut draws = Draws(seed());
    let many: Vec<[u32; 8]> = (0..scaled(20_000)).map(|_| near(&seats, &mut draws)).collect();
    let script: String = many.iter().copied().map(line).collect();
    let expected: String = many.iter().map(|numbers| format!("{}\n", in_rust(*numbers))).collect();
    let differs = difference(&script, &run(&program, folder.path(), &script), &expected);
    assert_eq!(differs, None, "seed {:#x}", seed());
    let mut answers: BTreeMap<&str, u32> = BTreeMap::new();
    expected.lines().for_each(|answer| *answers.entry(answer).or_default() += 1);
    assert!(answers.len() == 8 && answers.values().all(|times| *times > 50), "{answers:?}");
}

#[test]
fn init_accepts_the_whole_catalogue() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    let folder = tempfile::tempdir().unwrap();
    let seats = seats();
    generate(folder.path(), &seats);
    let lines = seats.iter().map(|seat| {
        let part = seat.geometry.parameters();
        let [header, address, bits, shift] =
            [part.word_address_bytes, part.device_address, part.block_select_bits, part.block_select_shift];
        let small = [header, address, bits, shift].map(u32::from);
        line([
            4,
            part.capacity_bytes,
            part.page_bytes,
            small[0],
            small[1],
            small[2],
            small[3],
            part.sequential_read_bytes,
        ])
    });
    let script: String = lines.collect();
    let said = run(&program(&cc, folder.path()), folder.path(), &script);
    assert_eq!(said, "ok\n".repeat(seats.len()));
    assert!(seats.len() > 200);
}

#[test]
fn a_condition_that_init_forgets_is_noticed() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    let folder = tempfile::tempdir().unwrap();
    generate(folder.path(), &seats()[..2]);
    let source = fs::read_to_string(folder.path().join("eeprom.c")).unwrap();
    let (script, expected) = script();
    for (condition, left) in FORGOTTEN {
        assert!(source.contains(condition), "{condition}");
        fs::write(folder.path().join("eeprom.c"), source.replacen(condition, left, 1)).unwrap();
        let said = run(&program(&cc, folder.path()), folder.path(), &script);
        assert!(difference(&script, &said, &expected).is_some(), "`{left}` in place of `{condition}` was not noticed");
    }
}

/// A driver that `init` has refused, or that nobody has made, sends nothing and says so.
const WITHOUT_INIT: &str = r#"#include <stdio.h>
#include "eeprom.h"

static eeprom_outcome transfer(void *context, uint8_t device_address, const uint8_t *send, size_t send_length,
    uint8_t *receive, size_t receive_length)
{
    (void)context, (void)device_address, (void)send, (void)send_length, (void)receive, (void)receive_length;
    puts("sent");
    return EEPROM_DONE;
}

static void delay(void *context, uint32_t us)
{
    (void)context, (void)us;
    puts("waited");
}

int main(void)
{
    static eeprom_driver driver;
    static uint8_t buffer[EEPROM_BUFFER_BYTES];
    const eeprom_bus bus = {transfer, delay, NULL};
    eeprom_geometry part = eeprom_candidates[0].geometry;
    uint8_t bytes[4] = {0};
    for (int made = 0; made < 2; made++) {
        printf("%d ", eeprom_read(&driver, 0, bytes, 4) == EEPROM_NOT_INITIALISED);
        printf("%d ", eeprom_write(&driver, 0, bytes, 4) == EEPROM_NOT_INITIALISED);
        printf("%d ", eeprom_read(&driver, 0, bytes, 0) == EEPROM_NOT_INITIALISED);
        printf("%d\n", eeprom_wait_ready(&driver) == EEPROM_NOT_INITIALISED);
        eeprom_init(&driver, &part, NULL, &bus, buffer, sizeof buffer);
        part.page_bytes = 48;
        printf("%d\n", eeprom_init(&driver, &part, NULL, &bus, buffer, sizeof buffer) == EEPROM_BAD_PAGE);
    }
    /* Without a buffer it reads and no more. */
    part = eeprom_candidates[0].geometry;
    printf("%d ", eeprom_init(&driver, &part, NULL, &bus, NULL, 0) == EEPROM_OK);
    printf("%d ", eeprom_write(&driver, 0, bytes, 4) == EEPROM_BUFFER_TOO_SMALL);
    printf("%d ", eeprom_compare(&driver, 0, bytes, 4) == EEPROM_BUFFER_TOO_SMALL);
    printf("%d\n", eeprom_read(&driver, 0, bytes, 4) == EEPROM_OK);
    return 0;
}
"#;

#[test]
fn a_driver_that_was_not_accepted_sends_nothing() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    let folder = tempfile::tempdir().unwrap();
    generate(folder.path(), &seats()[..2]);
    fs::write(folder.path().join("main.c"), WITHOUT_INIT).unwrap();
    let build = ["-std=c99", "-Wall", "-Wextra", "-Werror", "main.c", "eeprom.c", "-o", "main"];
    succeeded(&Command::new(cc).args(build).current_dir(folder.path()).output().unwrap());
    let output = Command::new(folder.path().join("main")).output().unwrap();
    let mut expected = String::new();
    for _ in 0..2 {
        writeln!(expected, "1 1 1 1\n1").unwrap();
    }
    assert_eq!(text(&output.stdout), expected + "1 1 1 sent\n1\n");
}
