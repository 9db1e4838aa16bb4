//! Requests that no browser sends: slow ones in great number, broken ones, and ones with two meanings.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::process::Command;
use std::time::{Duration, Instant};

use tempfile::TempDir;

use super::program::{PROGRAM, Running, add_instructor};
use super::site::{Browser, PASSPHRASE, Site};

/// Connections that never finish their request, where the system lets this process open as many.
const SLOW: u64 = 10_000;

/// What the server may need on top for them, in KiB: 16 kB for each.
const KIB_PER_CONNECTION: u64 = 16;

/// Resident memory of a process in KiB (proc(5), `status`).
pub(super) fn resident(pid: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
    let line = status.lines().find(|l| l.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn ten_thousand_slow_connections_cost_bounded_memory_and_hold_nobody_up() {
    let folder = tempfile::tempdir().unwrap();
    assert!(
        add_instructor(folder.path(), "ferro", &format!("{PASSPHRASE}\n"))
            .status
            .success()
    );
    let data = folder.path().to_str().unwrap();
    let server = Running::begin(
        Command::new(PROGRAM).args(["serve", "--data", data, "--listen", "127.0.0.1:0"]),
        "listens on",
    );
    let address = server.address().replace("http://", "");
    let browser = Browser::at(&server.address());
    let sign_in = [("name", "ferro"), ("secret", PASSPHRASE)];
    browser.send("/sign-in", &sign_in).await.is(200);
    let before = resident(server.child.id());

    let files = rlimit::increase_nofile_limit(u64::MAX).unwrap();
    let count = SLOW.min(files.saturating_sub(500));
    let mut slow = Vec::new();
    for _ in 0..count {
        let mut stream = TcpStream::connect(&address).unwrap();
        stream.write_all(b"GET /classes HTTP/1.1\r\nhost: ").unwrap();
        slow.push(stream);
    }
    browser.get("/classes").await.is(200).has("Classes");
    let more = resident(server.child.id()).saturating_sub(before);
    assert!(more < count * KIB_PER_CONNECTION, "{more} KiB for {count} connections");

    // Each is closed when it has been silent for so long.
    let begun = Instant::now();
    let last = slow.last_mut().unwrap();
    last.set_read_timeout(Some(Duration::from_secs(40))).unwrap();
    let mut rest = Vec::new();
    last.read_to_end(&mut rest).unwrap();
    assert!(begun.elapsed() < Duration::from_secs(35), "{:?}", begun.elapsed());
}

/// A server in a process of its own, whose memory is told by itself, with one instructor.
fn running_school() -> (TempDir, Running) {
    let folder = tempfile::tempdir().unwrap();
    let phrase = format!("{PASSPHRASE}\n");
    assert!(add_instructor(folder.path(), "ferro", &phrase).status.success());
    let data = folder.path().to_str().unwrap();
    let server = Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
    (folder, server)
}

/// What strangers may make the server hold with requests that they begin and do not end: headers as long as are read, and
/// forms as long as are read.
#[tokio::test(flavor = "multi_thread")]
async fn long_headers_and_forms_of_strangers_cost_bounded_memory() {
    const CONNECTIONS: u64 = 1_000;
    let (_folder, server) = running_school();
    let address = server.address().replace("http://", "");
    let browser = Browser::at(&server.address());
    let headers = format!("GET /sign-in HTTP/1.1\r\nhost: x\r\nx: {}", "y".repeat(300_000));
    let form = format!(
        "POST /sign-in HTTP/1.1\r\nhost: x\r\nsec-fetch-site: same-origin\r\ncontent-length: 900000\r\n\
         content-type: application/x-www-form-urlencoded\r\n\r\nname={}",
        "n".repeat(300_000)
    );
    let half = form[..form.len() - 300_000 + 30_000].to_owned();
    // KiB for each: what hyper holds of headers, and a form beside that.
    for (what, request, each) in [
        ("headers", &headers, 48),
        ("forms", &form, 64),
        ("half forms", &half, 96),
    ] {
        let before = resident(server.child.id());
        let mut open = Vec::new();
        for _ in 0..CONNECTIONS {
            let mut stream = TcpStream::connect(&address).unwrap();
            stream.set_write_timeout(Some(Duration::from_millis(20))).unwrap();
            // The server closes, or reads no further, before all of it is sent.
            stream.write_all(request.as_bytes()).ok();
            open.push(stream);
        }
        browser.get("/health").await.is(200);
        let more = resident(server.child.id()).saturating_sub(before);
        assert!(
            more < CONNECTIONS * each,
            "{what}: {more} KiB for {CONNECTIONS} connections"
        );
    }
}

/// Headers of a part that never end, from somebody who is signed in: the form ends there, however much is sent.
#[tokio::test(flavor = "multi_thread")]
async fn headers_of_parts_without_end_cost_bounded_memory() {
    const CONNECTIONS: usize = 6;
    const BYTES: usize = 48 << 20;
    let (_folder, server) = running_school();
    let address = server.address().replace("http://", "");
    let browser = Browser::at(&server.address());
    let sign_in = [("name", "ferro"), ("secret", PASSPHRASE)];
    browser.send("/sign-in", &sign_in).await.is(200);
    let before = resident(server.child.id());
    let head = format!(
        "POST /exercises/import HTTP/1.1\r\nhost: x\r\ncookie: {}\r\nsec-fetch-site: same-origin\r\n\
         content-type: multipart/form-data; boundary=edge\r\ncontent-length: {BYTES}\r\n\r\n",
        browser.token().unwrap(),
    );
    let part = "--edge\r\ncontent-disposition: form-data; name=\"";
    let piece = vec![b'x'; 64 << 10];
    let mut open = Vec::new();
    let mut most = 0;
    for start in [part, ""].repeat(CONNECTIONS / 2) {
        let mut stream = TcpStream::connect(&address).unwrap();
        stream.set_write_timeout(Some(Duration::from_secs(2))).unwrap();
        stream.write_all(head.as_bytes()).unwrap();
        stream.write_all(start.as_bytes()).unwrap();
        let mut sent = 0;
        // All but the end of it, unless the server closes or takes no more.
        while sent < BYTES - (1 << 20) && stream.write_all(&piece).is_ok() {
            sent += piece.len();
            most = most.max(resident(server.child.id()).saturating_sub(before));
        }
        open.push(stream);
    }
    browser.get("/health").await.is(200);
    most = most.max(resident(server.child.id()).saturating_sub(before));
    assert!(most < 16 << 10, "{most} KiB more");
    let mut answer = Vec::new();
    let mut first = open.remove(0);
    first.set_read_timeout(Some(Duration::from_secs(5))).unwrap();
    first.read_to_end(&mut answer).ok();
    let answer = String::from_utf8_lossy(&answer);
    assert!(answer.is_empty() || answer.starts_with("HTTP/1.1 400"), "{answer}");
    assert!(server.stop());
}

/// Whether the server refuses what is being sent, or ends the connection.
fn is_refused(stream: &mut TcpStream) -> bool {
    stream.set_read_timeout(Some(Duration::from_millis(500))).unwrap();
    let mut start = [0; 12];
    let read = stream.read_exact(&mut start);
    let ended = read
        .err()
        .is_some_and(|e| e.kind() == std::io::ErrorKind::ConnectionReset);
    ended || &start == b"HTTP/1.1 503"
}

/// Forms of somebody who is signed in, begun in great number and never ended: so much of them is held and no more, and others
/// send theirs.
#[tokio::test(flavor = "multi_thread")]
async fn forms_that_are_begun_and_not_ended_are_bounded_by_person() {
    let site = Site::open().await;
    let (pair, other) = (site.pair("A").await, site.pair("B").await);
    let request = format!(
        "POST /account/secret HTTP/1.1\r\nhost: x\r\ncookie: {}\r\nsec-fetch-site: same-origin\r\n\
         content-type: application/x-www-form-urlencoded\r\ncontent-length: 1000000\r\n\r\nold={}",
        pair.token().unwrap(),
        "n".repeat(990_000)
    );
    let mut open = Vec::new();
    let mut told = 0;
    for _ in 0..12 {
        let mut stream = TcpStream::connect(site.address()).unwrap();
        // The server may close while it is still being written to.
        stream.write_all(request.as_bytes()).ok();
        told += usize::from(is_refused(&mut stream));
        open.push(stream);
    }
    // Eight and a bit fit.
    assert!((3..=4).contains(&told), "{told}");
    let fields = [("old", "999999"), ("new", "864209"), ("again", "864209")];
    other.send("/account/secret", &fields).await.is(422);
    drop(open);
}

/// The same with files: one person's are so many, and another hands in meanwhile.
#[tokio::test(flavor = "multi_thread")]
async fn uploads_that_are_begun_and_not_ended_are_bounded_by_person() {
    use platemark::store::assignments::Feedback;
    const FILE: usize = 7 << 20;
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let (pair, other) = (site.pair("A").await, site.pair("B").await);
    let head = format!(
        "POST /my/{assignment}/entry HTTP/1.1\r\nhost: x\r\ncookie: {}\r\nsec-fetch-site: same-origin\r\n\
         content-type: multipart/form-data; boundary=edge\r\ncontent-length: {}\r\n\r\n\
         --edge\r\ncontent-disposition: form-data; name=\"photo\"; filename=\"a.jpg\"\r\n\r\n",
        pair.token().unwrap(),
        FILE + 10_000,
    );
    let file = vec![b'x'; FILE];
    let mut open = Vec::new();
    let mut told = 0;
    for _ in 0..12 {
        let mut stream = TcpStream::connect(site.address()).unwrap();
        stream.write_all(head.as_bytes()).unwrap();
        // The server may close while it is still being written to.
        stream.write_all(&file).ok();
        told += usize::from(is_refused(&mut stream));
        open.push(stream);
    }
    // Nine fit.
    assert!((3..=4).contains(&told), "{told}");
    let csv = super::site::shipped("SB-11/reports/SB-11-01--careful.csv");
    other.hand_in(assignment, &csv).await.is(200);
    drop(open);
}

/// Whoever asks for files and reads none of them gets so many at once; and when nobody has read for half a minute, that is the
/// end of those connections, and of what they held.
#[tokio::test(flavor = "multi_thread")]
async fn who_asks_for_files_and_reads_none_is_ended() {
    use platemark::store::assignments::Feedback;
    use reqwest::multipart::{Form, Part};
    /// More than the system keeps on the way for both ends.
    const BYTES: usize = 7_900_000;
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let csv = super::site::shipped("SB-11/reports/SB-11-01--careful.csv");
    let result = pair.hand_in(assignment, &csv).await.is(200).path.clone();
    let mut pdf = b"%PDF-1.7\n1 0 obj <</Type /Pages /Count 1>> endobj\n%".to_vec();
    pdf.resize(BYTES - 30, b'x');
    pdf.extend(b"\nstartxref\n9\n%%EOF\n");
    let part = Part::bytes(pdf.clone()).file_name("sheet.pdf");
    let page = pair
        .send_files(&format!("{result}/evidence"), Form::new().part("evidence", part))
        .await;
    page.is(200).has("/evidence/1");
    let path = format!("{result}/evidence/1");
    let request = format!(
        "GET {path} HTTP/1.1\r\nhost: x\r\ncookie: {}\r\n\r\n",
        pair.token().unwrap()
    );
    let mut still = Vec::new();
    for _ in 0..8 {
        let mut stream = TcpStream::connect(site.address()).unwrap();
        stream.write_all(request.as_bytes()).unwrap();
        // The answer has begun.
        let mut first = [0; 12];
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        stream.read_exact(&mut first).unwrap();
        assert_eq!(&first, b"HTTP/1.1 200");
        still.push(stream);
    }
    let begun = Instant::now();
    pair.get(&path)
        .await
        .is(503)
        .has("Too many files at the same moment")
        .has("Wait until");
    // Others get theirs, and so do these people when the silent connections have ended.
    let instructor = site.instructor().await;
    let theirs = path.replacen("/my", "", 1);
    assert_eq!(instructor.get(&theirs).await.is(200).body.len(), pdf.len());
    while pair.get(&path).await.status.as_u16() == 503 {
        assert!(
            begun.elapsed() < Duration::from_secs(75),
            "they hold their place for ever"
        );
        tokio::time::sleep(Duration::from_millis(500)).await;
    }
    assert!(begun.elapsed() > Duration::from_secs(20), "{:?}", begun.elapsed());
    tokio::time::sleep(Duration::from_secs(2)).await;
    for mut stream in still {
        let mut rest = Vec::new();
        stream.read_to_end(&mut rest).ok();
        assert!(rest.len() < BYTES, "all of it went out: {}", rest.len());
    }
}

/// Sends bytes and reads what comes until the server closes.
fn raw(site: &Site, bytes: &[u8]) -> String {
    let mut stream = TcpStream::connect(site.address()).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    // The server may close while it is still being written to.
    stream.write_all(bytes).ok();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).ok();
    String::from_utf8_lossy(&answer).into_owned()
}

/// How many answers came.
fn answers(text: &str) -> usize {
    text.matches("HTTP/1.1 ").count()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_request_with_two_lengths_is_never_two_requests() {
    let site = Site::open().await;
    let hidden = "GET /health HTTP/1.1\r\nhost: x\r\nconnection: close\r\n\r\n";
    let length = hidden.len();
    for head in [
        format!("content-length: {length}\r\ntransfer-encoding: chunked"),
        format!("transfer-encoding: chunked\r\ncontent-length: {length}"),
        format!("content-length: 0\r\ncontent-length: {length}"),
        "transfer-encoding: chunked, identity".to_owned(),
        "transfer-encoding: xchunked".to_owned(),
        "content-length: +5".to_owned(),
        "content-length: 5, 6".to_owned(),
    ] {
        let request = format!("POST /sign-in HTTP/1.1\r\nhost: x\r\n{head}\r\n\r\n0\r\n\r\n{hidden}");
        let answer = raw(&site, request.as_bytes());
        let refused = answer.starts_with("HTTP/1.1 400") && answers(&answer) == 1;
        // Read as chunks, which the standard puts first (RFC 9112, 6.3), what follows is plainly the next request, but
        // then the connection has to end after the first.
        let closed = answers(&answer) <= 1;
        assert!(refused || closed, "{head}:\n{answer}");
    }
    site.stranger().get("/health").await.is(200);
}

#[tokio::test(flavor = "multi_thread")]
async fn broken_requests_are_refused_and_the_next_one_is_answered() {
    let site = Site::open().await;
    let long = "a".repeat(200_000);
    let many: String = (0..500).map(|n| format!("x-{n}: y\r\n")).collect();
    for request in [
        "\0\u{1}\u{2}\r\n\r\n".to_owned(),
        "GET / HTTP/9.9\r\n\r\n".to_owned(),
        "GET /\u{0} HTTP/1.1\r\nhost: x\r\n\r\n".to_owned(),
        format!("GET /{long} HTTP/1.1\r\nhost: x\r\n\r\n"),
        format!("GET / HTTP/1.1\r\nhost: x\r\nx: {long}\r\n\r\n"),
        format!("GET / HTTP/1.1\r\nhost: x\r\n{many}\r\n"),
        "GET / HTTP/1.1\r\nhost: x\r\nx : y\r\n\r\n".to_owned(),
    ] {
        let answer = raw(&site, request.as_bytes());
        assert!(answer.starts_with("HTTP/1.1 4") || answer.is_empty(), "{answer}");
    }
    site.stranger().get("/health").await.is(200);
}

#[tokio::test(flavor = "multi_thread")]
async fn no_path_leads_out_of_the_static_files() {
    let site = Site::open().await;
    for path in [
        "/static/../Cargo.toml",
        "/static/..%2fCargo.toml",
        "/static/%2e%2e/%2e%2e/etc/passwd",
        "/static/..%5c..%5cexercises%5cSB-11%5cplates.toml",
        "/static//etc/passwd",
        "/static/%00sheet.css",
        "/static/../exercises/SB-11/plates.toml",
    ] {
        let request = format!("GET {path} HTTP/1.1\r\nhost: x\r\nconnection: close\r\n\r\n");
        let answer = raw(&site, request.as_bytes());
        assert!(
            answer.starts_with("HTTP/1.1 404") || answer.starts_with("HTTP/1.1 400"),
            "{path}:\n{answer}"
        );
        assert!(!answer.contains("[package]") && !answer.contains("root:") && !answer.contains("planted"));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_upload_torn_in_the_middle_leaves_no_report_and_the_draft_as_it_was() {
    use platemark::store::assignments::Feedback;
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let form = pair.get(&format!("/my/{assignment}/entry")).await;
    let (key, attempt) = (form.field("key"), form.field("attempt"));
    let part =
        |name: &str, text: &str| format!("--edge\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{text}\r\n");
    let body = part("key", &key) + &part("attempt", &attempt) + &part("m-1", "25.001");
    let cookie = pair.token().unwrap();
    let request = format!(
        "POST /my/{assignment}/entry HTTP/1.1\r\nhost: x\r\ncookie: {cookie}\r\nsec-fetch-site: same-origin\r\n\
         content-type: multipart/form-data; boundary=edge\r\ncontent-length: {}\r\n\r\n{body}",
        body.len() + 500
    );
    let mut stream = TcpStream::connect(site.address()).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    drop(stream);
    tokio::time::sleep(Duration::from_millis(300)).await;
    let page = site.instructor().await.get(&format!("/assignments/{assignment}")).await;
    page.is(200).has("0 of 2 pairs have handed in");
    pair.get(&format!("/my/{assignment}/entry"))
        .await
        .is(200)
        .has("name=\"m-1\"");
}

/// Whatever is nested as deeply as it can be sent: an answer that says what is wrong, and the server goes on.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_nested_without_end_is_refused() {
    use platemark::store::assignments::Feedback;
    use reqwest::multipart::{Form, Part};
    let site = Site::open().await;
    let instructor = site.instructor().await;
    for (open, close) in [("[", "]"), ("{a=", "}"), ("[[", "]]")] {
        let deep = format!(
            "format = 1\nbody = {}1{}\n",
            open.repeat(100_000),
            close.repeat(100_000)
        );
        let part = Part::bytes(deep.into_bytes()).file_name("exercise.toml");
        let page = instructor
            .send_files("/exercises/import", Form::new().part("exercise", part))
            .await;
        page.is(422).has("exercise.toml");
    }
    let dotted = format!("{}b = 1\n", "a.".repeat(100_000));
    let tables = format!("[{}b]\n", "a.".repeat(100_000));
    for text in [dotted, tables] {
        let part = Part::bytes(text.into_bytes()).file_name("exercise.toml");
        instructor
            .send_files("/exercises/import", Form::new().part("exercise", part))
            .await
            .is(422);
    }
    // The one field that a page sends as JSON: what was seen, to tell two devices apart.
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let path = format!("/my/{assignment}/entry");
    for (open, close) in [("[", "]"), ("{\"a\":", "}")] {
        let deep = open.repeat(50_000) + "1" + &close.repeat(50_000);
        let form = Form::new().text("base", deep.clone()).text("m-2", "-8.018");
        let page = pair.send_files(&path, form.text("do", "keep")).await;
        assert!([200, 409, 422].contains(&page.status.as_u16()), "{}", page.status);
        let fields = [("base", deep.as_str()), ("m-2", "-8.018"), ("sure", "yes")];
        let page = pair.send(&format!("{path}/2"), &fields).await;
        assert!([200, 409, 422].contains(&page.status.as_u16()), "{}", page.status);
    }
    site.stranger().get("/health").await.is(200);
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("cases.json");
    for (open, close) in [("[", "]"), ("{\"cases\":", "}")] {
        std::fs::write(&file, open.repeat(100_000) + "1" + &close.repeat(100_000)).unwrap();
        let refused = Command::new(PROGRAM).arg("verify").arg(&file).output().unwrap();
        assert_eq!(refused.status.code(), Some(1), "{refused:?}");
        assert!(
            String::from_utf8_lossy(&refused.stderr).contains("cases.json"),
            "{refused:?}"
        );
    }
}

/// A packed form that would sign somebody in if it were unpacked: a small request never becomes a large one here.
#[tokio::test(flavor = "multi_thread")]
async fn packed_content_is_not_unpacked() {
    let site = Site::open().await;
    let form = format!("name=ferro&secret={}", PASSPHRASE.replace(' ', "+")).into_bytes();
    let length = u16::try_from(form.len()).unwrap();
    let crc = !form.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
            if crc & 1 == 1 {
                (crc >> 1) ^ 0xedb8_8320
            } else {
                crc >> 1
            }
        })
    });
    // One block that is stored as it is (RFC 1951, 3.2.4) within a gzip member (RFC 1952).
    let packed = [
        &[0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 255, 1][..],
        &length.to_le_bytes(),
        &(!length).to_le_bytes(),
        &form,
        &crc.to_le_bytes(),
        &u32::from(length).to_le_bytes(),
    ]
    .concat();
    let client = reqwest::Client::builder()
        .no_proxy()
        .cookie_store(true)
        .build()
        .unwrap();
    let send = |body: Vec<u8>, coding: &'static str| {
        let kind = "application/x-www-form-urlencoded";
        let request = client.post(format!("http://{}/sign-in", site.address()));
        let request = request.header("content-type", kind).header("content-encoding", coding);
        async move { request.body(body).send().await.unwrap() }
    };
    assert_eq!(send(form.clone(), "identity").await.url().path(), "/classes");
    for coding in ["gzip", "x-gzip", "gzip, identity"] {
        let answer = send(packed.clone(), coding).await;
        assert!(answer.status().is_client_error(), "{coding}: {}", answer.status());
    }
}
