//! Which file a file is, whatever it is called.

use std::path::Path;

/// A file, told from every other: hard links and links to it are the same file.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) struct Identity(Inner);

#[cfg(unix)]
type Inner = (u64, u64);
#[cfg(not(unix))]
type Inner = std::path::PathBuf;

impl Identity {
    /// The file at a path, where there is one.
    pub(crate) fn of_path(path: &Path) -> Option<Self> {
        #[cfg(unix)]
        return std::fs::metadata(path).ok().as_ref().map(Self::of);
        #[cfg(not(unix))]
        return std::fs::canonicalize(path).ok().map(Self);
    }

    #[cfg(unix)]
    fn of(metadata: &std::fs::Metadata) -> Self {
        use std::os::unix::fs::MetadataExt;
        Self((metadata.dev(), metadata.ino()))
    }

    /// The plain file that standard input comes from, if it does.
    pub(crate) fn of_standard_input() -> Option<Self> {
        #[cfg(unix)]
        return of_stream(&std::io::stdin());
        #[cfg(not(unix))]
        return None;
    }

    /// The plain files that standard output and standard error go to.
    pub(crate) fn of_standard_output() -> Vec<Self> {
        #[cfg(unix)]
        return of_stream(&std::io::stdout()).into_iter().chain(of_stream(&std::io::stderr())).collect();
        #[cfg(not(unix))]
        return Vec::new();
    }
}

/// The plain file behind a stream.
#[cfg(unix)]
fn of_stream(stream: &impl std::os::fd::AsFd) -> Option<Identity> {
    let file = std::fs::File::from(stream.as_fd().try_clone_to_owned().ok()?);
    let metadata = file.metadata().ok()?;
    metadata.is_file().then(|| Identity::of(&metadata))
}
