//! Every page at both widths and in both palettes: a picture of each in `target/screens/`, and what can be
//! measured measured.
use std::path::{Path, PathBuf};

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

    /// The whole list is in a file as well: a test's output may be cut.
    #[track_caller]
    pub fn are_fine(self) {
        let list = folder().join("to-mend.txt");
        if !self.wrong.is_empty() {
            std::fs::write(&list, self.wrong.join("\n")).unwrap();
        }
        let all = self.wrong.join("\n");
        assert!(self.wrong.is_empty(), "{} to mend, all in {}:\n{all}", self.wrong.len(), list.display());
    }
}

fn folder() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).with_file_name("screens");
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// The whole page on a screen as high as it is, up to what a picture can hold.
async fn take(somebody: &Person<'_>, name: &str) {
    let size = somebody.script("return [innerWidth, document.documentElement.scrollHeight]").await;
    let (width, height) = (size[0].as_u64().unwrap(), size[1].as_u64().unwrap().clamp(400, 12_000));
    let screen = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600});
    somebody.devtools("Emulation.setDeviceMetricsOverride", screen).await;
    somebody.driver.screenshot(&folder().join(format!("{name}.png"))).await.unwrap();
}
