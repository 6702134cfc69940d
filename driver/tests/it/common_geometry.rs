//! One geometry for several parts.

use pagewise_driver::*;

use crate::common::*;

#[test]
fn a_common_geometry_is_the_most_cautious_of_all_parts() {
    let a = KBIT_32;
    let b = Geometry::new(
        KBIT_32
            .parameters()
            .with_page_bytes(64)
            .with_capacity_bytes(32_768)
            .with_sequential_read_bytes(1024)
            .with_write_cycle_us(10_000),
    );
    let common = Geometry::common(&[a, b, a]).unwrap().parameters();
    let expected = KBIT_32.parameters().with_sequential_read_bytes(1024).with_write_cycle_us(10_000);
    assert_eq!(common, expected);
    assert_eq!(Geometry::common(&[b, a]).unwrap().parameters(), expected);
    assert_eq!(Geometry::common(&[a]), Ok(a));
    // Where there are no block-select bits, it does not matter where they would be.
    let elsewhere = Geometry::new(KBIT_32.parameters().with_block_select_shift(1));
    assert_eq!(Geometry::common(&[a, elsewhere]), Ok(a));
}

#[test]
fn a_common_geometry_is_refused_with_the_reason() {
    assert_eq!(Geometry::common(&[]), Err(CommonError::Empty));
    let error = CommonError::WordAddressBytes { index: 1, first: 2, found: 1 };
    assert_eq!(Geometry::common(&[KBIT_32, KBIT_16]), Err(error));
    let other = KBIT_32.with_device_address(0x51).unwrap();
    let error = CommonError::DeviceAddress { index: 2, first: 0x50, found: 0x51 };
    assert_eq!(Geometry::common(&[KBIT_32, KBIT_32, other]), Err(error));
    let error = CommonError::BlockSelect { index: 1, first: (0, 0), found: (1, 2) };
    assert_eq!(Geometry::common(&[KBIT_32, KBIT_1024_TOP]), Err(error));
    assert!(error.to_string().ends_with(": part 0 has 0 at shift 0, part 1 has 1 at shift 2"), "{error}");
    let moved = Geometry::new(KBIT_1024_TOP.parameters().with_block_select_shift(0));
    let error = CommonError::BlockSelect { index: 2, first: (1, 2), found: (1, 0) };
    assert_eq!(Geometry::common(&[KBIT_1024_TOP, KBIT_1024_TOP, moved]), Err(error));
}
