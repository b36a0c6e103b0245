/// The usage page of weighing devices (HID usage tables, "Scales").
const WEIGHING_PAGE: u32 = 0x8d;

/// Whether a report descriptor declares the usage page of weighing devices. Walks the items as
/// USB HID 1.11, §6.2.2, lays them out; a descriptor that breaks off declares nothing more.
pub(super) fn is_weighing_device(descriptor: &[u8]) -> bool {
    const LONG_ITEM: u8 = 0xfe;
    /// A global item with tag 0.
    const USAGE_PAGE: u8 = 0x04;
    let mut rest = descriptor;
    while let Some((&prefix, tail)) = rest.split_first() {
        let (data, head) = if prefix == LONG_ITEM {
            // its size, its tag, then the data
            (tail.first().copied().map_or(0, usize::from), 2)
        } else {
            ([0, 1, 2, 4][usize::from(prefix & 3)], 0)
        };
        let Some(bytes) = tail.get(head..head + data) else { return false };
        let value = bytes.iter().rev().fold(0, |value, &byte| value << 8 | u32::from(byte));
        if prefix & 0xfc == USAGE_PAGE && value == WEIGHING_PAGE {
            return true;
        }
        rest = &tail[head + data..];
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_page_is_found_wherever_it_stands_and_however_wide() {
        // usage page, usage, collection; then the page as two bytes behind a keyboard's
        assert!(is_weighing_device(&[0x05, 0x8d, 0x09, 0x20, 0xa1, 0x01]));
        assert!(is_weighing_device(&[0x05, 0x01, 0x09, 0x06, 0x06, 0x8d, 0x00]));
        assert!(is_weighing_device(&[0xfe, 0x02, 0x10, 0xff, 0xff, 0x05, 0x8d]));
    }

    #[test]
    fn data_that_looks_like_the_page_is_not_it() {
        // a logical maximum of 8D05 (global item, tag 2), and a usage of 8D
        assert!(!is_weighing_device(&[0x26, 0x05, 0x8d]));
        assert!(!is_weighing_device(&[0x05, 0x01, 0x09, 0x8d]));
        assert!(!is_weighing_device(&[0x05]));
        assert!(!is_weighing_device(&[]));
    }

    proptest! {
        #[test]
        fn no_descriptor_panics(bytes in prop::collection::vec(any::<u8>(), 0..80)) {
            let _ = is_weighing_device(&bytes);
        }
    }
}
