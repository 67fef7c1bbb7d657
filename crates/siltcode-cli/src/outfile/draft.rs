//! A file before it has its name.
//!
//! On Linux it has no name at all until it is complete, so that nothing is left of it however the command ends: by an
//! error, by Ctrl-C, killed, or with the machine. Where the system or the disk cannot do that it has a temporary name
//! beside its place, and is removed by all but a kill that cannot be caught.

use std::fs::{self, File, Permissions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};

use super::interrupt;

/// A file under way in the folder of its place.
pub(super) struct Draft {
    file: File,
    folder: PathBuf,
    /// The temporary name, if it has one; it is removed with the draft.
    name: Option<Temporary>,
}

impl Draft {
    /// Begins a file beside its place, with these permissions or the usual ones.
    pub(super) fn beside(place: &Path, permissions: Option<Permissions>) -> io::Result<Self> {
        let folder = match place.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
            _ => PathBuf::from("."),
        };
        let draft = unnamed(&folder).map_or_else(|| Self::named(&folder), Ok)?;
        if let Some(permissions) = permissions {
            draft.file.set_permissions(permissions)?;
        }
        Ok(draft)
    }

    fn named(folder: &Path) -> io::Result<Self> {
        let (file, name) = Temporary::create(folder)?;
        Ok(Self { file, folder: folder.to_owned(), name: Some(name) })
    }

    /// Gives the file its name. Without `replaces` nothing of that name may exist, even if it came meanwhile.
    pub(super) fn publish(self, place: &Path, replaces: bool) -> io::Result<()> {
        self.file.sync_all()?;
        match (&self.name, replaces) {
            (Some(name), true) => fs::rename(&name.path, place),
            (Some(name), false) => link(&name.path, place),
            (None, false) => give_name(&self.file, place),
            (None, true) => {
                // A name that exists cannot be given: it gets another first, and is moved from there.
                let between = Temporary::reserve(&self.folder);
                give_name(&self.file, &between.path)?;
                fs::rename(&between.path, place)
            }
        }
    }
}

impl Write for Draft {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// A second name for a file; a disk without links gets the file moved, if nothing is in the way.
fn link(from: &Path, to: &Path) -> io::Result<()> {
    match fs::hard_link(from, to) {
        Err(error) if error.kind() != io::ErrorKind::AlreadyExists && !to.try_exists()? => {
            fs::rename(from, to).map_err(|_| error)
        }
        done => done,
    }
}

/// A file without a name, where there can be one.
#[cfg(target_os = "linux")]
fn unnamed(folder: &Path) -> Option<Draft> {
    use rustix::fs::{Mode, OFlags, open};
    let flags = OFlags::TMPFILE | OFlags::WRONLY | OFlags::CLOEXEC;
    let file = File::from(open(folder, flags, Mode::from_raw_mode(0o666)).ok()?);
    // Without /proc it could never be given a name.
    path_of(&file).exists().then(|| Draft { file, folder: folder.to_owned(), name: None })
}

#[cfg(not(target_os = "linux"))]
fn unnamed(_: &Path) -> Option<Draft> {
    None
}

#[cfg(target_os = "linux")]
fn path_of(file: &File) -> PathBuf {
    use std::os::fd::AsRawFd;
    PathBuf::from(format!("/proc/self/fd/{}", file.as_raw_fd()))
}

/// Gives a file without a name one that does not exist.
#[cfg(target_os = "linux")]
fn give_name(file: &File, place: &Path) -> io::Result<()> {
    use rustix::fs::{AtFlags, CWD, linkat};
    Ok(linkat(CWD, path_of(file), CWD, place, AtFlags::SYMLINK_FOLLOW)?)
}

#[cfg(not(target_os = "linux"))]
fn give_name(_: &File, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

/// A temporary name; what has it is removed when it is dropped, and when the command is interrupted.
struct Temporary {
    path: PathBuf,
}

impl Temporary {
    /// A name that nothing is likely to have.
    fn reserve(folder: &Path) -> Self {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let serial = NEXT.fetch_add(1, Ordering::Relaxed);
        let path = folder.join(format!(".siltcode-{}-{serial}.part", std::process::id()));
        interrupt::remove(&path);
        Self { path }
    }

    /// A new file under a name that nothing had.
    fn create(folder: &Path) -> io::Result<(File, Self)> {
        const TRIES: usize = 100;
        let mut failed = io::Error::from(io::ErrorKind::AlreadyExists);
        for _ in 0..TRIES {
            let name = Self::reserve(folder);
            match File::create_new(&name.path) {
                Ok(file) => return Ok((file, name)),
                Err(error) => {
                    name.forget();
                    failed = error;
                }
            }
            if failed.kind() != io::ErrorKind::AlreadyExists {
                break;
            }
        }
        Err(failed)
    }

    /// Leaves what has the name alone: it is not ours.
    fn forget(mut self) {
        interrupt::keep(&self.path);
        self.path = PathBuf::new();
    }
}

impl Drop for Temporary {
    fn drop(&mut self) {
        if !self.path.as_os_str().is_empty() {
            let _ = fs::remove_file(&self.path); // gone already where it was moved to its place
            interrupt::keep(&self.path);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let names = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name());
        names.map(|name| name.to_string_lossy().into_owned()).collect()
    }

    type Begin = fn(&Path) -> io::Result<Draft>;

    fn named(place: &Path) -> io::Result<Draft> {
        Draft::named(place.parent().unwrap())
    }

    fn usual(place: &Path) -> io::Result<Draft> {
        Draft::beside(place, None)
    }

    const WAYS: [Begin; 2] = [named, usual];

    #[test]
    fn a_draft_is_whole_in_its_place_or_nowhere() {
        for begin in WAYS {
            let folder = tempfile::tempdir().unwrap();
            let place = folder.path().join("out.csv");
            let mut draft = begin(&place).unwrap();
            draft.write_all(b"half").unwrap();
            drop(draft);
            assert!(names(folder.path()).is_empty());

            let mut draft = begin(&place).unwrap();
            draft.write_all(b"whole").unwrap();
            assert!(!place.exists());
            draft.publish(&place, false).unwrap();
            assert_eq!(names(folder.path()), ["out.csv"]);
            assert_eq!(fs::read(&place).unwrap(), b"whole");
        }
    }

    #[test]
    fn what_came_meanwhile_is_replaced_only_when_asked() {
        for begin in WAYS {
            let folder = tempfile::tempdir().unwrap();
            let place = folder.path().join("out.csv");
            for (replaces, left) in [(false, &b"theirs"[..]), (true, b"ours")] {
                let mut draft = begin(&place).unwrap();
                draft.write_all(b"ours").unwrap();
                fs::write(&place, "theirs").unwrap();
                let published = draft.publish(&place, replaces).map_err(|error| error.kind());
                assert_eq!(published, if replaces { Ok(()) } else { Err(io::ErrorKind::AlreadyExists) });
                assert_eq!(fs::read(&place).unwrap(), left);
                assert_eq!(names(folder.path()), ["out.csv"]);
            }
        }
    }
}
