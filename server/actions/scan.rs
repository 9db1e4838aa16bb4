//! Has a program that the school chose look through a file before it is kept.
//!
//! The program gets the bytes on its standard input and nothing else of a request. Its arguments are those of whoever started
//! the server, no shell reads them; of the environment it has PATH alone, it works in the root folder, and what it prints is
//! dropped. Only its exit status is listened to, and where that says that nothing was found, whether it had read all of the file.

use std::convert::Infallible;
use std::ffi::OsString;
use std::io;
use std::path::Path;
use std::process::{ExitStatus, Stdio};
use std::time::Duration;

use thiserror::Error;
use tokio::io::AsyncWriteExt;
use tokio::process::{Child, Command};
use tokio::sync::Semaphore;

use crate::config::Scan;

/// Longest wait for a place and the program together: the answer with what came of it leaves before the server gives up on
/// the request (`web/layers.rs`).
pub const PATIENCE: Duration = Duration::from_secs(10);

/// Why a file is not kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum Refused {
    /// The program found something.
    #[error(
        "The program that looks through files for this school found something harmful in this one. Take a new photo of the sheet, or print it to PDF on another device, and choose that file. If it is found in that one too, tell your instructor."
    )]
    Found,
    /// Nobody knows whether there is something in it.
    #[error(
        "This file could not be looked through for harmful content at the moment, and no file is kept here before it was. Choose it again in a minute. If it stays like this, tell your instructor: the log of the server says why. A report can be handed in without a file, and the file added to it later."
    )]
    Unseen,
}

/// Why a program cannot be what looks through files.
#[derive(Debug, Error)]
#[error("the program {program} of --scan {why}. Correct its path, or leave --scan out")]
pub struct NoProgram {
    program: String,
    why: String,
}

/// Whether there is such a program and this account may run it.
///
/// # Errors
/// When it is not so; what to do is said.
pub fn check(scan: &Scan) -> Result<(), NoProgram> {
    let none = |why| NoProgram {
        program: scan.program.display().to_string(),
        why,
    };
    match std::fs::metadata(&scan.program) {
        Err(error) => Err(none(format!("is not there ({error})"))),
        Ok(found) if !found.is_file() => Err(none("is no file".to_owned())),
        Ok(_) if !may_run(&scan.program) => Err(none("may not be run by the account that runs this server".to_owned())),
        Ok(_) => Ok(()),
    }
}

#[cfg(unix)]
fn may_run(program: &Path) -> bool {
    rustix::fs::access(program, rustix::fs::Access::EXEC_OK).is_ok()
}

#[cfg(not(unix))]
fn may_run(_: &Path) -> bool {
    true
}

/// The program, and how many of it run at once.
#[derive(Debug)]
pub struct Scanner {
    scan: Scan,
    path: Option<OsString>,
    /// Not the places of grading: a program that hangs must hold up no grade.
    places: Semaphore,
    patience: Duration,
}

impl Scanner {
    /// One that runs so many at once.
    #[must_use]
    pub fn new(scan: Scan, at_once: usize) -> Self {
        Self {
            scan,
            path: std::env::var_os("PATH"),
            places: Semaphore::new(at_once),
            patience: PATIENCE,
        }
    }

    /// Has a file looked through.
    ///
    /// # Errors
    /// When something was found in it, or it could not be looked through.
    pub async fn look(&self, bytes: &[u8]) -> Result<(), Refused> {
        let why = match tokio::time::timeout(self.patience, self.in_turn(bytes)).await {
            Ok(Ok((status, left))) => match status.code() {
                Some(0) if left == 0 => return Ok(()),
                // Whoever was not told to read its standard input finds nothing in anything.
                Some(0) => format!(
                    "it ended with 0 and had not read {left} of {} bytes on its standard input",
                    bytes.len()
                ),
                Some(1) => {
                    tracing::warn!("a file beside a report was refused: the program of --scan found something in it");
                    return Err(Refused::Found);
                }
                _ => status.to_string(),
            },
            Ok(Err(error)) => error.to_string(),
            Err(_) => format!("no answer within {:?}", self.patience),
        };
        tracing::error!(
            why,
            "a file beside a report was refused: the program of --scan did not look through it"
        );
        Err(Refused::Unseen)
    }

    /// The status with which it ended, and how many bytes it had not read then.
    async fn in_turn(&self, bytes: &[u8]) -> io::Result<(ExitStatus, usize)> {
        let _place = self.places.acquire().await.map_err(io::Error::other)?;
        let (input, mut pipe) = Pipe::new()?;
        let mut child = self.command(input).spawn()?;
        let mut all = Everything::of(&child);
        let way = pipe.way(&mut child);
        let mut given = 0;
        // Whoever does not read to the end and finds something has seen enough.
        let giving = async {
            if let Ok(mut way) = way {
                while let Some(rest) = bytes.get(given..)
                    && !rest.is_empty()
                    && let Ok(count @ 1..) = way.write(rest).await
                {
                    given += count;
                }
            }
            std::future::pending::<Infallible>().await
        };
        let status = tokio::select! {
            status = child.wait() => status,
            never = giving => match never {},
        };
        all.has_ended();
        Ok((status?, bytes.len() - given + pipe.left()?))
    }

    fn command(&self, input: Stdio) -> Command {
        let mut command = Command::new(&self.scan.program);
        command
            .args(&self.scan.arguments)
            .env_clear()
            .current_dir("/")
            .stdin(input)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .kill_on_drop(true);
        if let Some(path) = &self.path {
            command.env("PATH", path);
        }
        #[cfg(unix)]
        command.process_group(0);
        command
    }
}

/// The way of the bytes into the program. Its other end is kept here too, to see what nobody has read.
#[cfg(unix)]
struct Pipe {
    end: io::PipeReader,
    way: Option<io::PipeWriter>,
}

#[cfg(unix)]
impl Pipe {
    fn new() -> io::Result<(Stdio, Self)> {
        let (end, way) = io::pipe()?;
        Ok((end.try_clone()?.into(), Self { end, way: Some(way) }))
    }

    fn way(&mut self, _: &mut Child) -> io::Result<tokio::net::unix::pipe::Sender> {
        let way = self.way.take().ok_or(io::ErrorKind::NotConnected)?;
        tokio::net::unix::pipe::Sender::from_owned_fd(way.into())
    }

    fn left(&self) -> io::Result<usize> {
        let left = rustix::io::ioctl_fionread(&self.end)?;
        usize::try_from(left).map_err(io::Error::other)
    }
}

/// The way of the bytes into the program. What is in it and was not read is not seen.
#[cfg(not(unix))]
struct Pipe;

#[cfg(not(unix))]
impl Pipe {
    fn new() -> io::Result<(Stdio, Self)> {
        Ok((Stdio::piped(), Self))
    }

    fn way(&mut self, child: &mut Child) -> io::Result<tokio::process::ChildStdin> {
        child.stdin.take().ok_or_else(|| io::ErrorKind::NotConnected.into())
    }

    fn left(&self) -> io::Result<usize> {
        Ok(0)
    }
}

/// A program with all that it has started, as a script does: it ends when this is dropped before it has ended by itself.
struct Everything {
    #[cfg(unix)]
    group: Option<rustix::process::Pid>,
}

#[cfg(unix)]
impl Everything {
    fn of(child: &Child) -> Self {
        let id = child.id().and_then(|id| i32::try_from(id).ok());
        Self {
            group: id.and_then(rustix::process::Pid::from_raw),
        }
    }

    /// From now on the number may be somebody else's.
    fn has_ended(&mut self) {
        self.group = None;
    }
}

#[cfg(unix)]
impl Drop for Everything {
    fn drop(&mut self) {
        if let Some(group) = self.group {
            rustix::process::kill_process_group(group, rustix::process::Signal::KILL).ok();
        }
    }
}

#[cfg(not(unix))]
impl Everything {
    fn of(_: &Child) -> Self {
        Self {}
    }

    fn has_ended(&mut self) {}
}

#[cfg(test)]
mod tests {
    use std::path::PathBuf;
    use std::time::Instant;

    use tempfile::TempDir;

    use super::*;

    /// These lines as the program; what follows are `$1` and so on. A shell that is handed its lines, and not a file of
    /// them: a file that was just written cannot be run while another thread starts a program.
    fn script(lines: &str, arguments: &[&str]) -> Scanner {
        let arguments = [&["-c", lines, "script"], arguments].concat();
        let scan = Scan {
            program: PathBuf::from("/bin/sh"),
            arguments: arguments.iter().map(|&a| a.to_owned()).collect(),
        };
        Scanner::new(scan, 2)
    }

    fn folder() -> (TempDir, String) {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("said").to_str().unwrap().to_owned();
        (folder, file)
    }

    #[tokio::test]
    async fn the_exit_status_alone_says_what_comes_of_a_file() {
        for (end, came) in [
            ("exit 0", Ok(())),
            ("exit 1", Err(Refused::Found)),
            ("exit 2", Err(Refused::Unseen)),
            ("exit 255", Err(Refused::Unseen)),
            ("kill -9 $$", Err(Refused::Unseen)),
            // Not the first signal: whoever runs the tests may have it ignored, and children inherit that.
            ("kill -15 $$", Err(Refused::Unseen)),
            // The shell's own for a program that is not there.
            ("no-such-program", Err(Refused::Unseen)),
            // What it prints is dropped, however much: nobody waits for a reader.
            (
                "head -c 9000000 /dev/zero; head -c 9000000 /dev/zero >&2; exit 0",
                Ok(()),
            ),
            ("echo found; echo found >&2; exit 0", Ok(())),
        ] {
            assert_eq!(
                script(&format!("cat >/dev/null; {end}"), &[]).look(b"bytes").await,
                came,
                "{end}"
            );
        }
        let gone = Scan {
            program: PathBuf::from("/no/such/program"),
            arguments: Vec::new(),
        };
        assert_eq!(Scanner::new(gone, 1).look(b"bytes").await, Err(Refused::Unseen));
    }

    #[tokio::test]
    async fn the_bytes_come_whole_and_one_that_does_not_read_them_has_found_nothing() {
        let mut bytes = vec![b'x'; 8 * 1024 * 1024];
        let (_folder, file) = folder();
        let taken = script("cat > \"$1\"", &[&file]);
        assert_eq!(taken.look(&bytes).await, Ok(()));
        assert!(std::fs::read(&file).unwrap() == bytes);
        assert_eq!(taken.look(b"").await, Ok(()));
        assert!(std::fs::read(&file).unwrap().is_empty());
        let last = script("if tail -c 6 | grep -q marker; then exit 1; fi", &[]);
        assert_eq!(last.look(&bytes).await, Ok(()));
        bytes.extend(b"marker");
        assert_eq!(last.look(&bytes).await, Err(Refused::Found));

        let begun = Instant::now();
        for (deaf, came) in [
            ("exit 0", Err(Refused::Unseen)),
            ("exec <&-; sleep 0.2; exit 0", Err(Refused::Unseen)),
            ("head -c 5 >/dev/null; exit 0", Err(Refused::Unseen)),
            // All but the last bytes.
            ("dd bs=1 count=99 >/dev/null 2>&1; exit 0", Err(Refused::Unseen)),
            ("exit 1", Err(Refused::Found)),
            ("exec <&-; sleep 0.2; exit 2", Err(Refused::Unseen)),
            // It leaves something behind that holds the input and never reads it.
            ("exec 3<&0; sleep 15 <&3 & exit 0", Err(Refused::Unseen)),
        ] {
            // Far more than a pipe holds, and far less.
            for bytes in [&bytes[..], &bytes[..100]] {
                assert_eq!(
                    script(deaf, &[]).look(bytes).await,
                    came,
                    "{deaf}, {} bytes",
                    bytes.len()
                );
            }
        }
        // To the last byte and no further is enough.
        let exact = script("dd bs=1 count=100 >/dev/null 2>&1; exit 0", &[]);
        assert_eq!(exact.look(&bytes[..100]).await, Ok(()));
        assert!(begun.elapsed() < Duration::from_secs(10), "{:?}", begun.elapsed());
    }

    #[tokio::test]
    async fn one_that_hangs_is_ended_with_all_that_it_started() {
        let (_folder, file) = folder();
        let mut hanging = script("cat >/dev/null; (sleep 2; echo late > \"$1\") & wait", &[&file]);
        hanging.patience = Duration::from_millis(500);
        let begun = Instant::now();
        assert_eq!(hanging.look(b"bytes").await, Err(Refused::Unseen));
        assert!(begun.elapsed() < Duration::from_millis(1900), "{:?}", begun.elapsed());
        // A request that is given up on, as when the browser is gone.
        hanging.patience = PATIENCE;
        let given_up = tokio::time::timeout(Duration::from_millis(500), hanging.look(b"bytes"));
        assert!(given_up.await.is_err());
        tokio::time::sleep(Duration::from_secs(3)).await;
        assert!(!Path::new(&file).exists());
        assert_eq!(hanging.places.available_permits(), 2);
        // The same without anybody's end comes to its line.
        assert_eq!(hanging.look(b"bytes").await, Ok(()));
        assert!(Path::new(&file).exists());
    }

    #[tokio::test]
    async fn no_more_run_at_once_than_there_are_places_and_a_wait_for_one_has_an_end() {
        let (_folder, file) = folder();
        let mut two = script(
            "echo + >> \"$1\"; cat >/dev/null; sleep 0.3; echo - >> \"$1\"",
            &[&file],
        );
        let all = tokio::join!(
            two.look(b"1"),
            two.look(b"2"),
            two.look(b"3"),
            two.look(b"4"),
            two.look(b"5")
        );
        assert_eq!(all, (Ok(()), Ok(()), Ok(()), Ok(()), Ok(())));
        let mut running = 0;
        for line in std::fs::read_to_string(&file).unwrap().lines() {
            running += if line == "+" { 1 } else { -1 };
            assert!((0..=2).contains(&running));
        }
        std::fs::remove_file(&file).unwrap();
        two.patience = Duration::from_millis(150);
        let all = tokio::join!(two.look(b"1"), two.look(b"2"), two.look(b"3"));
        let unseen = Err(Refused::Unseen);
        assert_eq!(all, (unseen, unseen, unseen));
        assert_eq!(two.places.available_permits(), 2);
    }

    #[tokio::test]
    async fn it_knows_nothing_of_the_server_but_path() {
        let (_folder, file) = folder();
        let told = script(
            "cat >/dev/null; env > \"$1\"; pwd >> \"$1\"; echo \"$#\" >> \"$1\"",
            &[&file, "a b", "$HOME;exit 1"],
        );
        assert_eq!(told.look(b"bytes").await, Ok(()));
        let said = std::fs::read_to_string(&file).unwrap();
        let (names, rest): (Vec<&str>, Vec<&str>) = said.lines().partition(|line| line.contains('='));
        // The shell's own are there without anybody giving them.
        let of_shell = ["PWD", "OLDPWD", "SHLVL", "_"];
        let names: Vec<&str> = names.iter().filter_map(|line| line.split('=').next()).collect();
        let given: Vec<&&str> = names.iter().filter(|name| !of_shell.contains(name)).collect();
        assert_eq!((given, rest), (vec![&"PATH"], vec!["/", "3"]));
    }

    #[test]
    fn a_program_that_is_not_there_or_may_not_be_run_is_told() {
        let (folder, file) = folder();
        let why = |path: &str| {
            let scan = Scan {
                program: PathBuf::from(path),
                arguments: Vec::new(),
            };
            check(&scan).map_err(|error| error.to_string())
        };
        assert_eq!(why("/bin/sh"), Ok(()));
        let told = why(&file).unwrap_err();
        assert!(
            told.contains(&file) && told.contains("is not there") && told.contains("leave --scan out"),
            "{told}"
        );
        std::fs::write(&file, "#!/bin/sh\n").unwrap();
        assert!(why(&file).unwrap_err().contains("may not be run"));
        assert!(why(folder.path().to_str().unwrap()).unwrap_err().contains("is no file"));
    }
}
