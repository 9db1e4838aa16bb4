//! The program itself as a process of its own, and the clients of a class.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use reqwest::multipart::Form;
use reqwest::{Client, Response};

/// The release build of the program, which lies beside the examples' folder.
pub(crate) fn binary() -> PathBuf {
    let own = std::env::current_exe().unwrap();
    let binary = own.parent().unwrap().parent().unwrap().join("platemark");
    assert!(binary.exists(), "build the program first: cargo build --release");
    binary
}

/// A server that ends with this.
pub(crate) struct Server {
    child: Child,
    pub(crate) base: String,
    /// From its start to its first answer.
    pub(crate) start: Duration,
}

impl Server {
    pub(crate) async fn start(folder: &Path) -> Self {
        let begun = Instant::now();
        let mut child = Command::new(binary())
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(folder)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.as_mut().unwrap())
            .read_line(&mut line)
            .unwrap();
        let at = line.find("http://");
        let at = at.unwrap_or_else(|| panic!("{} does not start: build it of the same code", binary().display()));
        let base = line[at..].trim().to_owned();
        let answer = Client::builder()
            .no_proxy()
            .build()
            .unwrap()
            .get(format!("{base}/health"))
            .send()
            .await;
        assert!(answer.unwrap().status().is_success());
        Self {
            child,
            base,
            start: begun.elapsed(),
        }
    }

    /// The most resident memory that it had so far, in MiB (proc(5), `status`).
    pub(crate) fn most_resident(&self) -> f64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap();
        let line = status.lines().find(|l| l.starts_with("VmHWM:")).unwrap();
        line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() / 1024.0
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

/// A browser of one person.
#[derive(Clone)]
pub(crate) struct Device {
    client: Client,
    base: String,
}

impl Device {
    pub(crate) async fn of(server: &Server, name: &str, secret: &str) -> Self {
        let client = Client::builder().cookie_store(true).no_proxy().build().unwrap();
        let device = Self {
            client,
            base: server.base.clone(),
        };
        let form = [("name", name), ("secret", secret)];
        let answer = device
            .client
            .post(format!("{}/sign-in", device.base))
            .form(&form)
            .send()
            .await
            .unwrap();
        assert!(answer.status().is_success(), "{name}");
        device
    }

    /// A page and how long it took to its last byte.
    pub(crate) async fn get(&self, path: &str) -> (String, Duration) {
        let begun = Instant::now();
        let answer = self.client.get(format!("{}{path}", self.base)).send().await.unwrap();
        Self::read(answer, path, begun).await
    }

    /// A form with files; the page after it and the time until it was there.
    pub(crate) async fn send(&self, path: &str, form: Form) -> (String, Duration) {
        let begun = Instant::now();
        let answer = self
            .client
            .post(format!("{}{path}", self.base))
            .multipart(form)
            .send()
            .await
            .unwrap();
        Self::read(answer, path, begun).await
    }

    async fn read(answer: Response, path: &str, begun: Instant) -> (String, Duration) {
        let status = answer.status();
        let text = answer.text().await.unwrap();
        assert!(status.is_success(), "{path}: {status}");
        (text, begun.elapsed())
    }
}

/// The value of a field of a page.
pub(crate) fn field(page: &str, name: &str) -> String {
    let rest = page.split(&format!("name=\"{name}\"")).nth(1).unwrap();
    rest.split("value=\"")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap()
        .to_owned()
}
