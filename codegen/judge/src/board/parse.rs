//! Reading a board file; every fault comes with its line.

use std::fs;
use std::path::Path;

use super::file::{self, BoardFile, SHAPE, SecondRegion};
use super::{Board, Bus, Firmware, Region, Wait, WriteShape};
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::form::Document;
use pagewise_part::card::RegionKind;

/// Reads a board file.
///
/// # Errors
/// The file cannot be read, or everything that is wrong in it.
pub fn read(path: &Path) -> Result<Board, Faults> {
    let file = path.display().to_string();
    let text = fs::read_to_string(path).map_err(|error| Fault::unreadable(&file, &error))?;
    parse(&file, &text)
}

/// Reads a board from the text of `file`.
///
/// # Errors
/// Everything that is wrong in it.
pub fn parse(file: &str, text: &str) -> Result<Board, Faults> {
    SHAPE.complete(file, text, |form, read| board(form, file, read))
}

fn board(form: &Document<'_>, name: &str, file: BoardFile) -> Board {
    let firmware = firmware(form, &file.firmware);
    let regions = regions(form, file.region);
    for (index, name) in file.protects.iter().flatten().enumerate() {
        if !regions.iter().any(|region| region.name == *name) {
            form.fault(
                &format!("protects[{index}]"),
                format!("`{name}` is not a region of this board"),
                "name a region",
            );
        }
    }
    if let (Some(min), Some(max)) = (file.temperature_min_c, file.temperature_max_c)
        && min > max
    {
        form.fault("temperature_min_c", "is above temperature_max_c", "correct one of them");
    }
    for (index, path) in file.unstated.iter().enumerate() {
        if !SHAPE.fields().iter().any(|field| field.path == *path) {
            let at = format!("unstated[{index}]");
            form.fault(&at, format!("`{path}` is not a field of a board"), "write a path such as bus.supply_v");
        }
    }
    Board {
        file: name.to_owned(),
        name: file.name,
        fitted: file.fitted,
        candidates: file.candidates,
        footprint: file.footprint,
        years: file.years_of_life,
        temperature_min_c: file.temperature_min_c,
        temperature_max_c: file.temperature_max_c,
        yearly_volume: file.yearly_volume,
        unstated: file.unstated,
        recording: file.recording,
        bus: Bus {
            supply_mv: thousandths(file.bus.supply_v),
            scl_khz: file.bus.scl_khz,
            pull_up_ohm: file.bus.pull_up_ohm,
            capacitance_pf: file.bus.capacitance_pf,
            other_addresses: file.bus.other_addresses,
        },
        straps: [file.straps.a0, file.straps.a1, file.straps.a2],
        wp: file.straps.wp,
        firmware,
        regions,
        uses: file.uses.into_iter().map(used).collect(),
        protects: file.protects,
    }
}

/// A decimal as whole thousandths: volts as millivolts, milliseconds as microseconds.
fn thousandths(value: f64) -> u32 {
    // The limits of every field keep the product far below 2^32.
    (value * 1000.0).round() as u32
}

fn firmware(form: &Document<'_>, file: &file::Firmware) -> Firmware {
    let (bits, shift) = (file.block_select_bits.unwrap_or(0), file.block_select_shift.unwrap_or(0));
    let address = file.device_address;
    if bits + shift > 7 {
        form.fault(
            "firmware.block_select_shift",
            "the block-select bits leave the 7-bit device address",
            "correct bits or shift",
        );
    } else if u16::from(address) & (((1u16 << bits) - 1) << shift) != 0 {
        form.fault(
            "firmware.device_address",
            format!("{address:#04x} sets a bit that the block-select bits occupy"),
            "write the address of block 0",
        );
    }
    if let Some(limit) = file.max_transfer_bytes
        && limit <= u32::from(file.word_address_bytes)
    {
        let reason = format!("{limit} leaves no room for data after the header");
        form.fault("firmware.max_transfer_bytes", reason, "enlarge it");
    }
    let wait = wait(form, file);
    let reads_on_after_write = file.reads_on_after_write.unwrap_or(false);
    if reads_on_after_write && !matches!(wait, Wait::Fixed { .. }) && form.is_sound("firmware.wait") {
        form.fault(
            "firmware.reads_on_after_write",
            "polling moves the pointer, so reading on from it makes no sense",
            "use it with wait = \"fixed\" only",
        );
    }
    Firmware {
        device_address: address,
        word_address_bytes: file.word_address_bytes,
        block_select_bits: bits,
        block_select_shift: shift,
        page_bytes: file.page_bytes,
        wait,
        max_transfer_bytes: file.max_transfer_bytes,
        write_shape: file.write_shape.unwrap_or(WriteShape::OneBuffer),
        read_cut_bytes: file.read_cut_bytes,
        reads_on_after_write,
        first_access_us: file.first_access_us,
    }
}

fn wait(form: &Document<'_>, file: &file::Firmware) -> Wait {
    let us = file.wait_ms.map(thousandths);
    // Without a limit of its own, firmware that polls is taken to wait for as long as it takes, at most 1 s.
    let limit_us = us.unwrap_or(1_000_000);
    match file.wait {
        file::Wait::Poll => Wait::Poll { limit_us },
        file::Wait::PollByRead => Wait::PollByRead { limit_us },
        file::Wait::Fixed => {
            if us.is_none() {
                form.fault("firmware.wait_ms", "is missing", "add it");
            }
            Wait::Fixed { us: us.unwrap_or(0) }
        }
    }
}

fn regions(form: &Document<'_>, file: Vec<file::Region>) -> Vec<Region> {
    let mut regions: Vec<Region> = Vec::new();
    for (index, region) in file.into_iter().enumerate() {
        let path = format!("region[{index}]");
        let sound = |index: usize| form.is_sound_below(&format!("region[{index}]"));
        for (place, other) in regions.iter().enumerate() {
            let overlaps = region.offset < other.offset + other.length && other.offset < region.offset + region.length;
            if overlaps && sound(index) && sound(place) {
                let reason = format!("overlaps the region `{}`", other.name);
                form.fault(&format!("{path}.offset"), reason, "move one of them");
            }
            if other.name == region.name {
                let reason = format!("`{}` is used twice", region.name);
                form.fault(&format!("{path}.name"), reason, "name each region once");
            }
        }
        regions.push(Region {
            name: region.name,
            offset: region.offset,
            length: region.length,
            writes_per_day: region.writes_per_day.unwrap_or(0.0),
        });
    }
    regions
}

const fn used(region: SecondRegion) -> RegionKind {
    match region {
        SecondRegion::SerialNumber => RegionKind::SerialNumber,
        SecondRegion::IdentificationPage => RegionKind::IdentificationPage,
        SecondRegion::Eui48 => RegionKind::Eui48,
        SecondRegion::Eui64 => RegionKind::Eui64,
        SecondRegion::PermanentProtection => RegionKind::PermanentProtection,
        SecondRegion::PageProtection => RegionKind::PageProtection,
    }
}
