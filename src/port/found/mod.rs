//! What is plugged in, as the system tells it (sysfs, and the names udev gives).

mod access;
mod hid;
mod udev;
mod usb;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::holder;

pub use access::Access;
pub use udev::{NoRule, rule};
pub use usb::Usb;

/// A serial port, or a USB weighing device, that is there now.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FoundPort {
    /// Its device file, like `/dev/ttyUSB0`; the number may be another next time.
    pub path: String,
    pub kind: Kind,
    /// Names that stay: by identity first, then by the socket it is plugged into.
    pub names: Vec<String>,
    pub usb: Option<Usb>,
    pub access: Access,
    /// The program that has it open, as far as this user may see.
    pub held_by: Option<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    Serial,
    /// A USB weighing device (HID usage page 8D), read by its hidraw file.
    WeighingReports,
}

/// Where the system keeps what it knows.
#[derive(Clone, Debug)]
pub struct System {
    pub sys: PathBuf,
    pub dev: PathBuf,
    pub etc: PathBuf,
}

impl Default for System {
    fn default() -> System {
        System { sys: "/sys".into(), dev: "/dev".into(), etc: "/etc".into() }
    }
}

/// More than any bench has; a runaway listing is cut.
const PORTS_MAX: usize = 256;

impl FoundPort {
    /// The name to write into a bench file.
    pub fn best_name(&self) -> &str {
        self.names.first().unwrap_or(&self.path)
    }
}

impl System {
    /// Every port, by its device file. What cannot be read is left out: it may have been unplugged
    /// this moment.
    pub fn ports(&self) -> Vec<FoundPort> {
        let names = self.stable_names();
        let serial = self.class("tty").into_iter().filter(|entry| self.is_real_tty(entry));
        let serial = serial.filter_map(|entry| self.port(&entry, Kind::Serial, &names));
        let hid = self.class("hidraw").into_iter().filter(|entry| {
            let descriptor = fs::read(entry.join("device/report_descriptor"));
            descriptor.is_ok_and(|bytes| hid::is_weighing_device(&bytes))
        });
        let hid = hid.filter_map(|entry| self.port(&entry, Kind::WeighingReports, &names));
        let mut ports: Vec<FoundPort> = serial.chain(hid).take(PORTS_MAX).collect();
        ports.sort_by(|one, other| one.path.cmp(&other.path));
        ports
    }

    /// The one a path leads to, whichever of its names is used.
    pub fn port_at(&self, path: &Path) -> Option<FoundPort> {
        let device = fs::canonicalize(path).ok()?;
        self.ports()
            .into_iter()
            .find(|port| fs::canonicalize(&port.path).is_ok_and(|path| path == device))
    }

    fn class(&self, class: &str) -> Vec<PathBuf> {
        let entries = fs::read_dir(self.sys.join("class").join(class));
        entries.into_iter().flatten().flatten().map(|entry| entry.path()).collect()
    }

    /// Consoles and pseudo-terminals have no device behind them; a serial socket of the board that
    /// nobody has built in has type 0 (`PORT_UNKNOWN` of the kernel's serial core).
    fn is_real_tty(&self, entry: &Path) -> bool {
        let built_in = fs::read_to_string(entry.join("type")).is_ok_and(|kind| kind.trim() == "0");
        entry.join("device").exists() && !built_in
    }

    fn port(
        &self,
        entry: &Path,
        kind: Kind,
        names: &BTreeMap<PathBuf, Vec<String>>,
    ) -> Option<FoundPort> {
        let path = self.dev.join(entry.file_name()?);
        let access = Access::of(&path, kind, &self.etc)?;
        let device = fs::canonicalize(&path).ok()?;
        Some(FoundPort {
            kind,
            names: names.get(&device).cloned().unwrap_or_default(),
            usb: usb::behind(&entry.join("device")),
            access,
            held_by: holder::of(&path),
            path: path.display().to_string(),
        })
    }

    /// Links below `/dev` that udev keeps, by the device they lead to.
    fn stable_names(&self) -> BTreeMap<PathBuf, Vec<String>> {
        let mut names: BTreeMap<PathBuf, Vec<String>> = BTreeMap::new();
        // our own alias first: somebody chose it
        for folder in ["panroom", "serial/by-id", "serial/by-path"] {
            let entries = fs::read_dir(self.dev.join(folder)).into_iter().flatten().flatten();
            let mut links: Vec<PathBuf> = entries.map(|entry| entry.path()).collect();
            links.sort();
            for link in links {
                if let Ok(device) = fs::canonicalize(&link) {
                    names.entry(device).or_default().push(link.display().to_string());
                }
            }
        }
        names
    }
}

#[cfg(test)]
pub(super) mod tests {
    use std::os::unix::fs::symlink;

    use super::*;

    /// A small system: one adapter with a serial number, one without, a board's sockets, a console,
    /// a keyboard and a USB weighing device.
    pub fn system(root: &Path) -> System {
        let write = |path: &str, text: &[u8]| {
            let path = root.join(path);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, text).unwrap();
        };
        let link = |target: &str, path: &str| {
            let path = root.join(path);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            symlink(root.join(target), path).unwrap();
        };
        let bus = "sys/devices/pci0000:00/0000:00:14.0/usb1";
        let usb = |name: &str, product: &str, serial: Option<&str>| {
            let device = format!("{bus}/{name}");
            write(&format!("{device}/idVendor"), b"1209\n");
            write(&format!("{device}/idProduct"), format!("{product}\n").as_bytes());
            write(&format!("{device}/product"), b"Bench Thing\n");
            if let Some(serial) = serial {
                write(&format!("{device}/serial"), format!("{serial}\n").as_bytes());
            }
            write(&format!("{device}/{name}:1.0/bInterfaceNumber"), b"00\n");
        };
        usb("1-2", "0001", Some("A1"));
        usb("1-3", "0002", None);
        usb("1-4", "0003", None);
        usb("1-5", "0004", None);
        let tty = |name: &str, device: Option<&str>| {
            write(&format!("sys/class/tty/{name}/dev"), b"188:0\n");
            write(&format!("dev/{name}"), b"");
            if let Some(device) = device {
                fs::create_dir_all(root.join(bus).join(device)).unwrap();
                link(&format!("{bus}/{device}"), &format!("sys/class/tty/{name}/device"));
            }
        };
        tty("ttyUSB0", Some("1-2/1-2:1.0/ttyUSB0"));
        tty("ttyUSB1", Some("1-3/1-3:1.0/ttyUSB1"));
        tty("tty1", None);
        tty("ttyS0", Some("serial8250"));
        tty("ttyS1", Some("serial8250"));
        write("sys/class/tty/ttyS0/type", b"4\n");
        write("sys/class/tty/ttyS1/type", b"0\n");
        let by_path = "pci-0000:00:14.0-usb-0:";
        link("dev/ttyUSB0", "dev/serial/by-id/usb-1209_Bench_Thing_A1-if00-port0");
        link("dev/ttyUSB0", &format!("dev/serial/by-path/{by_path}2:1.0-port0"));
        link("dev/ttyUSB1", &format!("dev/serial/by-path/{by_path}3:1.0-port0"));
        for (name, device, page) in [("hidraw0", "1-4", 0x01), ("hidraw1", "1-5", 0x8d)] {
            let device = format!("{bus}/{device}/{device}:1.0/0003:1209:0003.0001");
            write(&format!("{device}/report_descriptor"), &[0x05, page, 0x09, 0x20, 0xa1, 0x01]);
            write(&format!("dev/{name}"), b"");
            fs::create_dir_all(root.join("sys/class/hidraw").join(name)).unwrap();
            link(&device, &format!("sys/class/hidraw/{name}/device"));
        }
        write("etc/passwd", b"root:x:0:0:root:/root:/bin/sh\n");
        write("etc/group", b"root:x:0:\ndialout:x:20:\n");
        System { sys: root.join("sys"), dev: root.join("dev"), etc: root.join("etc") }
    }

    #[test]
    fn what_can_be_weighed_with_is_found_and_nothing_else() {
        let root = tempfile::tempdir().unwrap();
        let system = system(root.path());
        let ports = system.ports();
        let shown: Vec<(&str, Kind)> =
            ports.iter().map(|port| (port.path.rsplit('/').next().unwrap(), port.kind)).collect();
        assert_eq!(
            shown,
            [
                ("hidraw1", Kind::WeighingReports),
                ("ttyS0", Kind::Serial),
                ("ttyUSB0", Kind::Serial),
                ("ttyUSB1", Kind::Serial),
            ]
        );
        let usb = ports[2].usb.as_ref().unwrap();
        assert_eq!((usb.vendor.as_str(), usb.product.as_str()), ("1209", "0001"));
        assert_eq!(usb.serial.as_deref(), Some("A1"));
        assert_eq!(usb.interface.as_deref(), Some("00"));
        assert!(ports[2].best_name().ends_with("by-id/usb-1209_Bench_Thing_A1-if00-port0"));
        assert_eq!(ports[2].names.len(), 2);
        assert!(ports[3].best_name().ends_with("by-path/pci-0000:00:14.0-usb-0:3:1.0-port0"));
        assert_eq!(ports[1].usb, None);
        assert!(ports[0].usb.is_some());
    }

    #[test]
    fn a_port_is_found_by_any_of_its_names() {
        let root = tempfile::tempdir().unwrap();
        let system = system(root.path());
        let link = root.path().join("dev/serial/by-path/pci-0000:00:14.0-usb-0:3:1.0-port0");
        let found = system.port_at(&link).unwrap();
        assert!(found.path.ends_with("dev/ttyUSB1"));
        assert_eq!(system.port_at(&root.path().join("dev/nothing")), None);
    }

    #[test]
    fn no_system_at_all_has_no_ports() {
        let nowhere = PathBuf::from("/nowhere/at/all");
        let system = System { sys: nowhere.clone(), dev: nowhere.clone(), etc: nowhere };
        assert_eq!(system.ports(), []);
    }
}
