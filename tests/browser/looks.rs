//! Every page at both widths and in both palettes: a picture of each in `target/screens/`, and what can be
//! measured measured.
use std::path::{Path, PathBuf};

use base64::{Engine, prelude::BASE64_STANDARD};
use serde_json::json;

use crate::person::Person;

pub const WIDTHS: [u32; 2] = [390, 1280];

/// Looks at pages and remembers what was wrong with them, so that one run tells everything.
#[derive(Default)]
pub struct Looks {
    wrong: Vec<String>,
}

impl Looks {
    pub async fn at(&mut self, somebody: &Person<'_>, name: &str) {
        for width in WIDTHS {
            somebody.screen(width).await;
            self.measure(somebody, &format!("{name}-{width}")).await;
            for (palette, scheme) in [("day", "light"), ("night", "dark")] {
                let prefers = json!([{"name": "prefers-color-scheme", "value": scheme}]);
                somebody.devtools("Emulation.setEmulatedMedia", json!({"features": prefers})).await;
                take(somebody, &format!("{name}-{width}-{palette}")).await;
            }
        }
    }

    /// The same with letters twice as large, as a browser's settings make them, on the narrow screen.
    pub async fn at_large_text(&mut self, somebody: &Person<'_>, name: &str) {
        somebody.screen(390).await;
        somebody.script("document.documentElement.style.fontSize = '200%'").await;
        self.measure(somebody, &format!("{name}-large")).await;
        take(somebody, &format!("{name}-390-large")).await;
        somebody.script("document.documentElement.style.fontSize = ''").await;
    }

    pub async fn measure(&mut self, somebody: &Person<'_>, name: &str) {
        let found = somebody.script(include_str!("looks.js")).await;
        let found = found.as_array().unwrap().iter().filter_map(|p| p.as_str());
        self.wrong.extend(found.map(|problem| format!("{name}: {problem}")));
    }

    #[track_caller]
    pub fn are_fine(self) {
        assert!(self.wrong.is_empty(), "{} to mend:\n{}", self.wrong.len(), self.wrong.join("\n"));
    }
}

fn folder() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).with_file_name("screens");
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// The whole page, however long.
pub async fn take(somebody: &Person<'_>, name: &str) {
    let with = json!({"format": "png", "captureBeyondViewport": true, "optimizeForSpeed": true});
    let taken = somebody.devtools("Page.captureScreenshot", with).await;
    let bytes = BASE64_STANDARD.decode(taken["data"].as_str().unwrap()).unwrap();
    std::fs::write(folder().join(format!("{name}.png")), bytes).unwrap();
}
