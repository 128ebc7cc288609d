//! What `templates/layout.html` prints around every page. Plain values, ready to print.
use crate::base::words::words;

words! {
    /// Light of the page: by the device's own setting, or as chosen and kept in a cookie.
    pub enum Palette { Auto = "auto", Day = "day", Night = "night", }
}

impl Palette {
    /// What goes into `data-palette`; nothing leaves it to the device.
    pub fn attribute(&self) -> Option<&'static str> {
        match self {
            Self::Auto => None,
            Self::Day => Some("day"),
            Self::Night => Some("night"),
        }
    }

    pub fn choices(&self) -> [PaletteChoice; 3] {
        [(Self::Auto, "as the device"), (Self::Day, "day"), (Self::Night, "night")]
            .map(|(palette, text)| PaletteChoice { value: palette.as_str(), text, pressed: palette == *self })
    }
}

#[derive(Clone, Debug)]
pub struct PaletteChoice {
    pub value: &'static str,
    pub text: &'static str,
    pub pressed: bool,
}

#[derive(Clone, Debug)]
pub struct Frame {
    pub palette: Palette,
    /// `None` before sign-in: then no navigation and no sign-out.
    pub who: Option<SignedIn>,
    pub nav: Vec<Link>,
    /// Lines above every page: a parked form that waits for its person.
    pub notices: Vec<Link>,
    pub railway: String,
    /// The page of one's own password.
    pub own_password: &'static str,
    /// Where `sign out` and the palette's buttons post to.
    pub sign_out: &'static str,
    pub palette_action: &'static str,
    /// The page's own path, where the palette's buttons come back to.
    pub back: String,
    /// Addresses of `static/book.css`, `static/print.css`, `static/book.js`, `static/icon.svg` with their hashes.
    pub css: String,
    pub print_css: String,
    pub js: String,
    pub icon: String,
    /// `static/online.js`: what a page does beside being read, so that it can be used without network.
    pub online_js: String,
    pub manifest: &'static str,
}

impl Frame {
    /// Whoever reads this may read the board, and the pages behind it.
    pub fn reads_board(&self) -> bool {
        let board = super::paths::Triage.to_string();
        self.nav.iter().any(|link| link.href == board)
    }
}

#[derive(Clone, Debug)]
pub struct SignedIn {
    pub name: String,
    pub sign_in: String,
    /// They have one-time codes, which sign as well.
    pub codes: bool,
}

#[derive(Clone, Debug)]
pub struct Link {
    pub href: String,
    pub text: String,
    /// This very page.
    pub here: bool,
}
