//! Temporary files that go when the command is interrupted.

use std::path::Path;

/// Removes this file if the command is interrupted from now on.
pub(super) fn remove(path: &Path) {
    #[cfg(unix)]
    signals::remove(path);
    #[cfg(not(unix))]
    let _ = path;
}

/// Leaves this file alone from now on.
pub(super) fn keep(path: &Path) {
    #[cfg(unix)]
    signals::keep(path);
    #[cfg(not(unix))]
    let _ = path;
}

#[cfg(unix)]
mod signals {
    use std::fs;
    use std::path::{Path, PathBuf};
    use std::sync::{Mutex, MutexGuard, Once, PoisonError};

    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    use signal_hook::iterator::Signals;
    use signal_hook::low_level::emulate_default_handler;

    static FILES: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());
    static WATCH: Once = Once::new();

    pub(super) fn remove(path: &Path) {
        WATCH.call_once(watch);
        files().push(path.to_owned());
    }

    pub(super) fn keep(path: &Path) {
        files().retain(|file| file != path);
    }

    fn files() -> MutexGuard<'static, Vec<PathBuf>> {
        FILES.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits in a thread of its own, and ends the command as the signal would have.
    fn watch() {
        let Ok(mut signals) = Signals::new([SIGHUP, SIGINT, SIGTERM]) else { return };
        std::thread::spawn(move || {
            for signal in signals.forever() {
                for file in files().drain(..) {
                    let _ = fs::remove_file(file); // there is no one left to tell
                }
                let _ = emulate_default_handler(signal);
            }
        });
    }
}
