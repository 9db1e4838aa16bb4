//! The chromedriver that all windows share.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::PathBuf;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::sync::{Arc, Mutex, PoisonError, Weak};
use std::time::Duration;

/// Longest time for a session to end, its browser included.
const ENDING: Duration = Duration::from_secs(20);

/// The running one. A static is never dropped, so it only points at what the windows hold.
static RUNNING: Mutex<Weak<Driver>> = Mutex::new(Weak::new());

/// A running chromedriver; it ends with the last window, also when a test fails.
#[derive(Debug)]
pub(super) struct Driver {
    child: Child,
    port: u16,
    /// Held open: chromedriver would end at its next word otherwise.
    _output: BufReader<ChildStdout>,
}

impl Driver {
    pub(super) fn shared() -> Arc<Self> {
        let mut running = RUNNING.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(driver) = running.upgrade() {
            return driver;
        }
        let driver = Arc::new(Self::start());
        *running = Arc::downgrade(&driver);
        driver
    }

    fn start() -> Self {
        let mut child = Command::new(program("chromedriver"))
            .arg("--port=0")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut output = BufReader::new(child.stdout.take().unwrap());
        let port = port(&mut output);
        let mut driver = Self {
            child,
            port: 0,
            _output: output,
        };
        // Only now, so that a chromedriver that said something else is ended as well.
        driver.port = port.unwrap();
        driver
    }

    /// Where it listens.
    pub(super) fn address(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    /// Ends a session and waits until its browser is gone. Plain blocking bytes, because it is needed in `drop`.
    pub(super) fn end(&self, session: &str) -> std::io::Result<()> {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port))?;
        stream.set_read_timeout(Some(ENDING))?;
        write!(
            stream,
            "DELETE /session/{session} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n",
            self.port
        )?;
        stream.read(&mut [0; 64]).map(drop)
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

/// The port that chromedriver chose: "ChromeDriver was started successfully on port 12345."
fn port(output: &mut impl BufRead) -> Option<u16> {
    output.lines().map_while(Result::ok).find_map(|line| {
        let (_, port) = line.split_once("successfully on port ")?;
        port.trim_end_matches('.').parse().ok()
    })
}

/// Where a program lies on the PATH.
pub(super) fn program(name: &str) -> PathBuf {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let found = std::env::split_paths(&path)
        .map(|folder| folder.join(name))
        .find(|file| file.is_file());
    assert!(
        found.is_some(),
        "the browser tests need `{name}`, which is not on the PATH; `bash tests/run` installs it and runs all tests"
    );
    found.unwrap()
}
