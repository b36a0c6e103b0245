use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

use anyhow::{Context, bail};

use super::PortsArgs;
use crate::port::{FoundPort, Kind, System, rule};

pub fn ports(args: &PortsArgs) -> anyhow::Result<ExitCode> {
    let system = System::default();
    let all = system.ports();
    let shown = match &args.port {
        Some(path) => vec![known(&system, path)?],
        None => all.clone(),
    };
    let mut out = std::io::stdout();
    if let (Some(alias), [port]) = (&args.rule, shown.as_slice()) {
        write!(out, "{}", rule(port, &all, alias, &args.group)?)?;
    } else if args.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&shown)?)?;
    } else if shown.is_empty() {
        write!(out, "{NOTHING}")?;
    } else {
        for port in &shown {
            write!(out, "{}", words(port))?;
        }
    }
    Ok(ExitCode::SUCCESS)
}

const NOTHING: &str = "\
No serial port and no USB weighing device is plugged in.
A scale or thermometer with a nine-pin socket needs a USB adapter; one with a USB socket needs a
cable that carries data, and must be switched on.
";

fn known(system: &System, path: &Path) -> anyhow::Result<FoundPort> {
    if !path.exists() {
        bail!("{} is not there; `panroom ports` lists what is", path.display());
    }
    system
        .port_at(path)
        .with_context(|| format!("{} is no serial port and no USB weighing device", path.display()))
}

/// The name to write down first, then what it is and whether it may be opened.
fn words(port: &FoundPort) -> String {
    let mut lines = vec![port.best_name().to_owned()];
    let mut others: Vec<&str> = port.names.iter().skip(1).map(String::as_str).collect();
    if port.best_name() != port.path {
        others.insert(0, &port.path);
    }
    if !others.is_empty() {
        lines.push(format!("now {}", others.join(", also ")));
    }
    let kind = match port.kind {
        Kind::Serial => "serial port",
        Kind::WeighingReports => "USB weighing device; its wire sheet is `usb-weighing-report`",
    };
    lines.push(match &port.usb {
        Some(usb) => {
            let name = usb.name.as_ref().map_or(String::new(), |name| format!(" \"{name}\""));
            let serial = match &usb.serial {
                Some(serial) => format!("serial number {serial}"),
                None => "without a serial number of its own".to_owned(),
            };
            format!("{kind}, USB {}:{}{name}, {serial}", usb.vendor, usb.product)
        }
        None => kind.to_owned(),
    });
    let access = &port.access;
    lines.push(if access.yours {
        "you may open it".to_owned()
    } else if access.group_may() {
        format!(
            "you may not open it: join its group with `sudo usermod -aG {} \"$USER\"`, then log in \
             again",
            access.group
        )
    } else {
        format!(
            "you may not open it: it belongs to {} ({}); a udev rule gives it a group, see \
             `panroom ports --rule NAME {}`",
            access.owner, access.mode, port.path
        )
    });
    if let Some(by) = &port.held_by {
        lines.push(format!("in use by {by}"));
    }
    lines.join("\n    ") + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::port::{Access, Usb};

    fn port() -> FoundPort {
        let text = |text: &str| Some(text.to_owned());
        FoundPort {
            path: "/dev/ttyUSB0".to_owned(),
            kind: Kind::Serial,
            names: vec!["/dev/serial/by-id/a".to_owned(), "/dev/serial/by-path/b".to_owned()],
            usb: Some(Usb {
                vendor: "1209".to_owned(),
                product: "0001".to_owned(),
                serial: text("A1"),
                name: text("Bench Thing"),
                interface: text("00"),
            }),
            access: Access {
                owner: "root".to_owned(),
                group: "dialout".to_owned(),
                mode: "rw-rw----".to_owned(),
                yours: false,
            },
            held_by: text("`terminal`, process 812"),
        }
    }

    #[test]
    fn a_port_says_its_lasting_name_first_and_what_bars_it() {
        assert_eq!(
            words(&port()),
            "/dev/serial/by-id/a\n    \
             now /dev/ttyUSB0, also /dev/serial/by-path/b\n    \
             serial port, USB 1209:0001 \"Bench Thing\", serial number A1\n    \
             you may not open it: join its group with `sudo usermod -aG dialout \"$USER\"`, then log \
             in again\n    \
             in use by `terminal`, process 812\n"
        );
    }

    #[test]
    fn a_group_that_may_not_is_not_joined() {
        let mut port = port();
        port.access.mode = "rw-------".to_owned();
        assert!(words(&port).contains("it belongs to root (rw-------); a udev rule gives it"));
        port.access.yours = true;
        (port.names, port.held_by) = (Vec::new(), None);
        assert!(words(&port).ends_with("serial number A1\n    you may open it\n"));
    }
}
