use std::fs;
use std::path::Path;

use serde::Serialize;

/// The USB device behind a port, as it describes itself.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Usb {
    /// Four hex digits.
    pub vendor: String,
    /// Four hex digits.
    pub product: String,
    /// Many adapters have none, or one and the same for all.
    pub serial: Option<String>,
    /// What the device calls itself.
    pub name: Option<String>,
    /// Two hex digits; several where one adapter has several ports.
    pub interface: Option<String>,
}

/// A sysfs path is no deeper than this below the USB device.
const STEPS_MAX: usize = 8;

/// Looks upwards from a device of sysfs for the USB device it belongs to.
pub(super) fn behind(device: &Path) -> Option<Usb> {
    let device = fs::canonicalize(device).ok()?;
    let mut interface = None;
    for place in device.ancestors().take(STEPS_MAX) {
        let read = |name: &str| {
            let text = fs::read_to_string(place.join(name)).ok()?;
            let text = text.trim();
            (!text.is_empty()).then(|| text.to_owned())
        };
        interface = interface.or_else(|| read("bInterfaceNumber"));
        if let (Some(vendor), Some(product)) = (read("idVendor"), read("idProduct")) {
            let (serial, name) = (read("serial"), read("product"));
            return Some(Usb { vendor, product, serial, name, interface });
        }
    }
    None
}
