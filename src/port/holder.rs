use std::fs;
use std::path::Path;

/// Who has this device open, like "`terminal`, process 812": the first one found that is not us.
/// `None` when nobody has, or when the system does not show it to this user.
pub fn of(path: &Path) -> Option<String> {
    let device = fs::canonicalize(path).ok()?;
    let own = std::process::id().to_string();
    for process in fs::read_dir("/proc").ok()?.flatten() {
        let id = process.file_name().into_string().unwrap_or_default();
        if id == own || !id.bytes().all(|byte| byte.is_ascii_digit()) {
            continue;
        }
        // the files of another user's process may not be listed
        let Ok(files) = fs::read_dir(process.path().join("fd")) else { continue };
        let holds = files
            .flatten()
            .any(|file| fs::read_link(file.path()).is_ok_and(|target| target == device));
        if holds {
            let name = fs::read_to_string(process.path().join("comm")).unwrap_or_default();
            return Some(format!("`{}`, process {id}", name.trim()));
        }
    }
    None
}
