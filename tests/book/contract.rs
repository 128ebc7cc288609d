//! schemathesis, from PyPI, against the OpenAPI document of a running server: what the document takes and what it does not is
//! sent to every operation, and every answer is held against the document with all of its checks. More of it:
//! `SCHEMATHESIS=500 cargo test --test book schemathesis -- --nocapture`.
use std::path::{Path, PathBuf};

use tokio::process::Command;

use crate::{
    house::{House, raw, trip},
    killed::Client,
    process::{done, run, serve_with},
};

/// The tool, and the parser that `watched` reads figures with.
const PACKAGES: &[&str] = &["schemathesis==4.32.5", "prometheus_client==0.26.0"];

/// A Python with them in it, made once for a target directory.
pub async fn python() -> PathBuf {
    static MADE: tokio::sync::Mutex<()> = tokio::sync::Mutex::const_new(());
    let _turn = MADE.lock().await;
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("python-of-the-contract");
    let (python, whole) = (folder.join("bin/python3"), folder.join("whole"));
    let wanted = PACKAGES.join("\n");
    if std::fs::read_to_string(&whole).ok().as_ref() != Some(&wanted) {
        done(Command::new("python3").args(["-m", "venv", "--clear"]).arg(&folder)).await;
        done(
            Command::new(&python)
                .args(["-m", "pip", "install", "--quiet", "--disable-pip-version-check"])
                .args(PACKAGES),
        )
        .await;
        std::fs::write(&whole, wanted).unwrap();
    }
    python
}

/// What JSON Schema cannot say is refused all the same: a time to come, a device that the schedule lacks, an id that is in
/// use. So a 422 is no failure to what the document takes; a 400 is, and a 5xx is always one.
const SETTINGS: &str = "
[checks.positive_data_acceptance]
expected-statuses = [200, 201, 401, 403, 409, 422]
[checks.negative_data_rejection]
expected-statuses = [400, 401, 403, 409, 422]
";

/// Reports that are meant to be taken are about people and units of this book, so that they come further than the author's
/// name. Those that are meant to be refused stay as they are.
const HOOKS: &str = r#"
import json
import schemathesis

NAMES = {"n.okafor": "ann", "a.lind": "sam", "m.ruiz": "sue", "QHB 412": "QHB 1", "QHB 431": "QHB 2", "TC2": "TC1"}

@schemathesis.hook
def before_call(context, case, kwargs):
    if not isinstance(case.body, dict) or "author" not in case.body:
        return
    if case.meta is None or not case.meta.generation.mode.is_positive:
        return
    text = json.dumps(case.body)
    for name, here in NAMES.items():
        text = text.replace(json.dumps(name), json.dumps(here))
    case.body = {**json.loads(text), "author": "ann", "unit": "QHB 1"}
"#;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn schemathesis_finds_no_answer_that_the_document_does_not_foresee() {
    let house = House::new().await;
    let db = house.path.to_str().unwrap();
    let token = |name: &'static str| async move {
        run(&["token", "--db", db, "--for", name]).await.out.trim().to_owned()
    };
    let (ann, sue) = (token("ann").await, token("sue").await);
    let server = serve_with(&house.path, &[], &house.dir.path().join("log")).await;
    let mut client = Client::to(&server.address, &ann).await;
    for n in 0..12 {
        assert_eq!(client.file(&trip(n, u32::try_from(n * 9).unwrap())).await.unwrap().0, 201);
    }
    // Reports are ann's, and the lists are read by a supervisor.
    schemathesis(&house, &server.address, &ann, "post|openapi|health").await;
    schemathesis(&house, &server.address, &sue, "get").await;
    let count = "SELECT count(*) FROM report";
    let reports: i64 = sqlx::query_scalar(count).fetch_one(&mut raw(&house.path).await).await.unwrap();
    assert!(reports > 12, "the example of the document is taken: {reports}");
    let log = std::fs::read_to_string(house.dir.path().join("log")).unwrap();
    assert!(!log.contains("a request failed") && !log.contains("panic"), "{log}");
}

async fn schemathesis(house: &House, address: &str, token: &str, operations: &str) {
    let python = python().await;
    let settings = house.file("schemathesis.toml", SETTINGS);
    let hooks = house.file("hooks.py", HOOKS);
    let cases = std::env::var("SCHEMATHESIS").unwrap_or_else(|_| "15".to_owned());
    let mut tool = Command::new(python.with_file_name("schemathesis"));
    tool.current_dir(house.dir.path()).env("SCHEMATHESIS_HOOKS", &hooks).env("PYTHONHASHSEED", "0");
    tool.arg("--config-file").arg(&settings).args([
        "run",
        "--no-color",
        "--checks",
        "all",
        "--continue-on-failure",
    ]);
    tool.args([
        "--seed",
        "7",
        "--generation-database",
        "none",
        "--suppress-health-check",
        "all",
        "--max-examples",
        &cases,
    ]);
    tool.args(["--include-operation-id-regex", operations, "-H", &format!("Authorization: Bearer {token}")]);
    tool.arg(format!("http://{address}/api/v1/openapi.json"));
    let said = done(&mut tool).await;
    let told: Vec<&str> = said.lines().skip_while(|line| !line.contains("SUMMARY")).collect();
    eprintln!("{operations}: {cases} cases at least for each operation\n{}", told.join("\n"));
    assert!(said.contains("Test cases:"), "{said}");
}
