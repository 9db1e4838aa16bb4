//! `tests/fuzz/run` with a program in the fuzzer's place that finds at once, or never ends.

use std::fs;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};

use super::fuzz_findings::targets::READERS;

/// Takes the arguments of libFuzzer as far as the script has them, and learns one input.
const BEGIN: &str = r#"#!/usr/bin/env bash
for argument in "$@"; do
  case $argument in
    -artifact_prefix=*) prefix=${argument#*=} ;;
    -*) ;;
    *) folder=${folder:-$argument} ;;
  esac
done
echo learned > "$folder/learned"
echo "$FUZZ_READER" >> "$CALLS"
"#;

/// A copy of what the script needs, and a program in the fuzzer's place.
struct Place {
    folder: tempfile::TempDir,
}

impl Place {
    fn with(program: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let repository = Path::new(env!("CARGO_MANIFEST_DIR"));
        for made in ["tests/fuzz", "tests/data", "tmp"] {
            fs::create_dir_all(folder.path().join(made)).unwrap();
        }
        symlink(repository.join("exercises"), folder.path().join("exercises")).unwrap();
        for file in ["run", "targets.rs"] {
            let file = format!("tests/fuzz/{file}");
            fs::copy(repository.join(&file), folder.path().join(&file)).unwrap();
        }
        let fuzzer = folder.path().join("fuzzer");
        fs::write(&fuzzer, format!("{BEGIN}{program}")).unwrap();
        fs::set_permissions(&fuzzer, fs::Permissions::from_mode(0o755)).unwrap();
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new("bash");
        command
            .arg("tests/fuzz/run")
            .args(arguments)
            .current_dir(self.folder.path())
            .env("FUZZ_PROGRAM", "fuzzer")
            .env("CALLS", self.path("calls"))
            .env("TMPDIR", self.path("tmp"))
            .env_remove("FUZZ_CORPUS");
        command
    }

    fn run(&self, arguments: &[&str]) -> (Output, String) {
        let output = self.command(arguments).output().unwrap();
        let said = String::from_utf8(output.stdout.clone()).unwrap();
        (output, said)
    }

    /// Which readers were fuzzed.
    fn calls(&self) -> Vec<String> {
        let calls = fs::read_to_string(self.path("calls")).unwrap_or_default();
        let mut calls: Vec<String> = calls.lines().map(str::to_owned).collect();
        calls.sort();
        calls
    }

    fn leaves_nothing_behind(&self) -> bool {
        fs::read_dir(self.path("tmp")).unwrap().next().is_none()
    }
}

const FINDS: &str = r#"case $FUZZ_READER in
  form) printf 'a\0\377"b' > "${prefix}crash-1"; echo "it panicked at the form"; exit 77 ;;
  tolerance) head -c 9000 "$0" > "${prefix}crash-2"; head -c 9000 /dev/zero >> "${prefix}crash-2"; exit 77 ;;
esac
"#;

#[test]
fn what_is_found_fails_the_run_and_is_printed_so_that_it_can_be_put_back() {
    let place = Place::with(FINDS);
    let (output, said) = place.run(&["--each", "1", "settings", "form", "tolerance", "draft"]);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("it panicked at the form"), "{said}");
    // The others have their turn all the same.
    assert_eq!(place.calls(), ["draft", "form", "settings", "tolerance"]);

    let kept = place.path("tests/data/fuzz");
    let found = ["form/crash-1", "tolerance/crash-2"].map(|name| (name, fs::read(kept.join(name)).unwrap()));
    assert_eq!(found[0].1, b"a\0\xff\"b");
    assert!(found[1].1.len() > 9000);
    fs::remove_dir_all(&kept).unwrap();
    // As somebody copies them out of a log.
    let mut within = false;
    let commands = said.lines().filter(|line| {
        let is_command = within || line.starts_with("mkdir") || line.starts_with("base64");
        within = (within || line.starts_with("base64")) && *line != "END";
        is_command
    });
    let commands: String = commands.flat_map(|line| [line, "\n"]).collect();
    let restored = Command::new("bash")
        .args(["-e", "-c", &commands])
        .current_dir(place.folder.path())
        .status();
    assert!(restored.unwrap().success(), "{commands}");
    for (name, bytes) in found {
        assert_eq!(fs::read(kept.join(name)).unwrap(), bytes, "{name}");
    }

    let (output, said) = place.run(&["--each", "1", "settings", "draft"]);
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(place.leaves_nothing_behind());
}

#[test]
fn a_fuzzer_that_does_not_start_fails_the_run() {
    let place = Place::with("echo no such library >&2; exit 127\n");
    let (output, said) = place.run(&["--each", "1", "form"]);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("no such library"), "{said}");
}

#[test]
fn all_readers_have_the_time_that_is_said_and_what_they_learn_is_kept() {
    let place = Place::with("");
    let (output, said) = place.run(&[]);
    assert!(output.status.success(), "{said}");
    let mut names = READERS.map(|(name, _)| name);
    names.sort_unstable();
    assert_eq!(place.calls(), names);

    let numbers = |said: &str| -> Vec<usize> {
        let words = said.lines().next().unwrap().split([' ', ',']);
        words.filter_map(|word| word.parse().ok()).collect()
    };
    // Readers, how many at once, seconds of each; hours, minutes and seconds of all.
    let [all, at_once, each, hours, minutes, seconds] = numbers(&said)[..] else {
        unreachable!("{said}")
    };
    assert_eq!((all, each), (READERS.len(), 300 / all.div_ceil(at_once)));
    let whole = hours * 3600 + minutes * 60 + seconds;
    assert!((200..=300).contains(&whole), "{said}");

    let output = place
        .command(&["--each", "3600", "form", "draft", "settings"])
        .env("FUZZ_CORPUS", "learned")
        .output();
    let said = String::from_utf8(output.unwrap().stdout).unwrap();
    let hours = 3_usize.div_ceil(at_once);
    assert_eq!(numbers(&said), [3, at_once, 3600, hours, 0, 0]);
    for name in ["form", "draft", "settings"] {
        assert!(place.path("learned").join(name).join("learned").exists(), "{name}");
    }
}

#[test]
fn what_cannot_be_meant_is_said() {
    let place = Place::with("");
    for (arguments, expected) in [
        (&["--each"][..], "how many seconds"),
        (&["table"], "\"table\" is no number of seconds"),
        (&["0"], "\"0\" is no number of seconds"),
        (&["300", "tables"], "There is no reader \"tables\""),
    ] {
        let (output, _) = place.run(arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(said.contains(expected), "{arguments:?}: {said}");
    }
    assert!(place.calls().is_empty());
}

/// Waits until it holds.
async fn until(what: &str, mut holds: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !holds() {
        assert!(begun.elapsed() < Duration::from_secs(30), "{what}");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

/// Whether a process is there still; one that only nobody has asked about is not.
fn runs(process: &str) -> bool {
    let stat = fs::read_to_string(format!("/proc/{process}/stat")).unwrap_or_default();
    let state = stat.rsplit_once(") ").map_or("Z", |(_, rest)| rest);
    !state.starts_with('Z')
}

#[tokio::test]
async fn an_interrupted_run_ends_what_it_started() {
    let place = Place::with("sleep 600 &\necho $! >> \"$CALLS.started\"\nwait\n");
    let mut run = place
        .command(&["--each", "600", "form", "draft"])
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let started = || fs::read_to_string(place.path("calls.started")).unwrap_or_default();
    until("a fuzzer starts", || started().ends_with('\n')).await;
    assert!(started().lines().all(runs));
    kill_process(Pid::from_child(&run), Signal::TERM).unwrap();
    until("it stops", || run.try_wait().unwrap().is_some()).await;
    assert_eq!(run.wait().unwrap().code(), Some(143));
    until("what the fuzzer started is gone", || !started().lines().any(runs)).await;
    assert!(place.leaves_nothing_behind());
}
