//! The udev rule for one port: a name of its own, a group that may open it, and other programs
//! kept off. By the identity of that one device, or by the socket it is plugged into; never by the
//! kind of adapter alone, which would claim every adapter of that kind in the house.

use thiserror::Error;

use super::{FoundPort, Kind, Usb};

/// Why no rule can be made.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum NoRule {
    #[error("{0} is no USB device; its name does not change, and it needs no rule")]
    NotUsb(String),
    #[error(
        "{0} has no serial number of its own, and the system has no name for the socket it is \
         plugged into: nothing tells it from another of its kind"
    )]
    NothingOfItsOwn(String),
    #[error("`{0}` is no name for a port or a group; use small letters, digits and hyphens")]
    BadName(String),
}

/// Serial numbers that makers of chips put into all of them. From memory.
const NOT_A_NUMBER: [&str; 6] = ["0", "1", "0001", "00000000", "12345678", "0123456789ABCDEF"];

/// Text of a rule for `port`, beside the other ports that are there now.
///
/// # Errors
/// When nothing tells the port from another one of its kind.
pub fn rule(
    port: &FoundPort,
    others: &[FoundPort],
    alias: &str,
    group: &str,
) -> Result<String, NoRule> {
    for name in [alias, group] {
        let good = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
        if name.is_empty() || !name.bytes().all(good) {
            return Err(NoRule::BadName(name.to_owned()));
        }
    }
    let usb = port.usb.as_ref().ok_or_else(|| NoRule::NotUsb(port.path.clone()))?;
    let subsystem = match port.kind {
        Kind::Serial => "tty",
        Kind::WeighingReports => "hidraw",
    };
    let (by, how) = match own_serial(port, usb, others) {
        Some(serial) => {
            let device = format!(
                "ATTRS{{idVendor}}==\"{}\", ATTRS{{idProduct}}==\"{}\", \
                 ATTRS{{serial}}==\"{serial}\"",
                usb.vendor, usb.product
            );
            // one adapter with several sockets
            let interface = match &usb.interface {
                Some(interface) if port.kind == Kind::Serial => {
                    format!(", ENV{{ID_USB_INTERFACE_NUM}}==\"{interface}\"")
                }
                _ => String::new(),
            };
            let by = format!("SUBSYSTEMS==\"usb\", {device}{interface}");
            (by, format!("USB {}:{}, serial number {serial}", usb.vendor, usb.product))
        }
        None => by_place(port, usb)?,
    };
    let name = format!("SYMLINK+=\"panroom/{alias}\", GROUP=\"{group}\", MODE=\"0660\"");
    let mut lines = vec![format!("# {alias}: {how}")];
    if port.kind == Kind::Serial {
        // no modem is looked for by asking the instrument modem commands
        let quiet = "ENV{ID_MM_DEVICE_IGNORE}=\"1\", ENV{ID_MM_PORT_IGNORE}=\"1\"";
        lines.push(format!("SUBSYSTEM==\"{subsystem}\", {by}, {name}, {quiet}"));
        // where the adapter has such a timer it holds bytes back for up to 16 ms
        lines.push(format!(
            "ACTION==\"add\", SUBSYSTEM==\"{subsystem}\", {by}, TEST==\"device/latency_timer\", \
             ATTR{{device/latency_timer}}=\"1\""
        ));
    } else {
        lines.push(format!("SUBSYSTEM==\"{subsystem}\", {by}, {name}"));
    }
    Ok(lines.join("\n") + "\n")
}

/// A serial number that this device alone has, and that a rule can be written with.
fn own_serial<'a>(port: &FoundPort, usb: &'a Usb, others: &[FoundPort]) -> Option<&'a str> {
    let serial = usb.serial.as_deref()?;
    // a rule's values are patterns, in quotes
    let plain = serial.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"-_.:".contains(&byte));
    let same = |other: &&FoundPort| {
        other.path != port.path
            && other.usb.as_ref().is_some_and(|it| {
                (&it.vendor, &it.product, &it.serial) == (&usb.vendor, &usb.product, &usb.serial)
                    // another socket of the same adapter is another interface
                    && it.interface == usb.interface
            })
    };
    let shared = others.iter().any(|other| same(&other));
    (plain && !NOT_A_NUMBER.contains(&serial) && !shared).then_some(serial)
}

/// By the socket: `ID_PATH`, as the link below `by-path` carries it.
fn by_place(port: &FoundPort, usb: &Usb) -> Result<(String, String), NoRule> {
    let link = port.names.iter().find_map(|name| name.split("/by-path/").nth(1));
    let place = link.map(|link| match link.rsplit_once("-port") {
        Some((place, number)) if number.bytes().all(|byte| byte.is_ascii_digit()) => place,
        _ => link,
    });
    let nothing = || NoRule::NothingOfItsOwn(port.path.clone());
    let place = place.ok_or_else(nothing)?;
    let how = format!(
        "USB {}:{} in this one socket; it has no serial number of its own, so leave it there",
        usb.vendor, usb.product
    );
    Ok((format!("ENV{{ID_PATH}}==\"{place}\""), how))
}

#[cfg(test)]
mod tests {
    use super::super::tests::system;
    use super::*;

    fn ports() -> Vec<FoundPort> {
        let root = tempfile::tempdir().unwrap();
        system(root.path()).ports()
    }

    /// The operators and the form of a value, as udev(7) lays them out.
    fn grammar(rule: &str) {
        let key = regex::Regex::new(
            r#"^(ACTION|SUBSYSTEMS?|ATTRS?\{[\w/]+\}|ENV\{\w+\}|SYMLINK|GROUP|MODE|TEST)(==|\+=|=)"[^"*?\[\]|]+"$"#,
        )
        .unwrap();
        for line in rule.lines().filter(|line| !line.starts_with('#')) {
            for part in line.split(", ") {
                assert!(key.is_match(part), "{part}");
            }
        }
    }

    #[test]
    fn a_device_with_a_serial_number_is_claimed_by_it() {
        let ports = ports();
        let text = rule(&ports[2], &ports, "scale", "dialout").unwrap();
        let same_device = "SUBSYSTEMS==\"usb\", ATTRS{idVendor}==\"1209\", \
                           ATTRS{idProduct}==\"0001\", ATTRS{serial}==\"A1\", \
                           ENV{ID_USB_INTERFACE_NUM}==\"00\"";
        let expected = format!(
            "# scale: USB 1209:0001, serial number A1\n\
             SUBSYSTEM==\"tty\", {same_device}, SYMLINK+=\"panroom/scale\", GROUP=\"dialout\", \
             MODE=\"0660\", ENV{{ID_MM_DEVICE_IGNORE}}=\"1\", ENV{{ID_MM_PORT_IGNORE}}=\"1\"\n\
             ACTION==\"add\", SUBSYSTEM==\"tty\", {same_device}, TEST==\"device/latency_timer\", \
             ATTR{{device/latency_timer}}=\"1\"\n"
        );
        assert_eq!(text, expected);
        grammar(&text);
    }

    #[test]
    fn one_without_is_claimed_by_its_socket_and_never_by_its_kind() {
        let ports = ports();
        let text = rule(&ports[3], &ports, "pot", "panroom").unwrap();
        assert!(text.contains("ENV{ID_PATH}==\"pci-0000:00:14.0-usb-0:3:1.0\", SYMLINK"), "{text}");
        assert!(!text.contains("idVendor"), "{text}");
        grammar(&text);
        let mut nameless = ports[3].clone();
        nameless.names.clear();
        let nothing = NoRule::NothingOfItsOwn(nameless.path.clone());
        assert_eq!(rule(&nameless, &ports, "pot", "panroom"), Err(nothing));
    }

    #[test]
    fn a_serial_number_that_is_shared_or_none_is_no_identity() {
        let ports = ports();
        let by = |serial: &str, others: &[FoundPort]| {
            let mut port = ports[2].clone();
            port.usb.as_mut().unwrap().serial = Some(serial.to_owned());
            rule(&port, others, "scale", "dialout").unwrap()
        };
        for odd in ["0001", "A*", "a\"b", "x y"] {
            assert!(by(odd, &ports).contains("ID_PATH"), "{odd}");
        }
        let mut twin = ports[2].clone();
        twin.path = "/dev/ttyUSB7".to_owned();
        assert!(by("A1", &[twin.clone()]).contains("ID_PATH"));
        twin.usb.as_mut().unwrap().interface = Some("01".to_owned());
        assert!(by("A1", &[twin]).contains("ATTRS{serial}"));
    }

    #[test]
    fn what_needs_or_allows_no_rule_says_so() {
        let ports = ports();
        let board = rule(&ports[1], &ports, "scale", "dialout");
        assert_eq!(board, Err(NoRule::NotUsb(ports[1].path.clone())));
        for name in ["", "Scale", "a b", "x\", RUN+=\"sh"] {
            let bad = NoRule::BadName(name.to_owned());
            assert_eq!(rule(&ports[2], &ports, name, "dialout"), Err(bad));
        }
    }

    #[test]
    fn a_weighing_device_is_no_modem() {
        let mut ports = ports();
        ports[0].usb.as_mut().unwrap().serial = Some("W7".to_owned());
        let text = rule(&ports[0], &ports, "scale", "dialout").unwrap();
        assert!(text.contains("SUBSYSTEM==\"hidraw\", SUBSYSTEMS==\"usb\", ATTRS{idVendor}"));
        assert!(!text.contains("ID_MM") && !text.contains("latency"));
        grammar(&text);
    }

    /// The example in the shipped file is what is printed, and nothing in that file is in force.
    #[test]
    fn the_shipped_file_claims_nothing_and_shows_what_is_printed() {
        let shipped = include_str!("../../../udev/70-panroom.rules");
        assert!(shipped.lines().all(|line| line.is_empty() || line.starts_with('#')));
        let ports = ports();
        for (index, alias) in [(2, "scale"), (3, "thermometer")] {
            for line in rule(&ports[index], &ports, alias, "dialout").unwrap().lines() {
                let shown = format!("# {}", line.trim_start_matches("# "));
                assert!(shipped.contains(&shown), "{shown}");
            }
        }
    }
}
