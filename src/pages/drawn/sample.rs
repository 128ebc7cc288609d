//! Sample pages for looking at: `cargo test --lib sample` writes them to target/look/.
use askama::Template;

use super::form::{Choice, Field};
use crate::web::frame::{Frame, Link, Palette, SignedIn};

/// A frame as a signed-in conductor would see it.
pub fn frame(palette: Palette) -> Frame {
    let link = |href: &str, text: &str, here| Link { href: href.into(), text: text.into(), here };
    Frame {
        palette,
        who: Some(SignedIn { name: "Nkem Okafor".into(), sign_in: "n.okafor".into() }),
        nav: vec![link("/", "Units", true), link("/reports", "My reports", false)],
        notices: vec![],
        railway: "Quarry & Harbor".into(),
        sign_out: "/sign-out",
        palette_action: "/palette",
        back: "/".into(),
        css: "../../static/book.css".into(),
        print_css: "../../static/print.css".into(),
        js: "../../static/book.js".into(),
        icon: "../../static/icon.svg".into(),
    }
}

/// Writes one page once in each palette, for a browser to take pictures of.
pub fn write(name: &str, page: impl Fn(Frame) -> String) {
    let dir = concat!(env!("CARGO_MANIFEST_DIR"), "/target/look");
    std::fs::create_dir_all(dir).unwrap();
    for palette in [Palette::Day, Palette::Night] {
        std::fs::write(format!("{dir}/{name}-{palette}.html"), page(frame(palette))).unwrap();
    }
}

#[derive(Template)]
#[template(
    source = r#"{% extends "layout.html" %}{% import "parts/fields.html" as form %}{% block title %}Sampler{% endblock %}
{% block main %}{% include "parts/law.html" %}<h1>Sampler</h1>{% call form::text(field) %}{% endcall %}
{% call form::choice(choice) %}{% endcall %}<button class="button first">Write it down</button>{% endblock %}"#,
    ext = "html"
)]
struct Sampler {
    frame: Frame,
    field: Field,
    choice: Choice,
}

#[test]
fn sample_of_the_form_parts() {
    write("sampler", |frame| {
        let field = Field::text("place", "Place", "MP 4<1").says(Some("No such place.".into()));
        let choice = Choice::of("left", "How is it left?", "off", &[("on", "On"), ("off", "Off")]).few();
        let html = Sampler { frame, field, choice }.render().unwrap();
        assert!(html.contains("MP 4&#60;1") && html.contains("No such place."), "{html}");
        html
    });
}
