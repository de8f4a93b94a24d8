//! The page on the bench: what it refuses over raw sockets, a browser at a phone's size, fifty clients at once.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use crate::fill_support::{BIN, Killed, example, fresh, picture, target};
use underlid::fill::checklist::{Adds, Fills};
use underlid::fill::{FillSession, Sight};
use underlid::judge::inspection::House;

pub(crate) struct Page {
    child: Killed,
    pub(crate) address: String,
    out: Arc<Mutex<String>>,
}

pub(crate) fn serve(pack: &Path, more: &[&str]) -> Page {
    let mut child = Command::new(BIN)
        .args(["fill", "--page", "--port", "0"])
        .args(more)
        .arg(pack)
        // Where a key of TLS would be kept.
        .env_remove("UNDERLID_CONFIG")
        .env("XDG_CONFIG_HOME", pack.parent().unwrap())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let stdout = child.stdout.take().unwrap();
    let out = Arc::new(Mutex::new(String::new()));
    let (ready, on_ready) = std::sync::mpsc::channel();
    let seen = Arc::clone(&out);
    std::thread::spawn(move || {
        for line in BufReader::new(stdout).lines() {
            let Ok(line) = line else { break };
            if line.contains("Ctrl-C stops") {
                let _ = ready.send(());
            }
            seen.lock().unwrap().push_str(&format!("{line}\n"));
        }
    });
    let child = Killed(child);
    on_ready.recv_timeout(Duration::from_secs(60)).expect("the page is served");
    let text = out.lock().unwrap().clone();
    let at = text.find("://").unwrap();
    let port = text[at + 3..].split_once(':').unwrap().1;
    let port: String = port.chars().take_while(char::is_ascii_digit).collect();
    Page { child, address: format!("127.0.0.1:{port}"), out }
}

impl Page {
    /// Sends bytes as they are and reads until the server closes.
    pub(crate) fn raw(&self, bytes: &[u8]) -> String {
        self.raw_from(1, bytes)
    }

    /// The same from another address of this machine, 127.0.0.`last`.
    fn raw_from(&self, last: u8, bytes: &[u8]) -> String {
        let mut stream = self.connect(last);
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        let _ = stream.write_all(bytes);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        String::from_utf8_lossy(&answer).into_owned()
    }

    fn connect(&self, last: u8) -> std::net::TcpStream {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        let stream = runtime.block_on(async {
            let socket = tokio::net::TcpSocket::new_v4().unwrap();
            socket.bind(format!("127.0.0.{last}:0").parse().unwrap()).unwrap();
            socket.connect(self.address.parse().unwrap()).await.unwrap().into_std().unwrap()
        });
        stream.set_nonblocking(false).unwrap();
        stream
    }

    fn get(&self, path: &str, headers: &str) -> String {
        self.raw(format!("GET {path} HTTP/1.1\r\nConnection: close\r\n{headers}\r\n").as_bytes())
    }

    fn post(&self, path: &str, headers: &str, body: &[u8]) -> String {
        let mut bytes = format!(
            "POST {path} HTTP/1.1\r\nConnection: close\r\nContent-Length: {}\r\n{headers}\r\n",
            body.len()
        )
        .into_bytes();
        bytes.extend_from_slice(body);
        self.raw(&bytes)
    }

    pub(crate) fn own(&self) -> String {
        format!("Host: {0}\r\nOrigin: http://{0}\r\nX-Underlid: 1\r\n", self.address)
    }

    fn json(&self, path: &str, headers: &str, body: &str) -> String {
        self.post(path, &format!("{headers}Content-Type: application/json\r\n"), body.as_bytes())
    }
}

fn status(answer: &str) -> u16 {
    answer.split_whitespace().nth(1).and_then(|code| code.parse().ok()).unwrap_or(0)
}

fn record_of(page: &Page, headers: &str) -> String {
    let state = page.get("/api/state?since=", headers);
    let body = state.split_once("\r\n\r\n").unwrap().1;
    let at = body.find("\"record\":\"").unwrap() + 10;
    body[at..at + 16].to_owned()
}

#[test]
fn the_page_takes_answers_from_itself_only() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let page = serve(&pack, &[]);
    let own = page.own();
    let before = fs::read(pack.join("inspection.toml")).unwrap();
    let record = record_of(&page, &own);
    let op = format!(
        "{{\"id\":\"a1\",\"record\":\"{record}\",\"do\":\"answer\",\"key\":\"label-capacity\",\"value\":\"150 Ah\"}}"
    );

    let front = page.get("/", &own);
    assert_eq!(status(&front), 200);
    for header in [
        "content-security-policy: default-src 'none'",
        "x-frame-options: DENY",
        "x-content-type-options: nosniff",
        "referrer-policy: no-referrer",
    ] {
        assert!(front.contains(header), "{header}\n{front}");
    }
    let address = page.address.clone();
    // Names that point here, other pages, and posts that say nothing of where they come from.
    let cases: Vec<(u16, String)> = vec![
        (421, page.get("/api/state?since=", "Host: bench.example:8024\r\n")),
        (421, page.get("/", "Host: 192.0.2.9:8024\r\n")),
        (421, page.get("/", &format!("Host: {address}\r\nHost: bench.example\r\n"))),
        (
            403,
            page.json(
                "/api/op",
                &format!("Host: {address}\r\nOrigin: http://bench.example\r\nX-Underlid: 1\r\n"),
                &op,
            ),
        ),
        (403, page.json("/api/op", &format!("Host: {address}\r\nOrigin: null\r\nX-Underlid: 1\r\n"), &op)),
        (403, page.json("/api/op", &format!("Host: {address}\r\nX-Underlid: 1\r\n"), &op)),
        (403, page.json("/api/op", &format!("Host: {address}\r\nOrigin: http://{address}\r\n"), &op)),
        (405, page.raw(format!("DELETE /api/op HTTP/1.1\r\nConnection: close\r\n{own}\r\n").as_bytes())),
        (404, page.get("/../../etc/passwd", &own)),
        (404, page.get("/inspection.toml", &own)),
        (404, page.get("/photos/%2e%2e/inspection.toml", &own)),
        (413, page.json("/api/op", &own, &" ".repeat(100_000))),
        (422, page.json("/api/op", &own, "{\"id\":\"a1\"}")),
        (400, page.json("/api/op", &own, "not json")),
        (400, page.json("/api/op", &own, &op.replace("a1", "../a1"))),
    ];
    for (wanted, answer) in &cases {
        assert_eq!(status(answer), *wanted, "{answer}");
        assert!(answer.contains("content-security-policy"), "{answer}");
    }
    // Another record, a question that is not there, keys that try to be paths: refused in words.
    for (body, says) in [
        (op.replace(&record, "0123456789abcdef"), "another record"),
        (op.replace("label-capacity", "../../x@y"), "no question"),
        (op.replace("150 Ah", "150 A"), "expected a capacity"),
        (op.replace("150 Ah", "150 Ah\\u001b[2J"), "control characters"),
    ] {
        let answer = page.json("/api/op", &own, &body);
        assert_eq!(status(&answer), 200, "{answer}");
        assert!(answer.contains("\"status\":\"refused\"") && answer.contains(says), "{says}: {answer}");
    }
    assert_eq!(fs::read(pack.join("inspection.toml")).unwrap(), before);

    // Photos: what is no picture, what is too large, what claims a name.
    let upload = format!("/api/photo?key=label-capacity&record={record}");
    let refused = page.post(&upload, &own, b"<html>");
    assert!(refused.contains("not a JPEG"), "{refused}");
    // The first bytes of a JPEG are not yet one: it is decoded whole before it is saved.
    for cut in [3, 100, picture("camera").len() / 2] {
        let refused = page.post(&upload, &own, &picture("camera")[..cut]);
        assert!(refused.contains("\"status\":\"refused\""), "{cut} bytes: {refused}");
    }
    assert!(!pack.join("photos/14-claims.jpg").exists());
    let mut large = vec![0xff, 0xd8, 0xff];
    large.resize((40 << 20) + 10, 0);
    let refused = page.post(&upload, &own, &large);
    assert!(refused.is_empty() || refused.contains("larger than 40 MiB"), "{refused}");
    let kept = page.post(
        &upload,
        &format!("{own}Content-Disposition: attachment; filename=\"../../x.jpg\"\r\n"),
        &picture("camera"),
    );
    assert!(kept.contains("\"status\":\"saved\""), "{kept}");
    assert!(pack.join("photos/14-claims.jpg").exists(), "{kept}");
    let beside: Vec<String> = fs::read_dir(pack.join("photos"))
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .filter(|n| n.starts_with('.'))
        .collect();
    assert_eq!(beside, Vec::<String>::new(), "nothing half written stays");
    drop(page.child);
}

/// What is asked on one screen is one operation: all of it is saved, or none.
#[test]
fn a_screen_is_saved_whole_or_not_at_all() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let page = serve(&pack, &[]);
    let own = page.own();
    let record = record_of(&page, &own);
    let send = |id: &str, answers: &str| {
        let body =
            format!("{{\"id\":\"{id}\",\"record\":\"{record}\",\"do\":\"answer\",\"answers\":[{answers}]}}");
        page.json("/api/op", &own, &body)
    };
    let one =
        |key: &str, value: &str, seen: &str| format!("{{\"key\":\"{key}\",\"value\":\"{value}\"{seen}}}");
    let before = fs::read(pack.join("inspection.toml")).unwrap();
    let wrong = [one("label-voltage", "25.6 V", ""), one("label-capacity", "150 A", "")].join(",");
    let answer = send("b1", &wrong);
    assert!(answer.contains("\"status\":\"refused\"") && answer.contains("25 Capacity"), "{answer}");
    assert_eq!(fs::read(pack.join("inspection.toml")).unwrap(), before);
    let right = [one("label-voltage", "25.6 V", ""), one("label-capacity", "150 Ah", "")].join(",");
    assert!(send("b2", &right).contains("\"status\":\"saved\""));
    // Another device has answered one of them meanwhile: neither is written, and what was changed is told.
    let stale = ",\"seen\":\"0000\"";
    let other = [one("label-voltage", "24 V", stale), one("label-energy", "3840 Wh", "")].join(",");
    let before = fs::read(pack.join("inspection.toml")).unwrap();
    let answer = send("b3", &other);
    assert!(answer.contains("\"now\":{\"label-voltage\":\"25.6 V\"}"), "{answer}");
    assert_eq!(fs::read(pack.join("inspection.toml")).unwrap(), before);
}

/// kill -9 while screens are saved: the answers of each are there together, and what was confirmed is there.
#[test]
fn a_killed_page_keeps_all_of_a_screen_or_nothing() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let mut in_work = 0;
    let rounds = crate::common::rounds(8, 60);
    for round in 1..=rounds {
        let page = serve(&pack, &[]);
        let (own, pid) = (page.own(), page.child.0.id());
        let record = record_of(&page, &own);
        let killer = std::thread::spawn(move || {
            std::thread::sleep(Duration::from_millis(200 + u64::from(round * 37 % 300)));
            let killed = Command::new("kill").args(["-9", &pid.to_string()]).status();
            assert!(killed.unwrap().success());
        });
        let mut confirmed = 0;
        for step in 1..200 {
            let number = 1000 * round + step;
            let one = |key: &str, unit: &str| format!("{{\"key\":\"{key}\",\"value\":\"{number} {unit}\"}}");
            let answers = [one("label-voltage", "V"), one("label-capacity", "Ah"), one("label-current", "A")];
            let body = format!(
                "{{\"id\":\"c{number}\",\"record\":\"{record}\",\"do\":\"answer\",\"answers\":[{}]}}",
                answers.join(",")
            );
            let Ok(mut stream) = std::net::TcpStream::connect(&page.address) else { break };
            let head = format!(
                "POST /api/op HTTP/1.1\r\nConnection: close\r\nContent-Length: {}\r\n{own}Content-Type: application/json\r\n\r\n{body}",
                body.len()
            );
            let mut answer = String::new();
            if stream.write_all(head.as_bytes()).is_err() || stream.read_to_string(&mut answer).is_err() {
                break;
            }
            if !answer.contains("\"status\":\"saved\"") {
                break;
            }
            confirmed = number;
        }
        killer.join().unwrap();
        in_work += u32::from(confirmed > 0);
        let sight = FillSession::open(&pack, &House::default(), &[], None).unwrap().look().unwrap();
        let claims = &sight.record.claims;
        let found =
            [claims.nominal_voltage.found(), claims.capacity.found(), claims.continuous_current.found()];
        let numbers =
            found.map(|found| found.show().split_whitespace().next().unwrap().parse::<u32>().unwrap_or(0));
        assert!(numbers.iter().all(|number| *number == numbers[0]), "round {round}: {numbers:?}");
        assert!(numbers[0] >= confirmed, "round {round}: {confirmed} was confirmed, {numbers:?}");
    }
    println!("killed {rounds} times, {in_work} of them after a confirmed screen");
    assert!(in_work > rounds / 3, "too few screens were confirmed to prove anything: {in_work}");
}

#[test]
fn slow_and_flooding_clients_do_not_stop_the_others() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let page = serve(&pack, &[]);
    let own = page.own();
    let record = record_of(&page, &own);
    // Half a request each, and never the rest.
    let mut slow = Vec::new();
    for n in 0..100 {
        let mut stream = std::net::TcpStream::connect(&page.address).unwrap();
        let half = if n % 2 == 0 {
            "GET / HTTP/1.1\r\nHost: ".to_owned()
        } else {
            format!(
                "POST /api/photo?key=label-capacity&record={record} HTTP/1.1\r\n{own}Content-Length: 1000\r\n\r\nab"
            )
        };
        stream.write_all(half.as_bytes()).unwrap();
        slow.push(stream);
    }
    std::thread::sleep(Duration::from_millis(300));
    let started = Instant::now();
    let body = format!(
        "{{\"id\":\"a2\",\"record\":\"{record}\",\"do\":\"answer\",\"key\":\"label-capacity\",\"value\":\"150 Ah\"}}"
    );
    let answer = page.json("/api/op", &own, &body);
    assert!(answer.contains("\"status\":\"saved\""), "{answer}");
    assert!(started.elapsed() < Duration::from_secs(5), "{:?}", started.elapsed());
    // And the slow ones are sent away in time.
    let stream = slow.first_mut().unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    let mut rest = Vec::new();
    assert!(stream.read_to_end(&mut rest).is_ok(), "a connection that says nothing is closed");
}

#[test]
fn the_network_needs_a_code_that_works_once() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let page = serve(&pack, &["--open-to-network"]);
    let own = page.own();
    assert!(page.out.lock().unwrap().contains("can overhear it"));
    assert_eq!(status(&page.get("/", &own)), 200, "the page itself holds nothing of the record");
    assert_eq!(status(&page.get("/api/state?since=", &own)), 401);
    assert_eq!(status(&page.json("/api/op", &own, "{}")), 401);
    assert_eq!(status(&page.post("/api/photo?key=a&record=b", &own, b"x")), 401);
    assert_eq!(status(&page.get("/api/state?since=", &format!("{own}Cookie: underlid=0000\r\n"))), 401);
    let code = |page: &Page| {
        let out = page.out.lock().unwrap();
        let at = out.rfind("#pair=").unwrap() + 6;
        out[at..at + 8].to_owned()
    };
    let first = code(&page);
    assert_eq!(status(&page.json("/api/pair", &own, "{\"code\":\"AAAAAAAA\"}")), 403);
    let paired = page.json("/api/pair", &own, &format!("{{\"code\":\"{first}\"}}"));
    assert_eq!(status(&paired), 204, "{paired}");
    let cookie = paired.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
    let cookie = cookie.split(';').next().unwrap();
    assert_eq!(status(&page.get("/api/state?since=", &format!("{own}Cookie: {cookie}\r\n"))), 200);
    assert_eq!(
        status(&page.json("/api/pair", &own, &format!("{{\"code\":\"{first}\"}}"))),
        403,
        "a code works once"
    );
    std::thread::sleep(Duration::from_millis(300));
    assert_ne!(code(&page), first);
    let attempt = |last: u8, code: &str| {
        let body = format!("{{\"code\":\"{code}\"}}");
        let head =
            format!("POST /api/pair HTTP/1.1\r\nConnection: close\r\nContent-Length: {}\r\n", body.len());
        page.raw_from(last, format!("{head}{own}Content-Type: application/json\r\n\r\n{body}").as_bytes())
    };
    for _ in 0..5 {
        attempt(2, "AAAAAAAA");
    }
    let answer = attempt(2, &code(&page));
    assert_eq!(status(&answer), 429, "guessing is stopped: {answer}");
    // Whoever guesses keeps nobody else from pairing, and a cookie is good from where it was given.
    let second = attempt(3, &code(&page));
    assert_eq!(status(&second), 204, "{second}");
    let ask = format!("GET /api/devices HTTP/1.1\r\nConnection: close\r\n{own}Cookie: {cookie}\r\n\r\n");
    assert_eq!(status(&page.raw_from(4, ask.as_bytes())), 401, "a cookie from elsewhere");
    let listed = page.raw_from(1, ask.as_bytes());
    assert!(listed.contains("\"address\":\"127.0.0.3\"") && listed.contains("\"own\":true"), "{listed}");
    // Half heads of strangers leave room for the paired.
    let flood: Vec<_> = (10..20)
        .flat_map(|last| (0..60).map(move |_| last))
        .map(|last| {
            let mut stream = page.connect(last);
            let _ = stream.write_all(b"GET / HTTP/1.1\r\nHost: ");
            stream
        })
        .collect();
    std::thread::sleep(Duration::from_millis(300));
    let started = Instant::now();
    let own_cookie = format!("{own}Cookie: {cookie}\r\n");
    assert_eq!(status(&page.get("/api/state?since=", &own_cookie)), 200);
    assert!(started.elapsed() < Duration::from_secs(5), "{:?}", started.elapsed());
    drop(flood);
    // A device that was lost is sent away.
    assert_eq!(status(&page.json("/api/revoke", &own_cookie, "{\"number\":2}")), 204);
    let lost = second.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    let ask = format!(
        "GET /api/devices HTTP/1.1\r\nConnection: close\r\n{own}Cookie: {}\r\n\r\n",
        lost.split(';').next().unwrap()
    );
    assert_eq!(status(&page.raw_from(3, ask.as_bytes())), 401);
}

/// With the feature, and by OpenSSL: the certificate has the fingerprint that the terminal shows, at the next start too;
/// what is not TLS gets nothing.
#[cfg(feature = "tls")]
#[test]
fn the_network_is_served_by_tls() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let mut shown = Vec::new();
    for _ in 0..2 {
        let page = serve(&pack, &["--open-to-network"]);
        let out = page.out.lock().unwrap().clone();
        let fingerprint = out.lines().find(|line| line.len() == 95 && line.contains(':')).unwrap().to_owned();
        assert!(out.contains(&format!("&sha256={}", fingerprint.replace(':', ""))), "{out}");
        let script = format!(
            "openssl s_client -connect {} </dev/null 2>/dev/null | openssl x509 -noout -fingerprint -sha256; \
             printf 'GET / HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n' | openssl s_client -quiet -connect {} 2>/dev/null",
            page.address, page.address, page.address
        );
        let answer = Command::new("bash").args(["-c", &script]).output().unwrap().stdout;
        let answer = String::from_utf8(answer).unwrap();
        assert!(answer.contains(&format!("={fingerprint}")), "{answer}");
        assert!(answer.contains("HTTP/1.1 200"), "{answer}");
        assert!(!page.get("/", &page.own()).contains("200"), "plain HTTP");
        shown.push(fingerprint);
    }
    assert_eq!(shown[0], shown[1]);
    assert!(!pack.join("page-key.pem").exists());
}

/// A confirmed answer that another program's save took out of the record is offered back, with its time and device.
#[test]
fn an_answer_lost_to_an_editor_is_offered_back() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let page = serve(&pack, &[]);
    let own = page.own();
    let record = record_of(&page, &own);
    let file = pack.join("inspection.toml");
    let opened = fs::read(&file).unwrap();
    let op = |id: &str, rest: &str| {
        let body = format!("{{\"id\":\"{id}\",\"record\":\"{record}\",\"key\":\"label-capacity\",{rest}}}");
        let answer = page.json("/api/op", &own, &body);
        assert!(answer.contains("\"status\":\"saved\""), "{answer}");
    };
    let lost = || page.get("/api/state?since=", &own).contains("\"lost\":{\"value\":\"150 Ah\",\"at\":\"20");
    op("a1", "\"do\":\"answer\",\"value\":\"150 Ah\"");
    assert!(!lost());
    // The editor had the file open since before.
    fs::write(&file, &opened).unwrap();
    assert!(lost());
    let journal = fs::read_to_string(pack.join(".underlid.answers")).unwrap();
    assert!(journal.contains("page on this machine") && journal.contains("label-capacity"), "{journal}");
    op("a2", "\"do\":\"answer\",\"value\":\"150 Ah\"");
    assert!(!lost(), "it was written again");
    fs::write(&file, &opened).unwrap();
    assert!(lost());
    op("a3", "\"do\":\"stay\"");
    assert!(!lost(), "the record stays as it is");
    // What is taken back on purpose is not lost.
    op("a4", "\"do\":\"answer\",\"value\":\"150 Ah\"");
    op("a5", "\"do\":\"clear\"");
    assert!(!lost());
}

/// What a page is to be told to give the example, by the key of each question.
pub(crate) fn answers_for_the_page(target: &Sight) -> String {
    let mut all = String::from("{");
    for question in &target.questions {
        if question.is_open() || question.key.item.starts_with("photo-") || question.key.item == "lid-photo" {
            continue;
        }
        let record = &target.record;
        let adds = matches!(question.item.fills, Fills::Adds(_));
        let value = match question.item.fills {
            Fills::Adds(Adds::Elements) => {
                let leg = record.path.element.iter().filter(|e| e.leg.known() == question.item.leg);
                leg.map(|e| format!("{} {}", e.kind.word().unwrap(), e.id.text().unwrap()))
                    .collect::<Vec<_>>()
                    .join(", ")
            }
            Fills::Adds(Adds::Statements) => record
                .claims
                .statement
                .iter()
                .map(|s| format!("{}={}", s.id.text().unwrap(), s.text.text().unwrap()))
                .collect::<Vec<_>>()
                .join("; "),
            Fills::Adds(Adds::Tests) => record
                .test
                .iter()
                .map(|t| format!("{} {}", t.kind.word().unwrap(), t.id.text().unwrap()))
                .collect::<Vec<_>>()
                .join(", "),
            Fills::Adds(Adds::Branches) => {
                let test = record.test.iter().find(|t| t.id.text() == Some(&question.key.part)).unwrap();
                let logs = test
                    .branch
                    .iter()
                    .map(|b| format!("{} = {}", b.name.text().unwrap(), b.log.text().unwrap()));
                logs.collect::<Vec<_>>().join(", ")
            }
            Fills::Adds(_) => question.there.join(", "),
            _ => question.found.show(),
        };
        let (number, unit) = value.rsplit_once(' ').unwrap_or((&value, ""));
        let json = |text: &str| serde_json::to_string(text).unwrap();
        if all.len() > 1 {
            all.push(',');
        }
        all.push_str(&format!(
            "{}:{{\"value\":{},\"number\":{},\"unit\":{},\"adds\":{adds}}}",
            json(&question.key.to_string()),
            json(&value),
            json(number),
            json(unit)
        ));
    }
    all.push('}');
    all
}

pub(crate) fn node(script: &str) -> Command {
    crate::common::tool(".cache/tools/node_modules/playwright-core");
    let mut command = Command::new("node");
    command.arg(crate::common::root().join("tests/browser").join(script));
    command
}

#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn the_page_in_a_browser() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let target = target();
    let answers = folder.path().join("answers.json");
    fs::write(&answers, answers_for_the_page(&target)).unwrap();
    let pictures = crate::common::root().join("target/browser");
    let status = node("fill.mjs").arg(BIN).arg(&pack).arg(&answers).arg(&pictures).status().unwrap();
    assert!(status.success());
    // Every value of the example is there, but for those the script changed on the way.
    let made = FillSession::open(&pack, &House::default(), &[], None).unwrap().look().unwrap();
    let changed =
        ["label-capacity", "label-energy", "label-peak", "label-charge-current", "manual-mass", "pack-place"];
    let mut compared = 0;
    for wanted in &target.questions {
        let key = &wanted.key;
        if wanted.is_open()
            || key.item.starts_with("photo-")
            || changed.contains(&key.item.as_str())
            || matches!(wanted.item.fills, Fills::Adds(_))
        {
            continue;
        }
        let question = made.question(key).unwrap_or_else(|| panic!("{key}"));
        assert_eq!(question.found.show(), wanted.found.show(), "{key}");
        compared += 1;
    }
    assert!(compared > 200, "{compared}");
}

/// The sheet and a card through a simulated camera, sent, tapped and measured on the page; `measure-photo` measures the same.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn photos_are_measured_on_the_page() {
    let folder = tempfile::tempdir().unwrap();
    let pack = folder.path().join("pack");
    fs::create_dir(&pack).unwrap();
    fs::write(
        pack.join("inspection.toml"),
        "schema = 2\n\n[[path.element]]\nid = \"bar\"\nkind = \"busbar\"\nleg = \"positive\"\n",
    )
    .unwrap();
    // A length on the sheet, a part above it in two photos, a thickness, and a width beside a card.
    let truths = crate::measure_photo::rendered(folder.path(), &[(0, 2), (5, 6), (10, 11)], 161_127);
    let truth = folder.path().join("truth.jsonl");
    fs::write(&truth, truths.iter().map(|truth| format!("{truth}\n")).collect::<String>()).unwrap();
    crate::measure_photo::label(&folder.path().join("label.png"));
    // As taken in the dark, without focus, into a lamp, and cut off on the way.
    let grey = |level: u8| image::GrayImage::from_pixel(800, 600, image::Luma([level]));
    grey(18).save(folder.path().join("dark.png")).unwrap();
    let soft =
        image::GrayImage::from_fn(800, 600, |x, y| image::Luma([120 + ((x / 90 + y / 90) % 2 * 60) as u8]));
    image::imageops::blur(&soft, 12.0).save(folder.path().join("soft.png")).unwrap();
    let lamp = image::GrayImage::from_fn(800, 600, |x, y| {
        image::Luma([if x > 500 { 255 } else { 90 + ((x / 5 + y / 5) % 2 * 70) as u8 }])
    });
    lamp.save(folder.path().join("lamp.png")).unwrap();
    let whole = fs::read(folder.path().join("label.png")).unwrap();
    fs::write(folder.path().join("cut.png"), &whole[..whole.len() / 2]).unwrap();
    let page = serve(&pack, &[]);
    let root = crate::common::root();
    let status = node("measure.mjs")
        .arg(format!("http://{}/", page.address))
        .args([&*pack, &*truth, folder.path(), &root.join("target/browser")])
        .status()
        .unwrap();
    assert!(status.success());
    let (status, out, error) = crate::common::run(&["measure-photo", pack.to_str().unwrap(), "--again"]);
    assert_eq!(status, 0, "{out}{error}");
    assert!(out.contains("5 measurements, 0 not the same again"), "{out}");
}

#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn long_fifty_clients_lose_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let pack = folder.path().join("pack");
    fs::create_dir(&pack).unwrap();
    fs::copy(example().join("inspection.toml"), pack.join("inspection.toml")).unwrap();
    let page = serve(&pack, &[]);
    let seconds = std::env::var("UNDERLID_LOAD_SECONDS").unwrap_or_else(|_| "15".to_owned());
    let status = node("fill-load.mjs").arg(format!("http://{}", page.address)).arg(seconds).status().unwrap();
    assert!(status.success());
}
