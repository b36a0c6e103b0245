use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

use rustix::fs::{Access as Wanted, access};
use serde::Serialize;

use super::Kind;

/// Who may open a port.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Access {
    pub owner: String,
    pub group: String,
    /// As `ls -l` writes it, like `rw-rw----`.
    pub mode: String,
    /// This user may.
    pub yours: bool,
}

impl Access {
    pub(super) fn of(path: &Path, kind: Kind, etc: &Path) -> Option<Access> {
        let file = fs::metadata(path).ok()?;
        // reports are only read
        let wanted = match kind {
            Kind::Serial => Wanted::READ_OK | Wanted::WRITE_OK,
            Kind::WeighingReports => Wanted::READ_OK,
        };
        let mode: String = (0..9)
            .map(|bit| {
                let set = file.mode() >> (8 - bit) & 1 == 1;
                if set { ["r", "w", "x"][bit % 3] } else { "-" }
            })
            .collect();
        Some(Access {
            owner: name_of(&etc.join("passwd"), file.uid()),
            group: name_of(&etc.join("group"), file.gid()),
            mode,
            yours: access(path, wanted).is_ok(),
        })
    }

    /// The group may open it, so that joining it helps.
    pub fn group_may(&self) -> bool {
        self.mode.as_bytes().get(3) == Some(&b'r')
    }
}

/// The name of a number in `/etc/passwd` or `/etc/group` (third field, passwd(5), group(5)); the
/// number itself where it has none.
fn name_of(file: &Path, number: u32) -> String {
    let text = fs::read_to_string(file).unwrap_or_default();
    let found = text.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        (fields.nth(1)?.parse() == Ok(number)).then(|| name.to_owned())
    });
    found.unwrap_or_else(|| number.to_string())
}

#[cfg(test)]
mod tests {
    use std::fs::Permissions;
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    #[test]
    fn owner_group_and_mode_are_named() {
        let root = tempfile::tempdir().unwrap();
        let path = root.path().join("port");
        fs::write(&path, "").unwrap();
        fs::set_permissions(&path, Permissions::from_mode(0o660)).unwrap();
        let file = fs::metadata(&path).unwrap();
        let passwd = format!("nobody:x:x:0:\nmaker:x:{}:0::/:/bin/sh\n", file.uid());
        fs::write(root.path().join("passwd"), passwd).unwrap();
        let access = Access::of(&path, Kind::Serial, root.path()).unwrap();
        assert_eq!(access.owner, "maker");
        assert_eq!(access.group, file.gid().to_string(), "no file of groups, no name");
        assert_eq!(access.mode, "rw-rw----");
        assert!(access.yours && access.group_may());
        fs::set_permissions(&path, Permissions::from_mode(0o604)).unwrap();
        assert!(!Access::of(&path, Kind::Serial, root.path()).unwrap().group_may());
    }
}
