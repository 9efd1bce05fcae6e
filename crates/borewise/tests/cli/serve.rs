//! The bench book as the program opens it: on this machine alone, and closed when told.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};

use crate::program::{borewise, new_folder, plant, shown};

/// A running program; it does not outlive its test.
pub struct Running {
    child: Child,
    address: String,
}

impl Running {
    pub fn start(arguments: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_borewise"))
            .args(arguments)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
        let line = lines.find(|line| line.contains("http://")).unwrap();
        let address = line.split("http://").nth(1).unwrap().split('/').next().unwrap().to_owned();
        Self { child, address }
    }

    fn get(&self, page: &str, host: &str) -> String {
        String::from_utf8(self.bytes(page, host)).unwrap()
    }

    fn bytes(&self, page: &str, host: &str) -> Vec<u8> {
        let mut stream = TcpStream::connect(&self.address).unwrap();
        write!(stream, "GET {page} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n").unwrap();
        let mut bytes = Vec::new();
        stream.read_to_end(&mut bytes).unwrap();
        bytes
    }

    /// A whole answer to a request with these headers.
    pub fn asked(&self, page: &str, headers: &[(&str, &str)]) -> String {
        let more: String = headers.iter().map(|(name, value)| format!("{name}: {value}\r\n")).collect();
        let request = format!("GET {page} HTTP/1.1\r\nHost: localhost\r\n{more}Connection: close\r\n\r\n");
        String::from_utf8_lossy(&self.sent(&request)).into_owned()
    }

    /// The cookie of a person who signs in by name.
    pub fn sign_in(&self, person: &str) -> String {
        let body = format!("person={person}");
        let request = format!(
            "POST /who HTTP/1.1\r\nHost: localhost\r\nOrigin: http://localhost\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        );
        let answer = String::from_utf8_lossy(&self.sent(&request)).into_owned();
        let cookie = answer.split("set-cookie: ").nth(1).unwrap_or_default();
        cookie.split(';').next().unwrap_or_default().to_owned()
    }

    fn sent(&self, request: &str) -> Vec<u8> {
        let mut stream = TcpStream::connect(&self.address).unwrap();
        stream.write_all(request.as_bytes()).unwrap();
        let mut bytes = Vec::new();
        stream.read_to_end(&mut bytes).unwrap();
        bytes
    }

    /// What stands behind the head of an answer that went well.
    #[cfg(feature = "pdf")]
    pub fn body(&self, page: &str) -> Vec<u8> {
        let bytes = self.bytes(page, "localhost");
        assert!(bytes.starts_with(b"HTTP/1.1 200"), "{page}: {}", String::from_utf8_lossy(&bytes));
        let head = bytes.windows(4).position(|four| four == b"\r\n\r\n").unwrap();
        bytes[head + 4..].to_vec()
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn a_recorded_plant_is_shown_to_this_machine_alone() {
    let data = new_folder();
    let mould = plant().0.join("AB-146");
    let taken = borewise(&["record", shown(&mould), "--by", "KT", "--data", shown(&data)]);
    assert_eq!(taken.code, 0, "{taken:?}");
    let running = Running::start(&["serve", "--data", shown(&data), "--listen", "127.0.0.1:0"]);
    let today = running.get("/", &running.address);
    assert!(
        today.starts_with("HTTP/1.1 200")
            && today.contains("1 mould is on the bench")
            && today.contains("AB-146")
    );
    assert!(running.get("/moulds/AB-146", "localhost").contains("Tool hook"));
    assert!(running.get("/", "bench.example").starts_with("HTTP/1.1 421"));
    // A second one cannot have the same port; the record itself may be open twice.
    let second = borewise(&["serve", "--data", shown(&data), "--listen", &running.address]);
    assert_eq!(second.code, 3, "{second:?}");
    assert!(second.err.contains("choose another port"), "{second:?}");
    drop(running);
    let audit = borewise(&["audit", "--data", shown(&data)]);
    assert_eq!(audit.code, 0, "{audit:?}");
}

#[test]
fn other_machines_are_not_let_in_and_nothing_is_made() {
    let data = new_folder().join("none");
    for address in ["0.0.0.0:0", "[::]:0", "192.0.2.1:8470"] {
        let refused = borewise(&["serve", "--data", shown(&data), "--listen", address]);
        assert_eq!(refused.code, 2, "{refused:?}");
        assert!(refused.err.contains("not opened to other machines: nobody is on record yet"), "{refused:?}");
    }
    assert!(!data.exists());
}

#[test]
fn other_machines_wait_until_everybody_who_may_write_has_a_password() {
    let data = new_folder();
    let mould = plant().0.join("AB-146");
    assert_eq!(borewise(&["record", shown(&mould), "--by", "KT", "--data", shown(&data)]).code, 0);
    let open = ["serve", "--data", shown(&data), "--listen", "0.0.0.0:0"];
    let refused = borewise(&open);
    assert!(refused.code == 2 && refused.err.contains("anybody could record as KT"), "{refused:?}");
    let bad = borewise(&[&open[..], &["--host", "http://bench.example"]].concat());
    assert!(bad.code == 2 && bad.err.contains("no name of a machine"), "{bad:?}");
    // Only that there is a hash counts here; what it is recognised by is tested with the pages.
    let known = store::Credential {
        password_hash: Some("$argon2id$".to_owned()),
        pin_hash: None,
        changed: jiff::Timestamp::now(),
    };
    store::Store::open(&data.join("record.sqlite")).unwrap().set_credential("KT", Some(&known)).unwrap();
    let running = Running::start(&[&open[..], &["--host", "bench.example"]].concat());
    let mut here = running;
    here.address = format!("127.0.0.1:{}", here.address.rsplit(':').next().unwrap());
    for host in ["bench.example", "127.0.0.1", "192.0.2.44"] {
        let asked = here.get("/moulds/AB-146", host);
        assert!(
            asked.starts_with("HTTP/1.1 303") && asked.contains("location: /who?next=%2Fmoulds%2FAB-146"),
            "{asked}"
        );
        assert!(!asked.contains("Tool hook"));
    }
    assert!(here.get("/", "other.example").starts_with("HTTP/1.1 421"));
    assert!(!here.get("/who", "bench.example").contains("KT"), "a stranger is not told who is on record");
}

#[test]
#[cfg(unix)]
fn it_ends_well_when_told_to_end() {
    let data = new_folder();
    let mut running = Running::start(&["serve", "--data", shown(&data), "--listen", "[::1]:0"]);
    assert!(running.get("/", "[::1]").contains("location: /who"));
    let told = Command::new("kill").args(["-TERM", &running.child.id().to_string()]).status().unwrap();
    assert!(told.success());
    assert_eq!(running.child.wait().unwrap().code(), Some(0));
}

#[test]
#[cfg(unix)]
fn it_ends_at_once_though_pages_listen() {
    let data = new_folder();
    let mould = plant().0.join("AB-146");
    assert_eq!(borewise(&["record", shown(&mould), "--by", "KT", "--data", shown(&data)]).code, 0);
    let mut running = Running::start(&["serve", "--data", shown(&data), "--listen", "127.0.0.1:0"]);
    let ask = |first: &str, rest: &str, body: &str| {
        let mut stream = TcpStream::connect(&running.address).unwrap();
        let (host, length) = (&running.address, body.len());
        write!(stream, "{first} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Length: {length}\r\n{rest}\r\n{body}")
            .unwrap();
        let mut lines = BufReader::new(stream).lines().map_while(Result::ok);
        let head: Vec<String> = lines.by_ref().take_while(|line| !line.is_empty()).collect();
        (head, lines)
    };
    let form = "Content-Type: application/x-www-form-urlencoded\r\n";
    let (head, _) = ask("POST /who", form, "person=KT");
    let cookie = head.iter().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    let cookie = format!("Cookie: {}\r\n", cookie.split(';').next().unwrap());
    let mut open: Vec<_> =
        (0..3).map(|_| ask("GET /events?after=0&page=/moulds/AB-146", &cookie, "").1).collect();
    for stream in &mut open {
        assert!(stream.any(|line| line.starts_with("data: ")), "the stream is open");
    }
    let asked = std::time::Instant::now();
    assert!(
        Command::new("kill").args(["-TERM", &running.child.id().to_string()]).status().unwrap().success()
    );
    assert_eq!(running.child.wait().unwrap().code(), Some(0));
    assert!(asked.elapsed().as_secs() < 5, "it took {:?}", asked.elapsed());
}
