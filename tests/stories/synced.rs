//! What is acknowledged was given to the disk before: the system calls of the real server while a pair hands in, by `strace`.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

use platemark::store::FILE_NAME;
use reqwest::multipart::{Form, Part};

use super::kill::school;
use super::log;
use super::program::{PROGRAM, Running};
use super::site::{Browser, PIN, shipped};

/// A number that stands in this report and nowhere else.
const VALUE: &str = "0.0223171";

const CALLS: &str = "trace=write,writev,pwrite64,pwritev,pwritev2,sendto,sendmsg,fsync,fdatasync";

/// A system call of the server; those of a trace are in the order in which they ended.
#[derive(Debug)]
struct Call {
    /// Where it begins in the trace.
    begun: usize,
    ended: usize,
    thread: String,
    /// As in `fdatasync(9</srv/platemark.db-wal>) = 0`.
    text: String,
}

impl Call {
    /// The file or socket is the first that is named.
    fn is_of_log(&self) -> bool {
        let file = self.text.split(['>', '"']).next().unwrap_or_default();
        file.ends_with(&format!("{FILE_NAME}-wal"))
    }

    fn is_sync(&self) -> bool {
        self.text.starts_with("fsync(") || self.text.starts_with("fdatasync(")
    }

    /// Without an error.
    fn is_good(&self) -> bool {
        let result = self.text.rsplit_once(" = ").map(|(_, result)| result.trim());
        result.is_some_and(|result| result.parse::<u64>().is_ok())
    }
}

/// Reads what `strace -f` wrote: `THREAD CALL`, where another thread came between as `THREAD CALL <unfinished ...>` and
/// `THREAD <... NAME resumed>REST`.
fn calls(trace: &str) -> Vec<Call> {
    let mut begun: BTreeMap<&str, (usize, &str)> = BTreeMap::new();
    let mut calls = Vec::new();
    for (at, line) in trace.lines().enumerate() {
        let Some((thread, text)) = line.split_once(' ').map(|(thread, text)| (thread, text.trim_start())) else {
            continue;
        };
        if let Some(head) = text.strip_suffix(" <unfinished ...>") {
            begun.insert(thread, (at, head));
            continue;
        }
        let resumed = text.strip_prefix("<... ").and_then(|text| text.split_once(" resumed>"));
        let (from, text) = match resumed.and_then(|(_, rest)| Some((begun.remove(thread)?, rest))) {
            Some(((from, head), rest)) => (from, format!("{head}{rest}")),
            None => (at, text.to_owned()),
        };
        calls.push(Call {
            begun: from,
            ended: at,
            thread: thread.to_owned(),
            text,
        });
    }
    calls
}

/// Says so where a process may not be traced here; the story is not left out.
fn need_strace() {
    let tried = Command::new("strace").args(["-f", "-o", "/dev/null", "true"]).output();
    assert!(
        tried.is_ok(),
        "this story needs `strace` on the PATH: install the package `strace`, as `tests/run` does: {tried:?}"
    );
    let tried = tried.unwrap();
    assert!(
        tried.status.success(),
        "this story needs `strace`, and the system does not let it trace a process (ptrace): {}",
        String::from_utf8_lossy(&tried.stderr)
    );
}

/// Hands in a report to a server whose calls are written down.
async fn traced(data: &Path, trace: &Path) -> Vec<Call> {
    let assignment = school(data, 1).await[0];
    let mut command = Command::new("strace");
    // The server stays the child of this process, so that it is the one that is asked to stop.
    command
        .args(["-D", "-f", "-y", "-s", "10000", "-e", CALLS, "-o"])
        .arg(trace);
    command
        .args([PROGRAM, "serve", "--listen", "127.0.0.1:0", "--data"])
        .arg(data);
    command.env("RUST_LOG", "warn");
    let server = Running::begin(&mut command, "listens on");
    let pair = Browser::that_stays(&server.address());
    pair.send("/sign-in", &[("name", "s0"), ("secret", PIN)]).await.is(303);
    // As a file: what is typed is also kept as a draft, in a transaction of its own.
    let csv = shipped("SB-11/reports/SB-11-01--careful.csv").replacen("1,0.022,", &format!("1,{VALUE},"), 1);
    assert!(csv.contains(VALUE));
    let form = Form::new()
        .text("key", "one")
        .text("attempt", "1")
        .text("do", "hand-in")
        .part("table", Part::bytes(csv.into_bytes()).file_name("lab.csv"));
    let answer = pair.send_files(&format!("/my/{assignment}/entry"), form).await;
    assert_eq!(answer.is(303).headers.get("location").unwrap(), "/my/reports/1");
    let process = server.child.id();
    assert!(server.stop());
    // What traces it ends after it.
    let end = format!("{process} +++ exited with 0 +++");
    for _ in 0..200 {
        let lines = std::fs::read_to_string(trace).unwrap();
        if lines
            .lines()
            .any(|line| line.split_whitespace().eq(end.split_whitespace()))
        {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    calls(&std::fs::read_to_string(trace).unwrap())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_report_is_synced_before_it_is_acknowledged() {
    log::never(VALUE);
    need_strace();
    let folder = tempfile::tempdir().unwrap();
    let calls = traced(folder.path(), &folder.path().join("trace")).await;
    let mut answers = calls.iter().filter(|c| c.text.contains("location: /my/reports/1\\r"));
    let (answer, other) = (answers.next().expect("the answer was not seen"), answers.next());
    assert!(
        other.is_none() && answer.text.contains("HTTP/1.1 303"),
        "{answer:?} {other:?}"
    );
    let before = || calls.iter().filter(|c| c.is_of_log() && c.ended < answer.begun);
    // The report is in what was written to the log, and what this thread did with the log next, after the rest of the transaction.
    let mut written = before().filter(|c| !c.is_sync() && c.text.contains(VALUE)).peekable();
    assert!(
        written.peek().is_some(),
        "the report was not written to the log before its answer"
    );
    for write in written {
        let then = before().find(|c| c.thread == write.thread && c.begun > write.ended && c.is_sync());
        assert!(
            then.is_some_and(Call::is_good),
            "what was written to the log was not synced before the answer: {:.120} then {then:?}",
            write.text
        );
    }
}

#[test]
fn a_trace_is_read_in_the_order_in_which_calls_ended() {
    let trace = "7 pwrite64(9</d/platemark.db-wal>, \"0.0\", 3, 0) = 3\n\
        7 fdatasync(9</d/platemark.db-wal> <unfinished ...>\n\
        8   write(3<socket:[5]>, \"platemark.db-wal\", 16) = 16\n\
        7 <... fdatasync resumed>)          = 0\n\
        7 fsync(9</d/platemark.db-wal>) = -1 EIO (Input/output error)\n\
        7 fdatasync(8</d/platemark.db>) = 0\n";
    let calls = calls(trace);
    let of = |c: &Call| (c.begun, c.ended, c.is_of_log(), c.is_sync(), c.is_good());
    assert_eq!(
        calls.iter().map(of).collect::<Vec<_>>(),
        [
            (0, 0, true, false, true),
            (2, 2, false, false, true),
            (1, 3, true, true, true),
            (4, 4, true, true, false),
            (5, 5, false, true, true),
        ]
    );
}
