//! A breaker trip without a finger on the glass: Tab, Enter, Space and the arrows alone.
use thirtyfour::Key;

use crate::{
    chromium::{Chromium, Scripts},
    house::House,
    person::{Person, password},
};

#[tokio::test(flavor = "multi_thread")]
async fn a_breaker_trip_is_written_with_the_keyboard_alone() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let crew = Person::at(&chromium, &house);
    crew.screen(1280).await;
    let keys = Keys { crew: &crew };
    crew.open("/sign-in").await;
    keys.tab_to("#f-sign_in").await;
    keys.types("i.trelfa").await;
    keys.tab_to("#f-password").await;
    keys.types(password("i.trelfa")).await;
    keys.press(Key::Enter).await;
    crew.waits_for("/units").await;
    keys.tab_to("#f-q").await;
    keys.types("412").await;
    keys.press(Key::Enter).await;
    crew.waits_for("/units?q=412").await;
    keys.follow("a[href=\"/units/QHB-412\"]", "/units/QHB-412").await;
    keys.follow("a[href=\"/units/QHB-412/write\"]", "/units/QHB-412/write").await;
    keys.follow("a[href$=\"/write/breaker_trip\"]", "/units/QHB-412/write/breaker_trip").await;
    keys.follow("a.device[href$=\"device=TC5\"]", "/units/QHB-412/write/breaker_trip?device=TC5").await;
    fills_in(&keys).await;
    crew.waits_for("/units/QHB-412/report").await;
    crew.reads("Breaker trip, TC5").await;
    crew.reads("Left tripped. Signs: nothing.").await;
    crew.reads("With the keys").await;
}

async fn fills_in(keys: &Keys<'_, '_>) {
    // Now, 5, 15 minutes ago: the arrows go from key to key.
    keys.tab_to("[name=when]").await;
    keys.press(Key::Right).await;
    keys.press(Key::Right).await;
    keys.tab_to("[name=signs]").await;
    keys.press(Key::Space).await;
    keys.tab_to("[name=\"resets[0].result\"]").await;
    keys.press(Key::Space).await;
    keys.tab_to("[name=left]").await;
    keys.press(Key::Right).await;
    keys.press(Key::Right).await;
    keys.tab_to("[name=note]").await;
    keys.types("With the keys").await;
    keys.tab_to("main form .button.first").await;
    keys.press(Key::Enter).await;
}

struct Keys<'a, 'b> {
    crew: &'a Person<'b>,
}

impl Keys<'_, '_> {
    async fn press(&self, key: Key) {
        self.crew.driver.action_chain().key_down(key.clone()).key_up(key).perform().await.unwrap();
    }

    async fn types(&self, text: &str) {
        self.crew.driver.action_chain().send_keys(text).perform().await.unwrap();
    }

    /// Goes on with Tab until that one has the focus, and sees at every stop where it is.
    async fn tab_to(&self, css: &str) {
        for _ in 0..120 {
            self.press(Key::Tab).await;
            let at =
                self.crew.script(&include_str!("focus.js").replace("WANTED", &css.replace('\'', "\""))).await;
            assert_eq!(at["hidden"], "", "the focus is not to be seen at {}", self.crew.path().await);
            if at["there"] == true {
                return;
            }
        }
        panic!("Tab never comes to {css} at {}", self.crew.path().await);
    }

    async fn follow(&self, css: &str, path: &str) {
        self.tab_to(css).await;
        self.press(Key::Enter).await;
        for _ in 0..100 {
            if self.crew.path().await == path {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
        panic!("Enter on {css} leads to {}", self.crew.path().await);
    }
}
