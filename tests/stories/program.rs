//! The program itself: demo, serve, the first instructor.

use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStderr, Command, Output, Stdio};
use std::sync::{Arc, Condvar, Mutex};
use std::time::Duration;

use super::log;
use super::site::Browser;

pub(super) const PROGRAM: &str = env!("CARGO_BIN_EXE_platemark");

/// What comes through a pipe.
#[derive(Default)]
struct Log {
    text: Mutex<Vec<u8>>,
    comes: Condvar,
}

/// A server that is asked to stop at the end of its story, also when the story fails. What it logs is looked through then.
pub(crate) struct Running {
    pub(super) child: Child,
    lines: Vec<String>,
    /// What it has logged so far. Through a pipe: of some servers the files may not grow.
    log: Arc<Log>,
    data: Option<PathBuf>,
}

impl Running {
    /// Starts and reads what it prints until a line has these words.
    pub(crate) fn start(arguments: &[&str], until: &str) -> Self {
        Self::begin(Command::new(PROGRAM).args(arguments), until)
    }

    /// The same for a command that leads to the program. Where it does not say how much is logged, it is what may be logged at all.
    pub(super) fn begin(command: &mut Command, until: &str) -> Self {
        if !command.get_envs().any(|(name, _)| name == "RUST_LOG") {
            command.env("RUST_LOG", "info,platemark=debug,tower_http=debug");
        }
        let data = data_of(command);
        let command = command.stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let log = collected(child.stderr.take().unwrap());
        let mut lines = Vec::new();
        for line in BufReader::new(child.stdout.take().unwrap()).lines() {
            let line = line.unwrap();
            let last = line.contains(until);
            lines.push(line);
            if last {
                break;
            }
        }
        let running = Self {
            child,
            lines,
            log,
            data,
        };
        let began = running.lines.iter().any(|l| l.contains(until));
        assert!(began, "{:?}\n{}", running.lines, running.logged());
        running
    }

    pub(crate) fn address(&self) -> String {
        let line = self.lines.iter().find(|l| l.contains("http://")).unwrap();
        line[line.find("http://").unwrap()..].trim().to_owned()
    }

    /// Sign-in and passphrase of the instructor whom the demo names.
    pub(crate) fn instructor(&self) -> [String; 2] {
        ["sign-in", "passphrase"].map(|word| self.after("instructor", word))
    }

    /// What follows a word in the lines, as in `sign-in fennimar`.
    fn after(&self, line: &str, word: &str) -> String {
        let line = self.lines.iter().find(|l| l.contains(line)).unwrap();
        let rest = line.split(word).nth(1).unwrap().trim();
        rest.split("  ").next().unwrap().split(" (").next().unwrap().to_owned()
    }

    /// What it has logged so far, as soon as no more of it comes.
    pub(super) fn logged(&self) -> String {
        let mut text = self.log.text.lock().unwrap();
        loop {
            let (more, waited) = self.log.comes.wait_timeout(text, Duration::from_millis(30)).unwrap();
            if waited.timed_out() {
                return String::from_utf8_lossy(&more).into_owned();
            }
            text = more;
        }
    }

    /// Sends it a signal; its exit status, where it ends by itself within half a minute.
    #[cfg(unix)]
    pub(super) async fn ends_by(&mut self, signal: rustix::process::Signal) -> Option<i32> {
        let process = rustix::process::Pid::from_child(&self.child);
        rustix::process::kill_process(process, signal).unwrap();
        for _ in 0..3000 {
            if let Some(status) = self.child.try_wait().unwrap() {
                return status.code();
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        None
    }

    /// Asks it to stop, as a service manager does; whether it ended well.
    pub(super) fn stop(mut self) -> bool {
        let asked = Command::new("kill").arg(self.child.id().to_string()).status().unwrap();
        asked.success() && self.child.wait().unwrap().success()
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
        if let Some(data) = &self.data {
            log::never_of_school(data, false);
        }
        log::look_through(&self.logged());
        log::hold();
    }
}

/// The data folder that a command names.
fn data_of(command: &Command) -> Option<PathBuf> {
    let all: Vec<String> = command.get_args().map(|a| a.to_string_lossy().into_owned()).collect();
    let all = all.join(" ");
    let mut words = all.split_whitespace().skip_while(|word| *word != "--data");
    words.nth(1).map(|word| PathBuf::from(word.trim_matches('"')))
}

/// Collects what comes through a pipe until its other end is closed.
fn collected(mut pipe: ChildStderr) -> Arc<Log> {
    let log = Arc::new(Log::default());
    let of_thread = Arc::clone(&log);
    std::thread::spawn(move || {
        let mut piece = [0; 1 << 16];
        while let Ok(read @ 1..) = pipe.read(&mut piece) {
            of_thread.text.lock().unwrap().extend_from_slice(&piece[..read]);
            of_thread.comes.notify_all();
        }
    });
    log
}

pub(super) fn add_instructor(data: &Path, name: &str, passphrase: &str) -> Output {
    log::never(name);
    log::never(passphrase.trim_end());
    let mut child = Command::new(PROGRAM)
        .args(["instructor", "add", name, "--passphrase-stdin", "--data"])
        .arg(data)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(passphrase.as_bytes()).unwrap();
    child.wait_with_output().unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_demo_opens_a_school_that_both_can_enter_and_opens_it_again() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    for _ in 0..2 {
        let demo = Running::start(&["demo", "--data", data, "--listen", "127.0.0.1:0"], "Ctrl-C");
        let instructor = Browser::at(&demo.address());
        let secret = demo.after("instructor", "passphrase");
        let fields = [("name", demo.after("instructor", "sign-in")), ("secret", secret)];
        let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (*k, v.as_str())).collect();
        let page = instructor.send("/sign-in", &fields).await;
        page.is(200).has("Tuesday group").has("Thursday evening");
        instructor
            .get("/classes/1/gradebook")
            .await
            .is(200)
            .has("Alder")
            .has("late")
            .has("released");
        instructor.get("/reports/1").await.is(200).has("<svg");
        instructor
            .get("/assignments/2")
            .await
            .is(200)
            .has("gave or took points of one student");
        let exercises = instructor.get("/exercises").await;
        for code in ["SB-11", "JP-14", "PC-21", "CP-23", "SG-31", "GC-40"] {
            exercises.has(code);
        }
        // The truth that comes with the program is at no address, for nobody.
        for path in [
            "/SB-11/plates.toml",
            "/exercises/SB-11/plates.toml",
            "/static/SB-11/plates.toml",
        ] {
            instructor.get(path).await.is(404);
        }
        let pair = Browser::at(&demo.address());
        let fields = [
            ("name", demo.after("pair", "sign-in")),
            ("secret", demo.after("pair", "PIN")),
        ];
        let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (*k, v.as_str())).collect();
        pair.send("/sign-in", &fields)
            .await
            .is(200)
            .has("Clamp plate")
            .has("Step block");
        assert!(demo.stop());
    }
    assert!(!folder.path().join("filling").exists());
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_instructor_is_added_and_signs_in() {
    let folder = tempfile::tempdir().unwrap();
    let short = add_instructor(folder.path(), "ferro", "too short\n");
    assert_eq!(short.status.code(), Some(1));
    assert!(
        String::from_utf8_lossy(&short.stderr).contains("9 characters; it needs 12"),
        "{short:?}"
    );
    let added = add_instructor(folder.path(), "Ferro", "long enough a phrase\n");
    assert_eq!(added.status.code(), Some(0), "{added:?}");
    let again = add_instructor(folder.path(), "ferro", "long enough a phrase\n");
    assert_eq!(again.status.code(), Some(1));
    assert!(
        String::from_utf8_lossy(&again.stderr).contains("somebody signs in as `ferro` already"),
        "{again:?}"
    );

    let data = folder.path().to_str().unwrap();
    let server = Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
    let browser = Browser::at(&server.address());
    browser
        .send("/sign-in", &[("name", "ferro"), ("secret", "long enough a phrase")])
        .await
        .is(200)
        .has("Classes");

    // A second server cannot have the same folder or the same port, and says what to do.
    let second = Command::new(PROGRAM)
        .args(["serve", "--data", data, "--listen", "127.0.0.1:0"])
        .output()
        .unwrap();
    assert_eq!(second.status.code(), Some(1));
    assert!(
        String::from_utf8_lossy(&second.stderr).contains("another Platemark server runs on the data folder"),
        "{second:?}"
    );
    let address = server.address().replace("http://", "");
    let other = tempfile::tempdir().unwrap();
    let second = Command::new(PROGRAM)
        .args(["serve", "--data", other.path().to_str().unwrap(), "--listen", &address])
        .output()
        .unwrap();
    assert_eq!(second.status.code(), Some(1));
    assert!(
        String::from_utf8_lossy(&second.stderr).contains("choose another port: --listen"),
        "{second:?}"
    );
    assert!(server.stop());
}

#[test]
fn wrong_usage_and_wrong_settings_are_told_apart() {
    let usage = Command::new(PROGRAM).args(["serve", "--listne", "x"]).output().unwrap();
    assert_eq!(usage.status.code(), Some(2));
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("settings.toml");
    std::fs::write(&file, "session_hours = 0\n").unwrap();
    let settings = Command::new(PROGRAM)
        .args(["serve", "--settings", file.to_str().unwrap()])
        .output()
        .unwrap();
    assert_eq!(settings.status.code(), Some(1));
    let mut said = String::new();
    settings.stderr.as_slice().read_to_string(&mut said).unwrap();
    assert!(said.contains("the setting `session_hours` is 0"), "{said}");
}
