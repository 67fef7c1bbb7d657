//! Files that are written: nothing is destroyed, and nothing is left half done.

use super::*;

/// One row that can be used and one that cannot.
const MIXED: &str = "bottle,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nA,1752,517,55\nB,100,200,3\n";

/// A folder with an input of one bad row.
fn folder() -> (TempDir, String) {
    let (folder, path) = file("in.csv", MIXED.as_bytes());
    (folder, path.display().to_string())
}

fn names(folder: &Path) -> Vec<String> {
    let names = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name());
    let mut names: Vec<String> = names.map(|name| name.to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

/// Refused with this code, and the folder's file of this name as it was.
fn refused_with(code: &str, arguments: &[&str]) {
    let output = siltcode(&[arguments, &["--format", "json"]].concat());
    assert_eq!(status(&output), 2, "{arguments:?}: {}", stderr(&output));
    assert!(output.stdout.is_empty());
    let error: Value = serde_json::from_str(&stderr(&output)).unwrap();
    assert_eq!((&error["schema"], &error["code"]), (&"siltcode.error/1".into(), &code.into()));
    assert!(!error["hint"].as_str().unwrap().is_empty(), "{error}");
}

#[test]
fn an_input_is_never_written_over() {
    let (folder, input) = folder();
    let in_folder = |name: &str| folder.path().join(name).display().to_string();
    fs::hard_link(&input, in_folder("hard.csv")).unwrap();
    fs::write(in_folder("earlier.csv"), GOOD).unwrap();
    fs::write(in_folder("target.toml"), "code = \"18/16/13\"\n").unwrap();
    let folder_name = folder.path().display().to_string();
    let dotted = format!("{folder_name}/../{}/in.csv", folder.path().file_name().unwrap().to_string_lossy());
    let more = ["--previous", &in_folder("earlier.csv"), "--spec", &in_folder("target.toml")];
    for place in [&input, &dotted, &in_folder("hard.csv"), more[1], more[3]] {
        for force in [&[][..], &["--force"]] {
            let arguments = [&["score", &input, "--rejects", place], &more[..], force].concat();
            refused_with("output-is-input", &arguments);
        }
    }
    refused_with("output-is-input", &["score", &folder_name, "--rejects", &input, "--force"]);
    assert_eq!(fs::read_to_string(&input).unwrap(), MIXED);
    assert_eq!(names(folder.path()), ["earlier.csv", "hard.csv", "in.csv", "target.toml"]);
}

#[test]
fn what_exists_is_replaced_only_by_force() {
    let (folder, input) = folder();
    let place = folder.path().join("out.csv").display().to_string();
    for part in ["out.csv", "out.csv.part"] {
        fs::write(folder.path().join(part), "precious").unwrap();
    }
    refused_with("output-exists", &["score", &input, "--rejects", &place]);
    assert_eq!(fs::read_to_string(&place).unwrap(), "precious");
    let output = siltcode(&["score", &input, "--rejects", &place, "--force"]);
    assert_eq!(status(&output), 3, "{}", stderr(&output));
    assert!(fs::read_to_string(&place).unwrap().contains("count-rises-with-size"));
    assert_eq!(names(folder.path()), ["in.csv", "out.csv", "out.csv.part"]);
    assert_eq!(fs::read_to_string(folder.path().join("out.csv.part")).unwrap(), "precious");
}

#[test]
fn a_refused_request_leaves_what_exists() {
    let (folder, input) = folder();
    let place = folder.path().join("out.csv");
    fs::write(&place, "precious").unwrap();
    let bad = demo("day-tank.toml");
    let output = siltcode(&["score", &input, &bad, "--rejects", place.to_str().unwrap(), "--force"]);
    assert_eq!(status(&output), 2);
    assert_eq!(fs::read_to_string(&place).unwrap(), "precious");
    assert_eq!(names(folder.path()), ["in.csv", "out.csv"]);
}

#[test]
fn a_folder_is_no_file_to_write() {
    let (folder, input) = folder();
    refused_with("output-not-regular", &["score", &input, "--rejects", folder.path().to_str().unwrap()]);
    refused_with("output-not-regular", &["score", &input, "--rejects", "-"]);
    refused_with("file-unusable", &["score", &input, "--rejects", "nowhere/out.csv"]);
}

#[cfg(unix)]
mod unix {
    use std::io::Write;
    use std::os::unix::fs::{FileTypeExt, MetadataExt, PermissionsExt, symlink};
    use std::os::unix::process::ExitStatusExt;
    use std::process::{Child, Stdio};
    use std::time::{Duration, Instant};

    use rustix::fs::{CWD, FileType, Mode, makedev, mknodat};
    use rustix::process::{Pid, Signal, kill_process};

    use super::*;

    #[test]
    fn links_pipes_and_devices_are_not_written_to() {
        let (folder, input) = folder();
        let place = |name: &str| folder.path().join(name);
        symlink(place("target.csv"), place("dangling")).unwrap();
        symlink(&input, place("link")).unwrap();
        mknodat(CWD, place("pipe"), FileType::Fifo, Mode::from_raw_mode(0o600), 0).unwrap();
        // The null device of the machine, by its numbers; only the superuser can make one.
        let null = fs::metadata("/dev/null").unwrap().rdev();
        let device = makedev(rustix::fs::major(null), rustix::fs::minor(null));
        let has_device =
            mknodat(CWD, place("null"), FileType::CharacterDevice, Mode::from_raw_mode(0o666), device)
                .is_ok();
        let mut before = names(folder.path());
        for name in ["dangling", "link", "pipe"].iter().chain(has_device.then_some(&"null")) {
            let place = place(name).display().to_string();
            for force in [&[][..], &["--force"]] {
                let arguments = [&["score", &input, "--rejects", &place], force].concat();
                refused_with("output-not-regular", &arguments);
            }
        }
        let after = |name: &str| fs::symlink_metadata(place(name)).unwrap().file_type();
        assert!(after("link").is_symlink() && after("dangling").is_symlink() && after("pipe").is_fifo());
        assert!(!has_device || after("null").is_char_device());
        before.sort();
        assert_eq!(names(folder.path()), before);
        assert_eq!(fs::read_to_string(&input).unwrap(), MIXED);
        refused_with("output-not-regular", &["score", &input, "--rejects", "/dev/null", "--force"]);
        assert!(fs::metadata("/dev/null").unwrap().file_type().is_char_device());
    }

    #[test]
    fn a_replaced_file_keeps_its_permissions() {
        let (folder, input) = folder();
        let place = folder.path().join("out.csv");
        fs::write(&place, "old").unwrap();
        fs::set_permissions(&place, fs::Permissions::from_mode(0o640)).unwrap();
        siltcode(&["score", &input, "--rejects", place.to_str().unwrap(), "--force"]);
        assert_eq!(fs::metadata(&place).unwrap().mode() & 0o777, 0o640);
    }

    /// The command behind a shell that sets limits or streams first.
    fn behind(shell: &str, arguments: &[&str]) -> Output {
        let script = format!("{shell}; exec \"$0\" \"$@\"");
        let mut command = Command::new("sh");
        command.args(["-c", &script, env!("CARGO_BIN_EXE_siltcode")]).args(arguments).output().unwrap()
    }

    #[test]
    fn the_output_may_not_be_an_input_or_the_rejects() {
        let (folder, input) = folder();
        let own = behind(&format!("exec >> '{input}'"), &["score", &input]);
        assert_eq!(status(&own), 2);
        assert!(stderr(&own).contains("the output goes to it"), "{}", stderr(&own));
        let out = folder.path().join("out.txt").display().to_string();
        let both = behind(&format!("exec > '{out}'"), &["score", &input, "--rejects", &out, "--force"]);
        assert_eq!(status(&both), 2, "{}", stderr(&both));
        let from_input =
            behind(&format!("exec < '{input}'"), &["score", "-", "--rejects", &input, "--force"]);
        assert_eq!(status(&from_input), 2, "{}", stderr(&from_input));
        assert_eq!(fs::read_to_string(&input).unwrap(), MIXED);
    }

    fn bad_rows(n: u32) -> String {
        (0..n).map(|i| format!("B{i},100,200,3\n")).collect::<Vec<_>>().concat()
    }

    /// Many bad rows, so that their file is written in many steps.
    fn long() -> (TempDir, String) {
        let rows = bad_rows(2000);
        let (folder, path) = file("in.csv", format!("{MIXED}{rows}").as_bytes());
        (folder, path.display().to_string())
    }

    #[test]
    fn a_full_disk_or_a_kill_at_any_write_leaves_nothing() {
        let (folder, input) = long();
        let place = folder.path().join("out.csv");
        let arguments = ["score", &input, "--rejects", place.to_str().unwrap(), "--format", "csv"];
        // A limit in blocks of 512 bytes stops the file at every place where it is written out.
        let mut failed = 0;
        for blocks in [0, 1, 15, 16, 17, 100, 333, 500] {
            for (trap, is_killed) in [("trap '' XFSZ", false), ("true", true)] {
                let output = behind(&format!("{trap}; ulimit -f {blocks}"), &arguments);
                assert!(!output.status.success());
                assert_eq!(output.status.signal().is_some(), is_killed, "{blocks}: {:?}", output.status);
                if !is_killed {
                    assert_eq!(status(&output), 2);
                    assert!(output.stdout.is_empty() && stderr(&output).contains("out.csv"));
                }
                assert_eq!(names(folder.path()), ["in.csv"], "{blocks}, killed: {is_killed}");
                failed += 1;
            }
        }
        assert_eq!(failed, 16);
        let output = siltcode(&arguments);
        assert_eq!(status(&output), 3);
        let rows = fs::read_to_string(&place).unwrap();
        assert_eq!(rows.lines().filter(|line| !line.starts_with("# siltcode")).count(), 2002);
    }

    #[test]
    fn a_full_disk_is_said_of_the_output_too() {
        let (_folder, input) = folder();
        let output = behind("exec > /dev/full", &["score", &input]);
        assert_eq!(status(&output), 2);
        assert!(stderr(&output).contains("cannot write the output"), "{}", stderr(&output));
    }

    fn begun(place: &Path) -> Child {
        let mut command = Command::new(env!("CARGO_BIN_EXE_siltcode"));
        let mut child = command
            .args(["score", "-", "--rejects", place.to_str().unwrap()])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let rows = bad_rows(9000);
        child.stdin.as_mut().unwrap().write_all(format!("{MIXED}{rows}").as_bytes()).unwrap();
        child
    }

    /// Whether this process ignores a signal, and with it those that it starts.
    fn is_ignored(signal: Signal) -> bool {
        let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
        let ignored = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
        let mask = ignored.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok()).unwrap_or(0);
        mask & (1 << (signal.as_raw() - 1)) != 0
    }

    #[test]
    fn an_interrupted_command_leaves_nothing() {
        // Started by `nohup` or in the background of a script, a process leaves some signals ignored.
        let signals = [Signal::INT, Signal::TERM, Signal::HUP, Signal::KILL];
        for signal in signals.into_iter().filter(|signal| !is_ignored(*signal)) {
            let folder = tempfile::tempdir().unwrap();
            let mut child = begun(&folder.path().join("out.csv"));
            // All but the last rows were taken from the pipe, so the file is under way.
            std::thread::sleep(Duration::from_millis(200));
            assert!(child.try_wait().unwrap().is_none(), "it waits for more input");
            kill_process(Pid::from_child(&child), signal).unwrap();
            let ended = child.wait().unwrap();
            assert_eq!(ended.signal(), Some(signal.as_raw()));
            assert!(names(folder.path()).is_empty(), "{signal:?}");
        }
    }

    #[test]
    fn a_reader_that_leaves_ends_the_command_quietly() {
        let (_folder, input) = long();
        let rows = (0..200_000).map(|i| format!("A{i},1752,517,55\n")).collect::<Vec<_>>().concat();
        fs::write(&input, format!("bottle,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\n{rows}")).unwrap();
        for format in ["csv", "table", "json"] {
            let script =
                format!("\"$0\" score \"$1\" --format {format} 2>\"$1.err\"; echo $? >\"$1.status\"");
            let started = Instant::now();
            let mut child = Command::new("sh")
                .args(["-c", &script, env!("CARGO_BIN_EXE_siltcode"), &input])
                .stdout(Stdio::piped())
                .spawn()
                .unwrap();
            let mut first = [0; 8];
            std::io::Read::read_exact(child.stdout.as_mut().unwrap(), &mut first).unwrap();
            drop(child.stdout.take());
            child.wait().unwrap();
            assert!(started.elapsed() < Duration::from_secs(60));
            assert_eq!(fs::read_to_string(format!("{input}.status")).unwrap().trim(), "0", "{format}");
            let said = fs::read_to_string(format!("{input}.err")).unwrap();
            assert!(!said.contains("error") && !said.contains("panic"), "{said}");
        }
    }

    #[test]
    fn more_files_than_can_be_open_are_read_one_at_a_time() {
        let folder = tempfile::tempdir().unwrap();
        for i in 0..300 {
            let text = GOOD.replace("\nA,", &format!("\nA{i:03},"));
            fs::write(folder.path().join(format!("{i:03}.csv")), text).unwrap();
        }
        let output = behind("ulimit -n 32", &["score", folder.path().to_str().unwrap(), "--format", "csv"]);
        assert_eq!(status(&output), 0, "{}", stderr(&output));
        assert_eq!(stdout(&output).lines().count(), 301);
    }
}
