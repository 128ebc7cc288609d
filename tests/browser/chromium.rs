//! A chromedriver of our own on a free port, and one Chromium under it with an empty profile. Nothing is downloaded.
use std::{
    io::{BufRead, BufReader, Read, Write},
    net::TcpStream,
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    time::Duration,
};

use serde_json::json;
use thirtyfour::{ChromeCapabilities, ChromiumLikeCapabilities, LoggingPrefsLogLevel, WebDriver};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scripts {
    On,
    Off,
}

const FLAGS: &[&str] = &[
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--hide-scrollbars",
];

pub struct Chromium {
    pub driver: WebDriver,
    port: u16,
    process: Child,
    _profile: Option<tempfile::TempDir>,
}

impl Chromium {
    pub async fn start(scripts: Scripts) -> Self {
        Self::on_its_own(scripts, json!({})).await
    }

    /// With the browser's own letters twice as large, as somebody sets them who needs it: 32 px for 16.
    pub async fn start_with_large_text() -> Self {
        let large =
            json!({"webkit.webprefs.default_font_size": 32, "webkit.webprefs.default_fixed_font_size": 26});
        Self::on_its_own(Scripts::On, large).await
    }

    async fn on_its_own(scripts: Scripts, prefs: serde_json::Value) -> Self {
        let profile = tempfile::tempdir().unwrap();
        let mut started = Self::start_on(scripts, profile.path(), &[], prefs).await;
        started._profile = Some(profile);
        started
    }

    /// On a profile that outlives it, as a tablet's does.
    pub async fn with(scripts: Scripts, profile: &Path, flags: &[&str]) -> Self {
        Self::start_on(scripts, profile, flags, json!({})).await
    }

    async fn start_on(
        scripts: Scripts,
        profile: &Path,
        flags: &[&str],
        mut prefs: serde_json::Value,
    ) -> Self {
        let chromium = installed("chromium", "chromium");
        let (process, port) = driver_process(&installed("chromedriver", "chromium-driver"));
        let mut wanted = ChromeCapabilities::new();
        wanted.set_binary(&chromium.display().to_string()).unwrap();
        for flag in FLAGS.iter().chain(flags) {
            wanted.add_arg(flag).unwrap();
        }
        wanted.add_arg(&format!("--user-data-dir={}", profile.display())).unwrap();
        if scripts == Scripts::Off {
            prefs["profile.managed_default_content_settings.javascript"] = json!(2);
        }
        wanted.add_experimental_option("prefs", prefs).unwrap();
        for log in ["browser", "performance"] {
            wanted.set_logging_prefs(log, LoggingPrefsLogLevel::All).unwrap();
        }
        let driver = WebDriver::new(format!("http://127.0.0.1:{port}"), wanted).await.unwrap();
        Self { driver, port, process, _profile: None }
    }
}

impl Drop for Chromium {
    /// Tells the driver to end its browser, then itself: a browser that outlives its test eats the machine.
    fn drop(&mut self) {
        let _ = self.driver.clone().leak();
        if let Ok(mut door) = TcpStream::connect(("127.0.0.1", self.port)) {
            let _ = door.set_read_timeout(Some(Duration::from_secs(5)));
            let _ = write!(door, "GET /shutdown HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n\r\n", self.port);
            let _ = door.read(&mut [0; 64]);
        }
        for _ in 0..50 {
            if matches!(self.process.try_wait(), Ok(Some(_))) {
                return;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// A missing browser fails the test: skipped journeys look like journeys that passed.
fn installed(program: &str, package: &str) -> PathBuf {
    let found = Path::new("/usr/bin").join(program);
    assert!(
        found.exists(),
        "{} is missing: the browser journeys need it. Install it with: apt-get install -y chromium chromium-driver ({package})",
        found.display()
    );
    found
}

fn driver_process(chromedriver: &Path) -> (Child, u16) {
    let mut process = Command::new(chromedriver)
        .arg("--port=0")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(process.stdout.take().unwrap()).lines().map_while(Result::ok);
    let port = lines
        .find_map(|line| line.rsplit_once("successfully on port ")?.1.trim_end_matches('.').parse().ok());
    // Reads the rest, or the driver would stop on a full pipe.
    std::thread::spawn(move || lines.for_each(drop));
    (process, port.expect("chromedriver says its port"))
}
