//! Behind Debian's nginx, which ends TLS, by the very file that the package carries: the real client stands in the log, what
//! a client claims of itself does not, cookies are for TLS only, and forms from elsewhere are refused.
use std::path::{Path, PathBuf};

use serde_json::{Value, json};
use tokio::{net::TcpStream, process::Command};

use crate::{
    house::House,
    process::{done, program, run, serve_with},
};

const SITE: &str = include_str!("../../.debian-package/nginx-site");

/// A port that is free now.
fn port() -> u16 {
    std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

async fn certificate(dir: &Path) -> (PathBuf, PathBuf) {
    let (certificate, key) = (dir.join("book.pem"), dir.join("book.key"));
    let mut openssl = Command::new("openssl");
    openssl.args([
        "req",
        "-x509",
        "-newkey",
        "ec",
        "-pkeyopt",
        "ec_paramgen_curve:P-256",
        "-nodes",
        "-days",
        "2",
    ]);
    openssl.args(["-subj", "/CN=book.example", "-addext", "subjectAltName=DNS:book.example"]);
    done(openssl.arg("-keyout").arg(&key).arg("-out").arg(&certificate)).await;
    (certificate, key)
}

/// The package's site, with ports and files of this test.
async fn nginx(dir: &Path, book: &str, (tls, plain): (u16, u16)) -> tokio::process::Child {
    let (certificate, key) = certificate(dir).await;
    let site = SITE
        .replace("listen 443 ssl;", &format!("listen 127.0.0.1:{tls} ssl;"))
        .replace("listen 80;", &format!("listen 127.0.0.1:{plain};"))
        .replace("/etc/ssl/certs/book.pem", certificate.to_str().unwrap())
        .replace("/etc/ssl/private/book.key", key.to_str().unwrap())
        .replace("127.0.0.1:8229", book);
    let temporary: String = ["client_body", "proxy", "fastcgi", "uwsgi", "scgi"]
        .iter()
        .filter(|name| matches!(**name, "client_body" | "proxy" | "fastcgi"))
        .map(|name| format!("{name}_temp_path {}/{name};\n", dir.display()))
        .collect();
    let conf = format!(
        "daemon off; master_process off; pid {0}/pid; error_log {0}/nginx-errors;\nevents {{}}\nhttp {{ access_log off;\n{temporary}{site}}}\n",
        dir.display()
    );
    std::fs::write(dir.join("nginx.conf"), conf).unwrap();
    let mut nginx = Command::new("/usr/sbin/nginx");
    nginx.arg("-c").arg(dir.join("nginx.conf")).arg("-p").arg(dir).kill_on_drop(true);
    nginx.stderr(std::process::Stdio::null());
    let nginx = nginx.spawn().unwrap_or_else(|why| panic!("{why}: `bash tests/all` installs nginx-light"));
    for _ in 0..200 {
        if TcpStream::connect(("127.0.0.1", tls)).await.is_ok() {
            return nginx;
        }
        tokio::time::sleep(std::time::Duration::from_millis(25)).await;
    }
    panic!("nginx does not listen: {:?}", std::fs::read_to_string(dir.join("nginx-errors")));
}

/// What a client over TLS sees, each from an address of its own on this machine.
const CLIENT: &str = r#"
import http.client, json, ssl, sys, urllib.parse
port, plain, authority, password = int(sys.argv[1]), int(sys.argv[2]), sys.argv[3], sys.argv[4]
trust = ssl.create_default_context(cafile=authority)
class Book(http.client.HTTPSConnection):
    def connect(self):
        http.client.HTTPConnection.connect(self)
        self.sock = trust.wrap_socket(self.sock, server_hostname="book.example")
host = f"book.example:{port}"
def ask(client, method, path, headers={}, form=None):
    book = Book("127.0.0.1", port, source_address=(client, 0), timeout=20)
    body = form and urllib.parse.urlencode(form)
    kind = {"content-type": "application/x-www-form-urlencoded"} if form else {}
    book.request(method, path, body, {"host": host, **kind, **headers})
    answer = book.getresponse()
    answer.read()
    return {"status": answer.status, "number": answer.headers["x-request-id"], "cookie": answer.headers["set-cookie"],
        "hsts": answer.headers["strict-transport-security"], "to": answer.headers["location"]}
form = {"sign_in": "ann", "password": password}
own = {"origin": f"https://{host}"}
plainly = http.client.HTTPConnection("127.0.0.1", plain, timeout=20)
plainly.request("GET", "/units?q=1", headers={"host": "book.example"})
plainly = plainly.getresponse()
print(json.dumps({
    "honest": ask("127.0.0.5", "GET", "/sign-in"),
    "claims": ask("127.0.0.6", "GET", "/sign-in", {"x-forwarded-for": "203.0.113.9", "forwarded": "for=203.0.113.9"}),
    "elsewhere": ask("127.0.0.5", "POST", "/sign-in", {"origin": "https://elsewhere.example"}, form),
    "signed_in": ask("127.0.0.5", "POST", "/sign-in", own, form),
    "plain": {"status": plainly.status, "to": plainly.headers["location"]},
}))
"#;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_real_client_is_known_and_cookies_are_for_tls() {
    let house = House::new().await;
    let (dir, db) = (house.dir.path(), house.path.to_str().unwrap());
    let told = run(&["password", "--db", db, "--for", "ann"]).await.out;
    let log = dir.join("log");
    let server = serve_with(&house.path, &["--behind-tls", "--trusted-proxy", "127.0.0.1"], &log).await;
    let (tls, plain) = (port(), port());
    let _nginx = nginx(dir, &server.address, (tls, plain)).await;
    let mut python = Command::new("python3");
    python.args(["-c", CLIENT, &tls.to_string(), &plain.to_string()]);
    let said = done(python.arg(dir.join("book.pem")).arg(told.lines().last().unwrap().trim())).await;
    let said: Value = serde_json::from_str(&said).unwrap();
    // Somebody on the network who reaches the server beside its proxy, and claims to be one.
    let beside = format!(
        "import http.client; c = http.client.HTTPConnection('{}', source_address=('127.0.0.7', 0), timeout=20)\nc.request('GET', '/sign-in', headers={{'x-forwarded-for': '203.0.113.9'}})\nprint(c.getresponse().headers['x-request-id'])",
        server.address
    );
    let beside = done(Command::new("python3").args(["-c", &beside])).await;
    let lines: Vec<Value> = std::fs::read_to_string(&log)
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let client = |number: &str| {
        let line =
            lines.iter().find(|l| l["fields"]["message"] == "answered" && l["span"]["number"] == number);
        line.unwrap_or_else(|| panic!("{number} is not in the log"))["span"]["client"]
            .as_str()
            .unwrap()
            .to_owned()
    };
    let of = |what: &str| client(said[what]["number"].as_str().unwrap());
    assert_eq!((of("honest"), of("claims")), ("127.0.0.5".to_owned(), "127.0.0.6".to_owned()), "{said}");
    assert_eq!(client(beside.trim()), "127.0.0.7");
    assert!(!lines.iter().any(|line| line["span"]["client"] == "203.0.113.9"));

    assert_eq!(said["elsewhere"]["status"], 403, "{said}");
    let signed_in = &said["signed_in"];
    assert_eq!(
        (&signed_in["status"], &signed_in["hsts"]),
        (&json!(303), &json!("max-age=31536000")),
        "{said}"
    );
    let cookie = signed_in["cookie"].as_str().unwrap();
    assert!(cookie.starts_with("__Host-breakerbook=") && cookie.contains("; Secure"), "{cookie}");
    assert_eq!(said["plain"], json!({"status": 301, "to": "https://book.example/units?q=1"}));
}

/// What is not an address is refused at the start, with what is wanted.
#[tokio::test]
async fn a_proxy_is_named_by_its_address() {
    let house = House::new().await;
    let db = house.path.to_str().unwrap();
    let told =
        program().args(["serve", "--db", db, "--trusted-proxy", "nginx.local"]).output().await.unwrap();
    assert_eq!(told.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&told.stderr).contains("--trusted-proxy <IP>"), "{told:?}");
}
