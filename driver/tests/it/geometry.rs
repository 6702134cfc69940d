//! Which geometries exist, and that a bad constant does not compile.

use crate::common::{KBIT_16, KBIT_32, part};
use pagewise_driver::{Geometry, GeometryError, Parameters};

#[test]
fn a_bad_constant_geometry_does_not_compile() {
    let cases = trybuild::TestCases::new();
    cases.compile_fail("tests/ui/*.rs");
}

#[test]
fn capacity_is_reached_exactly_or_with_upper_bits_that_do_not_matter() {
    for (capacity, page, bytes, bits) in [
        (16, 1, 1, 0),
        (128, 8, 1, 0),
        (256, 8, 1, 0),
        (512, 16, 1, 1),
        (1024, 16, 1, 2),
        (2048, 16, 1, 3),
        (4096, 32, 2, 0),
        (65_536, 128, 2, 0),
        (131_072, 256, 2, 1),
        (262_144, 256, 2, 2),
        (262_144, 256, 3, 0),
        (16_777_216, 256, 3, 0),
    ] {
        let parameters = part(capacity, page, bytes, bits);
        assert_eq!(Geometry::try_new(parameters).map(|g| g.parameters()), Ok(parameters));
    }
}

#[test]
fn a_buffer_for_a_whole_page_holds_header_and_page_and_never_more_than_256_bytes_of_data() {
    for (capacity, page, bytes, bits, buffer) in [
        (16, 1, 1, 0, 2),
        (2048, 16, 1, 3, 17),
        (131_072, 256, 2, 1, 258),
        (262_144, 512, 3, 0, 259),
        (8192, 8192, 2, 0, 258),
    ] {
        assert_eq!(Geometry::new(part(capacity, page, bytes, bits)).buffer_bytes(), buffer);
    }
}

#[test]
fn the_last_address_shift_and_page_that_are_possible_are_accepted() {
    let last_address = KBIT_32.parameters().with_device_address(0x7F);
    let last_shift = KBIT_32.parameters().with_block_select_shift(7);
    let page_is_block = part(512, 16, 1, 1).with_page_bytes(256);
    for parameters in [last_address, last_shift, page_is_block] {
        assert_eq!(Geometry::try_new(parameters).map(|g| g.parameters()), Ok(parameters));
    }
}

/// One change to a good part, and what is said about it.
fn refused(change: fn(&mut Parameters)) -> GeometryError {
    let mut parameters = KBIT_16.parameters();
    change(&mut parameters);
    Geometry::try_new(parameters).unwrap_err()
}

#[test]
fn each_contradiction_is_named_with_its_numbers() {
    use GeometryError::*;
    assert_eq!(refused(|p| p.capacity_bytes = 0), CapacityZero);
    assert_eq!(refused(|p| p.page_bytes = 0), Page { page_bytes: 0, capacity_bytes: 2048 });
    assert_eq!(refused(|p| p.page_bytes = 24), Page { page_bytes: 24, capacity_bytes: 2048 });
    assert_eq!(refused(|p| p.page_bytes = 4096), Page { page_bytes: 4096, capacity_bytes: 2048 });
    assert_eq!(refused(|p| p.capacity_bytes = 2040), Page { page_bytes: 16, capacity_bytes: 2040 });
    assert_eq!(refused(|p| p.page_bytes = 512), PageBeyondBlock { page_bytes: 512, block_bytes: 256 });
    assert_eq!(refused(|p| p.word_address_bytes = 4), WordAddressBytes { found: 4 });
    assert_eq!(refused(|p| p.device_address = 0xA0), DeviceAddress { found: 0xA0 });
    assert_eq!(refused(|p| p.block_select_shift = 5), BlockSelectRange { bits: 3, shift: 5 });
    assert_eq!(refused(|p| p.block_select_bits = 8), BlockSelectRange { bits: 8, shift: 0 });
    assert_eq!(refused(|p| p.block_select_bits = 255), BlockSelectRange { bits: 255, shift: 0 });
    let range = |bits, shift| BlockSelectRange { bits, shift };
    assert_eq!(refused(|p| (p.block_select_bits, p.block_select_shift) = (255, 1)), range(255, 1));
    assert_eq!(refused(|p| (p.block_select_bits, p.block_select_shift) = (3, 255)), range(3, 255));
    assert_eq!(refused(|p| p.device_address = 0x54), BlockSelectCollision { device_address: 0x54, mask: 7 });
    assert_eq!(
        refused(|p| (p.device_address, p.block_select_shift) = (0x58, 3)),
        BlockSelectCollision { device_address: 0x58, mask: 0x38 }
    );
    assert_eq!(refused(|p| p.block_select_bits = 2), CapacityUnreachable { capacity_bytes: 2048, reach_bytes: 1024 });
    assert_eq!(
        refused(|p| p.block_select_bits = 4),
        BlockSelectUnneeded { capacity_bytes: 2048, reach_without_bytes: 2048 }
    );
    assert_eq!(
        refused(|p| p.sequential_read_bytes = 100),
        SequentialRead { sequential_read_bytes: 100, capacity_bytes: 2048 }
    );
    let shape = ZeroByteShape { capacity_bytes: 2048, device_address: 0x50, block_select_bits: 3 };
    assert_eq!(refused(|p| p.word_address_bytes = 0), shape);
}

#[test]
fn an_address_free_part_has_one_shape() {
    assert!(Geometry::try_new(part(128, 4, 0, 7)).is_ok());
    let shifted = part(128, 4, 0, 7).with_block_select_shift(1);
    assert_eq!(Geometry::try_new(shifted), Err(GeometryError::BlockSelectRange { bits: 7, shift: 1 }));
    let addressed = part(128, 4, 0, 7).with_device_address(0x50);
    let refused = |capacity_bytes, device_address, block_select_bits| {
        Err(GeometryError::ZeroByteShape { capacity_bytes, device_address, block_select_bits })
    };
    assert_eq!(Geometry::try_new(addressed), refused(128, 0x50, 7));
    assert_eq!(Geometry::try_new(part(64, 4, 0, 6)), refused(64, 0, 6));
}

#[test]
fn capacity_and_block_bits_are_refused_exactly_outside_the_documented_window() {
    for bytes in 1..=3u8 {
        for bits in 0..=4u8 {
            for exponent in 0..=27u32 {
                let capacity = 1u32 << exponent;
                let result = Geometry::try_new(part(capacity, 1, bytes, bits));
                let reach = 1u64 << (8 * u32::from(bytes) + u32::from(bits));
                let fits = u64::from(capacity) <= reach;
                let needed = bits == 0 || u64::from(capacity) > reach / 2;
                // 0x50 leaves four low bits free.
                assert_eq!(result.is_ok(), fits && needed, "{bytes} bytes, {bits} bits, {capacity} bytes");
            }
        }
    }
}

#[test]
fn a_request_fits_if_its_length_is_at_most_the_rest() {
    assert!(KBIT_32.contains(0, 4096) && KBIT_32.contains(4095, 1) && KBIT_32.contains(4096, 0));
    assert!(!KBIT_32.contains(0, 4097) && !KBIT_32.contains(4095, 2) && !KBIT_32.contains(4097, 0));
    assert!(!KBIT_32.contains(u32::MAX, 2) && !KBIT_32.contains(2, usize::MAX));
}

#[test]
fn another_device_address_is_checked_again() {
    assert_eq!(KBIT_32.with_device_address(0x57).map(|g| g.device_address()), Ok(0x57));
    assert!(KBIT_16.with_device_address(0x51).is_err());
    assert!(KBIT_32.with_device_address(0xA0).is_err());
}
